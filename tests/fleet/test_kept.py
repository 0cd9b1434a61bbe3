"""A folder of results: read back as written, and refused in words where it is not whole."""

import json

import numpy as np
import pytest

from spc.errors import InputError
from spc.fleet import FleetFault, kept_signals, league, read_fleet, whole, write_fleet
from spc.fleet.kept import NEWEST_FIRST, SIGNALS, STREAMS, WHOLE
from tests.fleet.made_fleet import made_fleet


@pytest.fixture
def folder(tmp_path):
    write_fleet(made_fleet(30), tmp_path / "out")
    return tmp_path / "out"


def test_comes_back_as_it_was_written(folder):
    fleet = made_fleet(30)

    kept = read_fleet(folder)

    assert kept.streams == fleet.streams
    assert kept.league == league(fleet)
    assert kept.faults == fleet.faults == (FleetFault("North", "Line 99", "ammeter", "holds no Parquet file"),)
    assert kept.signals == len(fleet.signals) > 50


def test_signals_of_one_stream_come_newest_first_and_by_the_page(folder):
    fleet = made_fleet(30)
    stream = max(fleet.streams, key=lambda each: each.drifts)
    where = {"site": stream.site, "line": stream.line, "check": stream.check, "position": stream.position}
    mine = np.logical_and.reduce([getattr(fleet.signals, name) == text for name, text in where.items()])
    times = sorted(fleet.signals.taken_at[mine].tolist(), reverse=True)

    found = kept_signals(folder, where, first=1, most=2)

    assert (found.found, found.newest_first) == (len(times), True)
    assert found.shown.taken_at.tolist() == times[1:3]
    assert set(found.shown.position) == {stream.position}


def test_many_signals_come_in_the_order_of_the_file(folder, monkeypatch):
    monkeypatch.setattr("spc.fleet.kept.NEWEST_FIRST", 5)
    signals = made_fleet(30).signals

    found = kept_signals(folder, {}, first=7, most=11)

    assert not found.newest_first
    assert found.found == len(signals) < NEWEST_FIRST
    assert found.shown.taken_at.tolist() == signals.taken_at[7:18].tolist()


def test_what_stands_changes_with_the_run_alone(folder):
    before = whole(folder)

    assert whole(folder) == before
    write_fleet(made_fleet(12), folder)
    assert whole(folder) != before
    assert len(read_fleet(folder).streams) == 12


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda folder: (folder / WHOLE).unlink(), "holds no run that ended"),
        (lambda folder: (folder / WHOLE).write_text('{"version": 99, "bytes": {}}'), "another version"),
        (lambda folder: (folder / WHOLE).write_text("[]"), "cannot be read"),
        (lambda folder: (folder / WHOLE).write_text("{"), "cannot be read"),
        (lambda folder: (folder / STREAMS).unlink(), "is missing"),
        (lambda folder: (folder / SIGNALS).write_bytes(b"PAR1"), "not as the run left it"),
        (lambda folder: damage(folder / STREAMS), "cannot be read"),
    ],
)
def test_a_folder_that_is_not_whole_says_what_to_do(folder, spoil, says):
    spoil(folder)

    with pytest.raises(InputError, match=f"{says}.*spc fleet"):
        read_fleet(folder)


def test_a_folder_that_is_not_there_says_how_to_make_it(tmp_path):
    with pytest.raises(InputError, match=r"no such folder; `spc fleet READINGS --out"):
        kept_signals(tmp_path / "none", {}, first=0, most=1)


def damage(path):
    """Overwrite a file with as many bytes of nothing."""
    path.write_bytes(bytes(path.stat().st_size))


def test_the_small_file_names_the_others(folder):
    said = json.loads((folder / WHOLE).read_text())

    assert sorted(said["bytes"]) == ["faults.parquet", "league.parquet", "signals.parquet", "streams.parquet"]
