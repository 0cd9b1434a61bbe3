"""What an auditor asks of two years of a line, each question one command on the demo line's store."""

import json
import re
import shlex
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from spc.baseline_book import versions
from spc.cli import main
from spc.demo import lay_out
from spc.demo.folder import demo_folder
from spc.demo.kept import SIGNED_KEY, STORE_NAME, keep
from spc.errors import InputError
from spc.failures import FailureRecord
from spc.store.entries import Calibration, Correction, Instrument, LimitDecision, Note, Reaction
from spc.store.store import Store
from spc.store.watch import StoreWatch

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
SITE = ("--zone", "Europe/Vienna")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo line's files with its store beside them."""
    files = lay_out(tmp_path_factory.mktemp("demo"))
    keep(files)
    return files


@pytest.fixture
def spc(demo, monkeypatch, capsys):
    """Return what runs a command in the demo's folder, its store named by the environment."""
    monkeypatch.chdir(demo.log.parent)
    monkeypatch.setenv("SPC_STORE", str(demo.log.parent / STORE_NAME))

    def run(*words: str) -> str:
        monkeypatch.setattr(sys, "argv", ["spc", *words])
        with pytest.raises(SystemExit) as end:
            main()
        printed = capsys.readouterr()
        assert (end.value.code, printed.err) == (0, "")
        return str(printed.out)

    return run


AUDIT = (*SITE, "--catalogue", "demo-catalogue.toml", "--calendar", "demo-calendar.toml", "--now", "2026-11-20T22:00")


def test_was_each_check_made_on_time(spc):
    words = ("--line", "Line B", "--from", "2025-06-01", "--to", "2025-07-15")
    found = json.loads(spc("ledger", *AUDIT, *words, "--json"))

    # the script of the demo line: nobody wrote anything down from 16 to 29 June 2025
    missed = {
        entry["due"][:10]
        for stream in found["streams"]
        if stream["check"] == "bath_concentration"
        for entry in stream["entries"]
        if entry["status"] == "missed"
    }
    assert missed
    assert all("2025-06-16" <= day <= "2025-06-30" for day in missed)
    assert {entry["status"] for each in found["streams"] for entry in each["entries"]} >= {"done", "missed"}


def test_by_which_limits_was_a_reading_judged(spc):
    def limits_on(day: str) -> list[str]:
        words = ("--line", "Line B", "--check", "ambient_light", "--position", "booth", "--at", day)
        told = json.loads(spc("history", *SITE, *words, "--json"))
        return [each["words"] for each in told["shown"] if each["kind"] == "limit"]

    (before,), (after,) = limits_on("2025-12-10T06:27"), limits_on("2026-07-02T06:26")

    assert "revision B, confirmed by L3" in before
    assert "revision C, confirmed by L3" in after


def test_what_was_exposed_on_that_failed_morning(spc):
    (window,) = json.loads(spc("exposed", *AUDIT, "--on", "2026-07-02", "--check", "ambient_light", "--json"))[
        "windows"
    ]

    # datasets/README: the curtain of Line B tore on 29 June 2026 and was replaced before work on 3 July
    assert window["last_good"].startswith("2026-06-25")
    assert window["failed"].startswith("2026-07-02T06:26")
    assert window["limits"]["revision"] == "C"
    assert window["in_operation_minutes"] > 0


def test_who_changed_this(spc):
    words = ("--line", "Line A", "--check", "uva_irradiance", "--position", "lamp 1", "--at", "2025-05-06T14:21")
    told = json.loads(spc("history", *SITE, *words, "--json"))["shown"]

    (change,) = [each for each in told if each["kind"] == "correction"]
    assert change["who"] == "Q1"
    assert "first written 4.35 µW/cm², says 4350 µW/cm². Why: written in mW/cm2" in change["words"]
    assert any(each["kind"] == "readings" and "read 4.35 µW/cm²" in each["words"] for each in told)


def test_who_was_told_of_a_failed_check_and_who_closed_it(spc):
    found = json.loads(spc("failed", *AUDIT, "--line", "Line A", "--check", "bath_concentration", "--json"))

    (record,) = found["records"]
    assert record["state"] == "closed"
    assert record["steps"][0]["step"] == "told"
    assert record["steps"][-1]["by"] == "L3"


def test_which_instruments_were_calibrated_and_what_hangs_on_one_that_was_out(spc):
    known = json.loads(spc("instruments", *AUDIT, "--json"))
    words = ("--name", "rad-1", "--error", "-12", "--found", "2026-02-02T07:00", "--json")
    back = json.loads(spc("instruments", *AUDIT, *words))

    assert {each["name"] for each in known["instruments"]} >= {"rad-1", "lux-2", "shunt-1"}
    assert back["since"].startswith("2025-08-04")
    assert {stream["position"] for stream in back["streams"]} == {"lamp 1", "lamp 2"}


def test_is_the_record_as_it_was_written(spc):
    assert json.loads(spc("verify", "--json"))["fits"]


def test_the_store_has_something_for_every_page(demo):
    with Store.open(demo.log.parent / STORE_NAME) as store:
        counts = {
            kind: len(store.records(kind))
            for kind in (LimitDecision, Instrument, Calibration, Correction, FailureRecord, Reaction, Note)
        }
        times = [entry.at for entry in store.since(0)]

        assert all(counts.values()), counts
        assert times == sorted(times)  # written in the order of the clock
        assert [each.stands.step for each in versions(store)[SIGNED_KEY]] == ["signed off"]


def test_the_board_says_the_same_of_the_store_as_of_the_log(demo):
    watch = StoreWatch(
        demo.log.parent / STORE_NAME,
        follow=demo.log,
        events=demo.events,
        catalogue=demo.catalogue,
        zone=ZoneInfo("Europe/Vienna"),
    )
    scan = watch.snapshot.scan
    watch.close()

    signed = next(result for result in scan.streams if result.key == SIGNED_KEY)
    assert signed.segments[-1].signed is not None
    assert len(scan.streams) == 35


def test_a_second_demo_in_one_folder_begins_anew_and_a_strangers_store_is_left_alone(tmp_path):
    files = lay_out(tmp_path)
    keep(files)
    path = keep(files)
    with Store.open(path) as store:
        assert len(store.records(FailureRecord)) == 2

    path.write_bytes(b"somebody's own")
    with pytest.raises(InputError, match="is not the demo's"):
        keep(files)
    assert path.read_bytes() == b"somebody's own"


def test_a_demo_s_own_folder_is_gone_at_its_end_and_a_named_one_stays(tmp_path):
    with demo_folder(None) as own:
        lay_out(own)
        assert (own / "demo-log.csv").exists()
    with pytest.raises(RuntimeError), demo_folder(None) as failed:
        raise RuntimeError
    with demo_folder(tmp_path) as named:
        lay_out(named)

    assert not own.exists()
    assert not failed.exists()
    assert (tmp_path / "demo-log.csv").exists()


def test_the_readme_s_answers_are_commands_that_answer(spc):
    table = README.partition("### The auditor asks")[2].partition("\n#")[0]
    shown = re.findall(r"`(spc [^`]+)`", table)

    assert len(shown) >= 6
    for line in shown:
        assert spc(*shlex.split(line)[1:], *SITE[: 2 * ("--zone" not in line and "verify" not in line)]).strip()
