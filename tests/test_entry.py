"""What is said of a reading as it is written down, and when each check is to be done."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from spc.catalogue.load import load_catalogue, starter
from spc.check_due import CheckDue
from spc.entry import Written, as_readings, cut_after, refuse_impossible, said_of, shift_at, when_due
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.records import NOT_RUN, Bound, StreamKey
from spc.schedule.site_calendar import AROUND_THE_CLOCK, load_calendar
from tests.made import made_readings

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
VIENNA = ZoneInfo("Europe/Vienna")
SITE = """
[check.bath_concentration.acceptance]
document = "Procedure 12, 4.1"
revision = "B"
"""


def written(check: str, value: float = math.nan, **more: object) -> Written:
    return Written(StreamKey("Line 1", check, "tank"), NOW, value, **more)  # type: ignore[arg-type]


def said(entry: Written, catalogue=None):
    check = (catalogue or starter()).checks[entry.key.check]
    return said_of(monitor_stream(as_readings(entry, 1), (), check), 0, UTC)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    path = tmp_path_factory.mktemp("site") / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return load_catalogue(path)


@pytest.mark.parametrize(
    ("value", "word"), [(0.1, "pass"), (0.25, "pass"), (0.4, "pass"), (0.09, "fail"), (0.41, "fail")]
)
def test_confirmed_limits_give_a_verdict_and_a_reading_on_them_passes(site, value, word):
    found = said(written("bath_concentration", value), site)

    assert found.word == word
    assert "Procedure 12, 4.1, revision B" in found.sentence
    assert bool(found.obliges) == (word == "fail")


@pytest.mark.parametrize(("value", "word"), [(0.2, "inside"), (0.05, "outside")])
def test_limits_that_nobody_confirmed_give_no_verdict(value, word):
    found = said(written("bath_concentration", value))

    assert found.word == word
    assert "not confirmed for this site" in found.sentence
    assert "pass" not in found.sentence.lower()


def test_a_failed_check_says_what_it_obliges_confirmed_or_not(site):
    assert said(written("bath_concentration", 0.05), site).obliges == site.checks["bath_concentration"].obliges
    assert said(written("bath_concentration", 0.05)).obliges == starter().checks["bath_concentration"].obliges


def test_a_censored_reading_across_the_limit_is_not_judged(site):
    assert said(written("bath_concentration", 0.2, bound=Bound.BELOW), site).word == "undecided"
    assert said(written("bath_concentration", 0.1, bound=Bound.BELOW), site).word == "fail"


@pytest.mark.parametrize(("word", "kind"), [("shown", "inside"), ("partly", "outside"), ("not shown", "outside")])
def test_words_are_judged(word, kind):
    assert said(written("notched_shim", word=word)).word == kind


def test_a_check_without_limits_is_not_judged():
    what = said(written("bath_temperature", 21.0))

    assert (what.word, what.margin) == ("no limit", "")


def test_not_in_operation_is_no_reading():
    found = said(written("bath_concentration", word=NOT_RUN))

    assert found.word == "not run"
    assert found.signal is None


def test_an_ammeter_is_judged_by_its_deviation():
    # ASTM E1444/E3024, clause 7.4.1 (from memory): the greater of 10 % and 50 A
    assert said(written("ammeter", 1100, reference=1000.0)).word == "inside"
    assert said(written("ammeter", 1101, reference=1000.0)).word == "outside"
    assert said(written("ammeter", 350, reference=300.0)).word == "inside"


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (written("bath_concentration", -0.1), "cannot be below 0 mL/100 mL"),
        (written("bath_concentration", 0.0, bound=Bound.BELOW), "cannot be below"),
        (written("bath_concentration", 101.0), "cannot be above 100"),
        (written("ring_holes", 13, reference=1000.0), "cannot be above 12 holes"),
        (written("bath_concentration"), "no number"),
        (written("bath_concentration", math.inf), "no number"),
        (written("bath_concentration", 1e31), "cannot be above"),
        (written("ammeter", 1000.0), "without its reference"),
        (written("ammeter", 1000.0, reference=0.0), "above 0"),
        (written("ammeter", 1000.0, reference=-1000.0), "above 0"),
        (written("notched_shim"), "judged by eye"),
    ],
)
def test_what_cannot_be_is_refused(entry, says):
    with pytest.raises(InputError, match=says):
        refuse_impossible(entry, starter().checks[entry.key.check], NOW)


def test_no_reading_is_taken_in_the_future():
    with pytest.raises(InputError, match="not come yet"):
        refuse_impossible(written("timer", 0.0), starter().checks["timer"], NOW - timedelta(seconds=1))


def test_a_timer_may_err_to_either_side():
    refuse_impossible(written("timer", -0.05), starter().checks["timer"], NOW)


def test_what_is_said_of_a_reading_does_not_look_ahead():
    check = starter().checks["bath_concentration"]
    result = monitor_stream(made_readings([0.2, 0.05]), (), check)

    assert said_of(result, 0, UTC).word == "inside"
    assert said_of(result, 1, UTC).word == "outside"
    assert len(cut_after(result, 0).readings) == 1
    assert cut_after(result, 1) is result


def due(word: str, hours: float | None) -> CheckDue:
    return CheckDue(word, None if hours is None else NOW + timedelta(hours=hours))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stands", "ends", "when"),
    [
        (due("overdue", -1), None, "overdue"),
        (due("due", 1), None, "due now"),
        (due("due", 1.1), None, "this shift"),
        (due("due", 8), None, "this shift"),
        (due("due", 8.1), None, "later"),
        (due("due", 3), 2, "later"),
        (due("due", 2), 2, "this shift"),
        (due("due", None), None, "later"),
        (due("not in operation", 1), None, "resting"),
        (None, None, "later"),
    ],
)
def test_when_a_check_is_to_be_done(stands, ends, when):
    assert when_due(stands, NOW, None if ends is None else NOW + timedelta(hours=ends)) == when


def test_the_shift_across_midnight_is_known(tmp_path):
    plan = tmp_path / "calendar.toml"
    plan.write_text('[[shift]]\nname = "N"\nstart = "22:00"\nend = "06:00"\ndays = ["mon"]\n', encoding="utf-8")
    calendar = load_calendar(plan, starter())

    def name(day: int, hour: int) -> str:
        return shift_at(calendar, "Line 1", datetime(2026, 3, day, hour, tzinfo=VIENNA), VIENNA)[0]

    assert [name(2, 21), name(2, 22), name(3, 5), name(3, 6)] == ["", "N", "N", ""]
    assert shift_at(AROUND_THE_CLOCK, "Line 1", NOW, VIENNA) == ("", None)
