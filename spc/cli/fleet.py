"""The command for many lines at once: `spc fleet`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from spc.cli.given import zone_named
from spc.cli.options import AsJson, CatalogueFile, Zone
from spc.cli.terminal import console, echo_json
from spc.errors import InputError

if TYPE_CHECKING:
    from spc.fleet import Fleet

Folder = Annotated[
    Path, typer.Argument(help="Folder of readings as Parquet: site=…/line=…/check=….", show_default=False)
]
Out = Annotated[Path | None, typer.Option(help="Folder to write the results to, as Parquet files.", show_default=False)]
Scheduler = Annotated[
    str | None, typer.Option(help="Address of a Dask scheduler, such as tcp://10.0.0.5:8786.", show_default=False)
]
Workers = Annotated[
    int | None,
    typer.Option(
        help="Processes on this machine; 0 for this one alone. [default: its cores]", show_default=False, min=0
    ),
]
Add = Annotated[
    Path | None, typer.Option(help="Check log whose readings to add to the folder first.", show_default=False)
]
Site = Annotated[str | None, typer.Option(help="Site that the added log is of.", show_default=False)]


def add_commands(app: typer.Typer) -> None:
    """Add the command for many lines to `app`."""
    app.command()(fleet)


def fleet(
    folder: Folder,
    out: Out = None,
    scheduler: Scheduler = None,
    workers: Workers = None,
    add: Add = None,
    site: Site = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    as_json: AsJson = False,
) -> None:
    """Monitor the lines of many sites: a row a stream, every signal, and what drifts where."""
    from spc.catalogue.load import load_catalogue
    from spc.fleet import add_streams, partitions_in, run_fleet, write_fleet

    checks = load_catalogue(catalogue)
    if (add is None) != (site is None):
        raise InputError("--add and --site belong together: the log, and the site it is of")
    if add is not None and site is not None:
        from spc.ingest.log_file import read_log_file

        add_streams(folder, site, read_log_file(add, checks, zone=zone_named(zone)).streams)
    found = run_fleet(partitions_in(folder), checks, scheduler=scheduler, workers=workers)
    if out is not None:
        write_fleet(found, out)
    if as_json:
        echo_json(fleet_json(found))
    else:
        from spc.printed.fleet import fleet_printed

        console().print(fleet_printed(found, out))


def fleet_json(found: "Fleet") -> dict[str, Any]:
    """Return the run as JSON-ready values: every signal stands in the Parquet files, here their number."""
    from dataclasses import asdict

    from spc.fleet import league

    return {
        "readings": found.readings,
        "streams": [asdict(stream) for stream in found.streams],
        "signals": len(found.signals),
        "league": [asdict(row) for row in league(found)],
        "faults": [asdict(fault) for fault in found.faults],
    }
