"""The limits of what is read: each refused in words that name the limit, and without the memory it asks for."""

import io
import os
import subprocess
import sys
import time
import zipfile
from datetime import UTC
from pathlib import Path

import pytest

from spc.catalogue.load import load_catalogue, starter
from spc.errors import CatalogueError, LayoutError, LogError
from spc.ingest.csv_log import LARGEST_WHOLE, read_log
from spc.ingest.decoder import LONGEST_LINE
from spc.ingest.event_log import read_events
from spc.ingest.large_log import read_large_log
from spc.ingest.layouts import load_layout
from spc.ingest.log_file import read_log_file
from spc.ingest.sheet import read_text_sheet
from spc.ingest.table import MOST_COLUMNS
from spc.ingest.xlsx_log import read_tabs
from spc.schedule.site_calendar import load_calendar
from tests.fuzz.targets import EVENT_HEADER, HEADER, PARTS, ROW, packed

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="sparse files and pipes are asked for as on Unix")

TWO_GIGABYTES = 2 << 30
NAMES = "taken_at,line,check,value"


def sparse(path: Path, start: bytes, size: int) -> Path:
    """Return a file of `size` bytes that begins with `start`; the rest is NUL bytes and takes no room on the disk."""
    with path.open("wb") as file:
        file.write(start)
        file.truncate(size)
    return path


def read(path: Path, data: bytes) -> object:
    """Write `data` to a file and read it as a log."""
    path.write_bytes(data)
    return read_log(path, starter(), zone=UTC)


def test_a_line_of_two_gigabytes_is_refused_before_it_is_read_to_its_end(tmp_path):
    log = sparse(tmp_path / "log.csv", HEADER + ROW * 20, TWO_GIGABYTES)
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_AS, (3 << 30,) * 2)\n"
        "from spc.ingest.log_file import read_log_file; from spc.catalogue.load import starter\n"
        "from spc.errors import LogError\n"
        "used = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024\n"
        "starter(); before = used()\n"
        "try: read_log_file(sys.argv[1], starter())\n"
        "except LogError as error: print(error, used() - before)\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", code, str(log)], capture_output=True, text=True, timeout=60, check=True
    )

    assert "a line of more than 1,000,000 characters" in done.stdout
    assert int(done.stdout.split()[-1]) < 700  # megabytes, what loading takes left out; the line alone is 2,048


@pytest.mark.parametrize("reader", [read_events, read_text_sheet, read_tabs, read_log])
def test_a_file_read_in_one_go_has_a_largest_size(tmp_path, reader):
    log = sparse(tmp_path / "log.csv", EVENT_HEADER, LARGEST_WHOLE + 1)

    with pytest.raises(LogError, match="no more than 1000000000 are read at once"):
        reader(log, *([starter()] if reader in (read_events, read_log) else []))


def test_the_longest_line_is_read_and_one_character_more_refused(tmp_path):
    room = LONGEST_LINE - len(ROW.rstrip(b"\n"))
    longest = ROW.rstrip(b"\n") + b"x" * room + b"\n"

    assert read(tmp_path / "log.csv", HEADER + longest).rows.accepted == 1  # type: ignore[attr-defined]
    with pytest.raises(LogError, match="a line of more than 1,000,000 characters"):
        read(tmp_path / "log.csv", HEADER + b"x" + longest)


