"""Results as a person reads them in a terminal: one module a family, a result in, something rich can print out."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from rich.console import RenderableType

from spc.arl import AutocorrelationEffect, EstimatedLimits, RunLength
from spc.autocorrelation import FirstOrder, LagCorrelations
from spc.baseline import BaselineReview
from spc.capability.by_quantiles import QuantileCapability
from spc.capability.distributions import FittedFamily
from spc.capability.fraction_outside import FractionOutside
from spc.capability.goodness_of_fit import GoodnessOfFit
from spc.capability.indices import Capability, ResolutionEffect, Specification
from spc.capability.probability_plot import ProbabilityPlot
from spc.capability.tolerance import ToleranceInterval
from spc.changepoint import DriftOnset, LevelChanges, StepChange
from spc.chart_constants import ChartConstants
from spc.charts.attributes import FractionLimits, PassesLimits
from spc.charts.cusum import CusumLimits
from spc.charts.ewma import EwmaLimits
from spc.charts.individuals import IndividualsLimits
from spc.charts.residuals import ResidualLimits
from spc.charts.skewed import SkewedLimits
from spc.charts.trend import TrendLimits
from spc.coarse.censored import NormalFit, WeibullFit
from spc.coarse.resolution import RoundingEffect
from spc.coarse.rounding import RoundedSigma
from spc.conformance import AcceptanceZone, Conformance, Risks
from spc.errors import InputError
from spc.limits_uncertainty import FalseAlarmSpread
from spc.measurement.agreement import Kappa, MissedAndFalse
from spc.measurement.bias import Bias, Linearity
from spc.measurement.divisions import Divisions
from spc.measurement.gauge import CrossedStudy
from spc.measurement.gauge_ranges import RangeStudy
from spc.measurement.generalised_limits import GeneralisedLimits
from spc.measurement.least_squares import LinearFit
from spc.printed import capability, charts, gauge, onset, run_lengths, sigma
from spc.sigma import FlooredSigma

FORMS: Mapping[type, Callable[[Any, str], RenderableType]] = MappingProxyType(
    {
        AcceptanceZone: gauge.acceptance_zone_printed,
        AutocorrelationEffect: run_lengths.autocorrelation_effect_printed,
        BaselineReview: charts.review_printed,
        Bias: gauge.bias_printed,
        Capability: capability.capability_printed,
        ChartConstants: sigma.chart_constants_printed,
        Conformance: gauge.conformance_printed,
        CrossedStudy: gauge.crossed_study_printed,
        CusumLimits: charts.cusum_printed,
        Divisions: gauge.divisions_printed,
        DriftOnset: onset.drift_onset_printed,
        EstimatedLimits: run_lengths.estimated_limits_printed,
        EwmaLimits: charts.ewma_printed,
        FalseAlarmSpread: run_lengths.false_alarm_spread_printed,
        FirstOrder: sigma.first_order_printed,
        FittedFamily: capability.fitted_family_printed,
        FlooredSigma: sigma.floored_sigma_printed,
        FractionLimits: charts.fraction_printed,
        FractionOutside: capability.fraction_outside_printed,
        GeneralisedLimits: gauge.generalised_limits_printed,
        GoodnessOfFit: capability.goodness_of_fit_printed,
        IndividualsLimits: charts.individuals_printed,
        Kappa: gauge.kappa_printed,
        LagCorrelations: sigma.lag_correlations_printed,
        LevelChanges: onset.level_changes_printed,
        LinearFit: sigma.linear_fit_printed,
        Linearity: gauge.linearity_printed,
        MissedAndFalse: gauge.missed_and_false_printed,
        NormalFit: sigma.normal_fit_printed,
        PassesLimits: charts.passes_printed,
        ProbabilityPlot: capability.probability_plot_printed,
        QuantileCapability: capability.quantile_capability_printed,
        RangeStudy: gauge.range_study_printed,
        ResidualLimits: charts.residuals_printed,
        ResolutionEffect: capability.resolution_effect_printed,
        Risks: gauge.risks_printed,
        RoundedSigma: sigma.rounded_sigma_printed,
        RoundingEffect: sigma.rounding_effect_printed,
        RunLength: run_lengths.run_length_printed,
        SkewedLimits: charts.skewed_printed,
        Specification: capability.specification_printed,
        StepChange: onset.step_change_printed,
        ToleranceInterval: capability.tolerance_printed,
        TrendLimits: charts.trend_printed,
        WeibullFit: sigma.weibull_fit_printed,
    }
)
"""How each kind of result is printed."""


def printed(result: object, *, unit: str = "") -> RenderableType:
    """Return what `rich.print` or a rich console prints of one result.

    Args:
        result: of a function of `spc`.
        unit: of the readings it comes from.

    Raises:
        InputError: nothing is known of printing such a result.
    """
    form = FORMS.get(type(result))
    if form is None:
        raise InputError(f"a {type(result).__name__} has no printed form; print one of its parts")
    return form(result, unit)
