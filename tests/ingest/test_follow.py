import io
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.errors import LogError
from spc.ingest import seen
from spc.ingest.csv_log import CheckLog, read_log
from spc.ingest.follow import LogFollower
from spc.records import RowCount
from tests.ingest.made_log import BATH, CATALOGUE, HEADER, ZONE, contents, reading, reasons, values


def row(value: str, at: str = "06:10", **parts: str) -> str:
    return reading(value, **parts).replace("06:10", at) + "\n"


def follow(path: Path) -> LogFollower:
    return LogFollower(path, CATALOGUE, zone=ZONE)


def poll(follower: LogFollower) -> CheckLog:
    """Return what a poll that must find something new gives."""
    log = follower.poll()
    assert log is not None
    return log


def append(path: Path, text: str | bytes) -> None:
    with path.open("ab") as file:
        file.write(text.encode() if isinstance(text, str) else text)


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "\n" + row("0.21"))
    return path


def test_new_rows_are_read_and_counted_over_the_whole_file(log):
    follower = follow(log)
    first = poll(follower)
    append(log, row("0.22", "07:10") + row("x", "08:10") + row("0.21"))

    second = poll(follower)

    assert values(first) == [0.21]
    assert values(second) == [0.21, 0.22]
    assert second.rows == RowCount(read=4, accepted=2, duplicate=1, quarantined=1)
    assert reasons(second) == [(4, "value", "x")]


def test_nothing_new_is_none(log):
    follower = follow(log)
    poll(follower)

    assert follower.poll() is None


def test_a_log_given_out_does_not_change(log):
    follower = follow(log)
    first = poll(follower)
    before = contents(first)
    append(log, row("0.22", "05:10"))
    poll(follower)

    assert contents(first) == before


def test_a_stream_without_new_readings_is_the_same_object(log):
    follower = follow(log)
    first = poll(follower)
    append(log, row("2450", check="uva_irradiance"))

    second = poll(follower)

    assert second.streams[BATH] is first.streams[BATH]
    assert len(second.streams) == 2


def test_a_row_counts_once_its_line_is_complete(log):
    follower = follow(log)
    poll(follower)
    append(log, row("0.22", "07:10").rstrip(",\n"))
    waiting = poll(follower)
    assert (waiting.rows.read, follower.unfinished) == (1, True)

    append(log, ",,,,,,\n")

    assert values(poll(follower)) == [0.21, 0.22]
    assert not follower.unfinished


def test_a_quoted_cell_may_take_several_polls(log):
    follower = follow(log)
    poll(follower)
    append(log, row("0.22", "07:10").rstrip("\n") + '"one\n')
    assert poll(follower).rows.read == 1
    assert follower.unfinished
    append(log, 'two"\n')

    second = poll(follower)

    assert second.streams[BATH].note.tolist() == ["", "one\ntwo"]
    append(log, row("0.23", "08:10"))
    assert poll(follower).streams[BATH].row.tolist() == [2, 3, 5]


def test_a_late_row_takes_its_place_in_time(log):
    follower = follow(log)
    poll(follower)
    append(log, row("0.19", "05:10"))

    assert poll(follower).streams[BATH].row.tolist() == [3, 2]


@pytest.mark.parametrize(
    "changed",
    [
        HEADER + "\n",  # cut
        HEADER + "\n" + row("0.31"),  # as long as before
        HEADER + "\n" + row("0.31") + row("0.32", "07:10"),  # longer
        HEADER.replace("note", "remark") + "\n" + row("0.21") + row("0.22", "07:10"),
    ],
)
def test_a_file_that_was_changed_is_read_anew(log, changed):
    follower = follow(log)
    poll(follower)
    append(log, row("0.22", "07:10"))
    poll(follower)
    assert not follower.restarted
    log.write_text(changed)

    again = poll(follower)

    assert follower.restarted
    assert contents(again) == contents(read_log(log, CATALOGUE, zone=ZONE))


