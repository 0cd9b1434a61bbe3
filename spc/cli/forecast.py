"""The command of what comes next: `spc forecast`."""

from dataclasses import replace
from datetime import UTC, datetime

import typer

from spc.cli.formats import as_the_site_writes
from spc.cli.given import zone_named
from spc.cli.options import AsJson, CatalogueFile, Dates, Events, LayoutFile, SheetOrLog, Zone
from spc.cli.terminal import console, echo_json


def add_commands(app: typer.Typer) -> None:
    """Add the command of what comes next to `app`."""
    app.command()(as_the_site_writes(forecast))


def forecast(
    log: SheetOrLog,
    events: Events = None,
    layout: LayoutFile = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Tell what comes next on every stream if nothing is done: the risks, and the readings left to a limit."""
    from spc.as_of import ahead_notes, as_of
    from spc.scan import scan

    read = scan(log, events=events, layout=layout, catalogue=catalogue, zone=zone_named(zone), dates=dates)
    now = datetime.now(UTC)
    result = replace(read, streams=tuple(as_of(stream, now) for stream in read.streams))
    if as_json:
        from spc.as_json.scan import forecasts_json

        echo_json(forecasts_json(result))
    else:
        from spc.printed.forecast import forecast_printed
        from spc.printed.table import unread_rows

        unread = unread_rows(read.log.rows.quarantined, read.events.rows.quarantined if read.events else 0)
        left_out = (*unread, *ahead_notes(read.streams, read.zone, now))
        console().print(forecast_printed(result.streams, result.zone, left_out=left_out))
