"""The commands that keep the record: `spc import`, `verify`, `backup`, `restore`, `export`, `limits`."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from spc.cli.given import person, zone_named
from spc.cli.options import AsJson, By, CatalogueFile, Dates, StoreAddress, Zone
from spc.cli.terminal import echo_json
from spc.errors import InputError, StoreError

if TYPE_CHECKING:
    from spc.store.files import Imported
    from spc.store.intake import Progress
    from spc.store.store import Store


def add_commands(app: typer.Typer) -> None:
    """Add the commands of the store to `app`."""
    app.command("import")(import_files)
    for command in (verify, backup, restore, export, limits):
        app.command()(command)


def import_files(
    logs: Annotated[
        list[Path] | None,
        typer.Argument(help="Check logs, or folders that spc export wrote.", show_default=False),
    ] = None,
    store: StoreAddress = None,
    events: Annotated[list[Path] | None, typer.Option(help="Event file; may be given again.")] = None,
    layout: Annotated[
        Path | None,
        typer.Option(help="Layout (TOML) of the logs, if they are sheets with a column for each check."),
    ] = None,
    catalogue: CatalogueFile = None,
    zone: Zone = None,
    dates: Dates = None,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Read logs and events into the store; run again, it adds nothing."""
    from spc.catalogue.load import load_catalogue
    from spc.store.files import import_events, import_log

    if not logs and not events:
        raise InputError("there is nothing to import; name a check log, or an event file with --events")
    checks, at, now, who = load_catalogue(catalogue), zone_named(zone), datetime.now(UTC), person(by)
    done = []
    with opened(store) as kept:
        for path in logs or ():
            with progress_of(path) as progress:
                done.append(
                    import_log(
                        kept, path, checks, zone=at, dates=dates, who=who, now=now, progress=progress, layout=layout
                    )
                )
        for path in events or ():
            done.append(import_events(kept, path, checks, zone=at, dates=dates, who=who, now=now))
        name = kept.name
    if as_json:
        echo_json({"store": name, "files": [imported_json(each) for each in done]})
    else:
        for each in done:
            print_imported(each)


def imported_json(imported: "Imported") -> dict[str, object]:
    """Return what became of a file, as JSON can hold it."""
    rows = imported.rows
    return {
        "file": imported.file,
        "what": imported.what,
        "rows": {
            "read": rows.read,
            "accepted": rows.accepted,
            "present": rows.present,
            "duplicate": rows.duplicate,
            "quarantined": rows.quarantined,
        },
        "newly_quarantined": rows.newly_quarantined,
        "quarantine": [
            {"row": row.row, "column": row.column, "text": row.text, "reason": row.reason}
            for row in imported.quarantine
        ],
        "notes": list(imported.notes),
    }


def print_imported(imported: "Imported") -> None:
    """Print what became of a file."""
    rows = imported.rows
    typer.echo(
        f"{imported.file}: {rows.read} rows read = {rows.accepted} added + {rows.present} in the store before "
        f"+ {rows.duplicate} duplicate + {rows.quarantined} quarantined"
    )
    for note in imported.notes:
        typer.echo(f"  {note}")
    for row in imported.quarantine[:20]:
        typer.echo(f"  row {row.row}, {row.column or 'the row'}: {row.text!r}: {row.reason}")
    if len(imported.quarantine) > 20:
        typer.echo(f"  and {len(imported.quarantine) - 20} more rows; --json gives all")


