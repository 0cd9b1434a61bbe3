"""The commands that make paper: `spc review`, `spc evidence`, `spc study plan` and `spc study result`."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, tzinfo
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from spc.cli.audit import read_audit
from spc.cli.formats import as_the_site_writes
from spc.cli.given import day_given, moment_given, zone_named
from spc.cli.options import (
    AsJson,
    CalendarFile,
    CatalogueFile,
    CheckKey,
    Dates,
    Events,
    InstrumentFile,
    Line,
    LogOrStore,
    Now,
    Position,
    StoreForLog,
    Zone,
)
from spc.cli.terminal import console, echo_json
from spc.errors import InputError, SetupError, StoreError

if TYPE_CHECKING:
    from spc.capability.indices import Specification
    from spc.failures import FailureRecord
    from spc.report.document import Document
    from spc.review import SignalStep


class PaperSize(Enum):
    """What a report is printed on."""

    A4 = "a4"
    LETTER = "letter"


Outs = Annotated[
    list[Path] | None,
    typer.Option("--out", help="File to write, ending in .html or .pdf; may be given again.", show_default=False),
]
Paper = Annotated[PaperSize, typer.Option("--paper", help="Size of the pages.")]
Site = Annotated[str, typer.Option(help="Name of the site, for the head of each page.")]
TablesTo = Annotated[
    Path | None, typer.Option("--tables", help="Folder for every table, as CSV and XLSX.", show_default=False)
]
PicturesTo = Annotated[
    Path | None, typer.Option("--pictures", help="Folder for every chart, as SVG and PNG.", show_default=False)
]
First = Annotated[
    str | None, typer.Option("--from", help="First day, such as 2025-03-04. [default: a quarter before the last]")
]
Last = Annotated[str | None, typer.Option("--to", help="Last day. [default: that of the last reading]")]
Mark = Annotated[float, typer.Option(help="What the lower confidence limit of Ppk is held against.")]

study_app = typer.Typer(help="Plan a measurement study, or tell what one says.", no_args_is_help=True)


def add_commands(app: typer.Typer) -> None:
    """Add the commands that make paper to `app`."""
    app.command()(as_the_site_writes(review))
    app.command()(as_the_site_writes(evidence))
    study_app.command("plan")(plan)
    study_app.command("result")(result)
    app.add_typer(study_app, name="study")


def review(
    log: LogOrStore = None,
    out: Outs = None,
    store: StoreForLog = None,
    first: First = None,
    last: Last = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    mark: Mark = 1.33,
    studies: Annotated[
        list[Path] | None,
        typer.Option("--study", help="Sheet of a measurement study to add; may be given again.", show_default=False),
    ] = None,
    instruments: InstrumentFile = None,
    tables: TablesTo = None,
    pictures: PicturesTo = None,
    paper: Paper = PaperSize.A4,
    site: Site = "Process control",
    events: Events = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    dates: Dates = None,
    now: Now = None,
    as_json: AsJson = False,
) -> None:
    """Review a period: what is capable, stable, moving, overdue, what changed, what to do first, with the evidence."""
    from spc.audit import Wanted
    from spc.report.gather import Asked, records_of, review_of, steps_of

    if as_json and (out or tables or pictures):
        raise InputError("--json prints the review; give --out, --tables and --pictures without it")
    wanted = Wanted(line, check, position)
    asked = Asked(wanted, day_given(first, "--from"), day_given(last, "--to"), mark=mark, instruments=instruments)
    targets = _targets(out, tables, pictures)
    read = read_audit(log, store, events, catalogue, calendar, zone, dates, now)
    steps: tuple[SignalStep, ...] = ()
    records: tuple[FailureRecord, ...] | None = None
    if log is None:
        from spc.store.store import Store

        with Store.open(store, must_exist=True) as kept:
            steps, records = steps_of(kept), records_of(kept, read)
    with _progress("reviewing", len(read.streams)) as step:
        found = review_of(read, asked, steps=steps, records=records, progress=lambda key: step(str(key)))
    if as_json:
        from spc.report.review_json import review_json

        echo_json(review_json(found))
    elif not targets:
        from spc.printed.review import review_printed

        console().print(review_printed(found))
    if targets or tables or pictures:
        from spc.report.review_pages import review_document
        from spc.study import read_study, study_result

        known = [study_result(read_study(path), what=path.stem, title=path.stem) for path in studies or ()]
        _write(review_document(found, site=site, studies=known), targets, paper, tables, pictures)


def evidence(
    store: StoreForLog = None,
    out: Outs = None,
    first: First = None,
    last: Last = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    tables: TablesTo = None,
    paper: Paper = PaperSize.A4,
    site: Site = "Process control",
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    now: Now = None,
) -> None:
    """Put together what an audit asks for: ledger, readings, corrections, limits, sign-offs, the trail's head."""
    from spc.audit import Wanted, audit_store
    from spc.report.evidence_pages import evidence_document
    from spc.report.gather import Asked, period_of
    from spc.store.store import Store

    targets = _targets(out, tables, None)
    if not targets and tables is None:
        raise InputError("nothing to write; give --out FILE.html or FILE.pdf, or --tables FOLDER")
    moment = moment_given(now, "--now") or datetime.now(UTC)
    wanted = Wanted(line, check, position)
    asked = Asked(wanted, day_given(first, "--from"), day_given(last, "--to"))
    with Store.open(store, must_exist=True) as kept:
        read = audit_store(kept, catalogue=catalogue, calendar=calendar, zone=zone_named(zone), now=moment)
        results = read.monitored(key for key in read.streams if wanted.holds(key))
        document = evidence_document(kept, read, results, period_of(asked, results, read), site=site)
    _write(document, targets, paper, tables, None)


