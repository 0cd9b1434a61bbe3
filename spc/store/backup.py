"""A store whole into one file while people work, and out of it again.

A backup is itself a store in one SQLite file, whatever database it was taken from: it can be opened, verified and
exported like any other. It appears under its name only when it is whole and was verified.
"""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Engine, Table, insert, select

from spc.errors import StoreError
from spc.store.engine import reading, writing
from spc.store.store import Store
from spc.store.tables import head, readings, streams, trail
from spc.store.trail import Trail
from spc.store.verify import Verified

AT_ONCE = 10_000
PART = ".part"
BESIDE = ("", "-wal", "-shm")
"""What SQLite keeps beside a store while it is open."""


def backup(store: Store, file: Path) -> Verified:
    """Write the store as it stands at one moment to `file`; writers go on meanwhile.

    Raises:
        StoreError: the file is there already or cannot be written, or the store is not what was written.
    """
    if file.exists():
        raise StoreError(f"{file}: is there already; a backup overwrites nothing, name another file")
    part = file.with_name(file.name + PART)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        remove(part)
        with Store.open(part) as copy:
            _copy(store.engine, copy.engine)
            verified = whole(copy, "the backup was not kept")
        single_file(part)
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.replace(file)
    except OSError as error:
        raise StoreError(f"{file}: cannot be written ({error.strerror}); name another file") from None
    finally:
        remove(part)
    return verified


def restore(file: Path, into: Store) -> Verified:
    """Take a backup into a store without entries: all of it, or nothing.

    Raises:
        StoreError: there is no such file, it is not what was written, it holds no entry, or the store holds some.
    """
    if not file.is_file():
        raise StoreError(f"{file}: there is no such file; name a backup")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "backup.db"  # opening a store may take it to the newest tables; a backup stays as it is
        try:
            shutil.copyfile(file, copy)
        except OSError as error:
            raise StoreError(f"{file}: cannot be read ({error.strerror}); see who may read it") from None
        with _opened(copy, file) as source:
            verified = whole(source, "nothing was restored")
            if not verified.entries:  # any empty file can be opened as a new store
                raise StoreError(f"{file}: holds no entry, so nothing was restored; see whether it is the backup meant")
            _copy(source.engine, into.engine)
    return verified


def _opened(copy: Path, file: Path) -> Store:
    """Return the copy of a backup, open; refuse one that is no store by the backup's own name."""
    try:
        return Store.open(copy)
    except StoreError as error:
        raise StoreError(str(error).replace(str(copy), str(file))) from None


def whole(store: Store, so: str) -> Verified:
    """Return what going through the record shows; refuse one that is not what was written."""
    verified = store.verify()
    if verified.misfit is not None:
        raise StoreError(f"{store.name}: {verified.misfit.words}, so {so}; run spc verify on the store")
    return verified


def _copy(source: Engine, target: Engine) -> None:
    with reading(source) as giving, writing(target) as taking:
        end = Trail(taking)
        if end.sequence:
            raise StoreError(
                f"{target.url.database}: holds {end.sequence} entries already; restore into an empty store"
            )
        for table in (trail, streams, readings):
            _copy_rows(giving, taking, table)
        last = giving.execute(select(head)).one()
        if last.sequence:
            end.sequence, end.digest, end.reading = last.sequence, bytes(last.digest), last.reading
            end.settle()


def _copy_rows(giving: Connection, taking: Connection, table: Table) -> None:
    with giving.execution_options(yield_per=AT_ONCE).execute(select(table).order_by(*table.primary_key)) as rows:
        for some in rows.mappings().partitions():
            taking.execute(insert(table), [dict(row) for row in some])


def single_file(path: Path) -> None:
    """Let an SQLite store stand in its one file, nothing beside it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")


def remove(path: Path) -> None:
    """Remove a store's file and what SQLite keeps beside it."""
    for suffix in BESIDE:
        path.with_name(path.name + suffix).unlink(missing_ok=True)
