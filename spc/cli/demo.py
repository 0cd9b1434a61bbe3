"""The command of the demo line: `spc demo`."""

from pathlib import Path
from typing import Annotated

import typer

from spc.cli.given import zone_named
from spc.cli.scan import scan
from spc.cli.serve import show_board


def add_commands(app: typer.Typer) -> None:
    """Add the command of the demo line to `app`."""
    app.command()(demo)


def demo(
    headless: Annotated[bool, typer.Option("--headless", help="Print the demo line's summary and end.")] = False,
    folder: Annotated[
        Path | None,
        typer.Option(
            help="Where to lay the demo's files. [default: a temporary folder, removed at the end]", show_default=False
        ),
    ] = None,
    port: Annotated[int, typer.Option(help="Port to listen on; 0 takes a free one.", min=0, max=65535)] = 8050,
    seconds: Annotated[float, typer.Option(help="Seconds between two new readings.", min=0.05)] = 3.0,
) -> None:
    """Lay out the demo line, an invented one, and show it with new readings arriving."""
    from spc.demo import DEMO_ZONE, lay_out
    from spc.demo.folder import demo_folder

    typer.echo("Laying out the demo line: two years of an invented line's logs ...", err=True)
    with demo_folder(folder) as place:
        files = lay_out(place)
        if headless:
            scan(files.log, files.events, catalogue=files.catalogue, zone=DEMO_ZONE)
            return
        from spc.demo.kept import keep
        from spc.demo.writer import Writer

        kept = keep(files)
        typer.echo(f"Its files and its store are in {place}; a new row is written every {seconds:g} s.", err=True)
        writer = Writer(files, seconds=seconds)
        writer.start()
        try:
            show_board(
                log=files.log,
                store=str(kept),
                events=files.events,
                catalogue=files.catalogue,
                zone=zone_named(DEMO_ZONE),
                calendar=files.calendar,
                clock="log",
                title="Demo line (invented)",
                port=port,
            )
        finally:
            writer.stop()
