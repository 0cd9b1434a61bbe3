"""The options and arguments that commands share: one name, one form, one sentence of help."""

from pathlib import Path
from typing import Annotated, Any

import typer


def quiet(words: str) -> Any:
    """Return an option that has no default worth showing."""
    return typer.Option(help=words, show_default=False)


Log = Annotated[Path, typer.Argument(help="Check log: CSV, one row a reading.", show_default=False)]
SheetOrLog = Annotated[
    Path,
    typer.Argument(help="Check log: CSV or XLSX, one row a reading, or a sheet with --layout.", show_default=False),
]
LogOrStore = Annotated[
    Path | None, typer.Argument(help="Check log: CSV, one row a reading; without it, the store.", show_default=False)
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
StoreAddress = Annotated[
    str | None,
    typer.Option(
        "--store",
        help="Store: a file, or a URL of SQLite or PostgreSQL. [default: $SPC_STORE, else spc.db in the data folder]",
        show_default=False,
    ),
]
By = Annotated[
    str | None, typer.Option(help="Who makes the change. [default: this machine's user]", show_default=False)
]
StoreForLog = Annotated[
    str | None,
    typer.Option(
        "--store",
        help="Store to read in place of a log. [default: $SPC_STORE, else spc.db in the data folder]",
        show_default=False,
    ),
]
CalendarFile = Annotated[
    Path | None,
    typer.Option("--calendar", help="The site's calendar (TOML): shifts, closed days. [default: around the clock]"),
]
InstrumentFile = Annotated[
    Path | None,
    typer.Option("--instruments", help="The site's instruments and calibrations (TOML).", show_default=False),
]
Now = Annotated[str | None, typer.Option(help="Moment to answer for, such as 2025-03-04T06:10. [default: the clock's]")]
Line = Annotated[str | None, typer.Option(help="This line alone.", show_default=False)]
CheckKey = Annotated[str | None, typer.Option("--check", help="This check alone.", show_default=False)]
Position = Annotated[str | None, typer.Option(help="This position alone.", show_default=False)]
