"""What the run rules of a check cost: false alarms a year, and checks and days until a shift is seen."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from spc.arl import MOVING_RANGE_LIMIT, EstimatedLimits, estimated_limits_run_length
from spc.arl.cost import YEAR, ChartRules, RuleSetCost, checks_per_year, compare_rule_sets
from spc.autocorrelation import lag_correlations
from spc.catalogue.check import Check, Interval
from spc.catalogue.table import Table, nearest
from spc.errors import InputError
from spc.monitor import MOVING_RANGE_RULE, START
from spc.records import Bound
from spc.results import Segment, StreamResult, from_reset
from spc.rules import RULE_SETS, RULES, RuleSetting
from spc.told import Told

CATALOGUE_RULES = "catalogue"
"""What stands for the rules that the catalogue gives the check, its moving-range limit among them."""

EVERY_SET = "all"
SHIFTS_IN_SIGMAS = (1.0, 2.0, 3.0)
"""Looked at where no shift is asked for."""

BASELINES = 5_000
"""Simulated, to tell what limits from few readings do."""


@dataclass(frozen=True, slots=True)
class ChartSigma:
    """The sigma that the limits of a chart are drawn with, and where it comes from."""

    sigma: float  # in the chart unit
    n_baseline: int | None  # readings that set it; None where it was given
    source: str  # in words
    floored: bool = False  # whether it is the floor that the reading's resolution sets
    correlation: float | None = None  # of a reading and the one before; None where nothing says
    correlation_bound: float | None = None  # of independent readings, 95 in 100 lie within plus or minus this
    readings_per_year: float | None = None  # as they were taken; None where nothing says


@dataclass(frozen=True, slots=True)
class RulesCost(Told):
    """What rule sets cost on one check, side by side."""

    check: Check
    sigma: ChartSigma
    checks_per_year: float
    rate_source: str  # where `checks_per_year` comes from, in words
    lag_correlation: float
    rules: tuple[ChartRules, ...]
    costs: tuple[RuleSetCost, ...]  # one for each of `rules`
    estimated: EstimatedLimits  # what so few baseline readings do to `beyond_limits` alone

    def days(self, checks: float) -> float:
        """Return how many days that many checks take."""
        return checks / self.checks_per_year * (YEAR / timedelta(days=1))


def rules_cost(
    check: Check,
    rules: Sequence[ChartRules],
    shifts: Sequence[float],
    *,
    sigma: ChartSigma,
    generator: np.random.Generator,
    per_year: float | None = None,
    lag_correlation: float = 0.0,
) -> RulesCost:
    """Return what each of `rules` costs on `check`.

    Args:
        check: of the catalogue, one with a chart.
        rules: to compare.
        shifts: of the level from the centre line, in the chart unit; without any, SHIFTS_IN_SIGMAS.
        sigma: that the limits are drawn with.
        generator: for what has to be simulated.
        per_year: checks charted in a year; None: at the check's interval, as if the line never rested.
        lag_correlation: of a reading and the one before; `sigma` is then taken to come from moving ranges.

    Raises:
        InputError: a check without a chart, or without an interval and nothing else that says how often it is made;
            a number out of its range; rules that practically never signal.
    """
    charted_check(check)
    a_year = checks_per_year(_every(check)) if per_year is None else per_year
    rate_source = f"{check.interval.words}, as if the line never rested" if per_year is None else "as given"
    wanted = tuple(shifts) or tuple(sigmas * sigma.sigma for sigmas in SHIFTS_IN_SIGMAS)
    costs = compare_rule_sets(
        rules,
        wanted,
        sigma=sigma.sigma,
        checks_per_year=a_year,
        lag_correlation=lag_correlation,
        generator=generator,
    )
    baseline = sigma.n_baseline or check.baseline
    estimated = estimated_limits_run_length(baseline, generator=generator, n_baselines=BASELINES)
    return RulesCost(check, sigma, a_year, rate_source, lag_correlation, tuple(rules), costs, estimated)


def charted_check(check: Check) -> Check:
    """Return `check`, refusing one that has no chart."""
    if check.charted == "none":
        raise InputError(f"{check.key} is judged in words or not charted, so it has no run rules; name a charted check")
    return check


def _every(check: Check) -> timedelta:
    if check.interval.every is None:
        raise InputError(f"{check.key} is due {check.interval.words}, not by the clock; say how often with --every")
    return check.interval.every


def every_given(check: Check, every: str | None) -> Check:
    """Return `check` made at the interval `every` ("8 h", "1 day", "2 weeks"), where one is given.

    Raises:
        InputError: `every` is no interval.
    """
    if every is None:
        return check
    length = Table("spc arl", "", {"--every": every}).interval("--every")
    if length.every is None:
        raise InputError(f"--every {every!r} says no time; give one such as '8 h'")
    return replace(check, interval=Interval(length.every, f"every {every}"))


def given_sigma(sigma: float) -> ChartSigma:
    """Return a sigma that a person gave.

    Raises:
        InputError: not a number above 0.
    """
    if not (np.isfinite(sigma) and sigma > 0):
        raise InputError(f"--sigma is {sigma:g}; give the sigma that the limits are drawn with, above 0")
    return ChartSigma(sigma, None, "as given")


def sigma_of_stream(result: StreamResult) -> ChartSigma:
    """Return the sigma that the newest limits of a stream are drawn with.

    Raises:
        InputError: no segment of the stream has a whole baseline, or its sigma is 0.
    """
    charted_check(result.check)
    complete = [segment for segment in result.segments if segment.limits is not None and segment.limits.complete]
    if not complete:
        most = max((segment.stop - segment.first for segment in result.segments), default=0)
        raise InputError(
            f"{result.key}: limits need {result.check.baseline} readings in a row without a reset and the log has "
            f"{most} at most; give --sigma instead"
        )
    segment = complete[-1]
    limits = segment.limits
    assert limits is not None
    if limits.sigma <= 0:
        raise InputError(f"{result.key}: its baseline readings do not vary at all; give --sigma instead")
    correlation, bound = _correlation(result, segment)
    source = f"{limits.n_baseline} baseline readings of {result.key}"
    if segment.signed is not None:
        source = f"{source}, {segment.signed.named}"
    else:
        because = from_reset(complete).because
        source = f"{source} since {'the start of the log' if because == START else because.replace('_', ' ')}"
    return ChartSigma(
        sigma=limits.sigma,
        n_baseline=limits.n_baseline,
        source=source,
        floored=limits.floored,
        correlation=correlation,
        correlation_bound=bound,
        readings_per_year=_readings_per_year(result),
    )


def _correlation(result: StreamResult, segment: Segment) -> tuple[float | None, float | None]:
    """Return the correlation of successive readings of a segment and its bound; None where it cannot be had."""
    span = slice(segment.first, segment.stop)
    exact = result.charted.bound[span] == Bound.EXACT
    try:
        found = lag_correlations(np.where(exact, result.charted.x[span], np.nan), lags=1)
    except InputError:
        return None, None
    correlation, bound = float(found.correlation[0]), float(found.bound[0])
    return (correlation, bound) if np.isfinite(correlation) else (None, None)


def _readings_per_year(result: StreamResult) -> float | None:
    taken_at = result.charted.taken_at
    span = timedelta(microseconds=int(taken_at[-1] - taken_at[0]))
    return float((len(taken_at) - 1) * (YEAR / span)) if span > timedelta(0) else None


def stream_named(
    results: Sequence[StreamResult], check: str, *, line: str | None = None, position: str | None = None
) -> StreamResult:
    """Return the one stream of `check` on that line and position, where either is given.

    Raises:
        InputError: there is none, or more than one.
    """
    of_check = [result for result in results if result.key.check == check]
    found = [
        result for result in of_check if line in (None, result.key.line) and position in (None, result.key.position)
    ]
    if len(found) == 1:
        return found[0]
    names = "; ".join(str(result.key) for result in found or of_check or results)
    if not found:
        raise InputError(f"the log has no such stream of {check}; it has {names or 'none at all'}")
    raise InputError(f"the log has {len(found)} streams of {check}: {names}; choose with --line and --position")


def chart_rules(text: str, check: Check) -> ChartRules:
    """Return the run rules that `text` names for a chart of `check`.

    Args:
        text: names joined by commas: run rules, named sets (their beginning will do), "catalogue" for what the
            catalogue gives the check, "moving_range_limit" for that limit. A rule has the lengths that the catalogue
            gives it, where it is switched on there, else the published ones.
        check: whose catalogue entry counts.

    Raises:
        InputError: a name that is none of these.
    """
    names = [_known(name.strip()) for name in text.split(",")]
    with_ranges = MOVING_RANGE_RULE in names or (CATALOGUE_RULES in names and check.moving_range)
    settings = dict.fromkeys(setting for name in names for setting in _settings(name, check))
    return ChartRules(", ".join(names), tuple(settings), MOVING_RANGE_LIMIT if with_ranges else math.inf)


def _known(name: str) -> str:
    """Return the whole name of a rule or a rule set of which `name` is the beginning, or all."""
    known = (*RULES, MOVING_RANGE_RULE, *RULE_SETS, CATALOGUE_RULES)
    if name in known:
        return name
    begun = [key for key in RULE_SETS if name and key.startswith(name)]
    if len(begun) != 1:
        raise InputError(f"there is no run rule and no rule set {name!r}; {nearest(name, known)}")
    return begun[0]


def _settings(name: str, check: Check) -> tuple[RuleSetting, ...]:
    if name == CATALOGUE_RULES:
        return check.rules
    if name in RULE_SETS:
        return RULE_SETS[name].settings
    own = {setting.key: setting for setting in check.rules}
    return (own.get(name, RULES[name].default),) if name in RULES else ()


def compared_rules(texts: Sequence[str], compare: str | None, check: Check) -> tuple[ChartRules, ...]:
    """Return the rule sets to set side by side: each of `texts`, else the catalogue's, and each set in `compare`."""
    named = list(texts) or [CATALOGUE_RULES]
    if compare is not None:
        sets = list(RULE_SETS) if compare.strip() == EVERY_SET else compare.split(",")
        named += [name for name in sets if name.strip() not in named]
    return tuple(chart_rules(name, check) for name in named)
