"""Streams made by hand for tests: readings at even intervals, and a check with the parts a test names."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from spc.arrays import ObjectArray, frozen
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import Check, Interval
from spc.records import NO_OFFSET, Event, Readings, StreamKey
from spc.rules import DEFAULT_RULES
from spc.times import to_microseconds

START = datetime(2025, 3, 3, 6, tzinfo=UTC)
KEY = StreamKey("Line A", "bath_concentration", "tank")


def made_check(**parts: Any) -> Check:
    """Return a measured check, limits 0.1 to 0.4, that `parts` override."""
    given: dict[str, Any] = {
        "key": KEY.check,
        "title": "Bath concentration",
        "kind": "measured",
        "unit": "mL/100mL",
        "unit_label": "mL/100 mL",
        "chart_unit": "mL/100 mL",
        "charted": "value",
        "decimals": 2,
        "resolution": None,
        "possible": (0.0, 100.0),
        "acceptance": Acceptance(rule="fixed", lower=0.1, upper=0.4, document="Document D", mark="memory"),
        "interval": Interval(timedelta(hours=8), "every shift"),
        "baseline": 20,
        "rules": DEFAULT_RULES,
        "moving_range": True,
        "new_segment_on": ("bath_changed",),
        "explained_by": ("bath_topped_up",),
        "look_first": {"low": ("the agitator",), "high": ("the dose",), "any": ("the tube",)},
        "obliges": ("stop", "contain"),
        "cautions": (),
        "early_warning": False,
        "rules_signal": True,
    }
    return Check(**(given | parts))


def made_readings(
    values: Sequence[float],
    *,
    key: StreamKey = KEY,
    times: Sequence[datetime] | None = None,
    bounds: Sequence[int] | None = None,
    words: Sequence[str] | None = None,
    references: Sequence[float] | None = None,
    columns: Mapping[str, Sequence[str]] | None = None,
) -> Readings:
    """Return the readings `values` of one stream, one every 8 hours unless `times` says otherwise."""
    n = len(values)
    at = times if times is not None else [START + timedelta(hours=8 * i) for i in range(n)]
    text = {name: _text([""] * n) for name in ("instrument", "technician", "shift", "note")}
    text |= {name: _text(column) for name, column in (columns or {}).items()}
    return Readings(
        key=key,
        taken_at=frozen(np.array([to_microseconds(t) for t in at], dtype=np.int64)),
        offset=frozen(np.full(n, NO_OFFSET, dtype=np.int16)),
        row=frozen(np.arange(2, n + 2, dtype=np.int64)),
        value=frozen(np.array(values, dtype=np.float64)),
        bound=frozen(np.array(bounds if bounds is not None else [0] * n, dtype=np.int8)),
        word=_text(words if words is not None else [""] * n),
        reference=frozen(np.array(references if references is not None else [np.nan] * n, dtype=np.float64)),
        instrument=text["instrument"],
        technician=text["technician"],
        shift=text["shift"],
        note=text["note"],
    )


def _text(column: Sequence[str]) -> ObjectArray:
    return frozen(np.array(list(column), dtype=object))


def cut(readings: Readings, n: int) -> Readings:
    """Return the first `n` of `readings`."""
    columns = {
        name: getattr(readings, name)[:n] for name in Readings.__dataclass_fields__ if name not in ("key", "other")
    }
    return Readings(key=readings.key, **columns)


def made_event(kind: str, at: datetime, **parts: Any) -> Event:
    """Return an event on the line of `KEY`."""
    return Event(at=at, offset=NO_OFFSET, row=2, line=KEY.line, kind=kind, **parts)