def plan(
    parts: Annotated[int, typer.Option(help="How many parts, tubes or places are read.", min=2)] = 10,
    operators: Annotated[
        str, typer.Option(help="Who reads, joined by commas: names or marks.")
    ] = "Operator 1,Operator 2,Operator 3",
    rounds: Annotated[int, typer.Option(help="How often each reads each part.", min=2)] = 2,
    seed: Annotated[int, typer.Option(help="Seed of the order; the same seed gives the same plan.", min=0)] = 1,
    what: Annotated[str, typer.Option(help="What is read.")] = "Reading",
    unit: Annotated[str, typer.Option(help="Unit of the readings.")] = "",
    out: Outs = None,
    paper: Paper = PaperSize.A4,
    site: Site = "Process control",
) -> None:
    """Draw the order of a measurement study by lot: as CSV to fill in, or with --out as a sheet to print."""
    from spc.report.study_pages import plan_document
    from spc.study import plan_study

    targets = _targets(out, None, None)
    names = [str(number) for number in range(1, parts + 1)]
    found = plan_study(names, operators.split(","), rounds, seed=seed)
    if not targets:
        typer.echo(found.csv, nl=False)
        return
    now = datetime.now(UTC)
    _write(plan_document(found, site=site, what=what, unit=unit, now=now, zone=_here()), targets, paper, None, None)


def result(
    file: Annotated[
        Path, typer.Argument(help="Sheet with the columns part, operator, value: CSV.", show_default=False)
    ],
    what: Annotated[str, typer.Option(help="What was read.")] = "Reading",
    unit: Annotated[str, typer.Option(help="Unit of the readings.")] = "",
    lower: Annotated[float | None, typer.Option(help="Lower acceptance limit.", show_default=False)] = None,
    upper: Annotated[float | None, typer.Option(help="Upper acceptance limit.", show_default=False)] = None,
    resolution: Annotated[
        float | None, typer.Option(help="Smallest step a reading can be written in.", show_default=False)
    ] = None,
    out: Outs = None,
    tables: TablesTo = None,
    pictures: PicturesTo = None,
    paper: Paper = PaperSize.A4,
    site: Site = "Process control",
) -> None:
    """Tell what a measurement study says: repeatability, operators, parts, categories that can be told apart."""
    from spc.report.study_pages import study_document
    from spc.study import read_study, study_result

    targets = _targets(out, tables, pictures)
    found = study_result(
        read_study(file), what=what, unit=unit, title=file.stem, specification=_limits(lower, upper),
        resolution=resolution,
    )  # fmt: skip
    if targets or tables or pictures:
        document = study_document(found, site=site, now=datetime.now(UTC), zone=_here())
        _write(document, targets, paper, tables, pictures)
        return
    from spc.printed import printed

    console().print(printed(found.study, unit=unit))
    for note in found.readings.notes:
        typer.echo(note)


