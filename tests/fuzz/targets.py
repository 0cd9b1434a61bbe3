"""What is fed with bad input, and what must hold whatever it is fed.

A target turns bytes into a call of the program. Beside the refusals that belong to it nothing may be raised, every
row is accounted for, and what comes out keeps its own promises: read in pieces as read whole, an address read back
from its own writing, a refusal in one line.
"""

import atexit
import csv
import io
import json
import logging
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from spc.errors import SpcError

Feed = Callable[[bytes], object]

NOW = datetime(2026, 4, 11, 14, 0, tzinfo=UTC)
DATES = (None, "dmy", "mdy", "%d %b %Y %H:%M")
HEADER = b"taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note\n"
EVENT_HEADER = b"at,line,kind,check,position,amount,unit,note\n"


class Broken(AssertionError):
    """A promise that an input made the program break."""


def must(holds: object, words: str) -> None:
    """Raise Broken unless a promise holds."""
    if not holds:
        raise Broken(words)


@contextmanager
def refusals() -> Iterator[None]:
    """Let the program refuse, in one line."""
    try:
        yield
    except SpcError as error:
        must(str(error) and "\n" not in str(error), f"a refusal that is not one line: {str(error)[:200]!r}")


@cache
def folder() -> Path:
    """Return a folder for the files of this run, in memory where there is such a place."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(prefix="fuzz-", dir=memory if memory.is_dir() else None))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place


def written(name: str, data: bytes) -> Path:
    """Return a file that holds `data`."""
    file = folder() / name
    file.write_bytes(data)
    return file


def text_of(data: bytes) -> str:
    """Return any bytes as text."""
    return data.decode("utf-8", "replace")


def catalogue() -> Any:
    """Return the starter catalogue."""
    from spc.catalogue.load import starter

    return starter()


# -- cells and words -------------------------------------------------------------------------------------------------


def number() -> Feed:
    """A cell as a number: finite, or a reason, or none."""
    import math

    from spc.ingest.clean import Number, Reason, parse_number

    def feed(data: bytes) -> None:
        text = text_of(data)
        for delimiter in ",;":
            found = parse_number(text, delimiter=delimiter)
            if isinstance(found, Number):
                must(math.isfinite(found.value), "a number that is not finite")
            elif isinstance(found, Reason):
                must("\n" not in found.text, "a reason that is not one line")

    return feed


def header() -> Feed:
    """The header of a column of a wide sheet: what it means is a check of the catalogue, or nothing."""
    from spc.ingest.headers import header_meaning

    checks = catalogue().checks

    def feed(data: bytes) -> None:
        meaning = header_meaning(text_of(data), checks)
        must(not meaning.check or meaning.check in checks, "a check that nobody has")

    return feed


def remark() -> Feed:
    """A remark searched for events; the events that come of it are read, or quarantined, without a row lost."""
    from spc.catalogue.check import EVENT_KINDS
    from spc.ingest.remarks import Remarks, event_kinds, events_csv, search_remarks
    from spc.records import Remark

    @dataclass(frozen=True)
    class Noted:
        remarks: tuple[Remark, ...]
        streams: Mapping[str, str]
        zone: Any = UTC

    def feed(data: bytes) -> None:
        text = text_of(data)
        found: Remarks = search_remarks(Noted((Remark(2, "Line 1", text, 0),), {}))  # type: ignore[arg-type]
        must(len(found.others) == (not event_kinds(text)), "a remark that is lost")
        must({event.kind for event in found.events} <= set(EVENT_KINDS), "a kind that is none")
        if found.events:
            rows = list(csv.reader(io.StringIO(events_csv(found).replace("\0", ""))))
            must(len(rows) == 1 + len(found.events), "an event that is lost in writing")

    return feed


def moment() -> Feed:
    """Cells as times, in every form: each a time, a fault, or in need of a form; alone as among others."""
    from spc.ingest.dates import TimeReader

    readers = [TimeReader(UTC, form) for form in DATES]

    def feed(data: bytes) -> None:
        cells = text_of(data).split("\n")
        for reader in readers:
            together = reader.read(cells)
            must(len(together.microseconds) == len(cells), "a time that is lost")
            alone = reader.read(cells[-1:])
            last = len(cells) - 1
            must((0 in alone.faults) == (last in together.faults), "a time that depends on those before it")
            if last not in together.faults and last not in together.need_dates:
                must(alone.microseconds[0] == together.microseconds[last], "two times for one cell")

    return feed


# -- logs ------------------------------------------------------------------------------------------------------------


def accounted(log: Any) -> None:
    """See that every row ended in exactly one place."""
    rows = log.rows
    must(rows.read == rows.accepted + rows.duplicate + rows.quarantined, "rows that are lost or made")
    must(rows.quarantined == len(log.quarantine), "quarantined rows that nobody can see")
    must(all(row.reason and "\n" not in row.reason for row in log.quarantine), "a row quarantined without a reason")


def same(one: Any, other: Any, words: str) -> None:
    """See that two ways to read a log say the same."""
    must(one.rows == other.rows, words)
    must(one.quarantine == other.quarantine, words)
    must(list(one.streams) == list(other.streams), words)
    for key, readings in one.streams.items():
        for name in ("taken_at", "row", "bound", "word", "note"):
            must((getattr(readings, name) == getattr(other.streams[key], name)).all(), words)


def csv_log() -> Feed:
    """A tidy log: whole as in two pieces. The first byte chooses dates, header and where it is cut."""
    from spc.ingest.csv_log import LogReader

    known = catalogue()

    def feed(data: bytes) -> None:
        choice, body = (data[0] if data else 0), data[1:]
        if choice & 4:
            body = HEADER + body
        dates = DATES[choice % 4]
        whole: Any = None
        with refusals():
            whole = LogReader("log.csv", known, zone=UTC, dates=dates).feed(body, final=True)
            accounted(whole)
        cut = len(body) * (choice >> 3) // 32
        refused = True
        with refusals():
            reader = LogReader("log.csv", known, zone=UTC, dates=dates)
            reader.feed(body[:cut], final=False)
            pieces = reader.feed(body[cut:], final=True)
            refused = False
        must(refused == (whole is None), "refused in pieces and not whole, or the other way round")
        if whole is not None:
            same(whole, pieces, "read otherwise in pieces")

    return feed


def large_log() -> Feed:
    """A tidy log by columns, in pieces: as the usual reader reads it whole. Neither needs a file."""
    from spc.ingest.csv_log import LogReader
    from spc.ingest.large_log import LargeLogReader

    known = catalogue()

    def feed(data: bytes) -> None:
        choice, body = (data[0] if data else 0), HEADER + data[1:]
        dates, piece = DATES[choice % 4], 64 + choice
        usual: Any = None
        refused = True
        with refusals():
            usual = LogReader("large.csv", known, zone=UTC, dates=dates).feed(body, final=True)
        with refusals():
            reader = LargeLogReader("large.csv", known, zone=UTC, dates=dates)
            for start in range(0, len(body), piece):
                reader.take(reader.split(body[start : start + piece]))
            large = reader.feed(b"", final=True)
            refused = False
        must(refused == (usual is None), "refused by one reader alone")
        if usual is not None:
            accounted(large)
            must(usual.notes == large.notes, "two readers, two notes")
            must(usual.streams.keys() == large.streams.keys(), "a stream of one reader alone")
            same(usual, replace(large, streams={key: large.streams[key] for key in usual.streams}), "two answers")

    return feed


def event_log() -> Feed:
    """An event file."""
    from spc.ingest.event_log import read_events

    known = catalogue()

    def feed(data: bytes) -> None:
        choice = data[0] if data else 0
        with refusals():
            log = read_events(
                written("events.csv", (EVENT_HEADER if choice & 4 else b"") + data[1:]),
                known,
                zone=UTC,
                dates=DATES[choice % 4],
            )
            accounted(log)
            must(len(log.events) == log.rows.accepted, "events that are lost")

    return feed


def wide_sheet() -> Feed:
    """A wide sheet as text: a layout proposed, loaded, and the sheet read through it."""
    from spc.ingest.layouts import layout_from
    from spc.ingest.proposal import propose_layout
    from spc.ingest.sheet import read_text_sheet
    from spc.ingest.wide import read_wide

    known = catalogue()

    def feed(data: bytes) -> None:
        file = written("sheet.csv", data)
        with refusals():
            proposal = propose_layout((read_text_sheet(file),), known)
            log = read_wide(file, known, layout_from(proposal.text, "layout.toml", known), zone=UTC)
            accounted(log)
            must(log.cells is not None, "cells that nobody counted")

    return feed


OFFICE = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = b"http://schemas.openxmlformats.org/package/2006"
SHEETS = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def links(*targets: tuple[bytes, bytes]) -> bytes:
    """Return the part of a workbook that links to others: kind and place of each."""
    each = b"".join(
        b'<Relationship Type="%s/%s" Target="%s" Id="rId%d"/>' % (OFFICE, kind, place, at)
        for at, (kind, place) in enumerate(targets, 1)
    )
    return b'<Relationships xmlns="%s/relationships">%s</Relationships>' % (PACKAGE, each)


PARTS = {
    "[Content_Types].xml": b'<Types xmlns="%s/content-types"/>' % PACKAGE,
    "_rels/.rels": links((b"officeDocument", b"xl/workbook.xml")),
    "xl/_rels/workbook.xml.rels": links(
        (b"worksheet", b"worksheets/sheet1.xml"), (b"styles", b"styles.xml"), (b"sharedStrings", b"sharedStrings.xml")
    ),
    "xl/workbook.xml": b'<workbook %s xmlns:r="%s"><sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets>'
    b"</workbook>" % (SHEETS, OFFICE),
    "xl/sharedStrings.xml": b"<sst %s><si><t>line</t></si></sst>" % SHEETS,
    "xl/styles.xml": b'<styleSheet %s><cellXfs><xf numFmtId="0"/><xf numFmtId="9"/><xf numFmtId="14"/></cellXfs>'
    b"</styleSheet>" % SHEETS,
    "xl/worksheets/sheet1.xml": b'<worksheet %s><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>taken_at</t></is>'
    b'</c><c r="B1" t="s"><v>0</v></c></row></sheetData></worksheet>' % SHEETS,
}


def packed(changed: Mapping[str, bytes]) -> bytes:
    """Return a workbook whose parts are the usual ones, some of them changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, body in {**PARTS, **changed}.items():
            archive.writestr(name, body)
    return out.getvalue()