def test_a_line_too_long_is_refused_in_pieces_as_whole(tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(HEADER + ROW + b"x" * (LONGEST_LINE + 1))

    with pytest.raises(LogError, match="a line of more than"):
        read_large_log(log, starter(), zone=UTC, piece=400_000)


def test_a_million_columns_are_refused(tmp_path):
    names = f"{NAMES},{','.join('a' * 100_000)}"  # in lines that are not too long

    with pytest.raises(LogError, match=rf"names 100,004 columns, and no more than {MOST_COLUMNS:,} are read"):
        read(tmp_path / "log.csv", names.encode() + b"\n")
    with pytest.raises(LogError, match="a line of more than"):
        read(tmp_path / "log.csv", (NAMES + ",a" * 1_000_000).encode() + b"\n")
    (tmp_path / "sheet.csv").write_text(names + "\n" + names + "\n", encoding="utf-8")
    with pytest.raises(LogError, match="100,004 columns"):
        read_text_sheet(tmp_path / "sheet.csv")


def test_as_many_columns_as_are_read_take_no_time(tmp_path):
    began = time.monotonic()

    log = read(tmp_path / "log.csv", (NAMES + ",a" * (MOST_COLUMNS - 4)).encode() + b"\n")

    assert log.rows.read == 0  # type: ignore[attr-defined]
    assert time.monotonic() - began < 10


def zipped(parts: dict[str, bytes]) -> bytes:
    """Return a workbook of `parts`, packed."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in parts.items():
            archive.writestr(name, body)
    return out.getvalue()


LAUGHS = (
    b'<!DOCTYPE worksheet [<!ENTITY a "haha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + at, b"&%c;" % (97 + at) * 10) for at in range(9))
    + b']><worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>&j;</t></is></c></row></sheetData>'
    + b"</worksheet>"
)


def corners(*cells: str) -> bytes:
    """Return a sheet with nothing but a few cells, far apart."""
    rows = "".join(
        f"<row r='{cell.lstrip('ABCDEFGHIJKLMNOPQRSTUVWXYZ')}'><c r='{cell}'><v>1</v></c></row>" for cell in cells
    )
    return f"<worksheet><sheetData>{rows}</sheetData></worksheet>".encode()


@pytest.mark.parametrize(
    ("sheet", "says"),
    [
        (b"<worksheet>" + b" " * 30_000_000 + b"</worksheet>", "unpacks to more than 250 times its size"),
        (LAUGHS, "declares entities"),
        (LAUGHS.decode().encode("utf-16"), "declares entities"),
        (corners("A1", "XFD1048576"), "spans more than 10,000,000 cells"),
        (corners("A1", "A99999999"), "spans more than 10,000,000 cells"),
        (
            b'<worksheet><sheetData><row r="1"><c r="XFD1"><v>1</v></c></row><row r="1048576"><c><v>1</v></c></row>'
            b"</sheetData></worksheet>",
            "spans more than 10,000,000 cells",
        ),
        (
            b"<worksheet><mergeCells>" + b'<mergeCell ref="A1:B2"/>' * 2_001 + b"</mergeCells></worksheet>",
            "more than 2,000 ranges of merged cells",
        ),
    ],
)
def test_a_workbook_that_asks_for_more_than_it_holds_is_refused(tmp_path, sheet, says):
    file = tmp_path / "log.xlsx"
    file.write_bytes(zipped({**PARTS, "xl/worksheets/sheet1.xml": sheet}))

    with pytest.raises(LogError, match=says):
        read_tabs(file)


def test_a_workbook_that_says_less_than_it_unpacks_to_is_refused(tmp_path):
    file = tmp_path / "log.xlsx"
    whole = bytearray(zipped({"xl/worksheets/sheet1.xml": PARTS["xl/worksheets/sheet1.xml"] + b" " * 5_000_000} | {
        name: body for name, body in PARTS.items() if "sheet1" not in name
    }))  # fmt: skip
    size = (len(PARTS["xl/worksheets/sheet1.xml"]) + 5_000_000).to_bytes(4, "little")
    assert whole.count(size) == 2  # in the part's own head and in the list at the end
    file.write_bytes(bytes(whole).replace(size, (400).to_bytes(4, "little")))

    with pytest.raises(LogError, match="damaged"):
        read_tabs(file)


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 5_000 + "]" * 5_000,
        "x = " + "{a=" * 5_000 + "1" + "}" * 5_000,
        "check." + "a." * 20_000 + "b = 1",
        "# " + "long " * 300_000,
        "[check.ammeter]\nnew_segment_on = [{" + "a." * 5_000 + "b = 1}]",
        "[check.ammeter]\nresolution = " + "9" * 5_000,
        "[check.ammeter]\nresolution = " + "0x" + "f" * 50_000,
        "[check.ammeter]\nbaseline = 99999999999999999999999999999",
        "[check.ammeter]\nresolution = 1e999",
    ],
    ids=["lists", "tables", "keys", "size", "keys in a list", "digits", "hexadecimal", "whole", "infinite"],
)
def test_toml_nested_deep_or_with_huge_numbers_is_refused_in_one_line(tmp_path, text):
    file = tmp_path / "site.toml"
    file.write_text(text, encoding="utf-8")

    for load, refusal in ((load_catalogue, CatalogueError), (lambda path: load_layout(path, starter()), LayoutError)):
        with pytest.raises(refusal) as refused:
            load(file)
        assert len(str(refused.value)) < 600
        assert "\n" not in str(refused.value)


def test_nul_bytes_cost_the_file_or_the_row(tmp_path):
    with pytest.raises(LogError, match="holds NUL bytes"):
        read(tmp_path / "log.csv", HEADER + b"\0" + ROW)

    log = read(tmp_path / "log.csv", HEADER + ROW * 20 + ROW.replace(b"tank", b"ta\0k"))

    assert (log.rows.read, log.rows.quarantined) == (21, 1)  # type: ignore[attr-defined]


@pytest.mark.parametrize("path", ["/dev/zero", "/dev/null"])
def test_a_device_is_refused(path):
    with pytest.raises(LogError, match="a device or a pipe, not a file"):
        read_log_file(path, starter())
    for load in (load_catalogue, lambda path: load_calendar(path, starter())):
        with pytest.raises(CatalogueError, match="a device or a pipe, not a file"):
            load(path)
    with pytest.raises(LayoutError, match="a device or a pipe, not a file"):
        load_layout(path, starter())


def test_what_is_no_file_is_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")

    for name, says in (("pipe", "a device or a pipe"), ("loop", "cannot be read"), (".", "a folder, not a file")):
        for reader in (read_log_file, read_events):
            with pytest.raises(LogError, match=says):
                reader(tmp_path / name, starter())


def test_an_enormous_cell_is_kept_short_in_what_is_told(tmp_path):
    log = read(tmp_path / "log.csv", HEADER + ROW.replace(b"0.21", b"9" * 900_000))

    assert log.rows.quarantined == 1  # type: ignore[attr-defined]
    assert len(log.quarantine[0].text) <= 300  # type: ignore[attr-defined]
    assert len(log.quarantine[0].reason) < 500  # type: ignore[attr-defined]


def test_a_hundred_thousand_faulty_rows_are_told_of_in_a_few_lines(tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(HEADER + ROW + ROW.replace(b"0.21", b"1.2.3") * 100_000)

    done = subprocess.run(
        [sys.executable, "-m", "spc", "scan", str(log), "--zone", "UTC"],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    assert "100000" in done.stdout.replace(",", "")
    assert len(done.stdout.splitlines()) < 200


def test_the_usual_workbook_is_read(tmp_path):
    file = tmp_path / "log.xlsx"
    file.write_bytes(packed({}))

    assert read_tabs(file)[0].rows[0][0].text == "taken_at"
