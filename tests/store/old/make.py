"""Write a store as this version of the program keeps it: `python -m tests.store.old.make NAME [STEP]`, from the top.

To be run once, before the tables or the records change shape, and kept for good: NAME.sqlite.sql, NAME.postgresql.sql
and, in NAME.json, what the store answers. STEP: an earlier step of the tables than the last.
"""

import json
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from spc.store.engine import address, open_engine
from spc.store.entries import Correction, Said
from spc.store.migrations import LAST, upgrade
from spc.store.readback import identity_of
from spc.store.store import Store
from tests.store import test_store
from tests.store.conftest import fresh_postgresql, program, server
from tests.store.made_store import BATH, LOG, NOW, add, changed_bath, read_text, said
from tests.store.test_store import DAY

HERE = Path(__file__).parent
OF_THE_DUMP = ("--", "SET ", "SELECT pg_catalog.set_config", "\\")
"""Lines that say how a dump is to be read, and nothing of what is kept."""


def fill(store: Store, folder: Path) -> dict[str, object]:
    """Write something of everything into a store; return what it answers."""
    add(store, read_text(folder, LOG))
    first = store.streams()[BATH]
    store.append(
        changed_bath(DAY),
        Correction(BATH, identity_of(first, 1), 0, Said(DAY + timedelta(hours=8), 0.2, note="misread"), "misread"),
        *test_store.RECORDS,
        who="anna",
        now=NOW,
    )
    return answers(store)


def answers(store: Store) -> dict[str, object]:
    """Return what a store answers, as JSON holds it."""
    found = store.verify()
    assert found.misfit is None, found.misfit
    kept = {
        "entries": found.entries,
        "readings": found.readings,
        "digest": found.digest,
        "streams": {str(key): said(readings) for key, readings in store.streams().items()},
        "first_written": {str(key): said(readings) for key, readings in store.first_written().items()},
        "events": [[event.at.isoformat(), event.line, event.kind] for event in store.events()],
        "trail": [[e.sequence, e.at.isoformat(), e.who, e.kind, e.subject] for e in store.since(0)],
    }
    return dict(json.loads(json.dumps(kept, default=str)))


def main(name: str, step: str = LAST) -> None:
    """Write the files."""
    with tempfile.TemporaryDirectory() as place, server() as running:
        folder = Path(place)
        file, database = folder / "store.db", fresh_postgresql(running)
        for where in (str(file), database):
            engine = open_engine(address(where))
            upgrade(engine, step)
            with Store(engine) as store:
                kept = fill(store, folder)
        with closing(sqlite3.connect(file)) as connection:
            (HERE / f"{name}.sqlite.sql").write_text("\n".join(connection.iterdump()) + "\n", encoding="utf-8")
        url = address(database)
        dump = [program("pg_dump"), "--inserts", "--no-owner", "-U", "spc", "-h", str(url.query["host"])]
        told = subprocess.run([*dump, str(url.database)], check=True, capture_output=True, text=True).stdout
        lines = [line for line in told.splitlines() if line and not line.startswith(OF_THE_DUMP)]
        (HERE / f"{name}.postgresql.sql").write_text("\n".join(lines) + "\n", encoding="utf-8")
        words = json.dumps(kept, ensure_ascii=True, indent=1)
        (HERE / f"{name}.json").write_text(words + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