def workbook() -> Feed:
    """A workbook: any bytes, or a whole one with one part of it changed; as a tidy log and as sheets."""
    from spc.ingest.proposal import propose_layout
    from spc.ingest.xlsx_log import read_tabs, read_tidy_workbook

    known = catalogue()
    names = list(PARTS)

    def feed(data: bytes) -> None:
        choice = (data[0] if data else 0) % (len(names) + 1)
        body = data[1:] if choice == len(names) else packed({names[choice]: data[1:]})
        file = written("log.xlsx", body)
        with refusals():
            propose_layout(read_tabs(file), known)
        with refusals():
            accounted(read_tidy_workbook(file, known, zone=UTC, dates=None))

    return feed


# -- TOML and tables -------------------------------------------------------------------------------------------------


def catalogue_file() -> Feed:
    """A catalogue of a site."""
    from spc.catalogue.load import load_catalogue

    def feed(data: bytes) -> None:
        with refusals():
            must(load_catalogue(written("site.toml", data)).checks, "a catalogue without checks")

    return feed


def layout_file() -> Feed:
    """The layout of a sheet, and a sheet read through it."""
    from spc.ingest.layouts import load_layout
    from spc.ingest.wide import read_wide

    known = catalogue()
    sheet = b"Date,Shift,Bath (mL),UV-A,Note\n2026-03-02,A,0.21,3000,x\n2026-03-02,B,0.2l,2 900,\n2026-03-03,A,,,\n"

    def feed(data: bytes) -> None:
        with refusals():
            layout = load_layout(written("layout.toml", data), known)
            accounted(read_wide(written("through.csv", sheet), known, layout, zone=UTC))

    return feed


