"""Many sites at once: the same signals as on one machine, whatever happens to workers and partitions."""

import json
import os
import re
import signal
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from distributed import LocalCluster
from typer.testing import CliRunner

from spc.catalogue.load import starter
from spc.cli import app
from spc.errors import InputError, SetupError
from spc.fleet import add_streams, league, partitions_in, run_fleet, write_fleet
from spc.fleet import run as fleet_run
from spc.fleet.partition_task import monitor_partition
from spc.fleet.partitions import read_partition
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from tests.made import START, made_event, made_readings

CLOSE = LocalCluster.close
CHECKS = {"bath_concentration": (0.2, 0.012, 3), "uva_irradiance": (2500.0, 60.0, 0), "ambient_light": (0.5, 0.05, 2)}
CATALOGUE = starter()
KILLER = ("North", "Line 1", "uva_irradiance")


def made_site(rng: np.random.Generator, lines: int = 2, n: int = 120) -> dict[StreamKey, Readings]:
    """Return the streams of a site: three checks a line, two positions each, one in four moving from the middle on."""
    streams: dict[StreamKey, Readings] = {}
    for line in range(lines):
        for check, (centre, sigma, decimals) in CHECKS.items():
            for position in ("left", "right / inner"):
                moving = (rng.random() < 0.25) * np.maximum(0, np.arange(n) - n // 2) * sigma * 0.1
                values = np.round(centre + rng.normal(0, sigma, n) - moving, decimals)
                key = StreamKey(f"Line {line}", check, position)
                streams[key] = made_readings(np.maximum(values, 0).tolist(), key=key)
    return streams


@pytest.fixture(scope="module")
def sites() -> dict[str, dict[StreamKey, Readings]]:
    rng = np.random.default_rng(11)
    return {name: made_site(rng) for name in ("North", "South / old")}


@pytest.fixture
def folder(tmp_path, sites):
    for site, streams in sites.items():
        add_streams(tmp_path / "fleet", site, streams)
    return tmp_path / "fleet"


def on_one_machine(sites):
    """Return what the plain monitor says, without Parquet or Dask: a row a signal."""
    rows = []
    for site, streams in sorted(sites.items()):
        for key in sorted(streams):
            result = monitor_stream(streams[key], (), CATALOGUE.checks[key.check])
            rules = () if result.check.rules_signal else result.rule_signals
            for found in sorted((*result.signals, *rules), key=lambda each: each.position):
                rows.append(
                    (site, key.line, key.check, key.position, found.taken_at, found.value, found.rule, found.side)
                )
    return rows


def rows_of(signals):
    names = ("site", "line", "check", "position", "taken_at", "value", "rule", "side")
    columns = (getattr(signals, name).tolist() for name in names)
    return [(*row[:-1], row[-1] or None) for row in zip(*columns, strict=True)]


def test_the_same_signals_as_on_one_machine(folder, sites):
    fleet = run_fleet(partitions_in(folder), CATALOGUE, workers=0)

    assert rows_of(fleet.signals) == on_one_machine(sites)
    assert len(fleet.signals) > 20
    assert len(fleet.streams) == 24
    assert fleet.readings == 24 * 120
    assert fleet.faults == ()


def test_a_worker_killed_in_the_middle_and_a_damaged_partition_change_nothing_else(folder, monkeypatch):
    alone = run_fleet(partitions_in(folder), CATALOGUE, workers=0)
    bad = folder / "site=North" / "line=Line 9" / "check=uva_irradiance"
    bad.mkdir(parents=True)
    (bad / "part.parquet").write_bytes(b"PAR1 cut off")
    started, killed = fleet_run._client, []

    @contextmanager
    def watched(*how):
        with started(*how) as client:
            killed.append(next(iter(client.cluster.workers.values())).pid)
            yield client

    def kill_one(done: int, of: int) -> None:
        if done == 1:
            os.kill(killed[0], signal.SIGKILL)

    monkeypatch.setattr(fleet_run, "_client", watched)

    fleet = run_fleet(partitions_in(folder), CATALOGUE, workers=2, progress=kill_one)

    assert len(killed) == 1
    assert (fleet.streams, fleet.signals) == (alone.streams, alone.signals)
    assert [(fault.line, fault.check) for fault in fleet.faults] == [("Line 9", "uva_irradiance")]
    assert "cannot be read as Parquet" in fleet.faults[0].reason


def falling(partition, catalogue, compiled=True):
    """Do as `monitor_partition`, but raise at one of the partitions, as Dask does where no worker survives it."""
    if partition.line == "Line 1" and partition.check == "uva_irradiance" and partition.site == "North":
        raise MemoryError("no room")
    return monitor_partition(partition, catalogue, compiled)


def test_a_partition_that_no_worker_can_do_is_named_and_the_rest_completes(folder, monkeypatch):
    alone = run_fleet(partitions_in(folder), CATALOGUE, workers=0)
    monkeypatch.setattr(fleet_run, "monitor_partition", falling)

    fleet = run_fleet(partitions_in(folder), CATALOGUE, workers=1)

    assert [(fault.site, fault.line, fault.check) for fault in fleet.faults] == [("North", "Line 1", "uva_irradiance")]
    assert "no worker could do it (MemoryError: no room)" in fleet.faults[0].reason
    assert set(fleet.streams) < set(alone.streams)
    assert len(fleet.streams) == len(alone.streams) - 2


def killing(partition, catalogue, compiled=True):
    """Do as `monitor_partition`, but at one partition end the process: at first it leaves, then as for memory."""
    if (partition.site, partition.line, partition.check) == KILLER:
        fell = partition.folder / "fell"
        if fell.exists():
            os.kill(os.getpid(), signal.SIGKILL)
        fell.touch()
        os._exit(3)
    return monitor_partition(partition, catalogue, compiled)


def test_a_partition_that_ends_each_worker_is_a_fault_and_takes_no_other_with_it(folder, monkeypatch):
    alone = run_fleet(partitions_in(folder), CATALOGUE, workers=0)
    monkeypatch.setattr(fleet_run, "monitor_partition", killing)

    fleet = run_fleet(partitions_in(folder), CATALOGUE, workers=2)

    assert [(fault.site, fault.line, fault.check) for fault in fleet.faults] == [KILLER]
    assert "no worker could do it (KilledWorker" in fleet.faults[0].reason
    assert fleet.streams == tuple(each for each in alone.streams if (each.site, each.line, each.check) != KILLER)
    assert rows_of(fleet.signals) == [row for row in rows_of(alone.signals) if row[:3] != KILLER]


def test_the_scheduler_s_own_page_is_for_this_machine_alone_and_no_run_is_in_the_way_of_another():
    with fleet_run._client(None, 1) as one, fleet_run._client(None, 1) as other:
        pages = [client.cluster.scheduler.http_server._sockets.values() for client in (one, other)]
        places = [socket.getsockname() for sockets in pages for socket in sockets]

    assert {address for address, _ in places} == {"127.0.0.1"}
    assert len(places) == len({port for _, port in places}) == 2


def test_a_run_whose_workers_are_gone_ends_in_words(folder, monkeypatch):
    monkeypatch.setattr(fleet_run, "LOOKS_EVERY", 0.2)
    monkeypatch.setattr(fleet_run, "WAITS_FOR_WORKERS", 0.6)
    with (
        LocalCluster(n_workers=0, processes=False, scheduler_kwargs=fleet_run.SCHEDULER) as cluster,
        pytest.raises(SetupError, match="no worker has been there for 1 s and 12 folders are left"),
    ):
        run_fleet(partitions_in(folder), CATALOGUE, scheduler=cluster.scheduler_address)


def test_a_worker_that_does_not_end_in_time_costs_no_result(folder, monkeypatch):
    closed = []

    def late(self, timeout=None):
        closed.append(CLOSE(self, timeout))
        raise TimeoutError

    monkeypatch.setattr(LocalCluster, "close", late)
    found = run_fleet(partitions_in(folder), CATALOGUE, workers=1)

    assert closed
    assert len(found.streams) == len(run_fleet(partitions_in(folder), CATALOGUE, workers=0).streams)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (pa.table({"value": [0.2]}), "lacks the column taken_at"),
        (pa.table({"taken_at": pa.array([0], pa.timestamp("us")), "value": ["much"]}), "a column is not of its kind"),
        (pa.table({"taken_at": pa.array([None], pa.timestamp("us")), "value": [0.2]}), "lacks its time"),
        (pa.table({"taken_at": pa.array([0], pa.timestamp("us")), "value": [np.inf]}), "has no finite value"),
        (
            pa.table({"taken_at": pa.array([0], pa.timestamp("us")), "value": [None]}),
            "is not of its kind|no finite value",
        ),
    ],
)
def test_a_partition_that_says_nothing_is_a_fault(tmp_path, table, says):
    place = tmp_path / "site=A" / "line=B" / "check=bath_concentration"
    place.mkdir(parents=True)
    parquet.write_table(table, place / "part.parquet")

    fleet = run_fleet(partitions_in(tmp_path), CATALOGUE, workers=0)

    assert fleet.streams == ()
    assert re.search(says, fleet.faults[0].reason)