def test_a_replaced_file_is_noticed_and_one_with_the_same_start_goes_on(log, tmp_path):
    follower = follow(log)
    poll(follower)
    other = tmp_path / "other.csv"
    shutil.copy(log, other)
    append(other, row("0.22", "07:10"))
    os.replace(other, log)

    assert values(poll(follower)) == [0.21, 0.22]
    assert not follower.restarted
    other.write_text(HEADER + "\n" + row("0.4") + row("0.3", "07:10"))
    os.replace(other, log)

    assert values(poll(follower)) == [0.4, 0.3]
    assert follower.restarted


def test_a_file_that_went_away_is_read_anew_when_it_is_back(log):
    follower = follow(log)
    poll(follower)
    text = log.read_text()
    log.unlink()
    for _ in range(2):
        with pytest.raises(LogError, match="no such file"):
            follower.poll()
    log.write_text(text)

    assert values(poll(follower)) == [0.21]
    assert follower.restarted


def test_a_log_that_is_refused_stays_refused_until_it_changes(log):
    good = log.read_text()
    log.write_text(good.replace("2025-03-04T06:10", "04/03/2025 06:10"))
    follower = follow(log)
    for _ in range(2):
        with pytest.raises(LogError, match="--dates"):
            follower.poll()
    log.write_text(good + row("0.22", "07:10"))

    assert values(poll(follower)) == [0.21, 0.22]


@pytest.mark.parametrize("first", [True, False])
def test_a_date_in_another_form_costs_its_own_row_alone(log, first):
    slip = row("0.22").replace("2025-03-04T06:10", "04/03/2025 07:10")
    follower = follow(log)
    if first:  # it stands there already when the log is first looked at
        append(log, slip)
    poll(follower)
    append(log, row("0.23", "08:10") if first else slip + row("0.23", "08:10"))

    read = poll(follower)

    assert values(read) == [0.21, 0.23]
    assert reasons(read) == [(3, "taken_at", "04/03/2025 07:10")]
    assert "--dates dmy" in read.quarantine[0].reason
    assert read.rows == RowCount(read=3, accepted=2, duplicate=0, quarantined=1)
    with pytest.raises(LogError, match="row 3: taken_at"):  # read as a whole, a file whose form is open is refused
        read_log(log, CATALOGUE, zone=ZONE)


def test_an_empty_file_is_refused_and_read_once_it_has_a_header(tmp_path):
    path = tmp_path / "log.csv"
    path.touch()
    follower = follow(path)
    with pytest.raises(LogError, match="empty"):
        follower.poll()
    append(path, HEADER[:20])
    assert poll(follower).rows == RowCount()

    append(path, HEADER[20:] + "\n" + row("0.21"))

    assert values(poll(follower)) == [0.21]
    assert not follower.restarted


@pytest.fixture
def large(log, monkeypatch):
    """Return a log of some forty blocks, of which one look goes through four."""
    monkeypatch.setattr(seen, "BLOCK", 50)
    monkeypatch.setattr(seen, "AT_ONCE", 4)
    append(log, "".join(row("0.22", f"{7 + i // 60:02}:{i % 60:02}") for i in range(25)))
    return log


def middle_changed(log: Path) -> bytes:
    """Return a log with a value in its middle changed, nothing else."""
    lines = log.read_bytes().splitlines(keepends=True)
    lines[13] = lines[13].replace(b"0.22", b"0.29")
    return b"".join(lines)


def test_a_change_inside_a_large_file_that_did_not_grow_is_noticed_at_once(large):
    follower = follow(large)
    poll(follower)
    large.write_bytes(middle_changed(large))
    os.utime(large, (1, 1))

    assert values(poll(follower))[12] == 0.29
    assert (follower.changed, follower.restarted) == (True, True)


def test_a_large_file_with_another_inside_in_its_place_is_noticed_at_once(large, tmp_path):
    follower = follow(large)
    poll(follower)
    other = tmp_path / "other.csv"
    other.write_bytes(middle_changed(large) + row("0.3", "23:10").encode())
    os.replace(other, large)

    assert values(poll(follower))[12] == 0.29
    assert follower.changed