def calendar_file() -> Feed:
    """The calendar of a site, and the instruments of one."""
    from spc.schedule.site_calendar import load_calendar

    known = catalogue()

    def feed(data: bytes) -> None:
        with refusals():
            load_calendar(written("calendar.toml", data), known)

    return feed


def partition() -> Feed:
    """A partition of a fleet: a Parquet file of any bytes, or one with the columns that the first byte chooses."""
    import pyarrow as pa
    import pyarrow.parquet as parquet

    from spc.fleet.partitions import Partition, read_partition

    place = folder() / "fleet" / "site=x" / "line=y" / "check=bath_concentration"
    place.mkdir(parents=True, exist_ok=True)
    where = Partition("x", "y", "bath_concentration", place)
    kinds = (pa.int64(), pa.timestamp("us"), pa.float64(), pa.string(), pa.binary(), pa.int8(), pa.bool_())

    def feed(data: bytes) -> None:
        file = place / "part.parquet"
        choice, body = (data[0] if data else 0), data[1:]
        if choice & 1:
            columns: dict[str, Any] = {}
            for at, name in enumerate(("taken_at", "value", "bound", "word", "reference", "offset", "row", "position")):
                kind = kinds[(body[at] if at < len(body) else 1) % len(kinds)]
                cells: list[Any] = [body[at + 8 * row : at + 8 * row + 8] or None for row in range(1, 4)]
                if kind == pa.string():
                    cells = [None if cell is None else text_of(cell) for cell in cells]
                elif kind != pa.binary():
                    cells = [None if cell is None else cell[0] - 128 for cell in cells]
                if kind == pa.bool_():
                    cells = [None if cell is None else cell > 0 for cell in cells]
                columns[name] = pa.array(cells, kind)
            parquet.write_table(pa.table(columns), file)
        else:
            file.write_bytes(body)
        with refusals():
            for readings in read_partition(where):
                must(len(readings.taken_at) == len(readings.value), "columns of two lengths")

    return feed


