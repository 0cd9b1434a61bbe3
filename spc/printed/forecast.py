"""What comes next on every stream, as a person reads it: the risks first, then how many readings are left."""

from collections.abc import Sequence
from datetime import tzinfo

from rich.console import Group
from rich.text import Text

from spc.margin import last_text
from spc.printed.table import heading, note, plain_table
from spc.results import StreamResult
from spc.wording import time_text

NOT_ON_THIS_TREND = "not on this trend"
NOTHING_TO_SAY = "nothing can be said yet"
STANDING = (
    "Chances that a reading falls outside the acceptance limits if nothing is done; readings and date are those of an "
    "even chance, in brackets 8 chances in 10. A forecast is no verdict: the check, the written procedure and the "
    "responsible Level 3 decide."
)


def forecast_printed(results: Sequence[StreamResult], zone: tzinfo, *, left_out: Sequence[str] = ()) -> Group:
    """Return the forecasts of charted streams that have an acceptance limit, the largest risk first.

    Args:
        results: of the streams.
        zone: of the times shown.
        left_out: sentences about rows that the forecasts do not rest on.
    """
    known = [result for result in results if result.forecast.risk_next is not None]
    known.sort(key=lambda result: (result.forecast.readings_p50 is None, -(result.forecast.risk_next_5 or 0.0)))
    silent = [result for result in results if result.check.charted != "none" and result.forecast.risk_next is None]
    table = plain_table(
        ("stream", "readings to the limit", "around", "last", "next reading", "one of the next 5"),
        [_row(result, zone) for result in known],
        words=3,
    )
    unsaid = [Text(f"{result.key}: {NOTHING_TO_SAY}", style="dim") for result in silent]
    missing = [Text(sentence) for sentence in ("", *left_out)] if left_out else []
    return Group(heading("What comes next, if nothing is done"), table, *unsaid, *missing, Text(""), note(STANDING))


def _row(result: StreamResult, zone: tzinfo) -> tuple[str, ...]:
    forecast = result.forecast
    date = forecast.date_of_limit
    around = time_text(date, zone).rsplit(" ", 1)[0] if date is not None else ""
    risks = (_chance(forecast.risk_next), _chance(forecast.risk_next_5))
    return str(result.key), readings_left(result), around, last_text(result), *risks


def readings_left(result: StreamResult) -> str:
    """Return the readings until the limit is passed: "about 37 (30 to 46)", or that this trend does not lead there."""
    forecast = result.forecast
    if forecast.readings_p50 is None:
        if forecast.readings_p10 is None:
            return NOT_ON_THIS_TREND
        return f"{NOT_ON_THIS_TREND}; 1 chance in 10 within {max(1, round(forecast.readings_p10))}"
    low = "1" if forecast.readings_p10 is None else str(max(1, round(forecast.readings_p10)))
    high = "many more" if forecast.readings_p90 is None else str(max(1, round(forecast.readings_p90)))
    return f"about {max(1, round(forecast.readings_p50))} ({low} to {high})"


def _chance(risk: float | None) -> str:
    if risk is None:
        return ""
    return "under 0.1 %" if risk < 0.001 else f"{100 * risk:.1f} %"
