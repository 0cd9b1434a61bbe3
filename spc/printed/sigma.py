"""Sigma and what stands behind it: rounding, censoring, autocorrelation, constants, fitted lines."""

from rich.console import Group
from rich.text import Text

from spc.autocorrelation import FirstOrder, LagCorrelations
from spc.chart_constants import ChartConstants
from spc.coarse.censored import NormalFit, WeibullFit
from spc.coarse.resolution import RoundingEffect
from spc.coarse.rounding import RoundedSigma
from spc.measurement.least_squares import LinearFit
from spc.printed.table import between, facts, heading, percent, plain_table, value
from spc.sigma import FlooredSigma
from spc.wording import in_figures, short


def floored_sigma_printed(found: FlooredSigma, unit: str = "") -> Text:
    """Return a sigma that may be the floor of the resolution."""
    floor = ", the floor that the reading's resolution sets" if found.floored else ""
    return Text(f"sigma {value(found.value, unit)}{floor}")


def rounded_sigma_printed(found: RoundedSigma, unit: str = "") -> Group:
    """Return a sigma freed of rounding."""
    return Group(
        heading("Sigma of rounded readings"),
        facts(
            [
                ("sigma before rounding", value(found.sigma, unit)),
                ("95 % limits", between(found.lower, found.upper, unit, 3)),
                ("sigma as written", value(found.as_written, unit)),
                ("level", value(found.centre, unit)),
                ("readings", str(found.n)),
            ]
        ),
        *([Text(str(found.warning), style="bold")] if found.warning is not None else []),
    )


def normal_fit_printed(found: NormalFit, unit: str = "") -> Group:
    """Return level and sigma of rounded or censored readings."""
    kinds = f"{found.n_exact} exact, {found.n_rounded} rounded, {found.n_censored} censored"
    return Group(
        heading("Level and sigma of readings known to lie in intervals"),
        facts(
            [
                ("level", value(found.centre, unit)),
                ("sigma", value(found.sigma, unit)),
                ("95 % limits of sigma", between(found.sigma_lower, found.sigma_upper, unit, 3)),
                ("readings", f"{found.n}: {kinds}"),
            ]
        ),
        *(
            [Text("One value explains all of them: only the upper limit says something.")]
            * found.one_value_explains_all
        ),
    )


def weibull_fit_printed(found: WeibullFit, unit: str = "") -> Group:
    """Return a fitted life."""
    return Group(
        heading("Life until failure"),
        facts(
            [
                ("shape", in_figures(found.shape, 4)),
                ("63 % have failed by", value(found.scale, unit)),
                ("failed", str(found.n_failed)),
                ("still running when last seen", str(found.n_running)),
            ]
        ),
    )


def rounding_effect_printed(found: RoundingEffect, unit: str = "") -> Group:
    """Return what rounding does to both sigmas."""
    rows = [
        ("from moving ranges", found.within_low, found.within_mean, found.within_high),
        ("standard deviation", found.overall_low, found.overall_mean, found.overall_high),
    ]
    return Group(
        heading(f"Steps of {short(found.step_over_sigma)} sigma"),
        plain_table(
            ("sigma as read over true", "least", "mean", "most"),
            [(words, *(in_figures(x, 4) for x in factors)) for words, *factors in rows],
        ),
        Text(f"{percent(found.equal_pairs)} of readings equal the one before."),
    )


def lag_correlations_printed(found: LagCorrelations, unit: str = "") -> Group:
    """Return autocorrelations, those beyond the bound of independent readings marked."""
    rows = [
        (f"{lag:g}", in_figures(r, 2), in_figures(bound, 2), "beyond" if abs(r) > bound else "")
        for lag, r, bound in zip(found.lag.tolist(), found.correlation.tolist(), found.bound.tolist(), strict=True)
    ]
    return Group(
        heading(f"Autocorrelation of {found.n} readings"),
        plain_table(("readings before", "correlation", "if independent, within", ""), rows, words=0),
    )


def first_order_printed(found: FirstOrder, unit: str = "") -> Group:
    """Return how a stream returns to its level."""
    phi = f"{in_figures(found.phi, 3)} \N{PLUS-MINUS SIGN} {in_figures(found.phi_error, 2)}"
    return Group(
        heading("How readings follow one another"),
        facts(
            [
                ("level", value(found.level, unit)),
                ("left of a distance, one reading later", phi),
                ("sigma of a shock", value(found.sigma, unit)),
                ("standard deviation about the level", value(found.sigma_overall, unit)),
                ("readings", str(found.n)),
            ]
        ),
    )


def chart_constants_printed(k: ChartConstants, unit: str = "") -> Group:
    """Return the constants of groups of n readings."""
    (d3, d4), (d1, d2), (b3, b4) = k.range_limits, k.range_limits_from_sigma, k.deviation_limits
    named = {"d2": k.d2, "d3": k.d3, "c4": k.c4, "c5": k.c5, "median range": k.d4, "A2": k.mean_from_range}
    named |= {"A3": k.mean_from_deviation, "B3": b3, "B4": b4, "D1": d1, "D2": d2, "D3": d3, "D4": d4}
    named["E2"] = k.single_from_range
    return Group(heading(f"Constants for groups of {k.n}"), facts([(name, f"{x:.6f}") for name, x in named.items()]))


def linear_fit_printed(found: LinearFit, unit: str = "") -> Group:
    """Return a least-squares fit."""
    rows = [
        (f"b{place}", in_figures(b, 6), in_figures(error, 3))
        for place, (b, error) in enumerate(
            zip(found.coefficients.tolist(), found.standard_errors.tolist(), strict=True)
        )
    ]
    return Group(
        heading("Least squares"),
        plain_table(("coefficient", "value", "standard error"), rows),
        facts(
            [
                ("scatter about the fit", value(found.residual_sd, unit)),
                ("degrees of freedom", str(found.degrees_of_freedom)),
            ]
        ),
    )
