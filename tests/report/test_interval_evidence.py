"""What a log supports about an interval: exact bounds, and what fewer checks would have missed."""

from datetime import UTC, datetime, timedelta

import pytest

from spc.catalogue.load import load_catalogue
from spc.errors import InputError
from spc.interval_evidence import failed_spells, interval_evidence, rate_bound, share_bound
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.schedule.operation import line_operation
from spc.schedule.site_calendar import AROUND_THE_CLOCK
from spc.times import from_microseconds
from tests.made import made_readings

KEY = StreamKey("L", "uva_irradiance", "lamp 1")


@pytest.mark.parametrize(
    ("events", "upper"),
    # one-sided 95 % upper limits of a Poisson mean, Garwood's table: 2.996, 4.744, 6.296, 9.154 (memory)
    [(0, 2.996), (1, 4.744), (2, 6.296), (4, 9.154)],
)
def test_the_rate_bound_is_garwoods(events, upper):
    assert rate_bound(events, 1.0).upper == pytest.approx(upper, abs=0.0006)


def test_without_a_failure_the_share_bound_is_that_of_the_rule_of_three():
    # nothing seen in n: 1 - 0.05 ** (1 / n), exactly; about 3 / n
    assert share_bound(0, 59).upper == pytest.approx(1 - 0.05 ** (1 / 59), abs=1e-12)
    assert share_bound(0, 59).upper == pytest.approx(3 / 59, rel=0.03)
    assert share_bound(5, 5).upper == 1.0


@pytest.mark.parametrize(("call", "args"), [(rate_bound, (-1, 1.0)), (rate_bound, (0, 0.0)), (share_bound, (3, 2))])
def test_refuses_counts_that_cannot_be(call, args):
    with pytest.raises(InputError):
        call(*args)


def test_spells_run_from_the_first_failed_check_to_the_next_good_one():
    flags = [False, True, True, False, True]

    assert failed_spells(flags) == (range(1, 3), range(4, 5))


def found_of(values):
    readings = made_readings([float(value) for value in values], key=KEY)
    result = monitor_stream(readings, (), load_catalogue(None).checks[KEY.check])
    now = from_microseconds(int(readings.taken_at[-1])) + timedelta(hours=1)
    operation, _ = line_operation("L", {KEY: readings}, (), AROUND_THE_CLOCK, zone=UTC, now=now)
    start = datetime(2000, 1, 1, tzinfo=UTC)
    return readings, interval_evidence(result, operation, (), start=start, stop=now)


def test_a_failure_between_the_checks_kept_is_never_seen():
    # failed once, put right before the next check: of two ways to keep every second check one never sees it
    _, found = found_of(["2500", "2500", "2500", "900", "2500", "2500"])

    twice = next(each for each in found.longer if each.times == 2)
    assert (found.checks, found.failed) == (6, 1)
    assert (twice.seen, twice.unseen, twice.unseen_at_worst) == (0.5, 0.5, 1)


def test_the_time_exposed_grows_with_the_distance_of_the_checks():
    readings, found = found_of(["2500", "2500", "2500", "900", "900", "900"])
    hours = [(b - a) / 3.6e9 for a, b in zip(readings.taken_at, readings.taken_at[1:], strict=False)]

    twice = next(each for each in found.longer if each.times == 2)
    # kept 0, 2, 4: good at 2, failed at 4; kept 1, 3, 5: good at 1, failed at 3: two steps each
    assert twice.unseen == 0.0
    assert twice.exposed / timedelta(hours=1) == pytest.approx((hours[2] + hours[3] + hours[1] + hours[2]) / 2)


def test_one_check_says_nothing():
    assert found_of(["2500"])[1] is None
