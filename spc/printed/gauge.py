"""Measurement studies: variance components, bias, linearity, agreement, conformance."""

from rich.console import Group, RenderableType
from rich.text import Text

from spc.conformance import AcceptanceZone, Conformance, Risks
from spc.measurement.agreement import Kappa, MissedAndFalse
from spc.measurement.bias import Bias, Linearity
from spc.measurement.divisions import Divisions
from spc.measurement.gauge import CrossedStudy
from spc.measurement.gauge_ranges import RangeStudy
from spc.measurement.generalised_limits import GeneralisedLimits
from spc.printed.table import acceptance, between, facts, heading, note, percent, plain_table, sure, value
from spc.study import anova_rows
from spc.wording import in_figures

NO_BOUND = "no bound"


def crossed_study_printed(study: CrossedStudy, unit: str = "") -> Group:
    """Return a crossed study: analysis of variance, components with limits, distinct categories."""
    anova = plain_table(("source", "sum of squares", "df", "mean square", "F", "p value"), anova_rows(study))
    components = plain_table(
        ("component", "standard deviation", sure(study.confidence), "of the variance"),
        [
            (
                component.name,
                value(component.sd, unit),
                between(component.lower**0.5, component.upper**0.5, unit, 3),
                percent(component.share),
            )
            for component in study.components
        ],
    )
    of_limits = [] if study.share_of_tolerance is None else [("six gauge sigmas", percent(study.share_of_tolerance))]
    said = [Text(statement) for statement in study.statements]
    return Group(
        heading("Measurement study"),
        facts(
            [
                ("readings", f"{study.n}: {study.parts} parts by {study.operators} operators"),
                ("interaction", study.interaction),
                ("distinct categories", NO_BOUND if study.categories is None else str(study.categories)),
                *((words, f"{share} of the width between the acceptance limits") for words, share in of_limits),
            ]
        ),
        anova,
        components,
        *said,
        *([] if study.divisions is None else [divisions_printed(study.divisions, unit)]),
        note(f"{study.method}."),
    )


def range_study_printed(study: RangeStudy, unit: str = "") -> Group:
    """Return a study by ranges."""
    names = ("repeatability", "reproducibility", "gauge", "part", "total")
    rows = [(name, value(getattr(study, name), unit), percent(study.shares_of_study.get(name, 1.0))) for name in names]
    return Group(
        heading("Measurement study by ranges"),
        facts(
            [
                ("readings", f"{study.n}: {study.parts} parts by {study.operators} operators, {study.repeats} times"),
                ("distinct categories", NO_BOUND if study.categories is None else str(study.categories)),
            ]
        ),
        plain_table(("component", "standard deviation", "of the study"), rows),
        *(Text(statement) for statement in study.statements),
        note(f"{study.method}."),
    )


def generalised_limits_printed(found: GeneralisedLimits, unit: str = "") -> Group:
    """Return confidence limits by drawing, as standard deviations and shares."""
    rows = [
        (name, between(low**0.5, high**0.5, unit, 3), _share(found.shares.get(name)))
        for name, (low, high) in found.variances.items()
    ]
    categories = (
        [] if found.categories is None else [Text(f"distinct categories: {between(*found.categories, digits=3)}")]
    )
    return Group(
        heading(f"{sure(found.confidence)} by drawing"),
        plain_table(("component", "standard deviation", "of the variance"), rows),
        *categories,
        note(f"{found.method}; {found.draws:,} draws."),
    )


def _share(limits: tuple[float, float] | None) -> str:
    return "" if limits is None else between(100 * limits[0], 100 * limits[1], "%", 3)


def divisions_printed(found: Divisions, unit: str = "") -> Group:
    """Return whether the divisions decide a study."""
    equal = between(*found.from_equal_repeats, unit, 3) if found.from_equal_repeats is not None else "not to be told"
    return Group(
        facts(
            [
                ("division", value(found.resolution, unit)),
                ("repeated exactly", f"{found.cells_all_equal} of {found.cells_repeated} cells"),
                ("repeatability as read", value(found.repeatability_as_read, unit)),
                ("without the rounding", value(found.repeatability_without_rounding, unit)),
                ("from the exact repeats", equal),
            ]
        ),
        Text(found.statement, style="bold" if found.decides else ""),
    )


def bias_printed(found: Bias, unit: str = "") -> Group:
    """Return a bias with its limits."""
    return Group(
        heading("Bias"),
        Text(found.statement),
        facts(
            [
                ("reference", value(found.reference, unit)),
                ("bias", value(found.bias, unit)),
                (sure(found.confidence), between(found.lower, found.upper, unit)),
                ("repeatability", value(found.sigma, unit)),
                ("readings", str(found.n)),
                ("degrees of freedom", in_figures(found.df, 4)),
            ]
        ),
        note(f"{found.method}."),
    )


