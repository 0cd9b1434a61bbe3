"""The record of a failed check: which step may follow which, and what it takes to close one."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.errors import InputError
from spc.failures import (
    BEFORE_CLOSING,
    STEP_KINDS,
    FailureRecord,
    FailureStep,
    open_record,
    with_step,
)
from tests.schedule.made_site import local
from tests.test_containment import bath, windows

(WINDOW,) = windows(
    bath([("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.05), ("2025-03-04T06:10", 0.2)], lot=["L1", "L2", "L3"])
)
OPENED = local("2025-03-03T15:00")


def record(**parts: object) -> FailureRecord:
    return replace(open_record(WINDOW, at=OPENED, by="T1"), **parts)  # type: ignore[arg-type]  # parts by name


def step(kind: str, hours: float = 1, *, by: str = "T1", words: str = "as agreed") -> FailureStep:
    return FailureStep(kind, OPENED + timedelta(hours=hours), by, words)  # type: ignore[arg-type]  # wrong ones too


ALL = [step(kind, hours) for hours, kind in enumerate(BEFORE_CLOSING, start=1)]


def with_steps(before: FailureRecord, steps: Iterable[FailureStep]) -> FailureRecord:
    return reduce(with_step, steps, before)


def test_a_record_starts_with_what_the_window_says():
    new = record()

    assert new.state == "open"
    assert (new.failed, new.lots) == ("0.050 mL/100 mL", ("L1", "L2", "L3"))
    assert new.asked.startswith("at least 0.1 and at most 0.4 mL/100 mL: starter value after")
    assert (new.last_good, new.passed_at) == (WINDOW.last_good, WINDOW.passed_at)


@pytest.mark.parametrize(
    ("kinds", "state"),
    [
        (["told"], "open"),
        (["told", "held"], "contained"),
        (["told", "held", "found", "corrected"], "contained"),
        (["told", "held", "found", "decided"], "decided"),
        (["told", "held", "found", "decided", "closed"], "closed"),
        (["told", "held", "found", "decided", "closed", "reopened"], "open"),
        (["told", "held", "found", "decided", "closed", "reopened", "held"], "contained"),
    ],
)
def test_how_far_a_record_is(kinds, state):
    steps = [step(kind, hours) for hours, kind in enumerate(kinds)]

    assert with_steps(record(), steps).state == state


@pytest.mark.parametrize("left_out", BEFORE_CLOSING)
def test_a_record_closes_only_with_everything_written_down(left_out):
    almost = with_steps(record(), [each for each in ALL if each.kind != left_out])

    with pytest.raises(InputError, match="cannot be closed yet; still missing: "):
        with_step(almost, step("closed", 9))
    assert with_step(with_step(almost, step(left_out, 9)), step("closed", 9)).state == "closed"


def test_a_record_closes_only_once_the_check_has_passed_again():
    failing = with_steps(record(passed_at=None), ALL)

    with pytest.raises(InputError, match="the check has to pass again"):
        with_step(failing, step("closed", 9))
    passed = replace(failing, passed_at=local("2025-03-04T06:10"))
    assert with_step(passed, step("closed", 9)).state == "closed"


def test_what_is_taken_out_of_use_need_not_pass_again():
    retired = with_steps(record(passed_at=None), [*ALL, step("retired", 8, words="lamp scrapped")])

    assert with_step(retired, step("closed", 9)).state == "closed"


def test_after_opening_again_everything_has_to_be_written_down_again():
    again = with_steps(record(), [*ALL, step("closed", 8), step("reopened", 9, words="two more parts found")])

    assert len(again.lacks) == len(BEFORE_CLOSING)
    assert len(again.steps) == 6


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (step("told", by=" "), "by is empty"),
        (step("told", words=""), "words is empty; write what was done or found"),
        (step("told", -1), "is before it was opened"),
        (step("reopened"), "not closed; nothing has to be opened again"),
        (step("guessed"), "there is no step 'guessed'; there is told"),
        (replace(step("told"), at=datetime(2025, 3, 4)), "has no zone"),  # noqa: DTZ001 - the refusal is the test
    ],
)
def test_a_step_that_cannot_be_is_refused(wrong, says):
    with pytest.raises(InputError, match=says):
        with_step(record(), wrong)


def test_steps_are_in_order_of_time():
    with pytest.raises(InputError, match="is before the step before it"):
        with_steps(record(), [step("told", 5), step("held", 4)])


def test_nothing_is_added_to_a_closed_record():
    with pytest.raises(InputError, match="closed; open it again"):
        with_steps(record(), [*ALL, step("closed", 8), step("found", 9)])


def test_opening_needs_a_name_and_a_time_after_the_failure():
    with pytest.raises(InputError, match="write who opens the record"):
        open_record(WINDOW, at=OPENED, by="")
    with pytest.raises(InputError, match="is before the check failed"):
        open_record(WINDOW, at=WINDOW.failed_at - timedelta(minutes=1), by="T1")


@given(st.lists(st.sampled_from(STEP_KINDS), max_size=12))
def test_no_order_of_steps_closes_a_record_that_lacks_something(kinds):
    kept = record()
    for hours, kind in enumerate(kinds):
        before = kept
        try:
            kept = with_step(before, step(kind, hours))
        except InputError:
            continue
        assert kept.steps[:-1] == before.steps
        if kind == "closed":
            assert before.lacks == ()
            assert {each.kind for each in before.since_opened} >= set(BEFORE_CLOSING)
