"""The store on both databases: what goes in comes out, nothing is taken twice, nothing is lost or overwritten."""

import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import delete, insert, text, update

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import starter
from spc.errors import StoreError
from spc.failures import FailureRecord, FailureStep, WrittenStep
from spc.records import Bound, Event, Readings, StreamKey
from spc.run_start import Circuit, KnownDefectPart, NotchedShim, RingHoles, SetupSample, Technique
from spc.store import intake
from spc.store.entries import (
    Account,
    Answer,
    Baseline,
    Calibration,
    Correction,
    EventWithdrawn,
    Identity,
    Instrument,
    LimitDecision,
    Note,
    Reaction,
    Said,
)
from spc.store.intake import SourceFile
from spc.store.readback import identity_of
from spc.store.store import Store
from spc.store.tables import head, readings, streams, trail
from tests.store.made_store import BATH, FILE, LOG, NOW, add, changed_bath, long_log, read_text, said

DAY = datetime(2025, 3, 4, 6, 10, tzinfo=UTC)


def test_what_goes_in_comes_out(store, tmp_path):
    log = read_text(tmp_path, LOG)

    added = add(store, log)

    assert (added.read, added.accepted, added.duplicate, added.quarantined) == (8, 6, 1, 1)
    assert {key: said(kept) for key, kept in store.streams().items()} == {k: said(r) for k, r in log.streams.items()}
    assert store.streams()[BATH].row.tolist() == log.streams[BATH].row.tolist()


def test_a_second_import_adds_nothing(store, tmp_path):
    log = read_text(tmp_path, LOG)
    add(store, log)
    before = store.verify()

    again = add(store, log)

    assert (again.accepted, again.present, again.newly_quarantined) == (0, 6, 0)
    assert store.verify() == before


def test_a_grown_log_adds_what_is_new(store, tmp_path):
    add(store, read_text(tmp_path, long_log(90)))

    added = add(store, read_text(tmp_path, long_log(100)), SourceFile(FILE.path, "another"))

    assert (added.accepted, added.present) == (10, 90)
    assert sum(map(len, store.streams().values())) == 100
    assert store.verify().misfit is None


def test_an_import_cut_off_between_two_transactions_goes_on(store, tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "AT_ONCE", 16)
    log = read_text(tmp_path, long_log(100))

    def stop(looked: int, total: int) -> None:
        if looked >= 48:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        store.add_log(log, starter(), FILE, who="ktl", now=NOW, progress=stop)
    half = sum(map(len, store.streams().values()))
    added = add(store, log)

    assert half == 48
    assert (added.accepted, added.present) == (52, 48)
    assert [entry.kind for entry in store.since(0)].count("imported") == 1
    assert store.verify().misfit is None


def test_the_last_readings_are_the_newest_in_order_of_time(store, tmp_path):
    log = read_text(tmp_path, long_log(90))
    add(store, log)

    last = store.last(BATH, 7)

    assert said(last) == said(log.streams[BATH])[-7:]
    assert store.last(StreamKey("Line B", "ammeter", ""), 7) is None


def test_a_stream_stays_in_its_unit(store, tmp_path):
    log = read_text(tmp_path, LOG)
    add(store, log)
    checks = dict(starter().checks)
    checks[BATH.check] = replace(checks[BATH.check], unit="%")
    other = replace(starter(), checks=checks)

    with pytest.raises(StoreError, match="keeps it in 'mL/100mL', the catalogue says '%'"):
        store.add_log(log, other, FILE, who="ktl", now=NOW)


def correction(kept: Readings, place: int, said: Said | None, *, replaces: int = 0, why: str = "misread") -> Correction:
    return Correction(kept.key, identity_of(kept, place), replaces, said, why)


