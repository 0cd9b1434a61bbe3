"""Process control for wet fluorescent magnetic particle testing lines.

The public names. Each is loaded from its module when it is first used, so that `import spc` costs nothing. Where a
function has the name of its module, its public name ends in `_of`.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from spc.told import Teller, tell_by

if TYPE_CHECKING:
    from spc.arl import (
        EstimatedLimits,
        RunLength,
        autocorrelation_effect,
        cusum_height,
        cusum_run_length,
        estimated_limits_run_length,
        ewma_run_length,
        ewma_start_up_run_length,
        ewma_width,
        one_sided_cusum_run_length,
        rule_set_run_length,
    )
    from spc.arl.cost import ChartRules, RuleSetCost, compare_rule_sets
    from spc.autocorrelation import FirstOrder, LagCorrelations, first_order, lag_correlations
    from spc.baseline import BaselineReview, review_baseline
    from spc.capability.by_quantiles import QuantileCapability
    from spc.capability.by_quantiles import quantile_capability as quantile_capability_of
    from spc.capability.distributions import FittedFamily
    from spc.capability.distributions import fit as fit_shape
    from spc.capability.fraction_outside import FractionOutside, counted_fraction_outside, normal_fraction_outside
    from spc.capability.goodness_of_fit import GoodnessOfFit
    from spc.capability.goodness_of_fit import goodness_of_fit as goodness_of_fit_of
    from spc.capability.indices import Capability, Specification
    from spc.capability.indices import capability as capability_of
    from spc.capability.probability_plot import ProbabilityPlot
    from spc.capability.probability_plot import probability_plot as probability_plot_of
    from spc.capability.tolerance import (
        ToleranceInterval,
        normal_bound,
        normal_interval,
        ordered_bound,
        ordered_interval,
    )
    from spc.catalogue.acceptance import Acceptance
    from spc.catalogue.check import Catalogue, Check
    from spc.catalogue.load import load_catalogue
    from spc.changepoint import DriftOnset, LevelChanges, StepChange, drift_onset, level_changes, step_change
    from spc.chart_constants import ChartConstants
    from spc.chart_constants import chart_constants as chart_constants_of
    from spc.charts import CHARTS
    from spc.charts.attributes import (
        FractionLimits,
        PassesLimits,
        fraction_limits,
        fraction_plot,
        passes_between_limits,
        passes_between_plot,
    )
    from spc.charts.cusum import CusumLimits, cusum_limits, cusum_plot
    from spc.charts.ewma import EwmaLimits, ewma_limits, ewma_plot
    from spc.charts.individuals import IndividualsLimits, individuals_limits, individuals_plot, moving_range_plot
    from spc.charts.residuals import ResidualLimits, residual_limits, residual_plot
    from spc.charts.shape import Plotted
    from spc.charts.skewed import SkewedLimits, likeliest_power, skewed_limits, skewed_plot, time_between_limits
    from spc.charts.trend import TrendLimits, trend_limits, trend_plot
    from spc.coarse.censored import NormalFit, WeibullFit, fit_normal, fit_weibull
    from spc.coarse.censored import intervals as reading_intervals
    from spc.coarse.resolution import RoundingEffect, rounding_effect
    from spc.coarse.rounding import RoundedSigma, sigma_rounded
    from spc.conformance import (
        AcceptanceZone,
        Conformance,
        Risks,
        guarded_acceptance,
        guarded_rejection,
        probability_of_conformance,
        probability_of_conformance_of_a_process,
        risks,
    )
    from spc.dose import Dose
    from spc.dose import dose as dose_of
    from spc.errors import CatalogueError, InputError, LayoutError, LogError, SetupError, SpcError
    from spc.figures.frame import Screen
    from spc.figures.results import (
        autocorrelation_figure,
        baseline_review_figure,
        bias_figure,
        capability_figure,
        censored_figure,
        conformance_figure,
        control_chart_figure,
        correlation_effect_figure,
        drift_onset_figure,
        estimated_limits_figure,
        false_alarm_spread_figure,
        fraction_outside_figure,
        gauge_figure,
        generalised_limits_figure,
        kappa_figure,
        level_changes_figure,
        linearity_figure,
        missed_and_false_figure,
        probability_plot_figure,
        quantile_capability_figure,
        range_study_figure,
        risks_figure,
        rounding_figure,
        rule_sets_figure,
        run_length_figure,
        run_length_quantiles_figure,
        run_rules_figure,
        step_change_figure,
        tolerance_figure,
        weibull_figure,
    )
    from spc.figures.stream import stream_figure
    from spc.frames import log_frame, log_of, scan_frame, stream_frame
    from spc.ingest.csv_log import CheckLog, read_log
    from spc.ingest.event_log import EventLog, read_events
    from spc.limits_uncertainty import FalseAlarmSpread, false_alarm_spread
    from spc.measurement.agreement import (
        Kappa,
        MissedAndFalse,
        cohen_kappa,
        fleiss_kappa,
        missed_and_false,
        weighted_kappa,
    )
    from spc.measurement.bias import Bias, Linearity, bias_by_range, linearity
    from spc.measurement.bias import bias as bias_of
    from spc.measurement.gauge import (
        CrossedStudy,
        crossed_study,
        crossed_study_with_interaction,
        crossed_study_without_interaction,
    )
    from spc.measurement.gauge_ranges import RangeStudy, range_study
    from spc.measurement.generalised_limits import GeneralisedLimits
    from spc.measurement.generalised_limits import generalised_limits as generalised_limits_of
    from spc.monitor import monitor_stream
    from spc.printed import printed as printed_of
    from spc.printed.charts import hits_printed, plotted_printed
    from spc.records import Bound, Event, QuarantinedRow, Reading, Readings, RowCount, StreamKey
    from spc.results import Failure, Forecast, Limits, Segment, Signal, StreamResult
    from spc.rule_choice.cost import RulesCost
    from spc.rule_choice.cost import rules_cost as rules_cost_of
    from spc.rules import RULE_SETS, RULES, Hits, Rule, RuleSet, RuleSetting, describe, run_rules
    from spc.scan import Scan
    from spc.scan import scan as scan_log  # `spc.scan` is the module
    from spc.screening import Question, screen
    from spc.sigma import sigma_from_median_range, sigma_overall, sigma_with_floor, sigma_within
    from spc.signals import Episode, episodes
    from spc.state import StreamState, stream_state
    from spc.step_monitor import MonitorState, monitor_event, monitor_next, monitor_start, one_by_one
    from spc.store.store import Store

__all__ = [
    "CHARTS",
    "RULES",
    "RULE_SETS",
    "Acceptance",
    "AcceptanceZone",
    "BaselineReview",
    "Bias",
    "Bound",
    "Capability",
    "Catalogue",
    "CatalogueError",
    "ChartConstants",
    "ChartRules",
    "Check",
    "CheckLog",
    "Conformance",
    "CrossedStudy",
    "CusumLimits",
    "Dose",
    "DriftOnset",
    "Episode",
    "EstimatedLimits",
    "Event",
    "EventLog",
    "EwmaLimits",
    "Failure",
    "FalseAlarmSpread",
    "FirstOrder",
    "FittedFamily",
    "Forecast",
    "FractionLimits",
    "FractionOutside",
    "GeneralisedLimits",
    "GoodnessOfFit",
    "Hits",
    "IndividualsLimits",
    "InputError",
    "Kappa",
    "LagCorrelations",
    "LayoutError",
    "LevelChanges",
    "Limits",
    "Linearity",
    "LogError",
    "MissedAndFalse",
    "MonitorState",
    "NormalFit",
    "PassesLimits",
    "Plotted",
    "ProbabilityPlot",
    "QuantileCapability",
    "QuarantinedRow",
    "Question",
    "RangeStudy",
    "Reading",
    "Readings",
    "ResidualLimits",
    "Risks",
    "RoundedSigma",
    "RoundingEffect",
    "RowCount",
    "Rule",
    "RuleSet",
    "RuleSetCost",
    "RuleSetting",
    "RulesCost",
    "RunLength",
    "Scan",
    "Screen",
    "Segment",
    "SetupError",
    "Signal",
    "SkewedLimits",
    "SpcError",
    "Specification",
    "StepChange",
    "Store",
    "StreamKey",
    "StreamResult",
    "StreamState",
    "ToleranceInterval",
    "TrendLimits",
    "WeibullFit",
    "autocorrelation_effect",
    "autocorrelation_figure",
    "baseline_review_figure",
    "bias_by_range",
    "bias_figure",
    "bias_of",
    "capability_figure",
    "capability_of",
    "censored_figure",
    "chart_constants_of",
    "cohen_kappa",
    "compare_rule_sets",
    "conformance_figure",
    "control_chart_figure",
    "correlation_effect_figure",
    "counted_fraction_outside",
    "crossed_study",
    "crossed_study_with_interaction",
    "crossed_study_without_interaction",
    "cusum_height",
    "cusum_limits",
    "cusum_plot",
    "cusum_run_length",
    "describe",
    "dose_of",
    "drift_onset",
    "drift_onset_figure",
    "episodes",
    "estimated_limits_figure",
    "estimated_limits_run_length",
    "ewma_limits",
    "ewma_plot",
    "ewma_run_length",
    "ewma_start_up_run_length",
    "ewma_width",
    "false_alarm_spread",
    "false_alarm_spread_figure",
    "first_order",
    "fit_normal",
    "fit_shape",
    "fit_weibull",
    "fleiss_kappa",
    "fraction_limits",
    "fraction_outside_figure",
    "fraction_plot",
    "gauge_figure",
    "generalised_limits_figure",
    "generalised_limits_of",
    "goodness_of_fit_of",
    "guarded_acceptance",
    "guarded_rejection",
    "hits_printed",
    "individuals_limits",
    "individuals_plot",
    "kappa_figure",
    "lag_correlations",
    "level_changes",
    "level_changes_figure",
    "likeliest_power",
    "linearity",
    "linearity_figure",
    "load_catalogue",
    "log_frame",
    "log_of",
    "missed_and_false",
    "missed_and_false_figure",
    "monitor_event",
    "monitor_next",
    "monitor_start",
    "monitor_stream",
    "moving_range_plot",
    "normal_bound",
    "normal_fraction_outside",
    "normal_interval",
    "one_by_one",
    "one_sided_cusum_run_length",
    "ordered_bound",
    "ordered_interval",
    "passes_between_limits",
    "passes_between_plot",
    "plotted_printed",
    "printed_of",
    "probability_of_conformance",
    "probability_of_conformance_of_a_process",
    "probability_plot_figure",
    "probability_plot_of",
    "quantile_capability_figure",
    "quantile_capability_of",
    "range_study",
    "range_study_figure",
    "read_events",
    "read_log",
    "reading_intervals",
    "residual_limits",
    "residual_plot",
    "review_baseline",
    "risks",
    "risks_figure",
    "rounding_effect",
    "rounding_figure",
    "rule_set_run_length",
    "rule_sets_figure",
    "rules_cost_of",
    "run_length_figure",
    "run_length_quantiles_figure",
    "run_rules",
    "run_rules_figure",
    "scan_frame",
    "scan_log",
    "screen",
    "sigma_from_median_range",
    "sigma_overall",
    "sigma_rounded",
    "sigma_with_floor",
    "sigma_within",
    "skewed_limits",
    "skewed_plot",
    "step_change",
    "step_change_figure",
    "stream_figure",
    "stream_frame",
    "stream_state",
    "time_between_limits",
    "tolerance_figure",
    "trend_limits",
    "trend_plot",
    "weibull_figure",
    "weighted_kappa",
]

_HOMES = {
    "spc.measurement.agreement": "Kappa MissedAndFalse cohen_kappa fleiss_kappa missed_and_false weighted_kappa",
    "spc.arl": (
        "EstimatedLimits RunLength autocorrelation_effect cusum_height cusum_run_length "
        "estimated_limits_run_length ewma_run_length ewma_start_up_run_length ewma_width one_sided_cusum_run_length "
        "rule_set_run_length"
    ),
    "spc.arl.cost": "ChartRules RuleSetCost compare_rule_sets",
    "spc.autocorrelation": "FirstOrder LagCorrelations first_order lag_correlations",
    "spc.baseline": "BaselineReview review_baseline",
    "spc.measurement.bias": "Bias Linearity bias_by_range bias_of linearity",
    "spc.capability.indices": "Capability Specification capability_of",
    "spc.catalogue.acceptance": "Acceptance",
    "spc.catalogue.check": "Catalogue Check",
    "spc.catalogue.load": "load_catalogue",
    "spc.coarse.censored": "NormalFit WeibullFit fit_normal fit_weibull reading_intervals",
    "spc.changepoint": "DriftOnset LevelChanges StepChange drift_onset level_changes step_change",
    "spc.chart_constants": "ChartConstants chart_constants_of",
    "spc.charts": "CHARTS",
    "spc.charts.attributes": (
        "FractionLimits PassesLimits fraction_limits fraction_plot passes_between_limits passes_between_plot"
    ),
    "spc.charts.cusum": "CusumLimits cusum_limits cusum_plot",
    "spc.charts.ewma": "EwmaLimits ewma_limits ewma_plot",
    "spc.charts.individuals": "IndividualsLimits individuals_limits individuals_plot moving_range_plot",
    "spc.charts.residuals": "ResidualLimits residual_limits residual_plot",
    "spc.charts.shape": "Plotted",
    "spc.charts.skewed": "SkewedLimits likeliest_power skewed_limits skewed_plot time_between_limits",
    "spc.charts.trend": "TrendLimits trend_limits trend_plot",
    "spc.conformance": (
        "AcceptanceZone Conformance Risks guarded_acceptance guarded_rejection probability_of_conformance "
        "probability_of_conformance_of_a_process risks"
    ),
    "spc.capability.distributions": "FittedFamily fit_shape",
    "spc.dose": "Dose dose_of",
    "spc.errors": "CatalogueError InputError LayoutError LogError SetupError SpcError",
    "spc.figures.frame": "Screen",
    "spc.figures.results": (
        "autocorrelation_figure baseline_review_figure bias_figure capability_figure censored_figure "
        "conformance_figure control_chart_figure correlation_effect_figure drift_onset_figure "
        "estimated_limits_figure false_alarm_spread_figure fraction_outside_figure gauge_figure "
        "generalised_limits_figure kappa_figure level_changes_figure linearity_figure missed_and_false_figure "
        "probability_plot_figure quantile_capability_figure range_study_figure risks_figure rounding_figure "
        "rule_sets_figure run_length_figure run_length_quantiles_figure run_rules_figure step_change_figure "
        "tolerance_figure weibull_figure"
    ),
    "spc.figures.stream": "stream_figure",
    "spc.capability.fraction_outside": "FractionOutside counted_fraction_outside normal_fraction_outside",
    "spc.frames": "log_frame log_of scan_frame stream_frame",
    "spc.measurement.gauge": (
        "CrossedStudy crossed_study crossed_study_with_interaction crossed_study_without_interaction"
    ),
    "spc.measurement.gauge_ranges": "RangeStudy range_study",
    "spc.measurement.generalised_limits": "GeneralisedLimits generalised_limits_of",
    "spc.capability.goodness_of_fit": "GoodnessOfFit goodness_of_fit_of",
    "spc.ingest.csv_log": "CheckLog read_log",
    "spc.ingest.event_log": "EventLog read_events",
    "spc.limits_uncertainty": "FalseAlarmSpread false_alarm_spread",
    "spc.monitor": "monitor_stream",
    "spc.printed": "printed_of",
    "spc.printed.charts": "hits_printed plotted_printed",
    "spc.capability.probability_plot": "ProbabilityPlot probability_plot_of",
    "spc.capability.by_quantiles": "QuantileCapability quantile_capability_of",
    "spc.records": "Bound Event QuarantinedRow Reading Readings RowCount StreamKey",
    "spc.coarse.resolution": "RoundingEffect rounding_effect",
    "spc.results": "Failure Forecast Limits Segment Signal StreamResult",
    "spc.coarse.rounding": "RoundedSigma sigma_rounded",
    "spc.rules": "RULES RULE_SETS Hits Rule RuleSet RuleSetting describe run_rules",
    "spc.rule_choice.cost": "RulesCost rules_cost_of",
    "spc.scan": "Scan scan_log",
    "spc.screening": "Question screen",
    "spc.sigma": "sigma_from_median_range sigma_overall sigma_with_floor sigma_within",
    "spc.signals": "Episode episodes",
    "spc.state": "StreamState stream_state",
    "spc.step_monitor": "MonitorState monitor_event monitor_next monitor_start one_by_one",
    "spc.store.store": "Store",
    "spc.capability.tolerance": "ToleranceInterval normal_bound normal_interval ordered_bound ordered_interval",
}
_HOME = {name: module for module, names in _HOMES.items() for name in names.split()}
_NAME_AT_HOME = {
    "bias_of": "bias",
    "capability_of": "capability",
    "chart_constants_of": "chart_constants",
    "dose_of": "dose",
    "fit_shape": "fit",
    "generalised_limits_of": "generalised_limits",
    "goodness_of_fit_of": "goodness_of_fit",
    "printed_of": "printed",
    "probability_plot_of": "probability_plot",
    "quantile_capability_of": "quantile_capability",
    "reading_intervals": "intervals",
    "rules_cost_of": "rules_cost",
    "scan_log": "scan",
}


def _teller() -> Teller:
    from spc import telling

    return telling


tell_by(_teller)

if not TYPE_CHECKING:  # so that type checkers refuse a name that is not there

    def __getattr__(name: str) -> object:
        """Return a public name, importing its module."""
        if name not in _HOME:
            raise AttributeError(f"module 'spc' has no attribute {name!r}")
        found = globals()[name] = getattr(import_module(_HOME[name]), _NAME_AT_HOME.get(name, name))
        return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
