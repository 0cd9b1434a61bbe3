"""Dates that fit their neighbours in the file once day and month are exchanged."""

from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from spc.records import NO_OFFSET, Readings
from spc.results import StreamResult
from spc.screening.question import FALSE_RATE, Question, ask
from spc.screening.written import FEWEST, stream_name
from spc.times import fixed_offset, from_microseconds, to_microseconds

YEAR = timedelta(days=365)


def day_and_month(result: StreamResult, zone: tzinfo) -> list[Question]:
    """Return rows out of the file's order whose date falls between its neighbours with day and month exchanged.

    The chance is that of dates out of order, wrong for whatever reason, to fall there by themselves: where many rows
    are out of order nothing is asked.

    Args:
        result: a stream.
        zone: of times that the log wrote without an offset.
    """
    readings = result.readings
    if len(readings) < FEWEST:
        return []
    order = np.argsort(readings.row, kind="stable")
    at = readings.taken_at[order]
    before, after = at[:-2], at[2:]
    strays = np.flatnonzero((before <= after) & ((at[1:-1] < before) | (at[1:-1] > after)))
    found, chance = [], 1.0
    for place in strays.tolist():
        apart = float(after[place] - before[place]) / (YEAR / timedelta(microseconds=1))
        meant = _exchanged(readings, int(order[place + 1]), zone)
        if meant is not None and before[place] <= meant <= after[place]:
            found.append(int(order[place + 1]))
            chance *= min(1.0, len(strays) * apart)
    return [_question(result, found, chance, zone)] if found and chance <= FALSE_RATE else []


def _exchanged(readings: Readings, index: int, zone: tzinfo) -> int | None:
    """Return the time of a reading with day and month exchanged, in microseconds; None where there is no such day."""
    offset = int(readings.offset[index])
    local = from_microseconds(int(readings.taken_at[index])).astimezone(
        zone if offset == NO_OFFSET else fixed_offset(offset)
    )
    if local.day > 12 or local.day == local.month:
        return None
    meant: datetime = local.replace(month=local.day, day=local.month)
    return to_microseconds(meant.astimezone(UTC))


def _question(result: StreamResult, found: list[int], chance: float, zone: tzinfo) -> Question:
    readings = result.readings
    return ask(
        "day_and_month",
        (result.key,),
        readings.row[found],
        readings.taken_at[found],
        f"{stream_name(result.key, result.check)}: {{rows}}: out of order with the rows around, and in order with "
        "day and month exchanged. That comes by luck {odds}. Was the date written the other way round?",
        chance=chance,
        zone=zone,
        readings=len(found),
    )
