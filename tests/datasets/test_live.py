import itertools
from collections.abc import Iterable
from datetime import date, datetime

import pytest

from spc.demo import LiveRow, append, lay_out, live_rows
from spc.errors import InputError
from tests.datasets.truth import DATASETS, EVENTS, LOG


@pytest.fixture(scope="module")
def fortnight():
    return list(itertools.takewhile(lambda row: row.at.date() < date(2026, 12, 7), live_rows()))


def cells(row: LiveRow) -> list[str]:
    return row.text.split(",")


def bath(rows: Iterable[LiveRow]) -> list[float]:
    return [
        float(cells(row)[4])
        for row in rows
        if row.file == "log" and cells(row)[1:3] == ["Line A", "bath_concentration"] and cells(row)[4] != "not run"
    ]


def test_live_rows_go_on_where_the_log_ends(fortnight):
    last = LOG.read_text(encoding="utf-8").splitlines()[-1].split(",")[0]

    assert min(row.at for row in fortnight) > datetime.fromisoformat(last)
    assert [row.at for row in fortnight] == sorted(row.at for row in fortnight)
    assert all(cells(row)[0] == row.at.isoformat(timespec="minutes") for row in fortnight)


def test_the_same_readings_come_every_time(fortnight):
    assert list(itertools.islice(live_rows(), len(fortnight))) == fortnight


def test_a_demo_can_be_taken_up_again(fortnight):
    half = fortnight[100]

    again = next(live_rows(after=half.at))

    assert again == next(row for row in fortnight if row.at > half.at)


def test_a_bath_fails_within_the_first_hundred_rows_and_is_put_right(fortnight):
    first = bath(fortnight[:100])
    repaired = next(n for n, row in enumerate(fortnight) if "unit_repaired,bath_concentration" in row.text)

    assert first[0] > 0.17
    assert min(first) < 0.1
    assert min(bath(fortnight[:40])) >= 0.1  # not at once: it is seen coming
    assert repaired < 130
    assert min(bath(fortnight[repaired:])) > 0.15


def test_the_stopped_line_stands_until_its_meter_is_calibrated(fortnight):
    until = next(row.at for row in fortnight if "meter_calibrated,ammeter" in row.text)
    standing = [row for row in fortnight if row.at < until and row.file == "log" and cells(row)[1] == "Line B"]
    ammeter = [cells(row) for row in fortnight if cells(row)[1:3] == ["Line B", "ammeter"]]

    assert {cells(row)[4] for row in standing} == {"not run"}
    assert ammeter[0][0][:10] == until.date().isoformat()
    assert abs(float(ammeter[0][4]) / float(ammeter[0][5]) - 1) < 0.05


def test_the_line_goes_on_for_a_year_with_baths_changed():
    year = list(itertools.takewhile(lambda row: row.at.year < 2028, live_rows()))
    changed = [row for row in year if "bath_changed" in row.text]

    assert len(year) > 6000
    assert len(changed) >= 3
    assert min(bath(year[200:])) > 0.1
    assert all(len(cells(row)) == 11 for row in year if row.file == "log")


def test_lay_out_writes_the_committed_files(tmp_path):
    files = lay_out(tmp_path / "demo")

    assert files.log.read_bytes() == LOG.read_bytes()
    assert files.events.read_bytes() == EVENTS.read_bytes()
    assert files.catalogue.is_file()
    assert files.calendar.is_file()


def test_lay_out_starts_afresh_in_its_own_folder_and_touches_no_other_s(tmp_path):
    files = lay_out(tmp_path)
    append(next(live_rows()), files)
    grown = files.log.stat().st_size
    lay_out(tmp_path)
    afresh = files.log.stat().st_size
    files.log.write_text("taken_at,line,check,value\n", encoding="utf-8")

    with pytest.raises(InputError, match=r"demo-log\.csv is there already and is not the demo's; name another folder"):
        lay_out(tmp_path)

    assert grown > afresh == LOG.stat().st_size
    assert files.log.read_text(encoding="utf-8") == "taken_at,line,check,value\n"


def test_a_new_folder_is_made_where_none_is_named():
    files = lay_out()

    try:
        assert files.log.read_bytes() == (DATASETS / "demo-log.csv").read_bytes()
    finally:
        for path in (files.log, files.events, files.catalogue, files.calendar):
            path.unlink()
        files.log.parent.rmdir()


def test_rows_are_appended_to_the_file_they_belong_to(tmp_path, fortnight):
    files = lay_out(tmp_path)
    event = next(row for row in fortnight if row.file == "events")

    append(fortnight[0], files)
    append(event, files)

    assert files.log.read_bytes() == LOG.read_bytes() + f"{fortnight[0].text}\n".encode()
    assert files.events.read_bytes() == EVENTS.read_bytes() + f"{event.text}\n".encode()
