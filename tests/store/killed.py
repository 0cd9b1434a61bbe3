"""Work that a test kills: each function runs in a process of its own, and says when it begins."""

import multiprocessing
import os
import random
import time
from collections.abc import Callable
from datetime import timedelta
from itertools import count
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from sqlalchemy import NullPool, create_engine, text

from spc.catalogue.load import starter
from spc.ingest.csv_log import CheckLog
from spc.store import backup as backups
from spc.store import intake
from spc.store.engine import address
from spc.store.entries import body_of
from spc.store.intake import SourceFile
from spc.store.store import Store
from tests.store.made_store import NOW, add, changed_bath
from tests.store.test_store import DAY

PROCESSES: Any = multiprocessing.get_context("spawn" if os.name == "nt" else "forkserver")
"""Each process is forked from one that holds no lock and no connection, and has loaded what they need."""

if os.name != "nt":
    PROCESSES.set_forkserver_preload(["tests.store.killed", "alembic.command", "alembic.autogenerate", "psycopg"])

PER_TRANSACTION = 20
RECORDS_AT_ONCE = 5
KILLED = 9

Work = Callable[..., None]


def import_log(begun: Connection, where: str, log: CheckLog, file: SourceFile) -> None:
    """Import a log in small transactions."""
    intake.AT_ONCE = PER_TRANSACTION
    starter()
    with Store.open(where) as store:
        begun.send("begun")
        add(store, log, file)


def write_records(begun: Connection, where: str) -> None:
    """Write a few records in each transaction, until killed."""
    body_of(changed_bath(DAY))  # so that what is made at the first use is made
    with Store.open(where) as store:
        begun.send("begun")
        for n in count():
            events = [changed_bath(DAY + timedelta(minutes=n, seconds=i)) for i in range(RECORDS_AT_ONCE)]
            store.append(*events, who="ktl", now=NOW)


def migrate(begun: Connection, where: str) -> None:
    """Make the tables of a store."""
    begun.send("begun")
    Store.open(where).close()


def back_up(begun: Connection, where: str, file: Path) -> None:
    """Write a store into a file."""
    with Store.open(where) as store:
        begun.send("begun")
        backups.backup(store, file)


def restore(begun: Connection, file: Path, where: str) -> None:
    """Take a backup into a store."""
    with Store.open(where) as store:
        begun.send("begun")
        backups.restore(file, store)


class Killer:
    """Kills work at moments drawn from a seed, over the time that the work takes."""

    def __init__(self, seed: int) -> None:
        self._draw = random.Random(seed)
        self.takes = 0.0
        self.kills = 0

    def left_alone(self, work: Work, *what: Any) -> None:
        """Let work come to its end, to see how long it takes."""
        process, started = self._start(work, what)
        process.join(timeout=60)
        assert process.exitcode == 0
        self.takes = time.monotonic() - started

    def kill(self, work: Work, *what: Any, within: float | None = None) -> None:
        """Start work and kill it at a moment drawn over its length."""
        process, _ = self._start(work, what)
        time.sleep(self._draw.uniform(0.0, self.takes if within is None else within))
        process.kill()
        process.join(timeout=60)
        for where in what:
            if str(where).startswith("postgresql"):
                settled(str(where))
        was_killed = process.exitcode == -KILLED
        self.kills += was_killed
        self.takes *= 1.05 if was_killed else 0.8  # the machine is busy now and then; a third are to end by themselves

    @staticmethod
    def _start(work: Work, what: tuple[Any, ...]) -> tuple[Any, float]:
        ours, theirs = PROCESSES.Pipe()
        process = PROCESSES.Process(target=work, args=(theirs, *what), daemon=True)
        process.start()
        theirs.close()
        assert ours.poll(60), "the work did not begin"
        ours.recv()
        ours.close()
        return process, time.monotonic()


def settled(where: str) -> None:
    """Wait until the server of PostgreSQL has ended what a killed client last asked of it: a commit goes on alone."""
    others = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
        " AND backend_type = 'client backend' AND state <> 'idle'"
    )
    engine = create_engine(address(where), poolclass=NullPool)
    until = time.monotonic() + 60
    while True:
        with engine.connect() as connection:
            if not connection.execute(others).scalar():
                break
        assert time.monotonic() < until, "the server still works for a client that was killed"
        time.sleep(0.005)
    engine.dispose()
