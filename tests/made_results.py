"""One result of every kind that can be drawn or printed, made once, and the figures of each."""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import numpy as np

from spc import arl, changepoint, conformance
from spc.arl import cost as arl_cost
from spc.autocorrelation import first_order, lag_correlations
from spc.baseline import review_baseline
from spc.capability import indices as capability
from spc.capability import tolerance
from spc.capability.by_quantiles import quantile_capability
from spc.capability.distributions import fit
from spc.capability.fraction_outside import counted_fraction_outside, normal_fraction_outside
from spc.capability.goodness_of_fit import goodness_of_fit
from spc.capability.probability_plot import probability_plot
from spc.chart_constants import chart_constants
from spc.charts import CHARTS
from spc.coarse import censored
from spc.coarse.resolution import rounding_effect
from spc.coarse.rounding import sigma_rounded
from spc.figures import Screen, results
from spc.limits_uncertainty import false_alarm_spread
from spc.measurement import agreement, bias
from spc.measurement.gauge import crossed_study
from spc.measurement.gauge_ranges import range_study
from spc.measurement.generalised_limits import generalised_limits
from spc.measurement.least_squares import polynomial
from spc.rules import ALL_EIGHT, RULE_SETS, run_rules
from spc.sigma import sigma_with_floor

UNIT = "mL/100 mL"
WHAT = "Bath concentration"

LIMITS = capability.Specification(0.1, 0.4)
STEP = 0.005


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


READINGS = np.round(rng().normal(0.2, 0.012, 40) / STEP) * STEP
MOVED = np.concatenate([rng().normal(0.2, 0.01, 20), rng().normal(0.17, 0.01, 20)])
DRIFTING = np.concatenate([rng().normal(0.2, 0.01, 20), rng().normal(0.2, 0.01, 20) - 0.004 * np.arange(1, 21)])
SKEWED = rng().lognormal(-1.6, 0.5, 40)
Z = np.concatenate([rng().normal(size=30), rng().normal(size=20) - 1.5])
WITH_OUTLIER = np.where(np.arange(40) == 12, 0.29, READINGS)
WITH_OUTLIER[5] = np.nan
PARTS = [part for part in "abcdef" for _ in range(6)]
OPERATORS = [operator for _ in range(6) for operator in ("X", "X", "Y", "Y", "Z", "Z")]
STUDIED = np.array([ord(part) for part in PARTS]) * 0.02 + rng().normal(0, 0.01, 36)
STUDIED += np.array([{"X": 0.0, "Y": 0.005, "Z": -0.01}[operator] for operator in OPERATORS])
REFERENCES = np.repeat([1.0, 2.0, 3.0, 4.0], 6)
AGAINST = REFERENCES * 1.02 + rng().normal(0, 0.05, 24)
FAILED, RUNNING = [54.0, 187.0, 216.0, 240.0, 335.0], [500.0] * 4
JUDGED = ["good"] * 23 + ["bad"] * 26 + ["good"]
KNOWN = ["good"] * 25 + ["bad"] * 25
LOW, HIGH = censored.intervals([*READINGS[:20], 0.18, 0.21], bound=[0] * 20 + [-1, 1], resolution=STEP)
COSTS = tuple(
    arl_cost.compare_rule_sets(
        [arl_cost.ChartRules(key, RULE_SETS[key].settings) for key in ("starter", "four_tests_1956")],
        [0.012, 0.024, 0.036],
        sigma=0.012,
        checks_per_year=1096,
    )
)