def backup_file() -> Feed:
    """A backup taken into a store: any bytes, or a whole one with some of its bytes changed. All of it, or nothing."""
    from spc.store.backup import backup, remove, restore
    from spc.store.store import Store
    from tests.store.made_store import NOW as THEN
    from tests.store.made_store import add, changed_bath, long_log, read_text

    tempfile.tempdir = str(folder())  # where a backup is copied to before it is opened
    sent, empty = folder() / "sent.db", folder() / "empty.db"
    for file in (sent, empty):
        remove(file)
    with Store.open(folder() / "kept.db") as kept:
        if not kept.sequence():
            add(kept, read_text(folder(), long_log(12)))
            kept.append(changed_bath(THEN, "a note"), who="m", now=THEN)
        digest = backup(kept, sent).digest
    usual = sent.read_bytes()
    into = [Store.open(empty)]

    def feed(data: bytes) -> None:
        body = bytearray(usual)
        for at in range(1, len(data) - 3, 4):
            body[int.from_bytes(data[at : at + 3], "big") % len(body)] ^= data[at + 3]
        sent.write_bytes(bytes(body) if data[:1] < b"\x80" else data[1:])
        taken = False
        with refusals():
            taken = restore(sent, into[0]).digest == digest
            must(taken, "a backup that says something else was taken for whole")
        must(taken or not into[0].sequence(), "a backup that was refused left something behind")
        if into[0].sequence():
            into[0].close()
            remove(empty)
            into[0] = Store.open(empty)

    return feed


# -- the dashboard ---------------------------------------------------------------------------------------------------


