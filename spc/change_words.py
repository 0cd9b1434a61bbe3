"""What the early warning found, in words: what moves, since when, how far, and when it reaches the limit."""

from collections.abc import Sequence
from datetime import tzinfo

import numpy as np

from spc.drift import DriftOutcome
from spc.results import Segment, Side, Signal, StreamResult
from spc.times import from_microseconds
from spc.wording import date_text, level_text, plain, time_text, with_unit

BEFORE = 10
"""Readings before the change whose mean is told as the level it started from."""

RUN_GAP = 5
"""Signals of the early warning at most this many readings apart belong to the run that dates the change."""


def dated_by(signals: Sequence[Signal], result: StreamResult) -> DriftOutcome:
    """Return what the model knew at the end of the first run of its signals: the best it said of the start."""
    run = [signals[0]]
    for signal in signals[1:]:
        if signal.position - run[-1].position > RUN_GAP:
            break
        run.append(signal)
    return result.changes[run[-1].position]


def change_start(signals: Sequence[Signal], segment: Segment, result: StreamResult) -> int:
    """Return the position in charted order of the reading at which the change most likely started."""
    since = dated_by(signals, result).since
    return max(segment.first, signals[0].position if since is None else since)


def change_parts(
    name: str, signals: Sequence[Signal], side: Side, segment: Segment, result: StreamResult, zone: tzinfo
) -> tuple[str, str]:
    """Return what is told of one change: "name has been falling since about ..., from ... to ...", and how surely.

    Args:
        name: what the sentence calls the stream.
        signals: of the early warning, in order, all of one cause.
        side: the way it goes.
        segment: the segment they lie in.
        result: of the stream.
        zone: of the times told.
    """
    charted, check = result.charted, result.check
    start, last = change_start(signals, segment, result), signals[-1].position
    since = time_text(from_microseconds(int(charted.taken_at[start])), zone)
    before = charted.x[max(segment.first, start - BEFORE) : start]
    came_from = float(before.mean()) if len(before) else float(charted.x[start])
    now = result.changes[last].level
    levels = f"from {level_text(came_from, check)} to {level_text(now, check)}"
    drifts = any(signal.rule == "drift" for signal in signals)
    if drifts:
        way = "falling" if side == "low" else "rising"
        told = f"{name} has been {way} since about {since}, {levels}"
        rate = level_text(abs(now - came_from) / (last - start + 1), check)
        extra = [f"about {rate} a reading"] if rate != level_text(0.0, check) else []
    else:
        told = f"{name} stepped {'down' if side == 'low' else 'up'} at about {since}, {levels}"
        extra = []
    span = dated_by(signals, result).since_span
    if span is not None and span[0] != span[1]:
        first, latest = (time_text(from_microseconds(int(charted.taken_at[i])), zone) for i in span)
        extra.append(f"it most likely began between {first} and {latest}")
    return told, ", and ".join(extra)


def limit_sentence(result: StreamResult, side: Side | None, zone: tzinfo) -> str:
    """Return when the acceptance limit on `side` is reached at this rate, "" where it is not on this course."""
    forecast, charted = result.forecast, result.charted
    limit = {"low": charted.lower, "high": charted.upper, None: np.array([np.nan])}[side][-1]
    if forecast.readings_p50 is None or forecast.date_of_limit is None or np.isnan(limit):
        return ""
    readings = max(1, round(forecast.readings_p50))
    date, shown = date_text(forecast.date_of_limit, zone), with_unit(plain(limit), result.check.chart_unit)
    ahead = f"about {readings} readings" if readings > 1 else "about 1 reading"
    return f"If nothing is done the limit {shown} is passed in {ahead}, around {date}."
