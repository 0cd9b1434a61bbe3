"""The commands that answer an audit, run on the demo line: every question by one of them."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from spc.cli import app
from spc.errors import InputError, SpcError
from spc.store.entries import Calibration, Instrument
from spc.store.store import Store
from tests.datasets.truth import DATASETS, EVENTS, LOG

CALENDAR = DATASETS / "site-calendar.toml"
SITE = ["--zone", "Europe/Vienna", "--now", "2026-11-21T08:00"]
DEMO = [str(LOG), "--events", str(EVENTS), "--calendar", str(CALENDAR), *SITE]
BATH_B = ["--line", "Line B", "--check", "bath_concentration"]


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words), env={"COLUMNS": "200"})
    if result.exception is not None:
        raise result.exception
    return result.stdout


def as_json(*words: str) -> dict[str, Any]:
    found = json.loads(run(*words, "--json"))
    assert isinstance(found, dict)
    return found


@pytest.fixture
def small(tmp_path: Path) -> list[str]:
    """Return a log of a few rows and its calendar as the beginning of a command line."""
    log, calendar = tmp_path / "log.csv", tmp_path / "calendar.toml"
    log.write_text(
        "taken_at,line,check,position,value,instrument,lot\n"
        "2025-03-03T06:10,Line 1,bath_concentration,tank,0.20,tube-1,L1\n"
        "2025-03-03T14:10,Line 1,bath_concentration,tank,0.05,tube-1,L2\n"
        "2025-03-04T14:20,Line 1,bath_concentration,tank,0.20,tube-1,L3\n"
    )
    calendar.write_text(
        '[[shift]]\nname = "A"\nstart = "06:00"\nend = "22:00"\ndays = ["mon", "tue", "wed", "thu", "fri"]\n'
    )
    return [str(log), "--calendar", str(calendar), "--zone", "UTC", "--now", "2025-03-04T15:00"]


def test_what_is_due_now_and_next():
    found = as_json("due", *DEMO)
    nexts = {(s["line"], s["check"], s["position"]): s["next"] for s in found["streams"]}

    assert nexts["Line A", "bath_concentration", "tank"]["due"] == "2026-11-23T06:00"
    assert nexts["Line A", "bath_concentration", "tank"]["before_use"] is True
    assert nexts["Line B", "bath_concentration", "tank"]["due"] is None
    assert nexts["Line A", "residual_field", "demagnetiser"] is None
    said = run("due", *DEMO, "--line", "Line B")
    assert "before the line runs again" in said
    assert "OVERDUE by 17 h 15 min" in said
    assert "Line A" not in said


def test_each_check_on_time():
    found = as_json("ledger", *DEMO, *BATH_B)
    (stream,) = found["streams"]

    assert sum(stream["counts"].values()) == len(stream["entries"])
    inside = [e for e in stream["entries"] if "2025-06-16" <= (e["due"] or "") < "2025-06-30"]
    assert [entry["status"] for entry in inside] == ["missed"] * 20
    after = next(e for e in stream["entries"] if e["previous"] == "2025-06-13T14:11" and e["done"])
    assert (after["done"], after["gap_minutes"]) == ("2025-06-30T06:16", (16 * 24 + 16) * 60 + 5)
    assert after["gap_in_operation_minutes"] == 20 * 480 + 469 + 16  # 14:11 to 22:00, twenty shifts, 06:00 to 06:16


def test_the_ledger_at_a_glance_and_as_a_list():
    said = run("ledger", *DEMO, *BATH_B, "--from", "2025-06-01", "--to", "2025-08-31")

    assert "20 missed" in said
    assert "16 d 16 h 05 min" in said
    assert "closed: plant" in said
    assert "Bath concentration tank  +.." in said
    assert "E3024" in said


def test_only_the_days_asked_for_are_listed():
    (stream,) = as_json("ledger", *DEMO, *BATH_B, "--from", "2025-03-03", "--to", "2025-03-04")["streams"]

    assert [entry["due"][:10] for entry in stream["entries"]] == ["2025-03-03"] * 2 + ["2025-03-04"] * 2


def test_the_gaps_are_cut_short_unless_all_are_asked_for():
    few, every = run("ledger", *DEMO, "--line", "Line B"), run("ledger", *DEMO, "--line", "Line B", "--gaps")

    assert "--gaps lists them all" in few
    assert len(every.splitlines()) > len(few.splitlines()) + 100


def test_what_was_exposed_on_that_failed_morning():
    found = as_json("exposed", *DEMO, "--on", "2025-05-20")
    shim = next(w for w in found["windows"] if w["check"] == "notched_shim" and w["position"] == "hub")

    assert (shim["failed"], shim["last_good"]) == ("2025-05-20T06:41", "2025-05-19T14:42")
    assert shim["shifts"] == [{"day": "2025-05-19", "shift": "B"}, {"day": "2025-05-20", "shift": "A"}]
    assert shim["passed_again"] == "2025-05-20T14:43"
    assert shim["limits"]["document"]
    assert shim["obliges"]
    said = run("exposed", *DEMO, "--on", "2025-05-20")
    assert "Hold every part" in said
    assert "the log has no column lot or part" in said
    assert "Nothing here accepts or rejects a part." in said.replace("\n", " ")


def test_lots_are_told_where_they_are_written_down(small):
    said = run("exposed", *small)
    (window,) = as_json("exposed", *small)["windows"]

    assert window["lots"] == ["L1", "L2", "L3"]
    assert "L1, L2, L3" in said


def test_what_comes_after_now_is_not_known(small):
    early = [*small[:-1], "2025-03-03T13:00"]

    assert as_json("exposed", *early)["windows"] == []
    (window,) = as_json("exposed", *small[:-1], "2025-03-03T15:00")["windows"]
    assert window["passed_again"] is None


def test_a_day_without_a_failed_check_has_no_window(small):
    assert "No check failed" in run("exposed", *small, "--on", "2025-03-05")


def test_a_radiometer_out_of_tolerance():
    low = as_json("instruments", *DEMO, "--name", "rad-1", "--error", "-12", "--since", "2025-11-10")
    high = as_json("instruments", *DEMO, "--name", "rad-1", "--error", "12")

    assert (low["found"], low["since"]) == ("2026-02-02T05:30", "2025-11-10T00:00")  # found: by the log's own event
    assert [stream["would_have_failed"] for stream in low["streams"]] == [0] * 4
    assert sum(stream["would_have_failed"] for stream in high["streams"] if stream["error"] == "constant") == 7
    assert any(stream["windows"] for stream in high["streams"])
    said = run("instruments", *DEMO, "--name", "rad-1", "--error", "12")
    assert "12 % high" in said
    assert "If the error was linear" in said


def test_calibrations_due(small, tmp_path):
    file = tmp_path / "instruments.toml"
    file.write_text(
        '[[instrument]]\nname = "tube-1"\ntitle = "Settling tube"\nevery = "12 months"\n'
        '[[calibration]]\ninstrument = "tube-1"\non = 2024-03-03\ngood = true\n'
    )

    (tube,) = as_json("instruments", *small, "--instruments", str(file))["instruments"]

    assert (tube["state"], tube["due"], tube["readings"], tube["readings_overdue"]) == ("overdue", "2025-03-03", 3, 1)
    assert "OVERDUE" in run("instruments", *small, "--instruments", str(file))


def test_an_error_without_a_known_calibration_needs_its_date(small):
    with pytest.raises(InputError, match="say with --found"):
        run("instruments", *small, "--name", "tube-1", "--offset", "0.05")
    found = as_json("instruments", *small, "--name", "tube-1", "--offset", "0.15", "--found", "2025-03-05")
    assert [stream["would_have_failed"] for stream in found["streams"]] == [2, 1]


def test_the_store_gives_the_same_answers_as_its_log(small, tmp_path):
    address = str(tmp_path / "spc.db")
    run("import", small[0], "--store", address, "--zone", "UTC", "--by", "T1")

    for words in (["due"], ["ledger"], ["exposed"], ["instruments"]):
        assert as_json(*words, "--store", address, *small[1:]) == as_json(*words, *small)


def test_a_log_and_a_store_at_once_are_refused(small, tmp_path):
    with pytest.raises(InputError, match="give one of them"):
        run("due", *small, "--store", str(tmp_path / "spc.db"))
    with pytest.raises(InputError, match="leave them out"):
        run("due", "--store", str(tmp_path / "spc.db"), "--dates", "dmy")
    with pytest.raises(SpcError):
        run("due", "--store", str(tmp_path / "none.db"))


REFUSED = [
    (["due", "--now", "yesterday"], "--now 'yesterday' is no time"),
    (["due", "--now", "9999-12-31T23:59"], "--now '9999-12-31T23:59' is outside the years 1900 to 2199"),
    (["due", "--now", "0001-01-01"], "--now '0001-01-01' is outside the years 1900 to 2199"),
    (["due", "--line", "Line 2"], "--line 'Line 2' is in no row of the log; did you mean 'Line 1'?"),
    (["ledger", "--from", "03/04/2025"], "--from '03/04/2025' is no day"),
    (["ledger", "--from", "2025-03-04", "--to", "2025-03-01"], "--to 2025-03-01 is before --from 2025-03-04"),
    (["exposed", "--check", "timer"], "--check 'timer' is in no row of the log"),
    (["instruments", "--name", "tube-1"], "give --name with --error or --offset"),
    (["instruments", "--error", "3"], "give --name with --error or --offset"),
    (["instruments", "--found", "2025-03-03"], "--found and --since belong to --name"),
    (["instruments", "--name", "x", "--error", "3", "--found", "2025-03-05"], "the log names tube-1"),
]


@pytest.mark.parametrize(("words", "says"), REFUSED)
def test_a_request_that_cannot_be_answered_is_refused(small, words, says):
    with pytest.raises(InputError) as refused:
        run(words[0], *small, *words[1:])

    assert says in str(refused.value)


def test_without_a_calendar_it_is_said(small):
    without = [small[0], *small[3:]]

    assert "No site calendar was given" in run("due", *without)
    assert as_json("ledger", *without)["notes"]


@pytest.fixture
def kept(small, tmp_path) -> list[str]:
    """Return the store of the small log, and its calendar, as the end of a command line."""
    address = str(tmp_path / "spc.db")
    run("import", small[0], "--store", address, "--zone", "UTC", "--by", "T1")
    return ["--store", address, *small[1:]]


LAMP = ((3, 2450), (4, 2440), (5, 860))
"""Day and reading of a lamp that fails."""

FAILED_BATH = ["--line", "Line 1", "--check", "bath_concentration", "--position", "tank", "--at", "2025-03-03T14:10"]


def test_a_failed_check_is_followed_until_somebody_closes_it(kept):
    assert len(as_json("failed", *kept)["without_record"]) == 1

    for step, words in (
        ("told", "the Level 3"),
        ("held", "lots L1 and L2"),
        ("found", "agitator off; 20 parts looked at again, nothing found"),
        ("decided", "released by the Level 3 after inspection"),
        ("closed", "nothing open"),
    ):
        run("failed", *kept, *FAILED_BATH, "--step", step, "--words", words, "--by", "T2")

    found = as_json("failed", *kept)
    (record,) = found["records"]
    assert (record["state"], record["lacks"], found["without_record"]) == ("closed", [], [])
    assert [step["step"] for step in record["steps"]] == ["told", "held", "found", "decided", "closed"]
    assert {step["by"] for step in record["steps"]} == {"T2"}
    assert record["passed_again"] == "2025-03-04T14:20"
    said = run("failed", *kept)
    assert "closed" in said
    assert "lots L1 and L2" in said


def test_what_cannot_follow_is_refused_and_writes_nothing(kept):
    with pytest.raises(InputError, match="cannot be closed yet"):
        run("failed", *kept, *FAILED_BATH, "--step", "closed", "--words", "done", "--by", "T2")
    with pytest.raises(InputError, match="there is no step 'ignored'"):
        run("failed", *kept, *FAILED_BATH, "--step", "ignored", "--words", "x", "--by", "T2")
    with pytest.raises(InputError, match="words is empty"):
        run("failed", *kept, *FAILED_BATH, "--step", "told", "--by", "T2")

    assert as_json("failed", *kept)["records"] == []


def test_failed_checks_are_printed_as_the_site_writes_and_kept_as_they_came(tmp_path):
    site = tmp_path / "site.toml"
    site.write_text('[site]\nunits = "customary"\ndecimal = "comma"\n[site.shown]\nirradiance = "W/m2"\n', "utf-8")
    log = tmp_path / "lamp.csv"
    rows = [f"2025-03-0{day}T06:10,L1,uva_irradiance,lamp 1,{value}" for day, value in LAMP]
    log.write_text("\n".join(["taken_at,line,check,position,value", *rows]), "utf-8")
    store = ["--store", str(tmp_path / "lamp.db"), "--catalogue", str(site), "--zone", "Europe/Vienna"]
    run("import", str(log), *store)
    asked = (*store, "--now", "2025-03-06T12:00")
    of_lamp = ("--line", "L1", "--check", "uva_irradiance", "--position", "lamp 1", "--at", "2025-03-05T06:10")

    assert "8,60 W/m²" in run("exposed", *asked)
    assert "8,60 W/m²" in run("failed", *asked)
    said = run("failed", *asked, *of_lamp, "--step", "told", "--words", "shift lead", "--by", "T2")
    assert "8,60 W/m²; asked: at least 10 W/m²" in said
    (record,) = as_json("failed", *asked)["records"]
    assert record["read"] == "860 µW/cm²"
    assert "at least 1000 µW/cm²" in record["asked"]


def test_a_step_of_no_failed_check_is_refused(kept):
    with pytest.raises(InputError, match="no check failed at"):
        run("failed", *kept, *FAILED_BATH[:-1], "2025-03-03T06:10", "--step", "told", "--words", "x", "--by", "T2")
    with pytest.raises(InputError, match="give --line"):
        run("failed", *kept, "--step", "told")


def test_a_record_says_what_it_still_lacks(kept):
    said = run("failed", *kept, *FAILED_BATH, "--step", "held", "--words", "lot L1", "--by", "T2")

    assert "contained" in said
    assert "Still missing" in said
    assert "who was told" in said


def test_calibrations_of_the_store_count_too(kept):
    with Store.open(kept[1]) as store:
        store.append(
            Instrument("tube-1", "settling volume", calibrated_every_days=365),
            Calibration("tube-1", datetime(2024, 2, 1, tzinfo=UTC), "in tolerance", certificate="C-1"),
            who="T1",
            now=datetime(2025, 3, 1, tzinfo=UTC),
        )

    (tube,) = as_json("instruments", *kept)["instruments"]

    assert (tube["last_calibrated"], tube["found_good"], tube["due"]) == ("2024-02-01T00:00", True, "2025-01-31")
    assert (tube["state"], tube["readings_overdue"]) == ("overdue", 3)