def _limits(lower: float | None, upper: float | None) -> "Specification | None":
    from spc.capability.indices import Specification

    return None if lower is None and upper is None else Specification(lower, upper)


def _here() -> tzinfo:
    from spc.ingest.dates import machine_zone

    return machine_zone()


def _targets(out: list[Path] | None, tables: Path | None, pictures: Path | None) -> tuple[Path, ...]:
    """Return the files to write; refuse one of no known kind before anything is read."""
    for path in out or ():
        if path.suffix.casefold() not in (".html", ".pdf"):
            raise InputError(f"--out {path}: a report is HTML or PDF; let the name end in .html or .pdf")
        if not path.absolute().parent.is_dir():
            raise InputError(f"--out {path}: there is no folder {path.absolute().parent}; make it first")
    for option, folder in (("--tables", tables), ("--pictures", pictures)):
        if folder is not None and folder.exists() and not folder.is_dir():
            raise InputError(f"{option} {folder}: is a file; name a folder")
    return tuple(out or ())


def _write(
    document: "Document", targets: tuple[Path, ...], paper: PaperSize, tables: Path | None, pictures: Path | None
) -> None:
    """Write a report in every form asked for; without a PDF library the HTML stands all the same."""
    from spc.report.html import document_html
    from spc.report.pdf import pdf_of

    size: Literal["a4", "letter"] = "a4" if paper is PaperSize.A4 else "letter"
    html = ""
    if targets:
        with _progress("writing", len(document.all_sections)) as step:
            html = document_html(document, paper=size, drawn=step)
    lacking = ""
    for path in sorted(targets, key=lambda path: path.suffix.casefold() == ".pdf"):
        if path.suffix.casefold() == ".html":
            _save(path, html.encode("utf-8"))
            continue
        try:
            with _progress("laying out the pages", None):
                pages = pdf_of(html)
        except SetupError as error:
            lacking = str(error)
            beside = path.with_suffix(".html")
            if beside not in targets:
                _save(beside, html.encode("utf-8"))
            continue
        _save(path, pages)
    if tables is not None:
        from spc.report.tables import write_tables

        typer.echo(f"{write_tables(document, tables)} tables in {tables}")
    if pictures is not None:
        from spc.report.pictures import write_pictures

        typer.echo(f"{write_pictures(document, pictures)} charts in {pictures}")
    if lacking:
        raise SetupError(lacking)


def _save(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise StoreError(f"{path}: cannot be written ({error.strerror}); name another file") from None
    typer.echo(f"{path}: {len(content) / 1e6:.1f} MB")


@contextmanager
def _progress(what: str, steps: int | None) -> Iterator[Callable[[str], None]]:
    """Show how far it is, on standard error and only on a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    said, now = (TextColumn(form, markup=False) for form in ("{task.description}", "{task.fields[now]}"))
    columns = (said, BarColumn(), now, TimeElapsedColumn())
    terminal = Console(stderr=True)
    with Progress(*columns, console=terminal, transient=True, disable=not terminal.is_terminal) as progress:
        task = progress.add_task(what, total=steps, now="")

        def step(name: str) -> None:
            progress.update(task, advance=1, now=name)

        yield step