def test_a_correction_stands_beside_what_it_replaces(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    first = store.streams()[BATH]

    store.append(correction(first, 0, Said(DAY, 0.12, note="0.12 on the sheet")), who="anna", now=NOW)

    assert store.streams()[BATH].value[0] == 0.12
    assert said(store.first_written()[BATH]) == said(first)
    (entry,) = store.records(Correction)
    assert (entry.who, entry.at, entry.record.why, entry.record.reading.value) == ("anna", NOW, "misread", 0.21)


def test_corrections_of_one_reading_form_a_chain(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    first = store.streams()[BATH]
    store.append(correction(first, 0, Said(DAY, 0.12)), who="anna", now=NOW)

    with pytest.raises(StoreError, match="was corrected 1 times, not 0; look at it again"):
        store.append(correction(first, 0, Said(DAY, 0.11)), who="bert", now=NOW)
    store.append(correction(first, 0, None, replaces=1), who="bert", now=NOW)

    assert store.streams()[BATH].taken_at.tolist() == first.taken_at[1:].tolist()


def test_a_corrected_time_moves_the_reading(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    first = store.streams()[BATH]

    store.append(correction(first, 0, Said(DAY + timedelta(days=9), 0.21)), who="anna", now=NOW)

    stands = store.streams()[BATH]
    assert stands.value.tolist()[-1] == 0.21
    assert np.all(np.diff(stands.taken_at) >= 0)


@pytest.mark.parametrize(
    ("identity", "why", "says"),
    [
        (Identity(DAY, 0.22), "misread", "there is no such reading"),
        (Identity(DAY, 0.21, Bound.BELOW), "misread", "there is no such reading"),
        (Identity(DAY, 0.21), "  ", "gives no reason"),
    ],
)
def test_a_correction_that_fits_nothing_is_refused(store, tmp_path, identity, why, says):
    add(store, read_text(tmp_path, LOG))
    before = store.sequence()

    with pytest.raises(StoreError, match=says):
        store.append(Correction(BATH, identity, 0, None, why), who="anna", now=NOW)

    assert store.sequence() == before


def test_events_are_kept_once_and_can_be_withdrawn(store):
    event = changed_bath(DAY)
    store.append(event, changed_bath(DAY + timedelta(days=1)), who="ktl", now=NOW)

    store.append(EventWithdrawn(event, "was the other line"), who="anna", now=NOW)

    assert [each.at for each in store.events()] == [DAY + timedelta(days=1)]
    assert next(entry.record for entry in store.records(Event)).at == DAY


RUN_START = SetupSample(
    DAY,
    "Line A",
    "ring gear",
    Technique("multidirectional", (Circuit("head", 1500.0), Circuit("coil", 800.0)), continuous=True),
    NotchedShim("CX-230", "bore", "partly"),
    "ktl",
    photo="2025-03-04.jpg",
)
FAILED = FailureRecord(BATH, DAY, "0.05 mL/100 mL", "at least 0.1", None, None, ("L1",), (), DAY, "ktl")

RECORDS = (
    Baseline(BATH, 1, "proposed", DAY, DAY, 20, 0.2, 0.01, 0.17, 0.23, (DAY,)),
    Reaction(BATH, DAY, "one_side", "acknowledged", "anna", "bath looked at"),
    Account("anna", "level 3", "scrypt$..."),
    Calibration("rad-2", DAY, "out of tolerance", -120.0, None, "uW/cm2", DAY + timedelta(days=180), "C-7", "lab"),
    RUN_START,
    replace(RUN_START, reference=RingHoles("AS5282", 1000.0, 6, 5)),
    replace(RUN_START, reference=KnownDefectPart("gear 3", 3, 4)),
    FAILED,
    WrittenStep(BATH, DAY, FailureStep("held", DAY, "ktl", "lots L1 and L2")),
    Note(BATH, DAY, "foam on the bath", "anna", 2),
    Answer(BATH, "copied", DAY, DAY, "read twice, both times 0.21", "anna"),
    LimitDecision("bath_concentration", "", "", Acceptance("fixed", 0.1, 0.4, document="P-1"), DAY, "L3", "revised"),
    Instrument("rad-2", "uva_irradiance", "S-9", 180.0),
    EventWithdrawn(replace(changed_bath(DAY), amount=2.0), "of the other line"),
)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: type(record).__name__)
def test_a_record_comes_back_as_it_was(store, record):
    store.append(record, who="anna", now=NOW)

    (entry,) = store.records(type(record))

    assert entry.record == record
    assert (entry.sequence, entry.who, entry.at) == (1, "anna", NOW)


def test_records_are_added_all_or_none(store):
    with pytest.raises(StoreError, match="str: no kind of record that is kept"):
        store.append(RECORDS[0], "something else", who="anna", now=NOW)

    assert store.sequence() == 0


@pytest.mark.parametrize(
    ("change", "who", "says"),
    [
        ({"centre_line": float("inf")}, "anna", "inf is no finite number"),
        ({"first": datetime(2025, 3, 4)}, "anna", "has no zone"),  # noqa: DTZ001 - refused for it
        ({}, "an\0na", "holds a character that cannot be kept"),
        ({}, "an\ud800na", "holds a character that cannot be kept"),
    ],
)
def test_what_cannot_be_kept_is_refused(store, change, who, says):
    with pytest.raises(StoreError, match=says):
        store.append(replace(RECORDS[0], **change), who=who, now=NOW)

    assert store.sequence() == 0


def test_a_reader_that_polls_sees_what_is_new(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    seen = store.sequence()

    store.append(changed_bath(DAY), who="ktl", now=NOW)

    assert [entry.kind for entry in store.since(seen)] == ["event"]
    assert store.since(store.sequence()) == ()


@pytest.mark.parametrize(
    "change",
    [
        update(trail).values(who="nobody"),
        delete(trail),
        update(readings).values(value=1.0),
        delete(readings),
        update(streams).values(line="Line B"),
        delete(streams),
        update(head).values(sequence=0),
        delete(head),
    ],
    ids=str,
)
def test_the_database_itself_refuses_a_change(store, tmp_path, change):
    add(store, read_text(tmp_path, LOG))
    before = store.verify()

    with pytest.raises(Exception, match=r"only grow|only go|not deleted"), store.engine.begin() as connection:
        connection.execute(change)

    assert store.verify() == before


def test_the_database_itself_refuses_a_reading_twice(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    with store.engine.begin() as connection:
        row = dict(connection.execute(readings.select().where(readings.c.word == "shown")).one()._mapping)

    with pytest.raises(Exception, match=r"(?i)unique"), store.engine.begin() as connection:
        connection.execute(insert(readings).values({**row, "id": 99}))


def test_writers_at_once_lose_nothing_and_the_chain_stays_one_line(fresh, tmp_path):
    logs = [read_text(tmp_path, long_log(400, first=300 * i)) for i in range(4)]  # each shares 100 with the next
    with Store.open(fresh):
        pass
    failures = []

    def work(i: int) -> None:
        try:
            with Store.open(fresh) as mine:
                add(mine, logs[i], SourceFile(f"/logs/{i}.csv", str(i)), who=f"person {i}")
                for day in range(10):
                    mine.append(changed_bath(DAY + timedelta(days=day, hours=i)), who=f"person {i}", now=NOW)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(i,)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with Store.open(fresh) as opened:
        verified = opened.verify()
        kept = sum(map(len, opened.streams().values()))
        events = len(opened.events())
    assert failures == []
    assert verified.misfit is None
    assert (kept, events) == (1300, 40)


def test_a_foreign_database_is_refused(fresh):
    from spc.store.engine import address, open_engine

    engine = open_engine(address(fresh))
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE trail (x INTEGER)"))
    engine.dispose()

    with pytest.raises(StoreError, match="tables of this name that are no store"):
        Store.open(fresh)


@pytest.mark.parametrize(
    ("where", "says"),
    [
        ("mysql://host/name", "no store; give the path of a file"),
        ("://", "no store"),
        ("sqlite://", "names no file"),
        ("postgresql://nobody@/none?host=/nowhere", "the database refuses"),
    ],
)
def test_an_address_that_is_none_is_refused(where, says):
    with pytest.raises(StoreError, match=says):
        Store.open(where)


def test_a_password_is_never_shown():
    with pytest.raises(StoreError) as refused:
        Store.open("postgresql://anna:secret@/none?host=/nowhere")

    assert "secret" not in str(refused.value)


def test_a_file_that_is_no_store_is_refused(tmp_path):
    (tmp_path / "x.db").write_text("no database, but more than a hundred bytes of text" * 20)

    with pytest.raises(StoreError, match="the database refuses"):
        Store.open(tmp_path / "x.db")
    with pytest.raises(StoreError, match="there is no such store"):
        Store.open(tmp_path / "y.db", must_exist=True)
