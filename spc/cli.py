"""`spc …`: one command a question."""

import io
import json
import os
import sys
from datetime import UTC, datetime, tzinfo
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NoReturn

import typer
from typer.exceptions import TyperException

from spc import cli_audit, cli_demo, cli_fleet, cli_forecast, cli_record, cli_report, cli_setup, cli_store, cli_user
from spc.cli_formats import as_the_site_writes
from spc.errors import InputError, SpcError

if TYPE_CHECKING:
    from rich.console import Console

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


def _quiet(words: str) -> Any:
    """Return an option that has no default worth showing."""
    return typer.Option(help=words, show_default=False)


Log = Annotated[Path, typer.Argument(help="Check log: CSV, one row a reading.", show_default=False)]
SheetOrLog = Annotated[
    Path,
    typer.Argument(help="Check log: CSV or XLSX, one row a reading, or a sheet with --layout.", show_default=False),
]
LayoutFile = Annotated[
    Path | None,
    typer.Option("--layout", help="Layout (TOML) of a sheet with a column for each check.", show_default=False),
]
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


def _tell_version(asked: bool) -> None:
    """Print the version of the program and end."""
    if asked:
        from importlib.metadata import version

        typer.echo(version("mt-process-control"))
        raise typer.Exit


@app.callback()
def spc(
    version: Annotated[
        bool, typer.Option("--version", callback=_tell_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Process control for wet fluorescent magnetic particle testing lines."""


@app.command()
@as_the_site_writes
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
    from spc.scan import scan as scan_log
    from spc.scan_json import scan_json

    result = scan_log(log, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates, layout=layout)
    if as_json:
        echo_json(scan_json(result))
    else:
        from spc.scan_print import print_scan, shown_scan

        print_scan(shown_scan(result), console(), now=datetime.now(UTC))
    failed = any(stream.failures for stream in result.streams)
    signalled = any(stream.signals for stream in result.streams)
    if (fail_on is FailOn.FAILURE and failed) or (fail_on is FailOn.SIGNAL and (failed or signalled)):
        raise typer.Exit(1)


@app.command()
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


@app.command()
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


@app.command()
def serve(
    store: cli_store.StoreAddress = None,
    follow: Annotated[
        Path | None,
        typer.Option(help="Check log to follow as it grows; without --store, it alone is shown.", show_default=False),
    ] = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    calendar: Annotated[
        Path | None, _quiet("When the site works (TOML), for checks that are overdue. [default: around the clock]")
    ] = None,
    fleet: Annotated[Path | None, _quiet("Folder of results of `spc fleet --out`, for the fleet page.")] = None,
    host: Host = "127.0.0.1",
    port: Port = 8050,
    behind_proxy: Annotated[
        str | None, _quiet("Name by which browsers know a proxy on this machine that lets them in over TLS.")
    ] = None,
    log_format: Annotated[
        Literal["plain", "json"] | None,
        _quiet("Log every request to the standard error: plain or json. [default: what goes wrong alone]"),
    ] = None,
    idle: Annotated[
        float, typer.Option(help="Minutes without a touch after which a signed-in screen asks who is there.", min=1)
    ] = 15.0,
) -> None:
    """Show the dashboard on the store, or on a log: a row appended to the file is on the screen at once."""
    show_board(
        log=follow,
        store=cli_store.to_show(store, follow),
        events=events,
        catalogue=catalogue,
        zone=zone_named(zone),
        dates=dates,
        calendar=calendar,
        fleet=fleet,
        host=host,
        port=port,
        behind_proxy=behind_proxy,
        log_format=log_format,
        idle_minutes=idle,
    )


def show_board(**settings: Any) -> None:
    """Show the dashboard until it is asked to end; `settings` as `dashboard.settings.Settings` has them."""
    from dashboard.server import serve as serve_dashboard
    from dashboard.settings import Settings

    serve_dashboard(Settings(**settings))


@app.command()
def arl(
    check: Annotated[str, typer.Option(help="Key of the check, such as bath_concentration.", show_default=False)],
    sigma: Annotated[float | None, _quiet("Sigma of its control limits, in the unit of its chart.")] = None,
    log: Annotated[Path | None, _quiet("Check log to take sigma from, in place of --sigma.")] = None,
    line: Annotated[str | None, _quiet("Line whose stream to take from the log.")] = None,
    position: Annotated[str | None, _quiet("Position whose stream to take from the log.")] = None,
    shift: Annotated[
        list[float] | None,
        _quiet("Shift to look for, in the unit of its chart; may be given again. [default: 1, 2 and 3 sigma]"),
    ] = None,
    rules: Annotated[
        list[str] | None,
        _quiet("Run rules and rule sets, joined by commas; may be given again. [default: the catalogue's]"),
    ] = None,
    compare: Annotated[str | None, _quiet("Rule sets to put beside them, joined by commas, or all.")] = None,
    every: Annotated[str | None, _quiet("Time from check to check, such as 8h. [default: the catalogue's]")] = None,
    per_year: Annotated[float | None, _quiet("Checks in a year, in place of the time between them.")] = None,
    correlation: Annotated[float, typer.Option(help="Correlation of a reading and the one before.")] = 0.0,
    seed: Annotated[int, typer.Option(help="Seed of what has to be simulated.", min=0)] = 1,
    events: Events = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    as_json: AsJson = False,
) -> None:
    """Tell what run rules cost a check: false alarms a year, checks and days until a shift is seen."""
    import numpy as np

    from spc.catalogue.load import load_catalogue
    from spc.rules_cost import compared_rules, every_given, given_sigma, rules_cost, sigma_of_stream, stream_named

    if (sigma is None) == (log is None):
        raise InputError("sigma is not known; give one of --sigma and --log, and not both")
    if log is None and (line, position, events) != (None, None, None):
        raise InputError("--line, --position and --events belong to --log; give it in place of --sigma")
    found = load_catalogue(catalogue).named(check)
    if log is None:
        of_chart = given_sigma(sigma or 0.0)
    else:
        from spc.scan import scan as scan_log

        scanned = scan_log(log, events=events, catalogue=catalogue, zone=zone_named(zone), dates=dates)
        stream = stream_named(scanned.streams, check, line=line, position=position)
        found, of_chart = stream.check, sigma_of_stream(stream)
    cost = rules_cost(
        every_given(found, every),
        compared_rules(rules or (), compare, found),
        shift or (),
        sigma=of_chart,
        generator=np.random.default_rng(seed),
        per_year=per_year,
        lag_correlation=correlation,
    )
    if as_json:
        from spc.rules_cost_json import rules_cost_json

        echo_json(rules_cost_json(cost))
    else:
        from spc.printed.rules_cost import rules_cost_printed

        console().print(rules_cost_printed(cost))


@app.command()
@as_the_site_writes
def dose(
    log: Log,
    volume: Annotated[
        str | None, _quiet("What the tank holds at its mark, such as '120 L', '32 US gal' or '26 imp gal'.")
    ] = None,
    events: Events = None,
    line: Annotated[str | None, _quiet("Line of the bath, where the log has several.")] = None,
    position: Annotated[str | None, _quiet("Position of the bath, where the line has several.")] = None,
    target: Annotated[float | None, _quiet("Level to aim at, in mL/100 mL. [default: 0.2]")] = None,
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
        from spc.dose_json import dose_json

        echo_json(dose_json(found, read.zone, unread=unread))
    else:
        from spc.printed.dose import dose_printed

        console().print(dose_printed(found, read.zone, unread=unread))


cli_store.add_commands(app)
cli_audit.add_commands(app)
cli_setup.add_commands(app)
cli_demo.add_commands(app)
cli_record.add_commands(app)
cli_report.add_commands(app)
cli_forecast.add_commands(app)
cli_user.add_commands(app)
cli_fleet.add_commands(app)


def console() -> "Console":
    """Return where results are printed: as wide as the terminal, or as a file can well be."""
    from rich.console import Console

    class Printed(Console):
        """A reader who has seen enough (`spc scan LOG | head`) ends the printing and leaves the exit code as it is."""

        def on_broken_pipe(self) -> None:
            self.quiet = True
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

    width = None if sys.stdout.isatty() else WIDTH_IN_A_FILE
    return Printed(highlight=False, markup=False, emoji=False, width=width)  # "[/b]" in a log is words, not looks


def echo_json(value: object) -> None:
    """Print `value` as JSON."""
    typer.echo(json.dumps(value, ensure_ascii=False, allow_nan=False))


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
    _write_any_sign()
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


def _write_any_sign() -> None:
    """Write UTF-8 into files and pipes, whatever this machine's own encoding; on a terminal, show what it can."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            if stream.isatty():
                stream.reconfigure(errors="replace")
            else:
                stream.reconfigure(encoding="utf-8")


def refuse(message: str) -> NoReturn:
    """Print `message` on one line and end with exit code 2."""
    typer.echo(f"spc: {' '.join(message.split())}", err=True)
    raise SystemExit(REFUSED)