@cache
def made() -> Mapping[str, Any]:
    """Return one result of every kind, by a name of its own."""
    fitted = fit(SKEWED, "lognormal")
    study = crossed_study(STUDIED, PARTS, OPERATORS, specification=LIMITS, resolution=0.01)
    counted = np.column_stack([rng().binomial(50, 0.1, 20), np.full(20, 50)])
    baselines = {"counted": counted, "whole": rng().geometric(0.03, 20), "positive": SKEWED, "measured": READINGS}
    limits = {f"limits of {key}": chart.limits(baselines[chart.readings]) for key, chart in CHARTS.items()}
    return limits | {
        "sigma": sigma_with_floor(READINGS, STEP),
        "sigma of rounded readings": sigma_rounded(READINGS, STEP),
        "constants": chart_constants(5),
        "effect of rounding": rounding_effect(1.3),
        "spread of false alarms": false_alarm_spread(20, generator=rng()),
        "limits from few readings": arl.estimated_limits_run_length(20, generator=rng(), n_baselines=500),
        "run length": COSTS[0].false_alarm,
        "correlated readings": arl.autocorrelation_effect(0.4),
        "autocorrelation": lag_correlations(Z, lags=6),
        "first order": first_order(Z),
        "review": review_baseline(WITH_OUTLIER, generator=rng(), resolution=STEP),
        "sound review": review_baseline(READINGS, generator=rng()),
        "step": changepoint.step_change(MOVED, generator=rng(), draws=200),
        "drift": changepoint.drift_onset(DRIFTING, generator=rng(), draws=200),
        "levels": changepoint.level_changes(MOVED),
        "specification": LIMITS,
        "capability": (indices := capability.capability(READINGS, LIMITS, resolution=STEP, stable=False)),
        "effect of resolution": indices.resolution,
        "quantile capability": quantile_capability(SKEWED, capability.Specification(upper=0.8), generator=rng()),
        "fitted shape": fitted,
        "goodness of fit": goodness_of_fit(SKEWED, fitted, generator=rng(), resamples=99),
        "probability plot": probability_plot(SKEWED, fitted),
        "normal share outside": normal_fraction_outside(READINGS, LIMITS),
        "counted share outside": counted_fraction_outside(READINGS, LIMITS),
        "tolerance interval": tolerance.normal_interval(READINGS, coverage=0.95),
        "tolerance bound": tolerance.normal_bound(READINGS, "lower", coverage=0.95),
        "censored fit": censored.fit_normal(LOW, HIGH),
        "life": censored.fit_weibull(FAILED, RUNNING),
        "study": study,
        "study by ranges": range_study(STUDIED, PARTS, OPERATORS),
        "drawn limits": generalised_limits(study, generator=rng(), draws=1000),
        "divisions": study.divisions,
        "bias": bias.bias(READINGS, 0.2),
        "linearity": bias.linearity(AGAINST, REFERENCES),
        "line": polynomial(REFERENCES, AGAINST, degree=1),
        "kappa of two": agreement.cohen_kappa(JUDGED, KNOWN),
        "missed and false": agreement.missed_and_false(JUDGED, KNOWN, ["bad"]),
        "conformance": conformance.probability_of_conformance(0.38, 0.02, LIMITS),
        "guarded acceptance": conformance.guarded_acceptance(LIMITS, 0.02),
        "guarded rejection": conformance.guarded_rejection(LIMITS, 0.02),
        "risks": conformance.risks(LIMITS, LIMITS, 0.02, process_mean=0.2, process_sigma=0.06),
    }


Build = Callable[[Screen], Any]


