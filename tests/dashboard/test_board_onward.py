"""After any run of changes the board and the pages say what a board that is started anew says."""

import random
from datetime import timedelta

import pytest

from dashboard.app import create_app
from dashboard.ids import Board
from dashboard.pages.board import fingerprints
from dashboard.queries import Queries
from dashboard.urls import StreamView
from spc.records import NO_OFFSET, Event
from spc.store.entries import Correction, Note, Reaction, Said
from spc.store.readback import identity_of
from spc.store.written import add_written
from spc.times import from_microseconds
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import BATH, LAMP
from tests.dashboard.test_shared_answers import OnePage, OneScreen, asks
from tests.made import made_readings

VALUES = {BATH: (0.05, 0.19, 0.2, 0.21, 0.6), LAMP: (900.0, 2200.0, 2400.0, 2600.0)}
UNITS = {BATH: "mL/100mL", LAMP: "uW/cm2"}


def change(queries: Queries, rng: random.Random, number: int) -> None:
    """Write something into the store, or let time go on."""
    store, key = queries.store, rng.choice([BATH, LAMP])
    result, at = queries.result(StreamView(key.line, key.check, key.position)), TODAY
    assert store is not None
    assert result is not None
    match rng.choice(["reading", "reading", "late", "corrected", "event", "note", "seen", "later"]):
        case "reading":
            one = made_readings([rng.choice(VALUES[key])], key=key, times=[TODAY + timedelta(minutes=number)])
            add_written(store.engine, one, UNITS[key], name=f"{number:032x}", who="ktl", now=TODAY)
        case "late":
            times = [TODAY - timedelta(days=2, minutes=rng.randrange(600))]
            one = made_readings([rng.choice(VALUES[key])], key=key, times=times)
            add_written(store.engine, one, UNITS[key], name=f"{number:032x}", who="ktl", now=TODAY)
        case "corrected":
            first = store.first_written()[key]
            place = rng.randrange(len(first))
            stood = sum(e.record.reading == identity_of(first, place) for e in store.records(Correction, str(key)))
            said = Said(from_microseconds(int(first.taken_at[place])), rng.choice(VALUES[key]))
            store.append(Correction(key, identity_of(first, place), stood, said, "misread"), who="ktl", now=at)
        case "event":
            kind = "bath_changed" if key == BATH else "lamp_replaced"
            when = TODAY - timedelta(hours=rng.randrange(200))
            event = Event(
                at=when, offset=NO_OFFSET, row=number, line=key.line, kind=kind, check=key.check, position=key.position
            )
            store.append(event, who="ktl", now=at)
        case "note":
            store.append(Note(key, TODAY, f"words {number}", "ktl"), who="ktl", now=at)
        case "seen" if result.signals:
            signal = result.signals[-1]
            seen = Reaction(key, from_microseconds(signal.taken_at), signal.rule, "acknowledged", "ktl")
            store.append(seen, who="ktl", now=at)
        case _:
            later = queries.clock() + timedelta(minutes=rng.choice([1, 30, 600]))
            queries.clock = lambda: later
    queries.source.poll()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_board_says_what_one_started_anew_says(tmp_path, seed):
    settings, rng = stored_settings(tmp_path), random.Random(seed)
    queries = stored_queries(settings)
    views = [StreamView(key.line, key.check, key.position) for key in (BATH, LAMP)]
    app = create_app(queries)
    board, pages = OneScreen(app), [OnePage(app, BATH), OnePage(app, LAMP)]
    told = fingerprints(queries.board())
    for number in range(1, 13):
        change(queries, rng, number)
        answer = board.post(f"{Board.TOLD}.data", asks(told, queries.snapshot.version))
        if answer.status_code == 200:
            told = answer.get_json()["response"].get(Board.TOLD, {}).get("data", told)
        live = (queries.snapshot.version, int(queries.clock().timestamp() // 60))
        for page in pages:
            page.follow(*live)
        if number % 4:
            continue
        anew = stored_queries(settings, queries.clock())
        fresh = create_app(anew)
        assert queries.board() == anew.board()
        assert told == fingerprints(anew.board())
        for view, page in zip(views, pages, strict=True):
            assert queries.stream(view) == anew.stream(view)
            assert page.parts == OnePage(fresh, page.key).parts
        anew.source.close()  # type: ignore[attr-defined]  # a store's watch
    queries.source.close()  # type: ignore[attr-defined]  # likewise