def address() -> Feed:
    """What stands after "?" in an address: read, written and read again it says the same."""
    from dashboard.queries.study import plan_of
    from dashboard.urls import RecordView, ReviewView, StreamView, WindowView

    views = (StreamView, ReviewView, RecordView, WindowView)

    def feed(data: bytes) -> None:
        text = text_of(data)
        for kind in views:
            view = kind.from_search(text)
            again = kind.from_search(view.href.partition("?")[2])
            must(again == view, f"{kind.__name__} says another thing when read again")
        with refusals():
            plan_of(text)

    return feed


def cookie() -> Feed:
    """The token of a cookie, which stands for nothing; and a file of sessions, of any bytes."""
    from dashboard.sessions import Sessions

    sessions = Sessions()
    sessions.start("kept", 1, NOW)
    logging.getLogger("dashboard.sessions").setLevel(logging.CRITICAL)

    def feed(data: bytes) -> None:
        must(sessions.find(data.decode("utf-8", "surrogateescape"), NOW) is None, "a session for a made token")
        if data[:1] == b"{":
            kept = Sessions(written("sessions.json", data))
            kept.find("x", NOW)
            kept.start("kept", 1, NOW)

    return feed


@cache
def board() -> tuple[Any, Any, Any]:
    """Return the board on a made line in a store, a client of it, and the queries behind it."""
    from dashboard.app import create_app
    from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings

    place = Path(tempfile.mkdtemp(prefix="board-", dir=folder()))
    queries = stored_queries(stored_settings(place), now=TODAY)
    app = create_app(queries)
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    return app, app.server.test_client(), queries


def page() -> Feed:
    """Every page at any address: the first byte chooses which."""
    from dashboard.app import ROOMS, page_at

    app, _, queries = board()
    paths = [room.path for room in ROOMS]

    def feed(data: bytes) -> None:
        with app.server.test_request_context("/"):
            made = page_at(queries, paths[(data[0] if data else 0) % len(paths)], "?" + text_of(data[1:]))
            must(made is not None, "a page that is nothing")

    return feed


POSTS = ("/write/keep", "/write/react", "/write/correct", "/sign-in", "/sign-out")
KINDS = ("application/json", "text/plain", "application/x-www-form-urlencoded", "")
FIELDS = (
    "entry", "line", "check", "position", "value", "reference", "instrument", "technician", "shift", "note", "taken",
    "why", "seen", "cause", "action", "rule", "at", "unit", "age", "sure", "name", "password", "wall", "other",
)  # fmt: skip
GROWN = 200
"""Entries after which a board is made anew: one that grew for hours would be slow, and none would know why."""


