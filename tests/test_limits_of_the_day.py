"""Limits change; a reading stays judged by those of its own day, whoever asks and whenever."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from spc.as_of import as_of
from spc.audit import Wanted, audit_store, exposed, instruments, looked_back
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import starter
from spc.charted import check_on
from spc.containment import exposure_windows, judged
from spc.failures import open_record
from spc.look_back import AsFound
from spc.monitor import monitor_stream
from spc.schedule.operation import line_operation
from spc.schedule.site_calendar import AROUND_THE_CLOCK
from spc.store.entries import Baseline, LimitDecision
from spc.store.store import Store
from spc.times import to_microseconds
from tests.made import START, made_check, made_readings
from tests.store.made_store import BATH, NOW, add, read_text

OLD = Acceptance(rule="fixed", lower=0.1, upper=0.4, document="Procedure", revision="A", mark="site")
NEW = replace(OLD, lower=0.2, revision="B")
CHANGED = START + timedelta(hours=8 * 4 - 1)  # before the fifth reading
SINCE = ((datetime(1, 1, 1, tzinfo=UTC), OLD), (CHANGED, NEW))
VALUES = [0.25, 0.15, 0.25, 0.05, 0.25, 0.15, 0.25]


def windows(result):
    streams = {result.key: result.readings}
    operation, _ = line_operation(result.key.line, streams, (), AROUND_THE_CLOCK, zone=UTC, now=NOW)
    return exposure_windows(result, streams, operation, now=NOW)


def test_a_number_is_judged_by_the_limits_of_its_day():
    result = monitor_stream(made_readings(VALUES), (), made_check(acceptance_since=SINCE))

    assert judged(result).tolist() == [1, 1, 1, -1, 1, -1, 1]
    assert [window.check.acceptance.revision for window in windows(result)] == ["A", "B"]
    assert result.check.acceptance == NEW


def test_a_word_is_judged_by_the_limits_of_its_day():
    strict = Acceptance(rule="words", good=("shown",), bad=("partly", "not shown"), document="Procedure", mark="site")
    mild = replace(strict, good=("shown", "partly"), bad=("not shown",))
    words = ["shown", "partly", "shown", "not shown", "shown", "partly", "shown"]
    check = made_check(kind="judged", charted="none", acceptance_since=((SINCE[0][0], mild), (CHANGED, strict)))
    result = monitor_stream(made_readings([np.nan] * 7, words=words), (), check)

    assert judged(result).tolist() == [1, 1, 1, -1, 1, -1, 1]
    assert [window.failures for window in windows(result)] == [1, 1]


def test_the_record_of_a_failure_names_the_limits_that_were_failed_then():
    result = monitor_stream(made_readings(VALUES), (), made_check(acceptance_since=SINCE))

    first, second = (open_record(window, at=NOW, by="anna") for window in windows(result))

    assert "revision A" in first.asked
    assert "revision B" in second.asked
    assert check_on(result.check, to_microseconds(CHANGED)).acceptance == NEW
    assert check_on(result.check, to_microseconds(CHANGED) - 1).acceptance == OLD


def test_a_look_at_an_earlier_day_shows_the_limits_that_stood_then():
    result = monitor_stream(made_readings(VALUES), (), made_check(acceptance_since=SINCE))

    then = as_of(result, START + timedelta(hours=8 * 3))

    assert (then.check.acceptance, result.check.acceptance) == (OLD, NEW)


LOG = "taken_at,line,check,position,value,instrument\n" + "".join(
    f"2025-03-{day:02d}T06:10Z,{BATH.line},{BATH.check},{BATH.position},{value},tube-03\n"
    for day, value in enumerate([0.25, 0.15, 0.25, 0.05, 0.25, 0.15, 0.25], start=1)
)


@pytest.fixture
def decided(tmp_path):
    """A store whose lower limit rose with the fifth day."""
    with Store.open(tmp_path / "kept.db") as store:
        add(store, read_text(tmp_path, LOG))
        for acceptance, day in ((OLD, 1), (NEW, 5)):
            at = datetime(2025, 3, day, tzinfo=UTC)
            store.append(LimitDecision(BATH.check, "", "", acceptance, at, "Level 3"), who="anna", now=NOW)
        yield store


def test_an_audit_of_a_store_judges_by_the_limits_of_the_day(decided):
    found = audit_store(decided, zone=UTC, now=NOW)

    opened = exposed(found, Wanted())

    assert [(window.failed_at.day, window.check.acceptance.revision) for window in opened] == [(4, "A"), (6, "B")]
    assert found.ledger.streams[0].check.acceptance == NEW


def test_an_instrument_that_read_too_much_is_looked_back_on_by_the_limits_of_each_day(decided):
    found = audit_store(decided, zone=UTC, now=NOW)

    back = looked_back(found, instruments(found, None), "tube-03", AsFound(relative=0.4), found_at=NOW, since=None)

    # read 0.25 is 0.179 true: good under revision A on days 1 and 3, failed under B on days 5 and 7
    constant = next(stream for stream in back.streams if stream.model == "constant")
    assert constant.would_have_failed == 2
    assert constant.first_failed == datetime(2025, 3, 5, 6, 10, tzinfo=UTC)


def test_a_signed_baseline_of_the_store_sets_the_limits_of_an_audit(tmp_path):
    days = [datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=i) for i in range(70)]
    rows = "".join(f"{at:%Y-%m-%dT%H:%MZ},{BATH.line},{BATH.check},{BATH.position},0.2,\n" for at in days)
    signed = Baseline(BATH, 1, "proposed", days[0], days[59], 60, 0.3, 0.01, 0.27, 0.33, by="anna")
    with Store.open(tmp_path / "kept.db") as store:
        add(store, read_text(tmp_path, LOG.splitlines()[0] + "\n" + rows))
        for step in ("proposed", "reviewed", "signed off"):
            store.append(replace(signed, step=step), who="anna", now=days[64])
        (result,) = audit_store(store, zone=UTC, now=NOW).monitored([BATH])

    assert starter().checks[BATH.check].baseline <= 60
    assert result.segments[-1].signed is not None
    assert (result.segments[-1].first, result.segments[-1].signed.version) == (64, 1)