def verify(
    store: StoreAddress = None,
    digest: Annotated[
        str | None, typer.Option(help="Digest written down earlier that must still stand in the trail.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Reckon the whole trail anew and name the first entry that does not fit."""
    with opened(store, must_exist=True) as kept:
        found = kept.verify()
        noted = kept.digest_at(digest) if digest is not None else None
        name = kept.name
    misfit = found.misfit
    lost = digest is not None and noted is None
    if as_json:
        echo_json(
            {
                "store": name,
                "fits": misfit is None and not lost,
                "entries": found.entries,
                "readings": found.readings,
                "digest": found.digest,
                "misfit": misfit and {"entry": misfit.entry, "reading": misfit.reading, "words": misfit.words},
                "noted_entry": noted,
            }
        )
    elif misfit is None and not lost:
        typer.echo(f"{name}: {found.entries} entries and {found.readings} readings, all as they were written.")
        if noted is not None:
            typer.echo(f"The digest noted earlier still stands: it is that of entry {noted}.")
        typer.echo(f"The last entry has digest {found.digest}")
        typer.echo("Write it down elsewhere: --digest tells later whether it still stands, so that no end was cut off.")
    if misfit is not None:
        raise StoreError(
            f"{name}: entry {misfit.entry} of the trail does not fit: {misfit.words}; keep the store as it is"
        )
    if lost:
        raise StoreError(f"{name}: no entry has the digest {digest}: the trail was cut off or written anew since then")


def backup(
    file: Annotated[Path, typer.Argument(help="File to write; it must not be there yet.", show_default=False)],
    store: StoreAddress = None,
) -> None:
    """Write the store as it stands into one file, while people work."""
    from spc.store.backup import backup as back_up

    with opened(store, must_exist=True) as kept:
        done = back_up(kept, file)
    typer.echo(f"{file}: {done.entries} entries and {done.readings} readings, verified. Digest {done.digest}")


def restore(
    file: Annotated[Path, typer.Argument(help="A backup.", show_default=False)],
    store: StoreAddress = None,
) -> None:
    """Take a backup into a store that is empty or not there yet."""
    from spc.store.backup import restore as take_back

    with opened(store) as into:
        done = take_back(file, into)
        name = into.name
    typer.echo(f"{name}: {done.entries} entries and {done.readings} readings restored.")


def export(
    folder: Annotated[Path, typer.Argument(help="Folder to write; it must not be there yet.", show_default=False)],
    store: StoreAddress = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write each file as Parquet as well.")] = False,
) -> None:
    """Write everything the store holds as open files, which import again without loss."""
    from spc.store.export import export as write_out

    with opened(store, must_exist=True) as kept:
        counts = write_out(kept, folder, parquet=parquet)
    for name, count in counts.items():
        typer.echo(f"{folder / name}.csv: {count} rows")


def limits(
    catalogue: CatalogueFile = None,
    store: StoreAddress = None,
    valid_from: Annotated[
        str | None, typer.Option(help="First moment at which the limits hold, such as 2025-03-04.", show_default=False)
    ] = None,
    confirmed_by: Annotated[
        str | None, typer.Option(help="Who confirms them: the responsible Level 3.", show_default=False)
    ] = None,
    why: Annotated[str, typer.Option(help="Why they change.", show_default=False)] = "",
    zone: Zone = None,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Keep the catalogue's confirmed limits as decisions from a day on; without a catalogue, list those that stand."""
    from spc.store.entries import LimitDecision, body_of
    from spc.store.limits import decisions_of

    with opened(store, must_exist=catalogue is None) as kept:
        standing = [entry.record for entry in kept.records(LimitDecision)]
        if catalogue is not None:
            from spc.catalogue.load import load_catalogue

            if valid_from is None or not (confirmed_by or "").strip():
                raise InputError("a decision needs its day and its person; give --valid-from and --confirmed-by")
            new = decisions_of(
                load_catalogue(catalogue),
                standing,
                valid_from=moment(valid_from, zone_named(zone)),
                confirmed_by=str(confirmed_by),
                why=why,
            )
            if new:
                kept.append(*new, who=person(by), now=datetime.now(UTC))
            standing += new
    if as_json:
        echo_json([body_of(each) for each in standing])
        return
    from spc.ingest.dates import machine_zone
    from spc.wording import time_text

    site = zone_named(zone) or machine_zone()
    for each in standing:
        place = " · ".join(part for part in (each.line, each.check, each.position) if part)
        held = each.acceptance
        typer.echo(
            f"{place}: from {time_text(each.valid_from, site)} {held.document}, revision {held.revision}, "
            f"confirmed by {each.confirmed_by}"
        )
    if not standing:
        typer.echo("No limits are decided; every reading is judged by the catalogue as it stands.")


def moment(text: str, zone: Any) -> datetime:
    """Return an ISO 8601 date or time; one without an offset in `zone`."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"--valid-from {text!r} is no ISO 8601 date; write one such as 2025-03-04") from None
    return at if at.tzinfo is not None else at.replace(tzinfo=zone) if zone is not None else at.astimezone()


def opened(store: str | None, *, must_exist: bool = False) -> "Store":
    """Return the store, open."""
    from spc.store.store import Store

    return Store.open(store, must_exist=must_exist)


@contextmanager
def progress_of(path: Path) -> "Iterator[Progress | None]":
    """Give what shows on a terminal how far an import is; None elsewhere."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich import progress
    from rich.console import Console

    columns = (
        progress.TextColumn("{task.description}", markup=False),
        progress.BarColumn(),
        progress.MofNCompleteColumn(),
        progress.TimeRemainingColumn(),
    )
    with progress.Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(path.name, total=None)
        yield lambda looked, total: bar.update(task, completed=looked, total=total)
