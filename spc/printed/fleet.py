"""What a run over many lines gave, as a person reads it: what could not be read first, then what drifts where."""

from pathlib import Path

from rich.console import Group
from rich.text import Text

from spc.fleet.outcome import PER, Fleet, LeagueRow, league
from spc.printed.table import heading, note, plain_table

SHOWN = 20
STANDING = (
    "A place in this table asks where to look first; it judges no line. The acceptance limits are the catalogue's; the "
    "written procedure and the responsible Level 3 decide."
)


def fleet_printed(fleet: Fleet, out: Path | None) -> Group:
    """Return counts, faults and the head of the league table; `out` is where the results were written, if anywhere."""
    rows = league(fleet)
    table = plain_table(
        ("place", "site", "line", "check", "readings", "drifts", "steps", "failed", f"per {PER:,} readings"),
        [_row(row) for row in rows[:SHOWN]],
        words=4,
    )
    counts = (
        f"{fleet.readings:,} readings of {len(fleet.streams):,} streams: {len(fleet.signals):,} signals, "
        f"{sum(stream.failures for stream in fleet.streams):,} failed checks"
    )
    faults = [
        Text(f"not read: {fault.site} · {fault.line} · {fault.check}: {fault.reason}", style="bold")
        for fault in fleet.faults
    ]
    more = [Text(f"and {len(rows) - SHOWN} more; --out writes all of them, --json prints them")] * (len(rows) > SHOWN)
    where = [Text(f"written to {out}: streams, signals, league and faults, as Parquet")] if out is not None else []
    return Group(Text(counts), *faults, *where, Text(""), heading("What moves where"), table, *more, note(STANDING))


def _row(row: LeagueRow) -> tuple[str, ...]:
    counts = (f"{row.n:,}", f"{row.drifts:,}", f"{row.steps:,}", f"{row.failures:,}", f"{row.rate:.2f}")
    return str(row.place), row.site, row.line, row.check, *counts
