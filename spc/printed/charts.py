"""Control charts: their limits and settings, what they drew, and the review of a baseline."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from rich.console import Group
from rich.text import Text

from spc.baseline import BaselineReview
from spc.charts.attributes import FractionLimits, PassesLimits
from spc.charts.cusum import CusumLimits
from spc.charts.ewma import EwmaLimits
from spc.charts.individuals import IndividualsLimits
from spc.charts.residuals import ResidualLimits
from spc.charts.shape import Chart, Plotted
from spc.charts.skewed import LOGARITHM, SkewedLimits
from spc.charts.trend import TrendLimits
from spc.printed.table import between, facts, heading, note, percent, plain_table, value
from spc.rules import HIGH, NO_SIDE, Hits, RuleSetting, describe
from spc.wording import in_figures, short

FLOORED = "sigma is the floor that the reading's resolution sets"
SHOWN = 20
"""Signals listed; more are counted."""


def individuals_printed(limits: IndividualsLimits, unit: str = "") -> Group:
    """Return the limits of an individuals chart and its moving range."""
    rows = [
        ("centre line", value(limits.centre_line, unit)),
        ("control limits", between(limits.lower, limits.upper, unit)),
        ("moving range, centre", value(limits.moving_range_centre, unit)),
        ("moving range, at most", value(limits.moving_range_upper, unit)),
    ]
    return _limits("Individuals", rows, limits.sigma, unit, limits.n_baseline, limits.floored)


def ewma_printed(limits: EwmaLimits, unit: str = "") -> Group:
    """Return the settings of an EWMA chart and its final limits."""
    half = limits.half_width()
    rows = [
        ("centre line", value(limits.centre_line, unit)),
        ("control limits, final", between(limits.centre_line - half, limits.centre_line + half, unit)),
        ("weight of the newest reading", short(limits.weight)),
        ("half-width", f"{short(limits.width)} sigmas of the average"),
    ]
    return _limits("EWMA", rows, limits.sigma, unit, limits.n_baseline, limits.floored)


def cusum_printed(limits: CusumLimits, unit: str = "") -> Group:
    """Return the settings of a CUSUM chart."""
    rows = [
        ("centre line", value(limits.centre_line, unit)),
        ("slack k", f"{short(limits.slack)} sigma"),
        ("decision limit h", f"{short(limits.decision)} sigma"),
        ("head start", percent(limits.head_start)),
    ]
    return _limits("CUSUM", rows, limits.sigma, unit, limits.n_baseline, limits.floored)


def trend_printed(limits: TrendLimits, unit: str = "") -> Group:
    """Return the line of a trend chart."""
    slope = f"{value(limits.slope, unit)} a step \N{PLUS-MINUS SIGN} {in_figures(limits.slope_error, 2)}"
    rows = [
        (f"line at {short(limits.at_mean)}", value(limits.level, unit)),
        ("slope", slope),
        ("half-width", f"{short(limits.width)} sigmas of prediction"),
    ]
    return _limits("Trend", rows, limits.sigma, unit, limits.n_baseline, limits.floored)


def residuals_printed(limits: ResidualLimits, unit: str = "") -> Group:
    """Return how the readings of a residual chart follow one another."""
    follows = limits.follows
    phi = f"{in_figures(follows.phi, 2)} \N{PLUS-MINUS SIGN} {in_figures(follows.phi_error, 2)}"
    rows = [
        ("level", value(follows.level, unit)),
        ("left of a distance, one reading later", phi),
        ("half-width", f"{short(limits.width)} sigmas of prediction"),
    ]
    return _limits("Residuals", rows, follows.sigma, unit, limits.n_baseline, limits.floored)


def skewed_printed(limits: SkewedLimits, unit: str = "") -> Group:
    """Return the limits of skewed readings, in their own unit."""
    power = "logarithm" if limits.power == LOGARITHM else f"power {short(limits.power)}"
    rows = [
        ("centre line", value(limits.centre_line, unit)),
        ("control limits", between(limits.lower, limits.upper, unit)),
        ("set on the", power),
    ]
    return _limits("Skewed readings", rows, None, unit, limits.n_baseline, floored=False)


def fraction_printed(limits: FractionLimits, unit: str = "") -> Group:
    """Return the fraction that failed, and the limits of a row of the mean size."""
    size = limits.inspected / limits.n_baseline
    lower, upper = limits.at(size)
    rows = [
        ("failed", percent(limits.fraction)),
        (f"control limits for {short(size)} inspected", between(100 * lower, 100 * upper, "%")),
        ("inspected in all", f"{limits.inspected:,}"),
    ]
    return _limits("Fraction failed", rows, None, unit, limits.n_baseline, floored=False)


def passes_printed(limits: PassesLimits, unit: str = "") -> Group:
    """Return the limits of passes between failures."""
    rows = [
        ("of all checks fail", percent(limits.fraction)),
        ("passes between failures, median", short(limits.centre_line)),
        ("control limits", between(limits.lower, limits.upper)),
        ("either passed by chance at most", percent(limits.tail)),
    ]
    return _limits("Passes between failures", rows, None, unit, limits.n_baseline, floored=False)


def _limits(
    title: str, rows: Sequence[tuple[str, str]], sigma: float | None, unit: str, n: int, floored: bool
) -> Group:
    behind = [("baseline", f"{n} readings"), *([("sigma", value(sigma, unit))] if sigma is not None else [])]
    return Group(heading(title), facts([*rows, *behind]), *([note(FLOORED)] if floored else []))


def plotted_printed(chart: Chart[Any, Any], plotted: Plotted, unit: str = "") -> Group:
    """Return which readings of a chart were beyond its limits."""
    beyond = np.flatnonzero(plotted.side != NO_SIDE)
    n = int(np.count_nonzero(np.isfinite(plotted.values).any(axis=1)))
    said = Text(f"{n} of {len(plotted.side)} readings charted, {len(beyond)} beyond a limit")
    rows = [
        (
            str(i + 1),
            "above" if plotted.side[i] == HIGH else "below",
            ", ".join(in_figures(v, 4) for v in plotted.values[i].tolist() if math.isfinite(v)),
            between(float(plotted.lower[i]), float(plotted.upper[i]), unit),
        )
        for i in beyond[:SHOWN].tolist()
    ]
    table = plain_table(("reading", "limit", "value", "limits"), rows, words=2)
    return Group(heading(chart.title), said, *([table] if rows else []), *_more(len(beyond)))


def hits_printed(hits: Hits, settings: Sequence[RuleSetting], unit: str = "") -> Group:
    """Return the signals of run rules, in words."""
    rows = [
        (str(int(index) + 1), describe(settings[int(rule)], int(side)))
        for index, rule, side in list(zip(hits.index, hits.rule, hits.side, strict=True))[:SHOWN]
    ]
    table = plain_table(("reading", "rule"), rows, words=2)
    return Group(heading("Run rules"), Text(f"{len(hits)} signals"), *([table] if rows else []), *_more(len(hits)))


def _more(count: int) -> list[Text]:
    return [note(f"and {count - SHOWN} more")] if count > SHOWN else []


def review_printed(review: BaselineReview, unit: str = "") -> Group:
    """Return what speaks against a baseline; nothing has been left out."""
    rows = [("as it stands", review.limits), ("without the readings in question", review.limits_if_followed)]
    table = plain_table(
        ("limits", "readings", "centre line", "lower", "upper"),
        [
            (words, str(each.n_baseline), *(value(x, unit) for x in (each.centre_line, each.lower, each.upper)))
            for words, each in rows
            if each is not None
        ],
    )
    asked = [Text(f"reading {_places(proposal.indices)}: {proposal.sentence}") for proposal in review.proposals] + [
        Text(concern) for concern in review.concerns
    ]
    return Group(
        heading(f"Review of a baseline of {review.n} readings"),
        *(asked or [Text("Nothing speaks against it.")]),
        table,
        note("Nothing has been left out. A reading may be left out only for a cause that was found and written down."),
    )


def _places(indices: Sequence[int]) -> str:
    """Return readings by their numbers from 1: "5", "5 to 9", "5, 9"."""
    if len(indices) > 1 and indices[-1] - indices[0] == len(indices) - 1:
        return f"{indices[0] + 1} to {indices[-1] + 1}"
    return ", ".join(str(index + 1) for index in indices)
