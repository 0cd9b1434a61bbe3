"""The demo line's script, read from line.toml: its streams, what is done to it and what goes wrong."""

import tomllib
from dataclasses import dataclass
from decimal import Decimal
from importlib.resources import files
from typing import Any

from spc.demo.faults import Fault, Stop, Work
from spc.demo.plan import StreamPlan
from spc.records import StreamKey


@dataclass(frozen=True, slots=True)
class Script:
    """All that makes the demo line what it is, but chance."""

    streams: tuple[StreamPlan, ...]
    work: tuple[Work, ...]  # in time order
    stops: tuple[Stop, ...]
    faults: tuple[Fault, ...]


def script() -> Script:
    """Return the script that is installed with the package."""
    tables = tomllib.loads(files("spc.demo").joinpath("line.toml").read_text(encoding="utf-8"))
    return Script(
        streams=tuple(_stream(**table) for table in tables["stream"]),
        work=tuple(sorted((Work(**table) for table in tables["work"]), key=lambda work: work.at)),
        stops=tuple(Stop(first=table.pop("from"), last=table.pop("to"), **table) for table in tables["stop"]),
        faults=tuple(_fault(**table) for table in tables["fault"]),
    )


def _stream(
    line: str,
    check: str,
    position: str,
    step: str = "1",
    below: str | None = None,
    references: tuple[int, ...] = (),
    **rest: Any,
) -> StreamPlan:
    return StreamPlan(
        StreamKey(line, check, position),
        step=Decimal(step),
        below=None if below is None else Decimal(below),
        references=tuple(references),
        **rest,
    )


def _fault(positions: tuple[str, ...] = (), **table: Any) -> Fault:
    return Fault(first=table.pop("from"), last=table.pop("to", None), positions=tuple(positions), **table)
