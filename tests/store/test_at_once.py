"""An import, a follower and people who write at one store at once: nothing is lost, nothing is kept twice."""

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC

from spc.catalogue.load import starter
from spc.store.files import import_log
from spc.store.readback import identities
from spc.store.store import Store
from spc.store.watch import StoreWatch
from spc.store.written import add_written
from tests.store.made_store import BATH, NOW, long_log, read_text

COLUMNS = (
    *("taken_at", "offset", "row", "value", "bound", "word", "reference"),
    *("instrument", "technician", "shift", "note"),
)


def test_an_import_a_follower_and_people_at_once_lose_nothing_and_double_nothing(fresh, tmp_path):
    """The follower's log shares rows with the import, and the people write down some that it brings as well."""
    imported, followed = tmp_path / "imported.csv", tmp_path / "followed.csv"
    rows = long_log(900).splitlines(keepends=True)
    imported.write_text("".join(rows[:601]), encoding="utf-8")
    followed.write_text("".join(rows[:1] + rows[301:402]), encoding="utf-8")
    bath = read_text(tmp_path, "".join(rows)).streams[BATH]
    Store.open(fresh).close()
    failures: list[BaseException] = []
    ends = threading.Event()

    def follow() -> None:
        watch = StoreWatch(fresh, follow=followed, zone=UTC)
        for number, row in enumerate(rows[402:]):
            with followed.open("a", encoding="utf-8") as file:
                file.write(row)
            if number % 25 == 0:
                watch.poll()
        watch.poll()
        ends.wait(60)
        watch.poll()
        seen.append(sum(len(each.readings) for each in watch.snapshot.scan.streams))
        watch.close()

    def bring_in() -> None:
        with Store.open(fresh) as mine:
            for _ in range(2):
                import_log(mine, imported, starter(), zone=UTC, dates=None, who="import", now=NOW)

    def write_down(person: int) -> None:
        with Store.open(fresh) as mine:
            for place in range(person, 60, 2):  # both people, each every second one, and each of those twice
                columns = {name: getattr(bath, name)[place : place + 1] for name in COLUMNS}
                one = replace(bath, **columns, other={})
                for _ in range(2):
                    add_written(mine.engine, one, "mL/100mL", name=f"{person}-{place}", who=f"person {person}", now=NOW)

    def guarded(work: Callable[..., None], *words: int) -> None:
        try:
            work(*words)
        except BaseException as error:
            failures.append(error)

    seen: list[int] = []
    watcher = threading.Thread(target=guarded, args=(follow,))
    others = [
        threading.Thread(target=guarded, args=(bring_in,)),
        *(threading.Thread(target=guarded, args=(write_down, person)) for person in range(2)),
    ]
    for thread in (watcher, *others):
        thread.start()
    for thread in others:
        thread.join()
    ends.set()
    watcher.join()

    with Store.open(fresh) as opened:
        verified, kept = opened.verify(), opened.streams()
    assert failures == []
    assert verified.misfit is None
    assert sum(map(len, kept.values())) == 900
    assert seen == [900]
    assert [len(set(identities(each))) for each in kept.values()] == [300, 300, 300]
