"""What a fleet's run gives: a row a stream, every signal, the league table of what drifts where, and the faults."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, IntArray, ObjectArray, frozen
from spc.results import StreamResult

PER = 1000
"""Readings that rates of signals are given for."""


@dataclass(frozen=True, slots=True, order=True)
class FleetStream:
    """One stream of one site at the end of its readings; times in microseconds since 1970-01-01 UTC."""

    site: str
    line: str
    check: str
    position: str
    unit: str  # of its chart
    n: int  # readings on the chart
    first_at: int | None
    last_at: int | None
    failures: int
    drifts: int  # early warnings of a level that drifts
    steps: int  # early warnings of a level that stepped
    rule_signals: int
    latest_rule: str  # of the latest early warning; empty where there is none
    latest_side: str
    latest_at: int | None
    centre_line: float | None  # of the newest segment
    sigma: float | None
    risk_next: float | None
    risk_next_5: float | None
    readings_to_limit: float | None  # the median


@dataclass(frozen=True, slots=True)
class FleetFault:
    """A partition that gave nothing, and why."""

    site: str
    line: str
    check: str
    reason: str


@dataclass(frozen=True, slots=True)
class FleetSignals:
    """Every signal, by site, line, check, position, then time; every column has shape (n,), read-only."""

    site: ObjectArray
    line: ObjectArray
    check: ObjectArray
    position: ObjectArray
    taken_at: IntArray
    row: IntArray
    value: FloatArray
    chart: ObjectArray
    rule: ObjectArray
    side: ObjectArray  # "low", "high" or ""

    def __len__(self) -> int:
        return len(self.row)

    @classmethod
    def of(cls, parts: "Sequence[FleetSignals]") -> "FleetSignals":
        """Return the signals of `parts`, one after the other."""
        kinds = {"taken_at": np.int64, "row": np.int64, "value": np.float64}
        columns: dict[str, NDArray[Any]] = {}
        for each in fields(cls):
            empty = np.zeros(0, dtype=kinds.get(each.name, np.object_))
            columns[each.name] = frozen(np.concatenate([empty, *(getattr(part, each.name) for part in parts)]))
        return cls(**columns)

    def __eq__(self, other: object) -> bool:
        """Return whether the other says the same, to the bit."""
        return isinstance(other, FleetSignals) and all(
            np.array_equal(getattr(self, each.name), getattr(other, each.name)) for each in fields(self)
        )

    __hash__ = None  # type: ignore[assignment]  # arrays


@dataclass(frozen=True, slots=True)
class LeagueRow:
    """One check of one line, placed by how often its level moves."""

    place: int
    site: str
    line: str
    check: str
    streams: int
    n: int
    drifts: int
    steps: int
    failures: int
    rate: float  # early warnings per 1,000 readings


@dataclass(frozen=True, slots=True)
class Fleet:
    """All that one run over a fleet says, whichever machines did it."""

    streams: tuple[FleetStream, ...]  # sorted
    signals: FleetSignals
    faults: tuple[FleetFault, ...]

    @property
    def readings(self) -> int:
        """How many readings are on the charts."""
        return sum(stream.n for stream in self.streams)


def stream_of(site: str, result: StreamResult) -> FleetStream:
    """Return the row of a stream."""
    charted, forecast = result.charted, result.forecast
    warnings = [signal for signal in result.signals if signal.chart == "early_warning"]
    limits = result.segments[-1].limits if result.segments else None
    n = len(charted.x)
    return FleetStream(
        site=site,
        line=result.key.line,
        check=result.key.check,
        position=result.key.position,
        unit=result.check.chart_unit,
        n=n,
        first_at=int(charted.taken_at[0]) if n else None,
        last_at=int(charted.taken_at[-1]) if n else None,
        failures=len(result.failures),
        drifts=sum(signal.rule == "drift" for signal in warnings),
        steps=sum(signal.rule == "step" for signal in warnings),
        rule_signals=len(result.rule_signals),
        latest_rule=warnings[-1].rule if warnings else "",
        latest_side=(warnings[-1].side or "") if warnings else "",
        latest_at=warnings[-1].taken_at if warnings else None,
        centre_line=limits.centre_line if limits else None,
        sigma=limits.sigma if limits else None,
        risk_next=forecast.risk_next,
        risk_next_5=forecast.risk_next_5,
        readings_to_limit=forecast.readings_p50,
    )


def signals_of(site: str, result: StreamResult) -> FleetSignals:
    """Return the signals of a stream: the early warning's and, whether or not they warn, the run rules'."""
    rules = () if result.check.rules_signal else result.rule_signals
    found = sorted((*result.signals, *rules), key=lambda signal: signal.position)

    def words(said: list[str]) -> ObjectArray:
        return np.array(said, dtype=np.object_)

    n = len(found)
    return FleetSignals(
        site=words([site] * n),
        line=words([result.key.line] * n),
        check=words([result.key.check] * n),
        position=words([result.key.position] * n),
        taken_at=np.array([signal.taken_at for signal in found], dtype=np.int64),
        row=np.array([signal.row for signal in found], dtype=np.int64),
        value=np.array([signal.value for signal in found], dtype=np.float64),
        chart=words([signal.chart for signal in found]),
        rule=words([signal.rule for signal in found]),
        side=words([signal.side or "" for signal in found]),
    )


def league(fleet: Fleet) -> tuple[LeagueRow, ...]:
    """Return what drifts where: every check of every line, those whose level moves most often first.

    Equal rates share a place, and stand in order of their names.
    """
    groups: dict[tuple[str, str, str], list[FleetStream]] = defaultdict(list)
    for stream in fleet.streams:
        groups[stream.site, stream.line, stream.check].append(stream)
    rows = []
    for (site, line, check), streams in groups.items():
        n = sum(stream.n for stream in streams)
        drifts, steps = sum(stream.drifts for stream in streams), sum(stream.steps for stream in streams)
        rate = PER * (drifts + steps) / n if n else 0.0
        failures = sum(stream.failures for stream in streams)
        rows.append(LeagueRow(0, site, line, check, len(streams), n, drifts, steps, failures, rate))
    rows.sort(key=lambda row: (-row.rate, row.site, row.line, row.check))
    rates = [row.rate for row in rows]
    return tuple(LeagueRow(1 + rates.index(row.rate), *_after_place(row)) for row in rows)


def _after_place(row: LeagueRow) -> tuple[Any, ...]:
    return tuple(getattr(row, each.name) for each in fields(row)[1:])
