"""The store under watch: what anyone writes to it is seen at the next look, and nothing else is read again."""

from dataclasses import replace
from datetime import UTC, timedelta

import pytest

from dashboard import queries
from dashboard.settings import Settings
from spc.catalogue.load import starter
from spc.errors import StoreError
from spc.scan import scan
from spc.store.entries import Baseline, Correction, LimitDecision, Said
from spc.store.intake import SourceFile
from spc.store.readback import identity_of
from spc.store.store import Store
from spc.store.watch import StoreWatch
from spc.times import from_microseconds
from tests.store.made_store import BATH, LOG, NOW, add, changed_bath, long_log, read_text
from tests.store.test_limits import fixed
from tests.store.test_store import DAY


@pytest.fixture
def watch(empty, store, tmp_path):
    """Return a watch on a store with a log in it."""
    add(store, read_text(tmp_path, LOG))
    made = StoreWatch(empty, zone=UTC)
    yield made
    made.close()


def result(watch, key=BATH):
    return next(each for each in watch.snapshot.scan.streams if each.key == key)


def test_a_watch_says_what_a_scan_of_the_log_says(watch, tmp_path):
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    scanned = scan(tmp_path / "log.csv", zone=UTC)

    seen = watch.snapshot.scan

    assert seen.log.rows == scanned.log.rows
    assert [each.reason for each in seen.log.quarantine] == [each.reason for each in scanned.log.quarantine]
    assert [(r.key, r.failures, r.signals) for r in seen.streams] == [
        (r.key, r.failures, r.signals) for r in scanned.streams
    ]


def test_nothing_new_changes_nothing(watch):
    before = watch.snapshot

    assert not watch.poll()
    assert watch.snapshot.scan is before.scan


def test_readings_of_others_are_seen(watch, store, tmp_path):
    shim = next(each.key for each in watch.snapshot.scan.streams if each.key.check == "notched_shim")
    header = LOG.splitlines()[0]
    more = f"{header}\n2025-03-09T06:10Z,Line A,bath_concentration,tank,0.22,,,tube-03,ktl,A,,7\n"

    add(store, read_text(tmp_path, more), SourceFile("/logs/more.csv", "1"))

    assert watch.poll()
    assert result(watch).readings.value[-1] == 0.22
    assert watch.snapshot.changed[BATH] == watch.snapshot.version == 2
    assert watch.snapshot.changed[shim] == 1


def test_an_empty_store_is_watched(empty):
    watch = StoreWatch(empty, zone=UTC)

    assert not watch.poll()
    assert watch.snapshot.version == 1
    watch.close()


def test_the_dashboard_shows_the_store(watch, empty):
    source = queries.watch(Settings(store=empty, zone=UTC))
    assert isinstance(source, StoreWatch)
    source.close()

    assert [each.key for each in source.snapshot.scan.streams] == [each.key for each in watch.snapshot.scan.streams]
    assert queries.Queries(source, Settings(store=empty, zone=UTC)).header().accepted == "6"
    with pytest.raises(queries.SetupError, match="neither a log nor a store"):
        queries.watch(Settings())


def test_corrections_events_and_limits_are_seen(watch, store):
    first = result(watch).readings
    store.append(Correction(BATH, identity_of(first, 0), 0, Said(DAY, 0.33), "misread"), who="a", now=NOW)
    assert watch.poll()
    assert result(watch).readings.value[0] == 0.33

    store.append(changed_bath(DAY + timedelta(hours=1)), who="a", now=NOW)
    assert watch.poll()
    assert [event.kind for event in result(watch).events] == ["bath_changed"]

    limits = LimitDecision(BATH.check, "", "", fixed(0.1, 0.2), DAY + timedelta(hours=2), "the Level 3")
    store.append(limits, who="a", now=NOW)
    assert watch.poll()
    assert result(watch).charted.upper.tolist()[:2] == [starter().checks[BATH.check].acceptance.upper, 0.2]