def posted() -> Feed:
    """The body of every POST, as JSON or as anything else: answered in words, never with an error of the server.

    Every other input changes fields of a good entry: a byte that names the field, then what stands in it, to a NUL.
    """
    made = [board()]
    begun = made[0][2].store.sequence()
    good = json.loads(ENTRY)

    def body_of(data: bytes) -> bytes:
        body = dict(good)
        for part in data.split(b"\0"):
            try:
                value = json.loads(part[1:])
            except (ValueError, RecursionError):
                value = text_of(part[1:])
            body[FIELDS[part[0] % len(FIELDS)] if part else ""] = value
        return json.dumps({name: value for name, value in body.items() if name}).encode()

    def feed(data: bytes) -> None:
        _, client, queries = made[0]
        choice = data[0] if data else 0
        kind = KINDS[(choice // len(POSTS)) % len(KINDS)] if choice >= 200 else KINDS[0]
        body, before = data[1:] if choice % 2 else body_of(data[1:]), queries.store.sequence()
        answer = client.post(POSTS[choice // 2 % len(POSTS)], data=body, content_type=kind)
        must(answer.status_code < 500, f"answered {answer.status_code}")
        must(answer.status_code in (200, 204) or answer.json.get("says"), "refused without a word")
        must(answer.status_code == 200 or queries.store.sequence() == before, "refused and kept all the same")
        if queries.store.sequence() - begun > GROWN:
            queries.store.close()
            board.cache_clear()
            made[0] = board()

    return feed


def callback() -> Feed:
    """A callback of the dashboard: any body; or one of those that there are, its values taken from the bytes."""
    app, client, _ = board()
    made = [each for each in app._callback_list if not each.get("clientside_function")]

    def body_of(data: bytes) -> bytes:
        chosen = made[data[1] % len(made)] if len(data) > 1 else made[0]
        names = chosen["output"].strip(".").split("...")
        outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
        try:
            values = json.loads(data[2:])
        except (ValueError, RecursionError):
            values = text_of(data[2:])
        values = values if isinstance(values, list) else [values]
        places = [*chosen["inputs"], *chosen["state"]]
        filled = [{**place, "value": values[at % len(values)] if values else None} for at, place in enumerate(places)]
        split = len(chosen["inputs"])
        body = {
            "output": chosen["output"],
            "outputs": outputs if chosen["output"].startswith("..") else outputs[0],
            "changedPropIds": [f"{one['id']}.{one['property']}" for one in chosen["inputs"]][:1],
            "inputs": filled[:split],
            "state": filled[split:],
        }
        return json.dumps(body).encode()

    def feed(data: bytes) -> None:
        body = data[1:] if data[:1] < b"\x20" else body_of(data)
        answer = client.post("/_dash-update-component", data=body, content_type="application/json")
        must(answer.status_code < 500, f"answered {answer.status_code}: {answer.text[:300]}")

    return feed


@dataclass(frozen=True, slots=True)
class Target:
    """Something to feed."""

    make: Callable[[], Feed]
    share: int  # of 1,000 executions of a whole run, how many
    longest: int = 400  # bytes of an input
    words: tuple[bytes, ...] = ()  # what inputs are made of, beside chance
    starts: tuple[bytes, ...] = ()  # inputs to begin with


LOG_WORDS = (
    b"taken_at", b"line", b"check", b"value", b"bath_concentration", b"ammeter", b"notched_shim", b"uva_irradiance",
    b"2026-03-02T06:10", b"2026-03-29T02:30", b"not run", b"mL/100mL", b"uW/cm2", b"\xff\xfe", b"\xfe\xff",
    b"\xef\xbb\xbf", b"sep=;", b"\r\n", b'""', b"\x00", b"1,200", b"<0.05", b"1e309", b"12/31/2026 10:00",
)  # fmt: skip
ROW = b"2026-03-02T06:10,Line 1,bath_concentration,tank,0.21,,mL/100mL,tube-1,m1,A,n\n"
EVENT = b"2026-03-14T05:30,Line 1,bath_changed,bath_concentration,tank,20,g,note\n"
TOML_WORDS = (
    b"[check.ammeter]",
    b"acceptance",
    b"document",
    b"revision",
    b"interval",
    b"every",
    b"rules",
    b"[[",
    b"]]",
)
CATALOGUE = b'[check.bath_concentration.acceptance]\nlower = 0.1\ndocument = "P 12"\nrevision = "B"\n'
LAYOUT = (
    b'header = 1\nfirst_row = 2\ndate = "A"\nshift = "B"\nremarks = ["E"]\n'
    b'[[column]]\nat = "C"\ncheck = "bath_concentration"\n'
)
CALENDAR = (
    b'[[shift]]\nname = "A"\nstart = "06:00"\nend = "14:00"\ndays = ["mon"]\n[[stream]]\nline = "1"\ncheck = "timer"\n'
)
ENTRY = b'{"line": "Line 1", "check": "bath_concentration", "position": "tank", "value": "0.21", "age": 1, "sure": []}'
PLACE = b"line=Line+1&check=bath_concentration&position=tank"
PAGE_WORDS = (
    b"line=Line+1", b"&check=bath_concentration", b"&position=tank", b"&from=2026-03-01", b"&to=", b"&row=", b"&chart=",
    b"&at=", b"&part=trail", b"&show=", b"&beside=", b"&person=", b"&seed=", b"%00", b"%ff", b"9999-12-31",
)  # fmt: skip
NAMED = b'\x00"0123456789abcdef0123"'
POST_WORDS = (
    b'"line"', b'"value"', b"[[[[", b"1e400", NAMED, b"\x00", b"\x040.21", b"\x04shown", b"\x04<0.05", b"\x04not run",
    b"\x03tank", b"\x01Line 1", b"\x02ammeter", b"\x02timer", b"\x051000", b"\x07m1", b'\x13["far"]', b"\x11uW/cm2",
    b"\x0a2026-04-11T06:10", b"\x10", b"\x0bslip", b"\\ud800",
)  # fmt: skip
POST_STARTS = (
    b"\x01" + ENTRY, b"\x07{}", b"\x00" + NAMED + b"\x00\x07m1\x00\x040.22", b"\x02" + NAMED + b"\x00\x0ddrag-out",
    b"\x04" + NAMED + b"\x00\x0bslip\x00\x040.23", b"\x06\x14m1\x00\x15secret words",
)  # fmt: skip
SESSIONS = (
    b'{"a": {"name": "x", "account": 1, "since": "2026-04-11T13:59:00+00:00", '
    b'"seen": "2026-04-11T13:59:00+00:00", "wall": true}}'
)

TARGETS: Mapping[str, Target] = {
    "number": Target(number, 240, 40, (b"1e309", b"1,234.5", b"<", b">", "\N{MINUS SIGN}".encode(), b"inf")),
    "header": Target(header, 120, 80, (b"UV-A", b"bath", b"mL", b"ammeter", b"head", b"ref", b"uW/cm2", b"shift")),
    "remark": Target(remark, 160, 120, (b"new bath", b"added 20 g", b"lamp", b"not", b"line down", b"cal", b"1,200 l")),
    "moment": Target(moment, 60, 80, (b"2026-03-29T02:30", b"+02:00", b"Z", b"12/31/26", b"24:00", b".123456", b"\n")),
    "address": Target(address, 160, 200, (b"line=", b"&from=", b"&beside=", b"%00", b"&part=trail", b"&seed=")),
    "cookie": Target(cookie, 210, 200, (b'"since": "', b"Infinity", b"[[[[", b"0001-01-01", b"9999-12"), (SESSIONS,)),
    "csv_log": Target(csv_log, 20, 2000, LOG_WORDS, (b"\x04" + ROW, b"\x80" + HEADER + ROW + ROW)),
    "event_log": Target(event_log, 15, 1000, LOG_WORDS, (b"\x04" + EVENT, b"\x00" + EVENT_HEADER + EVENT)),
    "large_log": Target(large_log, 4, 1000, LOG_WORDS, (b"\x00" + ROW + ROW,)),
    "wide_sheet": Target(wide_sheet, 4, 1000, LOG_WORDS, (b"Date,Shift,Bath (mL),UV-A\n2026-03-02,A,0.21,3000\n",)),
    "workbook": Target(workbook, 4, 600, (b"<c r=", b'"XFD1048576"', b"<!DOCTYPE", b"t=\"e\"", b"<v>", b"<f>"),
                       tuple(bytes([at]) + body for at, body in enumerate(PARTS.values()))),
    "catalogue_file": Target(catalogue_file, 1, 600, TOML_WORDS, (CATALOGUE,)),
    "layout_file": Target(layout_file, 2, 600, (b"[[column]]", b"ignore", b"tabs", b"shifts"), (LAYOUT,)),
    "calendar_file": Target(calendar_file, 2, 600, (b"[[shift]]", b"closed", b"extra"), (CALENDAR,)),
    "partition": Target(partition, 1, 200, (b"PAR1",), (b"\x01" + bytes(range(40)),)),
    "backup_file": Target(backup_file, 1, 60, (b"SQLite format 3",), (b"\x00\x00\x00\x10\x01", b"\x00")),
    "page": Target(page, 1, 200, PAGE_WORDS, tuple(bytes([at]) + PLACE for at in range(12))),
    "posted": Target(posted, 3, 400, POST_WORDS, POST_STARTS),
    "callback": Target(callback, 1, 300, (b'"url"', b"null", b"[[", b'{"'), (b"\x30\x00[null]", b"\x30\x05[1, {}]")),
}  # fmt: skip
