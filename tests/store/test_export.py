"""What is exported can be read by anyone, and goes into another store without loss."""

import csv
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from spc.catalogue.load import starter
from spc.errors import StoreError
from spc.ingest.csv_log import read_log
from spc.records import Event
from spc.store.entries import Correction, Said
from spc.store.export import QUARANTINED, RECORDS, export
from spc.store.intake import SourceFile
from spc.store.readback import identity_of
from spc.store.store import Store
from spc.store.taken_over import take_over
from tests.store.made_store import BATH, FILE, HEADER, LOG, NOW, add, changed_bath, long_log, read_text, said
from tests.store.test_store import DAY
from tests.store.test_store import RECORDS as MADE


@pytest.fixture
def filled(store, tmp_path):
    """Return a store with something of everything."""
    add(store, read_text(tmp_path, LOG))
    add(store, read_text(tmp_path, long_log(60)), SourceFile("/logs/long.csv", "77"))
    first = store.streams()[BATH]
    store.append(changed_bath(DAY, 'a "new" bath'), *MADE, who="anna", now=NOW)
    store.append(Correction(BATH, identity_of(first, 0), 0, Said(DAY, 0.33), "misread"), who="bert", now=NOW)
    return store


def contents(store: Store):
    """Return all that a store holds, but for the numbers it gave."""
    records = [(e.at, e.who, e.kind, e.subject, e.body if hasattr(e, "body") else e.record) for e in store.since(0)]
    kept = [record for record in records if record[2] in ("event", "correction", "baseline", "account", "reaction")]
    quarantined = sorted(str(record[3:]) for record in records if record[2] == "quarantined")
    first = {key: (said(r), r.row.tolist()) for key, r in store.first_written().items()}
    return first, {key: said(r) for key, r in store.streams().items()}, store.events(), kept, len(quarantined)


def test_an_export_goes_into_another_store_without_loss(filled, tmp_path):
    export(filled, tmp_path / "out")

    with Store.open(tmp_path / "other.db") as other:
        take_over(other, tmp_path / "out", starter(), who="carl", now=NOW + timedelta(days=1))
        assert contents(other) == contents(filled)
        assert other.verify().misfit is None
        before = other.sequence()
        again = take_over(other, tmp_path / "out", starter(), who="carl", now=NOW + timedelta(days=2))
        assert (again.accepted, other.sequence()) == (0, before)
        export(other, tmp_path / "again")

    for name in ("readings", "standing", "events", "records", "quarantined"):
        ours, theirs = ((tmp_path / place / f"{name}.csv").read_text() for place in ("out", "again"))
        assert sorted(ours.splitlines()) == sorted(theirs.splitlines())


def test_the_readings_that_stand_are_a_check_log(filled, tmp_path):
    counts = export(filled, tmp_path / "out")

    log = read_log(tmp_path / "out" / "standing.csv", starter(), zone=UTC)

    assert log.rows.accepted == log.rows.read == counts["standing"] == 66
    assert 0.33 in log.streams[BATH].value


def test_parquet_says_the_same(filled, tmp_path):
    export(filled, tmp_path / "out", parquet=True)

    for path in (tmp_path / "out").glob("*.csv"):
        table = pq.read_table(path.with_suffix(".parquet"))
        with path.open(newline="", encoding="utf-8") as file:
            header, *rows = csv.reader(file)
        assert table.column_names == header
        assert [list(row.values()) for row in table.to_pylist()] == rows


