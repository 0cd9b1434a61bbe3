"""Baselines signed for by command, and who changed what: `spc baseline`, `spc history`."""

import json
import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from spc.audit import audit_store
from spc.baseline_book import propose, readings_reviewed, take_step, versions
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import starter
from spc.charts.individuals import individuals_limits
from spc.cli import main
from spc.errors import InputError, StoreError
from spc.records import Event
from spc.store.entries import Correction, Identity, LimitDecision, Note, Reaction, Said
from spc.store.history import history
from spc.store.store import Store
from tests.store.made_store import BATH, add, read_text

START = datetime(2025, 1, 1, 6, tzinfo=UTC)
RNG = np.random.default_rng(11)
VALUES = np.round(0.2 + RNG.normal(0, 0.01, 60), 3)
VALUES[7] = 0.29  # misread
SIGNED = datetime(2025, 1, 15, 12, tzinfo=UTC)
NOW = datetime(2025, 1, 31, tzinfo=UTC)
STREAM = ("--line", BATH.line, "--check", BATH.check, "--position", BATH.position, "--zone", "UTC")


def at(i: int) -> datetime:
    return START + timedelta(hours=12 * i)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A store with sixty readings of a bath, two a day; one of the first was misread."""
    rows = "".join(
        f"{at(i):%Y-%m-%dT%H:%MZ},{BATH.line},{BATH.check},{BATH.position},{value}\n" for i, value in enumerate(VALUES)
    )
    monkeypatch.setenv("SPC_STORE", str(tmp_path / "kept.db"))
    with Store.open(tmp_path / "kept.db") as store:
        add(store, read_text(tmp_path, "taken_at,line,check,position,value\n" + rows), who="ktl")
        yield store


@pytest.fixture
def spc(kept, monkeypatch, capsys):
    """Return what runs a command on the store."""

    def run(*words: str, code: int = 0) -> str:
        monkeypatch.setattr(sys, "argv", ["spc", *words])
        with pytest.raises(SystemExit) as end:
            main()
        printed = capsys.readouterr()
        assert end.value.code == code, printed.err
        assert printed.err.count("\n") == (code != 0)
        return str(printed.out if code == 0 else printed.err)

    return run


def bath(store):
    (result,) = audit_store(store, zone=UTC, now=NOW).monitored([BATH])
    return result


def test_a_review_names_the_reading_in_question_by_its_time(kept):
    found = readings_reviewed(bath(kept), generator=np.random.default_rng(1))

    assert [each.reason for each in found.review.proposals] == ["wild"]
    assert found.times == ((at(7),),)
    assert (found.first, found.review.n) == (at(0), starter().checks[BATH.check].baseline)


def test_what_is_left_out_of_a_proposal_sets_no_limit(kept):
    n = starter().checks[BATH.check].baseline
    made = propose(kept, bath(kept), left_out={at(7): "tube not rinsed"}, words="after set-up", who="anna", now=NOW)

    # the same formula on the same readings, the one left out missing
    without = VALUES[:n].copy()
    without[7] = np.nan
    limits = individuals_limits(without, resolution=starter().checks[BATH.check].resolution)
    assert (made.n, made.left_out) == (n - 1, (at(7),))
    assert (made.lower, made.centre_line, made.upper) == (limits.lower, limits.centre_line, limits.upper)
    assert "tube not rinsed" in made.words
    assert made.unit == starter().checks[BATH.check].chart_unit


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"left_out": {at(7): "  "}}, "without a cause"),
        ({"left_out": {at(7) + timedelta(minutes=3): "misread"}}, "no reading of the baseline was taken at"),
        ({"first": at(57)}, "a baseline needs at least 8"),
        ({"last": at(9), "left_out": dict.fromkeys(map(at, range(5)), "misread")}, "5 readings would be left"),
    ],
)
def test_a_proposal_that_cannot_be_is_refused_and_nothing_is_kept(kept, options, says):
    with pytest.raises(InputError, match=says):
        propose(kept, bath(kept), who="anna", now=NOW, **options)

    assert versions(kept) == {}


def test_a_version_is_signed_step_by_step_and_sets_the_limits_from_its_day(kept):
    propose(kept, bath(kept), left_out={at(7): "misread"}, who="anna", now=SIGNED)
    with pytest.raises(StoreError, match="reviewed comes first"):
        take_step(kept, BATH, 1, "signed off", who="maria", now=SIGNED)
    take_step(kept, BATH, 1, "reviewed", who="bert", now=SIGNED)
    with pytest.raises(StoreError, match="no limit looks ahead"):
        take_step(kept, BATH, 1, "signed off", valid_from=at(3), who="maria", now=SIGNED)
    take_step(kept, BATH, 1, "signed off", words="as agreed", valid_from=at(40), who="maria", now=SIGNED)

    (version,) = versions(kept, BATH)[BATH]
    used = bath(kept).segments[-1]
    assert [entry.record.step for entry in version.steps] == ["proposed", "reviewed", "signed off"]
    assert version.signed == used.signed
    assert used.signed.left_out == (at(7),)
    assert (used.first, used.signed.signed_by) == (40, "maria")
    with pytest.raises(InputError, match="say why"):
        take_step(kept, BATH, 1, "withdrawn", who="maria", now=NOW)
    with pytest.raises(InputError, match="there is 1"):
        take_step(kept, BATH, 2, "reviewed", who="maria", now=NOW)


def test_by_command(spc):
    review = json.loads(spc("baseline", *STREAM, "--now", "2025-01-16", "--json"))
    spc("baseline", *STREAM, "--step", "proposed", "--leave-out", "2025-01-04T18:00=misread", "--by", "anna")
    spc("baseline", *STREAM, "--step", "reviewed", "--by", "bert")
    said = spc("baseline", *STREAM, "--step", "signed off", "--valid-from", "2025-01-20", "--by", "maria")
    found = json.loads(spc("baseline", "--zone", "UTC", "--json"))
    told = spc("history", *STREAM)

    assert review["review"]["in_question"][0]["at"] == [at(7).isoformat()]
    assert review["baselines"] == []
    assert "maria" in said
    assert [step["by"] for step in found["baselines"][0]["steps"]] == ["anna", "bert", "maria"]
    assert found["baselines"][0]["valid_from"] == "2025-01-20T00:00:00+00:00"
    assert "baseline version 1 signed off by maria" in " ".join(told.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("baseline", "--step", "agreed"), "--step 'agreed' is none"),
        (("baseline", "--words", "so"), "belong to a step"),
        (("baseline", "--line", "Line X"), "Line X"),
        (("baseline", *STREAM, "--step", "reviewed", "--by", "anna"), "no baseline version 1"),
        (("baseline", *STREAM, "--step", "proposed", "--leave-out", "2025-01-04T18:00"), "names no cause"),
        (("baseline", *STREAM, "--step", "proposed", "--leave-out", "soon=misread"), "'soon' is no time"),
        (("baseline", *STREAM, "--step", "reviewed", "--leave-out", "2025-01-04T18:00=so"), "propose a new version"),
        (("baseline", *STREAM, "--from", "2025-01-30"), "a baseline needs at least 8"),
        (("history", "--at", "2025-01-04T18:00"), "--line, --check and --position"),
        (("history", "--line", "Line A"), "--line, --check and --position"),
        (("history", "--line", "Line A", "--check", "bath_concentration", "--position", "tnk"), "no such stream"),
    ],
)
def test_what_is_refused(spc, words, says):
    assert says in spc(*words, code=2)


def test_a_baseline_that_is_too_short_yet_is_listed_without_a_review(kept, spc):
    assert json.loads(spc("baseline", *STREAM, "--now", "2025-01-03", "--json")) == {"baselines": [], "review": None}


def test_a_step_is_that_of_one_stream(kept, spc, tmp_path):
    add(kept, read_text(tmp_path, "taken_at,line,check,position,value\n2025-01-01T06:00Z,Line A,timer,unit 1,1.0\n"))

    assert "a step is that of one stream" in spc("baseline", "--step", "reviewed", "--zone", "UTC", code=2)


def test_all_that_was_written_about_one_reading(kept, spc):
    reading = Identity(at(30), float(VALUES[30]))
    limits = Acceptance(rule="fixed", lower=0.1, upper=0.4, document="WP-1", revision="A", mark="site")
    later = Acceptance(rule="fixed", lower=0.15, upper=0.4, document="WP-1", revision="B", mark="site")
    kept.append(
        LimitDecision(BATH.check, "", "", limits, START, "Level 3"),
        LimitDecision(BATH.check, "", "", later, at(40), "Level 3", "customer asks"),
        Correction(BATH, reading, 0, Said(at(30), 0.21), "sheet says 0.21"),
        Correction(BATH, Identity(at(31), float(VALUES[31])), 0, None, "written twice"),
        Note(BATH, at(30), "new bottle opened", "anna", 32),
        Reaction(BATH, at(30), "drift", "cause", "anna", "agitator off"),
        Event(at(29), 0, 2, BATH.line, "bath_changed", note="tank cleaned"),
        Event(at(29), 0, 3, BATH.line, "lamp_replaced"),
        who="anna",
        now=NOW,
    )

    one = history(kept, starter(), key=BATH, taken_at=at(30), zone=UTC)
    whole = history(kept, starter(), key=BATH, zone=UTC)
    everything = history(kept, starter(), zone=UTC)
    printed = json.loads(spc("history", *STREAM, "--at", f"{at(30):%Y-%m-%dT%H:%M}", "--json"))

    assert [change.kind for change in one] == ["readings", "limit", "correction", "note", "reaction"]
    assert [each["words"] for each in printed["shown"]] == [change.words for change in one]
    assert one[0].who == "ktl"
    assert "row 32 of" in one[0].words
    assert "revision A, confirmed by Level 3" in one[1].words
    assert "says 0.21" in one[2].words
    assert "Why: sheet says 0.21" in one[2].words
    assert sum(change.kind == "event" for change in whole) == 1  # the lamp is none of the bath's business
    assert any("customer asks" in change.words for change in whole)
    assert any("taken out. Why: written twice" in change.words for change in whole)
    assert [change.entry for change in everything] == sorted(change.entry for change in everything)
    assert any(change.kind == "imported" for change in everything)
