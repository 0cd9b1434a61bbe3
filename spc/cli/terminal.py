"""What commands print: tables as wide as the terminal, JSON on one line."""

import json
import os
import sys
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from rich.console import Console

WIDTH_IN_A_FILE = 140


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
