"""The command of what comes next: `spc forecast`."""

from pathlib import Path
from typing import Annotated

import typer

from spc.cli_audit import AsJson, CatalogueFile, Events, Zone
from spc.cli_formats import as_the_site_writes

Log = Annotated[Path, typer.Argument(help="Check log: CSV or XLSX.", show_default=False)]
Layout = Annotated[
    Path | None, typer.Option(help="Layout of a sheet with a column for each check.", show_default=False)
]
Dates = Annotated[
    str | None, typer.Option(help="Form of dates that are not ISO 8601: dmy, mdy, or a pattern.", show_default=False)
]


def add_commands(app: typer.Typer) -> None:
    """Add the command of what comes next to `app`."""
    app.command()(as_the_site_writes(forecast))


def forecast(
    log: Log,
    events: Events = None,
    layout: Layout = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Tell what comes next on every stream if nothing is done: the risks, and the readings left to a limit."""
    from spc.cli import console, echo_json, zone_named
    from spc.scan import scan

    result = scan(log, events=events, layout=layout, catalogue=catalogue, zone=zone_named(zone), dates=dates)
    if as_json:
        from spc.scan_json import forecasts_json

        echo_json(forecasts_json(result))
    else:
        from spc.printed.forecast import forecast_printed

        console().print(forecast_printed(result.streams, result.zone))