def test_an_export_overwrites_nothing(filled, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")

    with pytest.raises(StoreError, match="holds something already"):
        export(filled, tmp_path / "out")

    assert [path.name for path in (tmp_path / "out").iterdir()] == ["notes.txt"]


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("records.csv", "at,who\n", "its columns are not"),
        ("records.csv", ",".join(RECORDS) + "\na,b\n", "line 2 has 2 cells, not 5"),
        ("records.csv", ",".join(RECORDS) + '\n2025-01-01T00:00:00+00:00,a,reaction,x,"{}"\n', "cannot be read"),
        ("records.csv", ",".join(RECORDS) + "\n2025-01-01T00:00:00+00:00,a,secret,x,{}\n", "is no kind of record"),
        ("readings.csv", "taken_at,line,check,value\n", "its columns are not those of an export"),
        ("records.csv", ",".join(RECORDS) + "\nno time,a,event,x,{}\n", "cannot be read"),
        ("records.csv", ",".join(RECORDS) + '\n2025-01-01,a,event,x,"[1]"\n', "cannot be read"),
        ("quarantined.csv", ",".join(QUARANTINED) + "\na,b,no row,c,d,e\n", "is not as spc export wrote it"),
        ("quarantined.csv", "\ufffd", "its columns are not"),
    ],
)
def test_an_export_that_is_none_is_refused(filled, tmp_path, file, text, says):
    export(filled, tmp_path / "out")
    (tmp_path / "out" / file).write_text(text)

    with Store.open(tmp_path / "other.db") as other, pytest.raises(StoreError, match=says):
        take_over(other, tmp_path / "out", starter(), who="carl", now=NOW)


def test_an_export_of_another_encoding_or_without_its_rows_is_refused(filled, tmp_path):
    export(filled, tmp_path / "out")
    records, readings = tmp_path / "out" / "records.csv", tmp_path / "out" / "readings.csv"
    kept = records.read_bytes()

    with Store.open(tmp_path / "other.db") as other:
        records.write_bytes(b"\xff\xfe\x00")
        with pytest.raises(StoreError, match="is not as spc export wrote it"):
            take_over(other, tmp_path / "out", starter(), who="carl", now=NOW)
        records.write_bytes(kept)
        readings.write_text(readings.read_text(encoding="utf-8").replace(",00ff,2,", ",00ff,two,"), encoding="utf-8")
        with pytest.raises(StoreError, match="is not as spc export wrote it"):
            take_over(other, tmp_path / "out", starter(), who="carl", now=NOW)
        assert other.verify().misfit is None


TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t,;\"'="), max_size=12)
TIMES = st.datetimes(datetime(2000, 1, 1), datetime(2030, 1, 1))  # noqa: DTZ001 - the offset follows
OFFSETS = st.sampled_from(["", "Z", "+05:30", "-09:00"])
VALUES = st.floats(0, 0.5, allow_nan=False).map(repr) | st.sampled_from(["not run", "<0.05", ">0.4", "0,21", ""])


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(TIMES, OFFSETS, VALUES, TEXTS, TEXTS, TEXTS), max_size=8))
def test_any_log_survives_the_round(made, tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("round")
    with (folder / "log.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER.split(","))
        for at, offset, value, position, note, lot in rows:
            cells = (at.isoformat() + offset, "Line A", "bath_concentration", position, value, "", "", "", "", "", note)
            writer.writerow((*cells, lot))
    log = read_log(folder / "log.csv", starter(), zone=UTC)
    with Store.open(folder / "one.db") as one, Store.open(folder / "two.db") as two:
        add(one, log, replace(FILE, path=str(folder / "log.csv")))
        export(one, folder / "out")
        take_over(two, folder / "out", starter(), who="carl", now=NOW)

        assert {key: said(kept) for key, kept in one.streams().items()} == {k: said(r) for k, r in log.streams.items()}
        assert contents(two) == contents(one)


def test_a_log_with_columns_of_an_export_keeps_them(filled, tmp_path):
    export(filled, tmp_path / "out")
    log = read_log(tmp_path / "out" / "readings.csv", starter(), zone=UTC)
    with Store.open(tmp_path / "second.db") as second, Store.open(tmp_path / "third.db") as third:
        add(second, log)
        export(second, tmp_path / "next")
        take_over(third, tmp_path / "next", starter(), who="carl", now=NOW)

        assert contents(third) == contents(second)
        assert isinstance(filled.events()[0], Event)
