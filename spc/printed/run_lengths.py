"""Run lengths, and what few readings or correlated ones do to them."""

from rich.console import Group

from spc.arl import AutocorrelationEffect, EstimatedLimits, RunLength
from spc.limits_uncertainty import FalseAlarmSpread
from spc.printed.table import facts, heading, note, percent, plain_table, value
from spc.wording import in_figures, short

PARTS = {"p05": 5, "p10": 10, "p25": 25, "p50": 50, "p75": 75, "p90": 90, "p95": 95}
STARTS = {"zero": "a fresh chart", "steady": "a long stretch in control"}


def run_length_printed(found: RunLength, unit: str = "") -> Group:
    """Return a run length: mean and quantiles."""
    error = "" if found.standard_error is None else f" \N{PLUS-MINUS SIGN} {in_figures(found.standard_error, 2)}"
    return Group(
        heading("Run length"),
        facts(
            [
                ("mean", f"{in_figures(found.arl, 5)}{error} readings"),
                ("found by", found.method),
                ("counted from", STARTS[found.start]),
            ]
        ),
        plain_table([f"{part} % by" for part in PARTS.values()], [[f"{getattr(found, p):,}" for p in PARTS]], words=0),
    )


def estimated_limits_printed(found: EstimatedLimits, unit: str = "") -> Group:
    """Return what limits from few readings do to the run length."""
    rate = f"{percent(found.signal_rate)} \N{PLUS-MINUS SIGN} {percent(found.standard_error, 2)}"
    return Group(
        heading(f"Limits from {found.n_baseline} readings"),
        facts(
            [
                ("a reading is beyond them", rate),
                ("mean run length, 1 baseline in 10 below", in_figures(found.arl_p10)),
                ("half below", in_figures(found.arl_p50)),
                ("1 in 10 above", in_figures(found.arl_p90)),
                ("with exact limits", in_figures(found.arl_known)),
            ]
        ),
        note(f"Half-width {short(found.width)} sigmas; {found.n_baselines:,} baselines simulated."),
    )


def false_alarm_spread_printed(found: FalseAlarmSpread, unit: str = "") -> Group:
    """Return the spread of the true false-alarm rate of limits from few readings."""
    return Group(
        heading(f"False alarms of limits from {found.n_baseline} readings"),
        facts(
            [
                ("mean", percent(found.mean)),
                ("1 baseline in 10 below", percent(found.p10)),
                ("half below", percent(found.p50)),
                ("1 in 10 above", percent(found.p90)),
                ("limits from endless readings", percent(found.nominal)),
            ]
        ),
        note(f"{found.baselines:,} baselines simulated."),
    )


def autocorrelation_effect_printed(found: AutocorrelationEffect, unit: str = "") -> Group:
    """Return what correlated readings do to an individuals chart."""
    return Group(
        heading(f"Correlation {short(found.lag_correlation)} from reading to reading"),
        facts(
            [
                ("sigma from moving ranges over the true one", in_figures(found.sigma_ratio)),
                ("a reading is beyond such limits", percent(found.false_alarm_rate)),
                ("checks to a false alarm, such limits", value(found.moving_range_limits.arl)),
                ("with limits from the standard deviation", value(found.true_limits.arl)),
            ]
        ),
    )
