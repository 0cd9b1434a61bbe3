"""The review of a period: what it says equals the library's results, and an index is refused where it means nothing."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from spc.audit import Wanted, exposed
from spc.capability.fraction_outside import counted_fraction_outside
from spc.capability.indices import Specification, capability
from spc.catalogue.load import load_catalogue
from spc.containment import judged
from spc.errors import InputError
from spc.failures import open_record
from spc.monitor import monitor_stream
from spc.records import Event, StreamKey
from spc.report.gather import Asked, review_of
from spc.review import Period, SignalStep, period_before
from spc.review.capable import indices_of, trend_of, wandering
from spc.review.period import calendar_periods
from spc.times import from_microseconds, to_microseconds
from tests.made import made_readings
from tests.report.conftest import NOW

LAMP = StreamKey("Line A", "uva_irradiance", "lamp 1")
FALLING = StreamKey("Line A", "uva_irradiance", "lamp 2")
RNG = 11


@pytest.mark.parametrize(
    ("now", "days"),
    [
        (
            datetime(2025, 12, 31, 23, 30, tzinfo=UTC),  # the year has changed in Vienna, not yet at Greenwich
            ["2026-01-01 2026-01-01", "2025-12-01 2025-12-31", "2025-10-01 2025-12-31", "2026-01-01 2026-01-01",
             "2025-01-01 2025-12-31"],
        ),
        (
            datetime(2024, 3, 31, 12, 0, tzinfo=UTC),  # a leap year
            ["2024-03-01 2024-03-31", "2024-02-01 2024-02-29", "2023-12-01 2024-02-29", "2024-01-01 2024-03-31",
             "2023-01-01 2023-12-31"],
        ),
    ],
)  # fmt: skip
def test_periods_of_the_calendar_are_those_of_the_sites_zone(now, days):
    found = calendar_periods(now, ZoneInfo("Europe/Vienna"))

    assert [words for words, _ in found] == [
        "This month so far", "Last month", "Last three months", "This year so far", "Last year",
    ]  # fmt: skip
    assert [f"{period.first} {period.last}" for _, period in found] == days


def test_the_indices_are_those_of_the_library(reviewed):
    stream = reviewed.of(LAMP)
    found = stream.indices
    x = stream.result.charted.x[found.first : found.stop]

    expected = capability(x, Specification(1000.0, None), stable=True, resolution=10.0)

    assert found.normal == expected
    assert found.ppk == expected.ppk
    assert found.word == "capable"
    assert found.n == len(x)


def test_the_share_outside_is_the_counted_one_of_the_whole_period(reviewed):
    stream = reviewed.of(LAMP)
    x = stream.result.charted.x[stream.inside]

    expected = counted_fraction_outside(x, Specification(1000.0, None))

    assert (stream.outside.outside, stream.outside.upper) == (expected.outside, expected.upper)
    assert stream.n == len(x)


def test_a_moving_stream_has_no_index_and_says_why(reviewed):
    stream = reviewed.of(FALLING)

    assert stream.movement == "moving"
    assert stream.indices.ppk is None
    assert [each.kind for each in stream.indices.refusals] == ["not stable"]
    assert "The stream moved" in stream.indices.words
    assert any(each.kind == "moving" and each.key == FALLING for each in reviewed.findings)


def test_failures_of_the_period_are_those_the_monitor_found(reviewed, audited):
    for stream in reviewed.streams:
        at = [from_microseconds(each.taken_at) for each in stream.failures]
        every = [from_microseconds(each.taken_at) for each in stream.result.failures]
        assert at == [each for each in every if reviewed.period.holds(each)]
    windows = [each for each in exposed(audited, Wanted()) if reviewed.period.holds(each.failed_at)]
    assert list(reviewed.windows) == windows


def test_what_lies_after_the_period_changes_nothing(audited):
    period = date(2026, 7, 1), date(2026, 8, 31)
    whole = review_of(audited, Asked(Wanted(check="uva_irradiance"), *period))
    stream = whole.of(LAMP)

    assert stream.result.readings.taken_at[-1] < to_microseconds(whole.period.stop)
    assert len(stream.result.readings) < len(audited.streams[LAMP])


def test_the_period_before_has_as_many_days_and_ends_the_day_before():
    period = Period(date(2026, 3, 1), date(2026, 3, 31), ZoneInfo("Europe/Vienna"))

    before = period_before(period)

    assert (before.first, before.last, before.days) == (date(2026, 1, 29), date(2026, 2, 28), 31)


def test_a_period_of_a_clock_change_holds_its_whole_days():
    zone = ZoneInfo("Europe/Vienna")
    period = Period(date(2026, 3, 29), date(2026, 3, 29), zone)  # the clock goes forward: 23 hours

    length = period.stop.astimezone(UTC) - period.start.astimezone(UTC)

    assert length == timedelta(hours=23)
    assert period.holds(datetime(2026, 3, 29, 23, 59, tzinfo=zone))
    assert not period.holds(datetime(2026, 3, 30, 0, 0, tzinfo=zone))


def test_steps_stand_with_the_movement_they_answer(audited):
    plain = review_of(audited, Asked(Wanted(check="uva_irradiance")))
    signal = plain.of(FALLING).episodes[0].episode.first
    at = from_microseconds(signal.taken_at)
    step = SignalStep(FALLING, at, signal.rule, "cause", "ktl", at, "lamp ages")

    answered = review_of(audited, Asked(Wanted(check="uva_irradiance")), steps=[step])

    assert plain.of(FALLING).unanswered == 1
    assert answered.of(FALLING).unanswered == 0
    assert answered.of(FALLING).episodes[0].steps == (step,)


def test_a_failed_check_without_a_word_is_told(audited):
    asked = Asked(Wanted(check="known_defect_part"), date(2026, 8, 1), date(2026, 8, 31))

    def told(**written):
        return [each for each in review_of(audited, asked, **written).findings if each.kind == "unwritten"]

    (window,) = review_of(audited, asked).windows
    record = open_record(window, at=NOW, by="ktl")
    answer = SignalStep(window.key, window.failed_at, "limit", "cause", "ktl", NOW, "worn part")
    (found,) = told(records=())

    assert (found.key, found.at) == (window.key, window.failed_at)
    assert f"read {window.failed}. It passed again; nobody wrote down" in found.words
    assert told(records=(record,)) == []
    assert told(records=(), steps=(answer,)) == []
    assert told(records=(), steps=(replace(answer, signal_at=window.first - timedelta(hours=1)),)) == [found]
    assert told() == []  # nothing is known of a bare log, which keeps no record


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"first": date(2027, 1, 1), "last": date(2027, 2, 1)}, "after"),
        ({"mark": 0.0}, "no index"),
        ({"first": date(2026, 9, 2), "last": date(2026, 9, 1)}, "before its first day"),
        ({"wanted": Wanted(line="Line Q")}, "no stream to review"),
    ],
)
def test_refuses_what_cannot_be_reviewed(audited, change, says):
    with pytest.raises(InputError, match=says):
        review_of(audited, replace(Asked(Wanted()), **change))


# -- when an index is refused ------------------------------------------------------------------------------------------


def stream_of(values):
    bounds = [int(isinstance(value, str)) for value in values]  # ">5000" is above the number written
    numbers = [float(str(value).lstrip(">")) for value in values]
    readings = made_readings(numbers, key=LAMP, bounds=bounds)
    return monitor_stream(readings, (), load_catalogue(None).checks[LAMP.check])


def refused(values) -> list[str]:
    result = stream_of(values)
    found = indices_of(result, slice(0, len(values)), zone=UTC, generator=np.random.default_rng(RNG))
    return [each.kind for each in found.refusals]


def test_a_steady_lamp_has_indices():
    values = np.round(np.random.default_rng(RNG).normal(2500, 60, 60), -1)

    assert refused(values) == []


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (np.round(np.random.default_rng(RNG).normal(2500, 60, 29), -1), "too few"),
        ([2500] * 40, "no spread"),
        ([2500, 2510] * 10 + [2500] * 20, "too coarse"),
        ([*np.round(np.random.default_rng(RNG).normal(2500, 60, 40), -1), ">5000"], "censored"),
        (np.round(np.random.default_rng(RNG).normal(2500, 60, 60) - 12 * np.arange(60), -1), "not stable"),
    ],
)
def test_an_index_is_refused_for_a_reason(values, kind):
    assert kind in refused(values)


def test_a_line_has_the_slope_of_least_squares():
    rng = np.random.default_rng(RNG)
    x = 5 + 0.1 * np.arange(50) + rng.normal(0, 0.5, 50)
    slope, _ = np.polyfit(np.arange(50), x, 1)  # a second way to the same line

    climbed, chance = trend_of(x)

    within = float(np.abs(np.diff(x)).mean()) / (2 / np.sqrt(np.pi))
    assert climbed == pytest.approx(slope * 49 / within)
    assert chance < 1e-6


def test_independent_readings_seldom_wander_and_a_walk_does():
    rng = np.random.default_rng(RNG)
    chances = [wandering(rng.normal(size=60))[1] for _ in range(400)]

    # the p value of a true null is uniform: 5 % of 400 lie below 0.05, give or take 3 standard errors of 1.1 %
    assert np.mean(np.array(chances) < 0.05) == pytest.approx(0.05, abs=0.033)
    assert wandering(np.cumsum(rng.normal(size=60)))[1] < 1e-6


def test_readings_since_a_lamp_change_alone_are_looked_at():
    values = [*([2000, 2020] * 20), *np.round(np.random.default_rng(RNG).normal(2600, 50, 40), -1)]
    readings = made_readings(values, key=LAMP)
    at = from_microseconds(int(readings.taken_at[40]))
    changed = Event(at, 0, 2, LAMP.line, "lamp_replaced", "uva_irradiance", "lamp 1")
    result = monitor_stream(readings, [changed], load_catalogue(None).checks["uva_irradiance"])

    found = indices_of(result, slice(0, 80), zone=UTC, generator=np.random.default_rng(RNG))

    assert (found.first, found.n, found.because) == (40, 40, "lamp_replaced")
    assert len(judged(result)) == 80
