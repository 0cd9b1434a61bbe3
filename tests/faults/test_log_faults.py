"""A followed log that is cut, rotated, replaced, half written or followed twice; clocks and zones that change."""

import os
import threading
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from spc.store.store import Store
from spc.store.watch import StoreWatch
from spc.watch import Watch
from tests.store.made_store import long_log

ROWS = long_log(60).splitlines(keepends=True)


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "followed.csv"
    path.write_text("".join(ROWS[:31]), encoding="utf-8")
    return path


def cut(log):
    log.write_text("".join(ROWS[:11]), encoding="utf-8")


def rotated(log):
    log.rename(log.with_suffix(".1"))
    log.write_text(ROWS[0] + "".join(ROWS[31:41]), encoding="utf-8")


def replaced(log):
    other = log.with_suffix(".new")
    other.write_text("".join(ROWS[:1] + ROWS[21:41]), encoding="utf-8")
    os.replace(other, log)


def kept(where):
    with Store.open(where) as store:
        assert store.verify().misfit is None
        return sum(map(len, store.first_written().values()))


@pytest.mark.parametrize(("change", "are"), [(cut, 30), (rotated, 40), (replaced, 40)])
def test_the_record_keeps_what_a_log_lost_and_counts_nothing_twice(tmp_path, log, change, are):
    where = str(tmp_path / "store.db")
    watch = StoreWatch(where, follow=log, zone=UTC)
    change(log)
    watch.poll()
    lost, problem = watch.snapshot.lost, watch.snapshot.problem
    with log.open("a", encoding="utf-8") as file:
        file.writelines(ROWS[11:] if change is cut else ROWS[41:])
    watch.poll()
    watch.close()

    assert lost is not None
    assert "was changed in rows read before" in lost
    assert problem is None
    assert are <= kept(where) == 60


def test_a_row_that_is_half_written_waits_for_its_end(tmp_path, log):
    where = str(tmp_path / "store.db")
    watch = StoreWatch(where, follow=log, zone=UTC)
    counts = []
    for piece in (ROWS[31][:20], ROWS[31][20:-1], "\n"):
        with log.open("a", encoding="utf-8") as file:
            file.write(piece)
        watch.poll()
        counts.append(watch.snapshot.scan.log.rows.read)
    watch.close()

    assert counts == [30, 30, 31]


def test_two_followers_on_one_log_keep_every_row_once(tmp_path, log):
    where = str(tmp_path / "store.db")
    watches = [StoreWatch(where, follow=log, zone=UTC, who=f"follower {i}") for i in range(2)]
    end = threading.Event()

    def look(watch):
        while not end.wait(0.005):
            watch.poll()

    threads = [threading.Thread(target=look, args=(watch,)) for watch in watches]
    for thread in threads:
        thread.start()
    for row in ROWS[31:]:
        with log.open("a", encoding="utf-8") as file:
            file.write(row)
        end.wait(0.01)
    end.set()
    for thread in threads:
        thread.join()
    for watch in watches:
        watch.poll()
        watch.poll()
    rows = [watch.snapshot.scan.log.rows for watch in watches]
    for watch in watches:
        watch.close()

    assert kept(where) == 60
    assert [each.accepted for each in rows] == [60, 60]


def test_many_threads_look_at_once_and_count_every_row_once(tmp_path, log):
    watch = StoreWatch(str(tmp_path / "store.db"), follow=log, zone=UTC)
    for start in range(31, 61, 5):
        with log.open("a", encoding="utf-8") as file:
            file.writelines(ROWS[start : start + 5])
        threads = [threading.Thread(target=watch.poll) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    rows = watch.snapshot.scan.log.rows
    watch.close()

    assert (rows.read, rows.accepted, rows.duplicate) == (60, 60, 0)


def test_a_clock_set_back_hides_no_row(log):
    ahead = log.stat().st_mtime + 3600
    os.utime(log, (ahead, ahead))
    watch = Watch(log, zone=UTC)
    with log.open("a", encoding="utf-8") as file:
        file.write(ROWS[31])
    os.utime(log, (ahead - 7200, ahead - 7200))  # as a clock that was put back would leave it

    assert watch.poll()
    assert watch.snapshot.scan.log.rows.accepted == 31
    assert watch.snapshot.lost is None


def test_rows_with_an_offset_are_the_same_in_another_zone(tmp_path, log):
    where = str(tmp_path / "store.db")
    for zone in (UTC, ZoneInfo("Europe/Vienna"), ZoneInfo("America/Chicago")):
        watch = StoreWatch(where, follow=log, zone=zone)
        watch.poll()
        watch.close()

    assert kept(where) == 30
