"""Figures of single results, one function a kind."""

from spc.figures.agreement import kappa_figure as kappa_figure
from spc.figures.agreement import missed_and_false_figure as missed_and_false_figure
from spc.figures.autocorrelation import autocorrelation_figure as autocorrelation_figure
from spc.figures.baseline_review import baseline_review_figure as baseline_review_figure
from spc.figures.bias import bias_figure as bias_figure
from spc.figures.bias import linearity_figure as linearity_figure
from spc.figures.capability import capability_figure as capability_figure
from spc.figures.capability import fraction_outside_figure as fraction_outside_figure
from spc.figures.capability import quantile_capability_figure as quantile_capability_figure
from spc.figures.censored import censored_figure as censored_figure
from spc.figures.censored import weibull_figure as weibull_figure
from spc.figures.conformance import conformance_figure as conformance_figure
from spc.figures.conformance import risks_figure as risks_figure
from spc.figures.control_chart import control_chart_figure as control_chart_figure
from spc.figures.gauge import gauge_figure as gauge_figure
from spc.figures.gauge import range_study_figure as range_study_figure
from spc.figures.onset import drift_onset_figure as drift_onset_figure
from spc.figures.onset import level_changes_figure as level_changes_figure
from spc.figures.onset import step_change_figure as step_change_figure
from spc.figures.probability_plot import probability_plot_figure as probability_plot_figure
from spc.figures.resolution import rounding_figure as rounding_figure
from spc.figures.run_lengths import estimated_limits_figure as estimated_limits_figure
from spc.figures.run_lengths import rule_sets_figure as rule_sets_figure
from spc.figures.run_lengths import run_length_figure as run_length_figure
from spc.figures.run_rules import run_rules_figure as run_rules_figure
from spc.figures.tolerance import tolerance_figure as tolerance_figure
