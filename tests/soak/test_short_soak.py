"""The soak in short: everybody on a board for some seconds, nothing lost or doubled. Times are not judged here."""

import os

import pytest

from tests.dashboard.made_entry import stored_settings
from tests.soak.people import Told
from tests.soak.run import Plan, soak, waits


@pytest.mark.skipif(os.name == "nt", reason="Windows ends a process in another way")
def test_screens_people_and_a_log_at_once_lose_nothing_and_double_nothing(tmp_path):
    settings = stored_settings(tmp_path, calendar=False)
    plan = Plan(seconds=10, warm_up=2, screens=10, people=4, pause=1.5, row_every=1.0, seed=3)
    outcome = soak(tmp_path / "store.db", plan, catalogue=settings.catalogue)

    assert outcome.faults == ()
    assert outcome.entries > 5
    assert outcome.rows > 33
    assert len(outcome.times.by_kind["board update"]) > 20
    assert len(outcome.to_screen) > 20
    assert outcome.memory[-1][1] > 10


def test_the_wait_of_a_reading_ends_with_the_first_count_that_holds_it():
    told = Told(sent=[(1.0, 1), (3.0, 1)], shown=[(1.5, 11), (3.25, 12), (3.5, 12)])

    assert waits(told, before=10) == [0.5, 0.25, 0.5]
