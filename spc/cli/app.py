"""The command line as a whole: its commands in the order of `spc --help`, and how a refusal ends."""

import io
import sys
from typing import Annotated, NoReturn

import typer
from typer.exceptions import TyperException

from spc.cli import audit, demo, dose, fleet, forecast, record, report, rules_cost, scan, serve, setup, store, user
from spc.errors import SpcError

app = typer.Typer(
    help="Process control for wet fluorescent magnetic particle testing lines.",
    epilog="It accepts or rejects no part: the written procedure, local codes and the responsible Level 3 decide.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

REFUSED = 2


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


for commands in (scan, serve, rules_cost, dose, store, audit, setup, demo, record, report, forecast, user, fleet):
    commands.add_commands(app)


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