def test_an_unknown_check_and_an_empty_folder_are_faults(tmp_path):
    for check in ("no_such_check", "uva_irradiance"):
        (tmp_path / "site=A" / "line=B" / f"check={check}").mkdir(parents=True)

    faults = run_fleet(partitions_in(tmp_path), CATALOGUE, workers=0).faults

    assert "no_such_check" in faults[0].reason
    assert "holds no Parquet file" in faults[1].reason


def test_what_was_written_twice_comes_once(tmp_path, sites):
    for _ in range(2):
        add_streams(tmp_path, "North", sites["North"])

    fleet = run_fleet(partitions_in(tmp_path), CATALOGUE, workers=0)

    assert fleet.readings == 12 * 120


def test_a_partition_comes_back_as_it_was_written(tmp_path):
    key = StreamKey("Line A", "notched_shim", "bracket")
    words = ["shown", "not run", "", ""]
    readings = made_readings([np.nan, np.nan, 0.05, 7.0], key=key, words=words, bounds=[0, 0, -1, 1])
    add_streams(tmp_path, "North", {key: readings})

    (back,) = read_partition(partitions_in(tmp_path)[0])

    assert back.key == key
    for name in ("taken_at", "value", "bound", "word", "reference", "offset", "row"):
        assert np.asarray(getattr(back, name)).tolist() == pytest.approx(getattr(readings, name).tolist(), nan_ok=True)