def linearity_printed(found: Linearity, unit: str = "") -> Group:
    """Return how a bias changes over the range."""
    lack = "not to be told" if found.lack_of_fit_p_value is None else in_figures(found.lack_of_fit_p_value, 2)
    return Group(
        heading("Linearity"),
        *(Text(statement) for statement in found.statements),
        facts(
            [
                ("slope", in_figures(found.slope, 4)),
                (f"slope, {sure(found.confidence)}", between(*found.slope_limits)),
                ("bias at 0", value(found.intercept, unit)),
                (f"bias at 0, {sure(found.confidence)}", between(*found.intercept_limits, unit)),
                ("p value of no change", in_figures(found.slope_p_value, 2)),
                ("p value of a straight line", lack),
            ]
        ),
        plain_table(
            ("reference", "mean bias"),
            [
                (value(at, unit), value(mean, unit))
                for at, mean in zip(found.references.tolist(), found.mean_biases.tolist(), strict=True)
            ],
            words=0,
        ),
        note(f"{found.method}, {found.n} readings."),
    )


def kappa_printed(found: Kappa, unit: str = "") -> Group:
    """Return agreement beyond chance."""
    limits = "" if found.lower is None else between(found.lower, found.upper, digits=3)
    words = [
        (f"  {each.category}", "none" if each.value is None else in_figures(each.value)) for each in found.by_category
    ]
    return Group(
        heading(found.method),
        Text(found.statement),
        facts(
            [
                ("judged", f"{found.n} things by {found.raters} judges"),
                ("agreement", percent(found.observed)),
                ("by chance", percent(found.expected)),
                ("kappa", "none" if found.value is None else in_figures(found.value)),
                *([(sure(found.confidence), limits)] if limits else []),
                *words,
            ]
        ),
    )


def missed_and_false_printed(found: MissedAndFalse, unit: str = "") -> Group:
    """Return how a judge did against known references."""
    rates = (("bad called good", found.missed), ("good called bad", found.false_alarms), ("agreed", found.agreed))
    rows = [
        (words, f"{rate.count} of {rate.of}", percent(rate.share), between(100 * rate.lower, 100 * rate.upper, "%", 3))
        for words, rate in rates
        if rate is not None
    ]
    return Group(
        heading(f"Against {found.n} known references"),
        plain_table(("judged", "count", "share", sure(found.confidence)), rows),
    )


def conformance_printed(found: Conformance, unit: str = "") -> Group:
    """Return how sure one reading makes us."""
    limits = found.specification
    return Group(
        heading("Probability of conformance"),
        facts(
            [
                ("reading", value(found.reading, unit)),
                ("standard uncertainty", value(found.standard_uncertainty, unit)),
                ("acceptance limits", acceptance(limits.lower, limits.upper, unit)),
                ("true value conforms", percent(found.probability, 4)),
                ("below the lower limit", percent(found.below)),
                ("above the upper limit", percent(found.above)),
                ("best estimate", value(found.best_estimate, unit)),
            ]
        ),
        note(f"{found.method}. {found.caution}"),
    )


def acceptance_zone_printed(found: AcceptanceZone, unit: str = "") -> Group:
    """Return limits moved by a guard band."""
    return Group(
        heading(f"Guard band for {found.guards}"),
        facts(
            [
                ("readings held against", between(found.lower, found.upper, unit)),
                ("guard band", value(found.guard_band, unit)),
                ("standard uncertainty", value(found.standard_uncertainty, unit)),
                ("probability at the edge", percent(found.probability)),
            ]
        ),
        note(found.caution),
    )


def risks_printed(found: Risks, unit: str = "") -> Group:
    """Return how often a decision by the zone goes wrong."""
    shares: list[tuple[str, float | None]] = [
        ("true values that conform", found.conforming),
        ("readings inside the zone", found.accepted),
        ("outside the limits, reading inside the zone", found.consumer),
        ("inside the limits, reading outside the zone", found.producer),
        ("of readings inside the zone, true value outside the limits", found.outside_given_accepted),
        ("of readings outside the zone, true value inside the limits", found.inside_given_rejected),
    ]
    rows = [(words, percent(share)) for words, share in shares if share is not None]
    parts: list[RenderableType] = [heading("Risks of deciding by a zone"), facts(rows)]
    return Group(*parts, note(f"{found.method}. {found.caution}"))