def test_a_followed_log_goes_into_the_store(empty, tmp_path):
    lines = long_log(60).splitlines(keepends=True)
    log = tmp_path / "growing.csv"
    log.write_text("".join(lines[:31]))
    events = tmp_path / "events.csv"
    events.write_text("at,line,kind,check,position,amount,unit,note\n")
    watch = StoreWatch(empty, follow=log, events=events, zone=UTC, who="follower")
    assert watch.snapshot.scan.log.rows.accepted == 30

    with log.open("a") as file:
        file.writelines(lines[31:])
    with events.open("a") as file:
        file.write("2024-01-01T01:00Z,Line A,bath_changed,bath_concentration,tank,,,\n")
    assert watch.poll()
    assert not watch.poll()
    watch.close()

    assert watch.snapshot.scan.log.rows.accepted == 60
    assert [len(each.events) for each in watch.snapshot.scan.streams].count(1) == 1
    with Store.open(empty) as store:
        assert sum(map(len, store.streams().values())) == 60
        assert store.verify().misfit is None
    again = StoreWatch(empty, follow=log, events=events, zone=UTC)
    assert again.snapshot.scan.log.rows.accepted == 60
    again.close()


def test_a_log_that_goes_away_is_told_while_the_store_is_shown(empty, tmp_path):
    log = tmp_path / "growing.csv"
    log.write_text(long_log(30))
    watch = StoreWatch(empty, follow=log, zone=UTC)
    log.unlink()

    assert watch.poll()
    watch.close()

    assert "no such file" in str(watch.snapshot.problem)
    assert len(result(watch).readings) == 10


def test_a_stream_that_the_catalogue_does_not_know_is_told_of(empty, store, tmp_path):
    checks = {**starter().checks, "own_check": replace(starter().checks["bath_temperature"], key="own_check")}
    log = read_text(tmp_path, LOG)
    kept = replace(log.streams[BATH], key=replace(BATH, check="own_check"))
    store.add_log(
        replace(log, streams={kept.key: kept}), replace(starter(), checks=checks), SourceFile("x", ""), who="a", now=NOW
    )

    watch = StoreWatch(empty, zone=UTC)
    watch.close()

    assert watch.snapshot.scan.streams == ()
    assert "own_check" in watch.snapshot.scan.log.notes[0]


def test_a_store_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(StoreError, match="there is no such store"):
        StoreWatch(tmp_path / "none.db")


def test_a_row_that_was_changed_in_a_followed_log_is_told_and_what_was_first_written_stays(empty, tmp_path):
    log = tmp_path / "followed.csv"
    log.write_text(LOG, encoding="utf-8")
    watch = StoreWatch(empty, follow=log, zone=UTC)
    before = result(watch).readings.value.tolist()
    log.write_text(LOG.replace("tank,0.21", "tank,0.24"), encoding="utf-8")

    changed = watch.poll()
    told, after = watch.snapshot.lost, result(watch).readings.value.tolist()
    watch.close()

    assert changed
    assert told is not None
    assert "what was first written stays in the store" in told
    assert [value for value in after if value == value] == [0.21, 0.24, *[v for v in before[1:] if v == v]]


def test_a_store_takes_no_half_written_event(empty, tmp_path):
    log, events = tmp_path / "followed.csv", tmp_path / "events.csv"
    log.write_text(LOG, encoding="utf-8")
    head = "at,line,kind,check,position,amount,unit,note\n"
    events.write_text(head + "2025-03-04T05:30Z,Line A,bath_changed,,,,,tank cle")
    watch = StoreWatch(empty, follow=log, events=events, zone=UTC)
    first = watch.store.events()
    events.write_text(head + "2025-03-04T05:30Z,Line A,bath_changed,,,,,tank cleaned\n")
    watch.poll()
    second = watch.store.events()
    watch.close()

    assert first == ()
    assert [event.note for event in second] == ["tank cleaned"]


def test_a_baseline_that_is_signed_off_is_used_at_the_next_look(empty, tmp_path):
    log = tmp_path / "long.csv"
    log.write_text(long_log(150), encoding="utf-8")
    watch = StoreWatch(empty, follow=log, zone=UTC)
    own = result(watch).segments[0]
    assert own.limits is not None
    first, last = (from_microseconds(int(result(watch).charted.taken_at[i])) for i in (0, 19))
    limits = (own.limits.centre_line, own.limits.sigma, own.limits.lower, own.limits.upper)
    version = Baseline(BATH, 1, "proposed", first, last, 20, *limits, by="anna")
    for step in ("proposed", "reviewed", "signed off"):
        watch.store.append(replace(version, step=step, valid_from=last + timedelta(minutes=1)), who="anna", now=NOW)

    assert watch.poll()
    used = result(watch).segments[-1]
    watch.close()
    assert used.signed is not None
    assert (used.first, used.signed.version, used.limits.upper if used.limits else None) == (20, 1, own.limits.upper)