def test_events_of_a_site_start_segments(tmp_path, sites):
    add_streams(tmp_path, "North", sites["North"])
    at = (START + timedelta(hours=8 * 60)).isoformat()
    (tmp_path / "site=North" / "events.csv").write_text(f"at,line,kind\n{at},Line 0,bath_changed\n")
    event = replace(made_event("bath_changed", START + timedelta(hours=8 * 60)), line="Line 0", offset=0)

    fleet = run_fleet(partitions_in(tmp_path), CATALOGUE, workers=0)

    for stream in fleet.streams:
        key = StreamKey(stream.line, stream.check, stream.position)
        result = monitor_stream(sites["North"][key], (event,), CATALOGUE.checks[key.check])
        limits = result.segments[-1].limits
        assert limits is not None
        assert stream.sigma == limits.sigma
        assert stream.drifts + stream.steps == sum(each.chart == "early_warning" for each in result.signals)


def test_the_league_table_places_what_moves_most_first(folder):
    rows = league(run_fleet(partitions_in(folder), CATALOGUE, workers=0))

    assert [row.rate for row in rows] == sorted((row.rate for row in rows), reverse=True)
    assert rows[0].place == 1
    assert len({row.place for row in rows if row.rate == rows[-1].rate}) == 1
    assert sum(row.n for row in rows) == 24 * 120


def test_results_are_written_as_parquet(folder, tmp_path):
    fleet = run_fleet(partitions_in(folder), CATALOGUE, workers=0)

    paths = write_fleet(fleet, tmp_path / "out")
    read = {path.stem: parquet.read_table(path) for path in paths}

    assert {name: table.num_rows for name, table in read.items()} == {
        "streams": 24, "signals": len(fleet.signals), "league": 12, "faults": 0,
    }  # fmt: skip
    assert read["signals"]["value"].to_pylist() == fleet.signals.value.tolist()
    assert str(read["streams"].schema.field("first_at").type) == "timestamp[us, tz=UTC]"


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"scheduler": "tcp://127.0.0.1:1", "workers": 2}, "not both"),
        ({"workers": -1}, "-1 workers were asked for"),
    ],
)
def test_refuses(how, says):
    with pytest.raises(InputError, match=says):
        run_fleet((), CATALOGUE, **how)


def test_a_machine_without_dask_says_how_to_go_on(monkeypatch):
    monkeypatch.setattr(fleet_run, "find_spec", lambda name: None)

    with pytest.raises(SetupError, match="--workers 0"):
        run_fleet((), CATALOGUE, workers=1)


@pytest.mark.parametrize(("name", "says"), [("none", "no such folder"), ("", "holds no folder site=")])
def test_a_folder_without_partitions_is_refused(tmp_path, name, says):
    with pytest.raises(InputError, match=says):
        partitions_in(tmp_path / name)


def test_a_site_needs_a_name(tmp_path):
    with pytest.raises(InputError, match="the site has no name"):
        add_streams(tmp_path, " ", {})


def test_the_command_adds_a_log_and_tells_what_moves(tmp_path):
    log = tmp_path / "log.csv"
    rows = [f"2025-03-{1 + i % 28:02}T06:{i // 28:02},Line A,bath_concentration,tank,0.2{i % 3}" for i in range(60)]
    log.write_text("taken_at,line,check,position,value\n" + "\n".join(rows) + "\n")
    command = ["fleet", str(tmp_path / "fleet"), "--workers", "0", "--zone", "UTC"]

    told = CliRunner().invoke(app, [*command, "--add", str(log), "--site", "North", "--out", str(tmp_path / "out")])
    again = CliRunner().invoke(app, [*command, "--json"])

    assert told.exit_code == 0, told.output
    assert "60 readings of 1 streams" in told.output
    assert (tmp_path / "out" / "league.parquet").exists()
    said = json.loads(again.output)
    assert (said["readings"], said["league"][0]["site"], said["faults"]) == (60, "North", [])


def test_a_log_is_added_for_a_named_site_alone(tmp_path):
    told = CliRunner().invoke(app, ["fleet", str(tmp_path), "--add", "log.csv"])

    assert isinstance(told.exception, InputError)
