"""The command of the set-up sample: what it keeps, what it says, what it refuses."""

from pathlib import Path

import pytest

from spc.errors import InputError, StoreError
from spc.run_start import SetupSample
from spc.store.store import Store
from tests.test_cli_audit import as_json, run

SITE = ["--zone", "UTC", "--now", "2025-03-03T07:00", "--line", "Line 1", "--by", "T1"]
PART = ["--part", "bracket", "--technique", "direct contact", "--circuit", "head=1500"]
SHIM = ["--shim", "CX-230", "--where", "bore", "--seen"]


@pytest.fixture
def log(tmp_path: Path) -> str:
    path = tmp_path / "log.csv"
    path.write_text(
        "taken_at,line,check,position,value\n"
        "2025-03-03T06:10,Line 1,bath_concentration,tank,0.20\n"
        "2025-03-03T06:15,Line 1,uva_irradiance,lamp 1,900\n"
    )
    return str(path)


@pytest.fixture
def store(log: str, tmp_path: Path) -> str:
    address = str(tmp_path / "spc.db")
    run("import", log, "--store", address, "--zone", "UTC", "--by", "T1")
    return address


def test_a_weak_shim_leads_to_the_failed_lamp(log):
    found = as_json("setup", log, *SITE, *PART, *SHIM, "partly")
    said = run("setup", log, *SITE, *PART, *SHIM, "partly")

    assert (found["result"], found["look_first"]) == ("weak", "light")
    assert [each["factor"] for each in found["factors"]][:2] == ["bath_application", "concentration"]
    assert {each["factor"]: each["word"] for each in found["factors"]}["concentration"] == "no signal"
    assert "look here first" in said
    assert "Do not look into the lamp" in said
    assert "accepts no part" in said


def test_readings_after_the_sample_say_nothing_of_it(log):
    early = [*SITE, "--now", "2025-03-03T06:05"]

    assert as_json("setup", log, *early, *PART, *SHIM, "partly")["look_first"] is None


def test_a_shim_that_shows_opens_no_look(log):
    found = as_json("setup", log, *SITE, *PART, *SHIM, "Shown")

    assert (found["result"], found["look_first"], found["factors"]) == ("shown", None, [])


def test_the_minimum_of_a_ring_is_the_catalogues_unless_given(log):
    ring = ["--ring", "AS5282", "--seen", "4", "--amperes"]

    assert as_json("setup", log, *SITE, *PART, *ring, "1000")["result"] == "weak"
    assert as_json("setup", log, *SITE, *PART, *ring, "1200", "--minimum", "4")["result"] == "shown"
    with pytest.raises(InputError, match="no minimum at 1200 A; give --minimum"):
        run("setup", log, *SITE, *PART, *ring, "1200")


def test_the_store_keeps_it_and_a_log_does_not(log, store):
    both = ["--technique", "multidirectional", "--circuit", "head=1500", "--circuit", "coil=800", "--part", "gear"]
    run("setup", log, *SITE, *PART, *SHIM, "partly")
    run("setup", "--store", store, *SITE, *both, "--known-part", "gear 3", "--seen", "3", "--expected", "4")

    with Store.open(store) as kept:
        (entry,) = kept.records(SetupSample)
    assert entry.record.reference.words() == "part gear 3: 3 of 4 indications"
    assert [circuit.amperes for circuit in entry.record.technique.circuits] == [1500, 800]
    assert entry.who == "T1"


def test_runs_are_counted(store):
    for day, seen in (("01", "shown"), ("02", "partly"), ("03", "shown"), ("04", "not shown"), ("05", "partly")):
        run("setup", "--store", store, *SITE, "--now", f"2025-03-{day}T07:00", *PART, *SHIM, seen)

    found = as_json("setup", "--store", store, "--runs", "--line", "Line 1", "--zone", "UTC")
    said = run("setup", "--store", store, "--runs", "--line", "Line 1", "--zone", "UTC")

    assert found["months"] == [{"month": "2025-03", "failed": 3, "inspected": 5}]
    assert found["good_runs_between"] == [1, 0]
    assert "3 of 5 showed too little" in said


REFUSED = [
    ([*PART], "one reference; give one of --shim, --ring and --known-part"),
    ([*PART, *SHIM, "partly", "--ring", "AS5282"], "one reference"),
    ([*PART, *SHIM, "good"], "'good' is none of these"),
    ([*PART, "--ring", "AS5282", "--seen", "many"], "--seen 'many' is no count"),
    ([*PART, "--ring", "AS5282", "--seen", "4"], "give --amperes"),
    ([*PART, "--known-part", "gear 3", "--seen", "4"], "give --expected"),
    ([*PART[:-1], "1500", *SHIM, "shown"], "circuit is empty"),
    ([*PART[:-1], "head", *SHIM, "shown"], "--circuit 'head' is no circuit"),
    ([*PART[:3], "spin", *PART[4:], *SHIM, "shown"], "there is no technique 'spin'"),
    (["--runs"], "leave the log out"),
]


@pytest.mark.parametrize(("words", "says"), REFUSED)
def test_what_cannot_be_is_refused(log, words, says):
    with pytest.raises(InputError) as refused:
        run("setup", log, *SITE, *words)

    assert says in str(refused.value)


def test_a_store_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(StoreError):
        run("setup", "--store", str(tmp_path / "none.db"), *SITE, *PART, *SHIM, "shown")


def test_a_line_without_a_sample_is_said(store):
    with pytest.raises(InputError, match="no set-up sample of 'Line 9'"):
        run("setup", "--store", store, "--runs", "--line", "Line 9", "--zone", "UTC")
