"""Capability, shapes of readings, tolerance intervals: what a process does against its acceptance limits."""

from rich.console import Group, RenderableType
from rich.text import Text

from spc.capability.by_quantiles import QuantileCapability
from spc.capability.distributions import FittedFamily
from spc.capability.fraction_outside import FractionOutside
from spc.capability.goodness_of_fit import GoodnessOfFit
from spc.capability.indices import Capability, Index, ResolutionEffect, Specification
from spc.capability.probability_plot import ProbabilityPlot
from spc.capability.tolerance import ToleranceInterval
from spc.printed.table import acceptance, between, facts, heading, note, percent, plain_table, sure, value
from spc.wording import in_figures


def specification_printed(limits: Specification, unit: str = "") -> Text:
    """Return acceptance limits."""
    return Text(f"acceptance limits: {acceptance(limits.lower, limits.upper, unit)}")


def capability_printed(found: Capability, unit: str = "") -> Group:
    """Return capability indices of normal readings with their limits, and what they may be read as."""
    parts: list[RenderableType] = [
        heading("Capability"),
        Text(found.statement),
        facts(
            [
                ("readings", str(found.n)),
                ("acceptance limits", acceptance(found.specification.lower, found.specification.upper, unit)),
                ("mean", value(found.mean, unit)),
                ("sigma, from moving ranges", value(found.sigma_within, unit)),
                ("sigma, overall", value(found.sigma_overall, unit)),
            ]
        ),
        _indices(found.indices, found.confidence),
    ]
    if found.resolution is not None:
        parts.append(resolution_effect_printed(found.resolution, unit))
    return Group(*parts, note(f"{found.method}."))


def quantile_capability_printed(found: QuantileCapability, unit: str = "") -> Group:
    """Return capability by the quantile method: shape, quantiles, indices, expected share outside."""
    verdict = "does not contradict it" if found.fits else "CONTRADICTS it"
    fit = found.goodness_of_fit
    return Group(
        heading(f"Capability by quantiles of a {found.fitted.family.key}"),
        Text(found.statement),
        facts(
            [
                ("readings", str(found.n)),
                ("acceptance limits", acceptance(found.specification.lower, found.specification.upper, unit)),
                ("shape chosen by", found.chosen_by),
                ("goodness of fit", f"p value {in_figures(fit.p_value, 2)}: {verdict}"),
                ("0.135 % quantile", value(found.low, unit)),
                ("median", value(found.median, unit)),
                ("99.865 % quantile", value(found.high, unit)),
            ]
        ),
        _indices(found.indices, found.confidence),
        fraction_outside_printed(found.fraction_outside, unit),
        plain_table(
            ("shape", "AICc", "why not"),
            [
                *((each.family.key, in_figures(each.aicc, 5), "") for each in found.tried),
                *((key, "", reason) for key, reason in found.left_out),
            ],
        ),
        note(f"{found.method}."),
    )


def _indices(indices: tuple[Index, ...], confidence: float) -> RenderableType:
    return plain_table(
        ("index", "value", sure(confidence)),
        [(index.name, in_figures(index.value), between(index.lower, index.upper, digits=3)) for index in indices],
    )


def resolution_effect_printed(found: ResolutionEffect, unit: str = "") -> Text:
    """Return what the step of the readings does to the indices."""
    return Text(found.statement, style="bold" if found.decides else "")


def fraction_outside_printed(found: FractionOutside, unit: str = "") -> Group:
    """Return the expected share outside the acceptance limits."""
    sides = [(words, share) for words, share in (("below", found.below), ("above", found.above)) if share is not None]
    return Group(
        facts(
            [
                ("expected outside", percent(found.outside)),
                *((f"  {words}", percent(share)) for words, share in sides),
                (sure(found.confidence), between(100 * found.lower, 100 * found.upper, "%", 3)),
                ("found by", found.method),
            ]
        ),
        note(found.statement),
    )


def fitted_family_printed(found: FittedFamily, unit: str = "") -> Group:
    """Return a fitted shape."""
    named = zip(found.family.parameters, found.parameters, strict=True)
    return Group(
        heading(f"A {found.family.key} fitted to {found.n} readings"),
        facts([*((name, in_figures(x, 5)) for name, x in named), ("AICc", in_figures(found.aicc, 5))]),
    )


def goodness_of_fit_printed(found: GoodnessOfFit, unit: str = "") -> Group:
    """Return whether readings contradict a shape."""
    return Group(
        heading(f"Fit of a {found.family} to {found.n} readings"),
        facts([("A squared", in_figures(found.statistic)), ("p value", in_figures(found.p_value, 2))]),
        note(f"{found.method}; {found.resamples:,} samples drawn."),
    )


def probability_plot_printed(found: ProbabilityPlot, unit: str = "") -> Group:
    """Return the readings of a probability plot that lie outside their own limits."""
    outside = [
        (value(x, unit), value(at, unit), between(low, high, unit))
        for x, at, low, high in zip(
            found.readings.tolist(), found.expected.tolist(), found.lower.tolist(), found.upper.tolist(), strict=True
        )
        if not low <= x <= high
    ]
    return Group(
        heading(f"Probability plot of {found.n} readings against a {found.family}"),
        Text(f"{len(outside)} readings lie outside their own {sure(found.confidence)}."),
        *([plain_table(("reading", "expected", "limits"), outside, words=0)] if outside else []),
    )


def tolerance_printed(found: ToleranceInterval, unit: str = "") -> Group:
    """Return a tolerance interval."""
    factor = [("factor k", in_figures(found.factor, 5))] if found.factor is not None else []
    return Group(
        heading(f"Tolerance interval for {100 * found.coverage:g} % of all readings"),
        facts(
            [
                ("interval", between(found.lower, found.upper, unit)),
                ("confidence asked for", f"{100 * found.confidence:g} %"),
                ("confidence reached", percent(found.achieved_confidence, 4)),
                *factor,
                ("readings", str(found.n)),
                ("found by", found.method),
            ]
        ),
    )