@cache
def figures() -> Mapping[str, Build]:
    """Return for the name of each figure function how it is called on results of `made`."""
    of = made()
    named: dict[str, Any] = {"what": WHAT, "unit": UNIT}
    curve = [conformance.probability_of_conformance(x, 0.02, LIMITS) for x in np.linspace(0.05, 0.45, 41)]
    guarded = [(band, of["risks"]) for band in (0.0, 0.01, 0.02)]
    few = [arl.estimated_limits_run_length(n, generator=rng(), n_baselines=500) for n in (10, 20, 50)]
    spreads = [false_alarm_spread(n, generator=rng()) for n in (20, 50)]
    shares = [of["normal share outside"], of["counted share outside"]]
    bounds = [of["tolerance interval"], of["tolerance bound"]]
    hits = run_rules(Z, Z, ALL_EIGHT)
    skewed: dict[str, Any] = {"what": "Ambient light", "unit": "fc"}
    return {
        "autocorrelation_figure": lambda s: results.autocorrelation_figure(of["autocorrelation"], screen=s),
        "baseline_review_figure": lambda s: results.baseline_review_figure(
            WITH_OUTLIER, of["review"], **named, screen=s
        ),
        "bias_figure": lambda s: results.bias_figure(READINGS, of["bias"], **named, screen=s),
        "capability_figure": lambda s: results.capability_figure(READINGS, of["capability"], **named, screen=s),
        "censored_figure": lambda s: results.censored_figure(LOW, HIGH, of["censored fit"], **named, screen=s),
        "conformance_figure": lambda s: results.conformance_figure(
            curve, **named, zone=of["guarded acceptance"], reading=of["conformance"], screen=s
        ),
        "control_chart_figure": lambda s: results.control_chart_figure(
            CHARTS["ewma"], CHARTS["ewma"].plot(MOVED, of["limits of ewma"]), **named, screen=s
        ),
        "correlation_effect_figure": lambda s: results.correlation_effect_figure(
            [arl.autocorrelation_effect(r) for r in (0.0, 0.25, 0.5)], screen=s
        ),
        "drift_onset_figure": lambda s: results.drift_onset_figure(DRIFTING, of["drift"], **named, screen=s),
        "estimated_limits_figure": lambda s: results.estimated_limits_figure(few, screen=s),
        "false_alarm_spread_figure": lambda s: results.false_alarm_spread_figure(spreads, screen=s),
        "fraction_outside_figure": lambda s: results.fraction_outside_figure(shares, screen=s),
        "gauge_figure": lambda s: results.gauge_figure(STUDIED, PARTS, OPERATORS, of["study"], **named, screen=s),
        "generalised_limits_figure": lambda s: results.generalised_limits_figure(
            of["drawn limits"], of["study"], unit=UNIT, screen=s
        ),
        "kappa_figure": lambda s: results.kappa_figure(of["kappa of two"], screen=s),
        "level_changes_figure": lambda s: results.level_changes_figure(MOVED, of["levels"], **named, screen=s),
        "linearity_figure": lambda s: results.linearity_figure(AGAINST, REFERENCES, of["linearity"], **named, screen=s),
        "missed_and_false_figure": lambda s: results.missed_and_false_figure([("A", of["missed and false"])], screen=s),
        "probability_plot_figure": lambda s: results.probability_plot_figure(
            of["probability plot"], **skewed, screen=s
        ),
        "quantile_capability_figure": lambda s: results.quantile_capability_figure(
            SKEWED, of["quantile capability"], **skewed, screen=s
        ),
        "range_study_figure": lambda s: results.range_study_figure(
            STUDIED, PARTS, OPERATORS, of["study by ranges"], **named, screen=s
        ),
        "risks_figure": lambda s: results.risks_figure(guarded, unit=UNIT, screen=s),
        "rounding_figure": lambda s: results.rounding_figure([rounding_effect(h) for h in (0.2, 1.0, 2.0)], screen=s),
        "rule_sets_figure": lambda s: results.rule_sets_figure(COSTS, unit=UNIT, screen=s),
        "run_length_figure": lambda s: results.run_length_figure(COSTS, unit=UNIT, screen=s),
        "run_length_quantiles_figure": lambda s: results.run_length_quantiles_figure(
            [(cost.name, cost.seen[0].checks) for cost in COSTS], screen=s
        ),
        "run_rules_figure": lambda s: results.run_rules_figure(Z, hits, ALL_EIGHT, screen=s),
        "step_change_figure": lambda s: results.step_change_figure(MOVED, of["step"], **named, screen=s),
        "tolerance_figure": lambda s: results.tolerance_figure(
            READINGS, bounds, **named, specification=LIMITS, screen=s
        ),
        "weibull_figure": lambda s: results.weibull_figure(
            FAILED, RUNNING, of["life"], what="Lamp", unit="h", screen=s
        ),
    }
