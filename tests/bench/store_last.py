"""How long the last 500 readings of one stream take out of ten million, against ten thousand: SQLite and PostgreSQL.

The tables are filled directly, twenty streams with the readings of all of them in turn, as a log brings them; the
store then answers through its own code. Arguments: readings of the large store and of the small one, 10,000,000 and
10,000 if not given. PostgreSQL is started for the measurement; it is left out where the machine has none.
"""

import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from spc.records import StreamKey
from spc.store.engine import address
from spc.store.store import Store
from tests.store.conftest import program, unprivileged

STREAMS, LAST, TRIES = 20, 500, 41
STEP = 60_000_000 // STREAMS  # microseconds from one reading to the next of any stream

ROW = (
    "select {n}, 1 + {n} % {streams}, {n} * {step}, -32768, 1, {n} + 2, 2400 + {n} % 211, 0, '', null, 'rad-1', 'ktl', "
    "'A', '', '', 1, {digest}"
)
KEYS = [StreamKey(f"Line {i // 10}", "uva_irradiance", f"lamp {i % 10}") for i in range(STREAMS)]


def asked(store: Store) -> float:
    """Return the median seconds of the last readings of a stream, each time of another one."""
    took = []
    for i in range(TRIES):
        started = time.perf_counter()
        found = store.last(KEYS[(7 * i) % STREAMS], LAST)
        took.append(time.perf_counter() - started)
        assert found is not None
    return statistics.median(took[1:])  # the first opens a connection


def headed(where: str) -> None:
    """Make a store with one file and the streams in it."""
    from datetime import UTC, datetime

    from sqlalchemy import insert

    from spc.store.intake import SourceFile, file_entry
    from spc.store.tables import streams
    from spc.store.trail import appending

    with Store.open(where) as store, appending(store.engine) as end:
        file_entry(end, SourceFile("/made.csv", ""), who="bench", now=datetime.now(UTC))
        rows = [
            {"id": i + 1, "line": key.line, "check": key.check, "position": key.position, "unit": "uW/cm2"}
            for i, key in enumerate(KEYS)
        ]
        end.connection.execute(insert(streams), rows)


def filled_sqlite(where: Path, n: int) -> None:
    """Make an SQLite store of `n` readings."""
    headed(str(where))
    connection = sqlite3.connect(where)
    made = ROW.format(n="i", streams=STREAMS, step=STEP, digest="zeroblob(32)")
    with connection:
        connection.execute(
            f"with recursive numbers(i) as (select 1 union all select i + 1 from numbers where i < {n}) "
            f"insert into readings {made} from numbers"
        )
    connection.execute("analyze")
    connection.close()


def filled_postgresql(where: str, n: int) -> None:
    """Make a PostgreSQL store of `n` readings."""
    import psycopg

    headed(where)
    made = ROW.format(n="i", streams=STREAMS, step=STEP, digest="decode(repeat('00', 32), 'hex')").replace("%", "%%")
    url = address(where).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            f"insert into readings {made} from generate_series(1::bigint, {n}) as numbers(i)".replace("%%", "%")
        )
        connection.execute("vacuum analyze readings")


@contextmanager
def server() -> Iterator[str | None]:
    """Give the address of a PostgreSQL of our own with `{}` for the database; None where there is none."""
    try:
        initdb, control = program("initdb"), program("pg_ctl")
    except AssertionError:
        yield None
        return
    import os

    folder, user = Path(tempfile.mkdtemp(prefix="spc-bench-")), unprivileged()
    how = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []} if user is not None else {}
    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)

    def run(*command: str) -> None:
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, timeout=120, **how)  # type: ignore[call-overload]  # a mapping of settings

    data = str(folder / "data")
    run(initdb, "-D", data, "-U", "spc", "-A", "trust", "-E", "UTF8", "--locale", "C", "--no-sync")
    settings = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off -c max_wal_size=4GB"
    run(control, "-D", data, "-w", "-l", str(folder / "log"), "-o", settings, "start")
    try:
        yield f"postgresql://spc@/{{}}?host={folder}"
    finally:
        run(control, "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def told(name: str, large: float, small: float, n_large: int, n_small: int) -> None:
    """Print one line of the result."""
    sys.stdout.write(
        f"{name}: the last {LAST} of one of {STREAMS} streams out of {n_large:,} readings {1000 * large:.2f} ms, "
        f"out of {n_small:,} {1000 * small:.2f} ms: {large / small:.2f} times\n"
    )
    sys.stdout.flush()


def main() -> None:
    """Print the times and the ratios."""
    given = [int(word) for word in sys.argv[1:3]]
    n_large, n_small = (*given, *(10_000_000, 10_000)[len(given) :])
    with tempfile.TemporaryDirectory() as folder:
        took = []
        for name, n in (("small.db", n_small), ("large.db", n_large)):
            filled_sqlite(Path(folder) / name, n)
        for name in ("small.db", "large.db"):
            with Store.open(Path(folder) / name) as store:
                took.append(asked(store))
        told("SQLite", took[1], took[0], n_large, n_small)
    with server() as url:
        if url is None:
            sys.stdout.write("PostgreSQL is not on this machine and was left out\n")
            return
        import psycopg

        took = []
        for name, n in (("small", n_small), ("large", n_large)):
            with psycopg.connect(url.format("postgres"), autocommit=True) as connection:
                connection.execute(f"create database {name}")
            filled_postgresql(url.format(name), n)
        for name in ("small", "large"):
            with Store.open(url.format(name)) as store:
                took.append(asked(store))
        told("PostgreSQL", took[1], took[0], n_large, n_small)


if __name__ == "__main__":
    main()
