"""`spc …`: one command a question."""

import json
import sys
from datetime import UTC, datetime, tzinfo
from enum import Enum
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from typer.exceptions import TyperException

from spc.errors import InputError, SpcError

app = typer.Typer(
    help="Process control for wet fluorescent magnetic particle testing lines.",
    epilog="It accepts or rejects no part: the written procedure, local codes and the responsible Level 3 decide.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

REFUSED = 2
WIDTH_IN_A_FILE = 140


class FailOn(Enum):
    """What makes a command end with exit code 1."""

    FAILURE = "failure"
    SIGNAL = "signal"


Log = Annotated[Path, typer.Argument(help="Check log: CSV, one row a reading.", show_default=False)]
Events = Annotated[Path | None, typer.Option(help="Event file: CSV, one row for each thing done to the line.")]
CatalogueFile = Annotated[
    Path | None, typer.Option("--catalogue", help="The site's catalogue (TOML) over the starter's.")
]
Zone = Annotated[
    str | None,
    typer.Option(
        help="Time zone of times without an offset, such as Europe/Vienna. [default: this machine's]",
        show_default=False,
    ),
]
Dates = Annotated[
    str | None,
    typer.Option(
        help="Form of dates that are not ISO 8601: dmy, mdy, or a pattern such as %d.%m.%Y.", show_default=False
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Host = Annotated[str, typer.Option(help="Address to listen on; 127.0.0.1 is this machine alone.")]
Port = Annotated[int, typer.Option(help="Port to listen on; 0 takes a free one.", min=0, max=65535)]


@app.callback()
def spc() -> None:
    """Process control for wet fluorescent magnetic particle testing lines."""


@app.command()
def scan(
    log: Log,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
    fail_on: Annotated[
        FailOn | None, typer.Option(help="End with exit code 1 if the log holds one.", show_default=False)
    ] = None,
) -> None:
    """Read a log once: rows, streams, limits, failures, signals, what comes next."""
    from spc.scan import scan as scan_log
    from spc.scan_json import scan_json

    result = scan_log(log, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates)
    if as_json:
        typer.echo(json.dumps(scan_json(result), ensure_ascii=False, allow_nan=False))
    else:
        from rich.console import Console

        from spc.scan_print import print_scan

        width = None if sys.stdout.isatty() else WIDTH_IN_A_FILE
        print_scan(result, Console(highlight=False, width=width), now=datetime.now(UTC))
    failed = any(stream.failures for stream in result.streams)
    signalled = any(stream.signals for stream in result.streams)
    if (fail_on is FailOn.FAILURE and failed) or (fail_on is FailOn.SIGNAL and (failed or signalled)):
        raise typer.Exit(1)


@app.command()
def serve(
    follow: Annotated[Path, typer.Option(help="Check log to show and to follow as it grows.", show_default=False)],
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    host: Host = "127.0.0.1",
    port: Port = 8050,
) -> None:
    """Show the dashboard on a log and follow it: a row appended to the file is on the screen at once."""
    from dashboard.server import serve as serve_dashboard
    from dashboard.settings import Settings

    serve_dashboard(
        Settings(
            host=host, port=port, log=follow, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates
        )
    )


@app.command()
def demo(
    headless: Annotated[bool, typer.Option("--headless", help="Print the demo line's summary and end.")] = False,
    folder: Annotated[
        Path | None,
        typer.Option(help="Where to lay the demo's files. [default: a new temporary folder]", show_default=False),
    ] = None,
    port: Port = 8050,
    seconds: Annotated[float, typer.Option(help="Seconds between two new readings.", min=0.05)] = 3.0,
) -> None:
    """Lay out the demo line, an invented one, and show it with new readings arriving."""
    from spc.demo import DEMO_ZONE, lay_out

    typer.echo("Laying out the demo line: two years of an invented line's logs ...", err=True)
    files = lay_out(folder)
    if headless:
        scan(files.log, files.events, files.catalogue, DEMO_ZONE)
        return
    from dashboard.server import serve as serve_dashboard
    from dashboard.settings import Settings
    from spc.demo.writer import Writer

    typer.echo(f"Its files are in {files.log.parent}; a new row is written every {seconds:g} s.", err=True)
    settings = Settings(
        log=files.log,
        events=files.events,
        catalogue=files.catalogue,
        zone=zone_named(DEMO_ZONE),
        title="Demo line (invented)",
        port=port,
    )
    writer = Writer(files, seconds=seconds)
    writer.start()
    try:
        serve_dashboard(settings)
    finally:
        writer.stop()


def zone_named(name: str | None) -> tzinfo | None:
    """Return the named time zone, or None."""
    if name is None:
        return None
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise InputError(f"--zone {name!r} is no time zone; name one such as Europe/Vienna or UTC") from None


def main() -> NoReturn:
    """Run the command line; a refusal is one line on standard error and exit code 2."""
    try:
        code = app(standalone_mode=False)
    except (SpcError, TyperException) as error:
        message = error.format_message() if isinstance(error, TyperException) else str(error)
        refuse(message)
    except typer.Abort:
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None
    raise SystemExit(code or 0)


def refuse(message: str) -> NoReturn:
    """Print `message` on one line and end with exit code 2."""
    typer.echo(f"spc: {' '.join(message.split())}", err=True)
    raise SystemExit(REFUSED)