@pytest.mark.parametrize("grows", [False, True])
def test_a_change_inside_a_large_file_that_grew_is_noticed_in_one_round(large, grows):
    follower = follow(large)
    poll(follower)
    large.write_bytes(middle_changed(large) + row("0.3", "22:10").encode())
    looks, followed = 1, poll(follower)
    assert values(followed)[12] == 0.22  # not yet
    while values(followed)[12] == 0.22 and looks < 60:
        if grows:
            append(large, row("0.3", f"23:{looks:02}"))
        followed, looks = follower.poll() or followed, looks + 1

    assert contents(followed) == contents(read_log(large, CATALOGUE, zone=ZONE))
    assert follower.changed
    assert follower.poll() is None


def test_what_a_look_reads_does_not_grow_with_the_file(large, monkeypatch):
    opened, read = Path.open, list[int]()

    class Counted(io.BufferedReader):
        def read(self, size=-1):
            data = super().read(size)
            read.append(len(data))
            return data

    def counted(path, mode="r", *how, **more):
        return Counted(io.FileIO(path)) if mode == "rb" else opened(path, mode, *how, **more)

    follower = follow(large)
    poll(follower)
    monkeypatch.setattr(Path, "open", counted)
    said = []
    for more in (1, 400):
        append(large, "".join(row("0.23", f"{10 + i // 60:02}:{i % 60:02}") for i in range(more)))
        poll(follower)
        read.clear()
        append(large, row("0.3", f"23:10:{more % 60:02}"))
        poll(follower)
        said.append(sum(read))

    assert said[0] == pytest.approx(said[1], abs=60)
    assert said[1] < 500 < large.stat().st_size


VALUES = st.sampled_from(["0.21", "<0.05", "µ", "1.2.3", "not run", '"0,22"', '"0\n22"', '"open', "a\0", ""])
LINES = st.lists(
    st.tuples(VALUES, st.integers(0, 3)).map(lambda cell: row(cell[0], f"{cell[1] + 5:02}:10"))
    | st.sampled_from(["\n", "short\n", '"\n', "2025-02-30T06:10,,,,,,,,,,\n", "a,b,c,d,e,f,g,h,i,j,k,l\n"]),
    max_size=10,
)


@given(
    LINES,
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    st.sampled_from(["\n", "\r\n"]),
    st.lists(st.integers(0, 2000), max_size=6),
)
def test_a_log_followed_piece_by_piece_reads_as_a_whole(tmp_path_factory, lines, encoding, end, cuts):
    path = tmp_path_factory.mktemp("follow") / "log.csv"
    padding = row("0.2", "01:10") * 20  # so that damage further down is damage to a text
    text = HEADER + "\n" + padding + "".join(lines) + row("0.33", "23:10")  # a last row that closes whatever is open
    data = text.replace("\n", end).encode(encoding)
    follower = follow(path)
    places = sorted({min(cut, len(data)) for cut in cuts} | {1, len(data)})
    said: list[CheckLog | str | None] = []
    for start, stop in zip([0, *places], places, strict=False):
        append(path, data[start:stop])
        said.append(read_or_refused(follower.poll))
    followed = [log for log in said if log is not None][-1]

    whole = read_or_refused(lambda: read_log(path, CATALOGUE, zone=ZONE))

    if not isinstance(whole, CheckLog) or not isinstance(followed, CheckLog):
        assert followed == whole
    else:
        assert contents(followed) == contents(whole)
        assert followed.quarantine == whole.quarantine
        assert followed.rows == whole.rows
        assert followed.notes == whole.notes
    assert not follower.restarted


def read_or_refused(read: Callable[[], CheckLog | None]) -> CheckLog | str | None:
    """Return what `read` gives, or the words it is refused with."""
    try:
        return read()
    except LogError as refusal:
        return str(refusal)
