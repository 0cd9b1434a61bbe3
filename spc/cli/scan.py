"""The commands that read a log once: `spc scan`, `layout`, `remarks`."""

from datetime import UTC, datetime
from enum import Enum
from typing import Annotated

import typer

from spc.cli.formats import as_the_site_writes
from spc.cli.given import zone_named
from spc.cli.options import AsJson, CatalogueFile, Dates, Events, LayoutFile, SheetOrLog, Zone
from spc.cli.terminal import console, echo_json


class FailOn(Enum):
    """What makes a command end with exit code 1."""

    FAILURE = "failure"
    SIGNAL = "signal"


def add_commands(app: typer.Typer) -> None:
    """Add the commands of a log to `app`."""
    app.command()(as_the_site_writes(scan))
    app.command()(layout)
    app.command()(remarks)


def scan(
    log: SheetOrLog,
    events: Events = None,
    layout: LayoutFile = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
    fail_on: Annotated[
        FailOn | None, typer.Option(help="End with exit code 1 if the log holds one.", show_default=False)
    ] = None,
) -> None:
    """Read a log once: rows, streams, limits, failures, signals, what comes next."""
    from spc.as_json.scan import scan_json
    from spc.scan import scan as scan_log

    result = scan_log(log, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates, layout=layout)
    if as_json:
        echo_json(scan_json(result))
    else:
        from spc.printed.scan import print_scan, shown_scan

        print_scan(shown_scan(result), console(), now=datetime.now(UTC))
    failed = any(stream.failures for stream in result.streams)
    signalled = any(stream.signals for stream in result.streams)
    if (fail_on is FailOn.FAILURE and failed) or (fail_on is FailOn.SIGNAL and (failed or signalled)):
        raise typer.Exit(1)


def layout(log: SheetOrLog, catalogue: CatalogueFile = None, as_json: AsJson = False) -> None:
    """Propose the layout of a sheet with a column for each check, to be read and edited; say what has no place."""
    from spc.catalogue.load import load_catalogue
    from spc.ingest.fit import read_sheets
    from spc.ingest.proposal import proposal_json, propose_layout

    proposal = propose_layout(read_sheets(log), load_catalogue(catalogue))
    if as_json:
        echo_json(proposal_json(proposal))
    else:
        typer.echo(proposal.text, nl=False)


def remarks(
    log: SheetOrLog,
    layout: LayoutFile = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Search the remarks of a log for things done to the line; print them as an event file to be confirmed."""
    from spc.catalogue.load import load_catalogue
    from spc.ingest.log_file import read_log_file
    from spc.ingest.remarks import events_csv, remarks_json, search_remarks

    read = read_log_file(log, load_catalogue(catalogue), zone=zone_named(zone), dates=dates, layout=layout)
    found = search_remarks(read)
    if as_json:
        echo_json(remarks_json(found))
    else:
        typer.echo(events_csv(found), nl=False)
