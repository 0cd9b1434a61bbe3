"""The command of what a bath takes: `spc dose`."""

from datetime import UTC, datetime
from typing import Annotated

import typer

from spc.cli.formats import as_the_site_writes
from spc.cli.given import zone_named
from spc.cli.options import AsJson, CatalogueFile, Dates, Events, Log, Zone, quiet
from spc.cli.terminal import console, echo_json
from spc.errors import InputError


def add_commands(app: typer.Typer) -> None:
    """Add the command of the bath to `app`."""
    app.command()(as_the_site_writes(dose))


def dose(
    log: Log,
    volume: Annotated[
        str | None, quiet("What the tank holds at its mark, such as '120 L', '32 US gal' or '26 imp gal'.")
    ] = None,
    events: Events = None,
    line: Annotated[str | None, quiet("Line of the bath, where the log has several.")] = None,
    position: Annotated[str | None, quiet("Position of the bath, where the line has several.")] = None,
    target: Annotated[float | None, quiet("Level to aim at, in mL/100 mL. [default: 0.2]")] = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Tell how much powder or carrier a bath takes now, why not more, and what that rests on."""
    from spc.catalogue.load import load_catalogue
    from spc.dose import bath_named, volume_in_litres
    from spc.dose import dose as dose_of_bath
    from spc.ingest.csv_log import read_log
    from spc.ingest.event_log import read_events
    from spc.monitor import monitor_stream

    if volume is None:
        raise InputError("the bath's volume is not known; give --volume, such as --volume '120 L'")
    litres, checks, at = volume_in_litres(volume), load_catalogue(catalogue), zone_named(zone)
    read = read_log(log, checks, zone=at, dates=dates)
    happened = read_events(events, checks, zone=at, dates=dates) if events is not None else None
    key = bath_named(read.streams, checks.checks, line, position)
    result = monitor_stream(read.streams[key], happened.events if happened else (), checks.checks[key.check])
    found = dose_of_bath(result, litres, now=datetime.now(UTC), target=target)
    unread = (read.rows.quarantined, happened.rows.quarantined if happened else 0)
    if as_json:
        from spc.as_json.dose import dose_json

        echo_json(dose_json(found, read.zone, unread=unread))
    else:
        from spc.printed.dose import dose_printed

        console().print(dose_printed(found, read.zone, unread=unread))
