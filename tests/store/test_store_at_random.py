"""A store written to, corrected, backed up, restored and opened again at random, beside a plain model of it."""

import csv
import io
import shutil
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from spc.catalogue.load import starter
from spc.errors import StoreError
from spc.ingest.csv_log import CheckLog, LogReader
from spc.records import StreamKey
from spc.store.backup import backup, restore
from spc.store.entries import Correction, Identity, Note, Said
from spc.store.export import export
from spc.store.intake import SourceFile
from spc.store.store import Store
from spc.times import from_microseconds
from tests.store.conftest import fresh_postgresql
from tests.store.made_store import HEADER, NOW

CATALOGUE = starter()
KEYS = (StreamKey("Line A", "bath_concentration", "tank"), StreamKey("Halle Ü", "uva_irradiance", "lamp 1"))
START = datetime(2025, 3, 4, 6, tzinfo=UTC)
WORDS = st.text("aµ\"',;=<ü7 ", max_size=12)
ROWS = st.lists(st.tuples(st.sampled_from(KEYS), st.integers(0, 30), st.integers(1, 9), WORDS), min_size=1, max_size=6)
PHASES = (Phase.explicit, Phase.generate)
"""One that fails is told as it was found: making it shorter takes minutes."""


@dataclass(frozen=True)
class Kept:
    """What a reading says now (value and note; None: it was taken out), and how often it was corrected."""

    says: tuple[float, str] | None
    times: int = 0


