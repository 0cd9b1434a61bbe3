"""The guided look: the order never changes, and the line's own checks say where to look first."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from spc.catalogue.load import starter
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.results import StreamResult
from spc.run_start import KnownDefectPart
from spc.scan import scan
from spc.setup_look import FACTORS, GuidedLook, guided_look
from tests.datasets.truth import EVENTS, LOG
from tests.made import made_readings
from tests.schedule.made_site import LINE, VIENNA, local
from tests.test_run_start import SHIM, sample

NOW = local("2025-03-03T07:00")
WEAK = sample(reference=replace(SHIM, seen="partly"))


def stream(check: str, values: list[float], *, days_ago: int = 0, line: str = LINE, word: str = "") -> StreamResult:
    n = len(values)
    readings = made_readings(
        values if not word else [float("nan")] * n,
        key=StreamKey(line, check, ""),
        times=[local("2025-03-03T06:10") - timedelta(days=days_ago, hours=8 * (n - 1 - i)) for i in range(n)],
        words=[word] * n,
        references=[1000.0] * n if check == "ammeter" else None,
    )
    return monitor_stream(readings, (), starter().checks[check])


def looked(*results: StreamResult) -> GuidedLook:
    found = guided_look(WEAK, results, zone=VIENNA, now=NOW)
    assert found is not None
    return found


def test_the_factors_are_in_the_order_of_the_work():
    assert [factor.key for factor in FACTORS] == [
        "bath_application",
        "concentration",
        "magnetizing",
        "light",
        "continuous",
        "reference",
    ]
    assert all(factor.ask for factor in FACTORS)
    assert {check for factor in FACTORS for check in factor.checks} <= starter().checks.keys()


def test_where_the_work_can_hurt_there_is_a_caution():
    cautions = {factor.key: factor.cautions for factor in FACTORS}

    assert cautions["magnetizing"]
    assert cautions["light"]


def test_an_indication_as_asked_opens_no_look():
    assert guided_look(sample(), (), zone=VIENNA, now=NOW) is None


def test_without_any_check_the_look_begins_at_the_beginning():
    found = looked()

    assert found.first.factor.key == "bath_application"
    assert [look.word for look in found.factors].count("no reading") == 5
    assert "go through the factors in order" in found.sentence


def test_a_failed_check_comes_before_an_earlier_factor_that_moves():
    steady = [0.20, 0.21] * 12
    moving = stream("bath_concentration", [*steady, *[0.15] * 9])
    failed = stream("uva_irradiance", [900.0])

    found = looked(moving, failed)

    words = {look.factor.key: look.word for look in found.factors}
    assert (words["concentration"], words["light"]) == ("moving", "failed")
    assert found.first.factor.key == "light"
    assert found.sentence.startswith("shim CX-230 at bracket, inside: partly")
    assert "Look first at: UV-A and white light. UV-A irradiance read 900" in found.sentence
    assert looked(moving).first.factor.key == "concentration"


def test_of_two_failed_the_earlier_factor_comes_first_and_the_order_stays():
    found = looked(stream("ammeter", [500.0]), stream("bath_concentration", [0.05]))

    assert found.first.factor.key == "concentration"
    assert [look.factor for look in found.factors] == list(FACTORS)


@pytest.mark.parametrize(("days_ago", "word"), [(0, "no signal"), (3, "not current")])
def test_an_old_reading_is_no_evidence_that_all_is_in_order(days_ago, word):
    found = looked(stream("uva_irradiance", [2000.0], days_ago=days_ago))

    assert {look.factor.key: look.word for look in found.factors}["light"] == word


def test_the_check_the_sample_was_made_with_is_no_evidence_on_itself():
    shim = stream("notched_shim", [0.0], word="not shown")

    assert looked(shim).first.factor.key == "bath_application"
    other = guided_look(sample(reference=KnownDefectPart("gear 3", 1, 4)), [shim], zone=VIENNA, now=NOW)
    assert other is not None
    assert other.first.factor.key == "reference"


def test_other_lines_say_nothing():
    assert not looked(stream("bath_concentration", [0.05], line="Line B")).first.suspicious


def test_on_the_demo_line_a_weak_shim_points_to_the_starved_bath():
    # the bath was not fed for a fortnight; its reading of 22 May 2025, 14:12 failed
    zone = ZoneInfo("Europe/Vienna")
    now = datetime(2025, 5, 22, 15, tzinfo=zone).astimezone(UTC)
    found = scan(LOG, events=EVENTS, zone=zone)
    assert found.events is not None
    until = int(now.timestamp() * 1e6)
    streams = {
        key: replace(
            readings,
            **{
                name: getattr(readings, name)[readings.taken_at <= until]
                for name in readings.__dataclass_fields__
                if name not in ("key", "other")
            },
        )
        for key, readings in found.log.streams.items()
        if key.line == "Line A" and key.check in ("bath_concentration", "uva_irradiance", "ambient_light")
    }
    events = [event for event in found.events.events if event.at <= now]
    results = [monitor_stream(each, events, found.catalogue.checks[key.check]) for key, each in streams.items()]

    look = guided_look(replace(WEAK, line="Line A"), results, zone=zone, now=now)

    assert look is not None
    assert look.first.factor.key == "concentration"
    assert look.first.word == "failed"