def read(rows: list[tuple[StreamKey, int, int, str]]) -> CheckLog:
    """Return rows as a log that was read."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER.split(","))
    for key, minute, tenths, note in rows:
        at = (START + timedelta(minutes=minute)).isoformat()
        writer.writerow([at, key.line, key.check, key.position, f"{tenths / 10}", "", "", "m-1", "ktl", "A", note, ""])
    return LogReader("log.csv", CATALOGUE, zone=UTC).feed(out.getvalue().encode(), final=True)


class StoreBesideItsModel(RuleBasedStateMachine):
    """Every step is taken in the store and in the model; then both say the same and the record holds."""

    made: Path  # an empty SQLite store, to be copied
    server: str | None = None  # where databases of PostgreSQL are made; None: SQLite

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="store-"))
        self.model: dict[tuple[StreamKey, datetime, float], Kept] = {}
        self.notes: list[str] = []
        self.stores = 0
        self.store = self.fresh()

    def fresh(self) -> Store:
        """Return another store, empty."""
        self.stores += 1
        if self.server is not None:
            return Store.open(fresh_postgresql(self.server))
        place = self.folder / f"store-{self.stores}.db"
        shutil.copyfile(self.made, place)
        return Store.open(place)

    def add(self, rows: list[tuple[StreamKey, int, int, str]]) -> int:
        """Add rows; return how many were new."""
        added = self.store.add_log(read(rows), CATALOGUE, SourceFile("/logs/log.csv", "00ff"), who="ktl", now=NOW)
        return added.accepted

    @rule(rows=ROWS, twice=st.booleans())
    def write(self, rows: list[tuple[StreamKey, int, int, str]], twice: bool) -> None:
        before = len(self.model)
        for key, minute, tenths, note in rows:
            self.model.setdefault(
                (key, START + timedelta(minutes=minute), tenths / 10), Kept((tenths / 10, note.strip()))
            )

        assert self.add(rows) == len(self.model) - before
        assert not twice or self.add(rows) == 0

    @precondition(lambda self: self.model)
    @rule(
        data=st.data(), tenths=st.integers(1, 9), words=WORDS, out=st.booleans(), late=st.sampled_from([0, 0, 0, 1, -1])
    )
    def correct(self, data: st.DataObject, tenths: int, words: str, out: bool, late: int) -> None:
        key, at, value = name = data.draw(st.sampled_from(list(self.model)))
        kept = self.model[name]
        said = None if out else Said(at, tenths / 10, note=words)
        record = Correction(key, Identity(at, value), kept.times + late, said, "a slip")
        before = self.store.sequence()
        if late:
            with pytest.raises(StoreError, match="look at it again before correcting it"):
                self.store.append(record, who="ann", now=NOW)
            assert self.store.sequence() == before
            return
        self.store.append(record, who="ann", now=NOW)
        self.model[name] = Kept(None if out else (tenths / 10, words), kept.times + 1)

    @rule(key=st.sampled_from(KEYS), minute=st.integers(40, 60), words=WORDS)
    def correct_what_is_not_there(self, key: StreamKey, minute: int, words: str) -> None:
        before = self.store.sequence()
        with pytest.raises(StoreError, match=r"there is no such reading|gives no reason"):
            self.store.append(
                Correction(key, Identity(START + timedelta(minutes=minute), 0.5), 0, None, words), who="ann", now=NOW
            )
        assert self.store.sequence() == before

    @rule(key=st.sampled_from(KEYS), words=WORDS)
    def note(self, key: StreamKey, words: str) -> None:
        self.store.append(Note(key, START, words, "kim"), who="kim", now=NOW)
        self.notes.append(words)

    @rule()
    def open_again(self) -> None:
        where = self.store.engine.url.render_as_string(hide_password=False)
        self.store.close()
        self.store = Store.open(where, must_exist=True)

    @precondition(lambda self: self.store.sequence())
    @rule()
    def back_up_and_restore(self) -> None:
        file, before = self.folder / f"kept-{self.stores}.db", self.store.verify()
        assert backup(self.store, file) == before
        with pytest.raises(StoreError, match="restore into an empty store"):
            restore(file, self.store)
        self.store.close()
        self.store = self.fresh()
        assert restore(file, self.store) == before

    @precondition(lambda self: any(kept.says for kept in self.model.values()))
    @rule()
    def export_and_import(self) -> None:
        """What stands, exported and read into another store, stands there; two that became alike count once."""
        folder = self.folder / f"out-{self.store.sequence()}-{self.stores}"
        if not folder.exists():
            export(self.store, folder)
        log = LogReader("standing.csv", CATALOGUE, zone=UTC).feed((folder / "standing.csv").read_bytes(), final=True)
        first = {(key, at, says[0]) for key, at, says in self.stands()}

        assert log.quarantine == ()
        assert {(k, at, value) for k, at, (value, _) in found(log.streams)} == first
        assert log.rows.read == len(self.stands())

    def stands(self) -> list[tuple[StreamKey, datetime, tuple[float, str]]]:
        """Return what stands by the model."""
        return sorted((key, at, kept.says) for (key, at, _), kept in self.model.items() if kept.says is not None)

    @invariant()
    def both_say_the_same(self) -> None:
        if not hasattr(self, "store"):
            return
        assert found(self.store.streams()) == self.stands()
        first = [(key, at, value) for key, at, (value, _) in found(self.store.first_written())]
        assert first == sorted(self.model)
        assert [entry.record.words for entry in self.store.records(Note)] == self.notes
        assert self.store.verify().misfit is None

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            shutil.rmtree(self.folder)


def found(streams) -> list[tuple[StreamKey, datetime, tuple[float, str]]]:
    """Return readings one by one, sorted: stream, time, value and note."""
    return sorted(
        (key, from_microseconds(at), (round(value, 9), str(note)))
        for key, each in streams.items()
        for at, value, note in zip(each.taken_at, each.value.tolist(), each.note, strict=True)
    )


def run(kind: str, made: Path | None, server: str | None, examples: int, steps: int) -> None:
    """Run the machine on stores of one kind."""
    machine = type(kind, (StoreBesideItsModel,), {"made": made, "server": server})
    run_state_machine_as_test(
        machine, settings=settings(max_examples=examples, stateful_step_count=steps, phases=PHASES)
    )


def test_an_sqlite_store_says_what_its_model_says(made):
    run("OnSqlite", made, None, 18, 14)


def test_a_postgresql_store_says_what_its_model_says(postgresql):
    run("OnPostgresql", None, postgresql, 3, 10)
