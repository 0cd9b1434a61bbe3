"""Episodes, sentences and the state of a stream."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from spc.catalogue.acceptance import Acceptance
from spc.check_due import CheckDue
from spc.monitor import monitor_stream
from spc.records import Bound
from spc.signals import episodes
from spc.state import stream_state
from spc.wording import age_text
from tests.made import START, made_check, made_event, made_readings

VIENNA = ZoneInfo("Europe/Vienna")
STEADY = [0.19, 0.21] * 10
OVERDUE = CheckDue("overdue", START + timedelta(hours=8))
RESTING = CheckDue("not in operation", None, resting_since=START + timedelta(hours=8))
DUE = CheckDue("due", START + timedelta(days=40))


def at_reading(i: float):
    return START + timedelta(hours=8 * i)


def state_after(values, *, check=None, events=(), hours=1, **columns):
    readings = made_readings(values, **columns)
    now = at_reading(len(values) - 1) + timedelta(hours=hours)
    return stream_state(monitor_stream(readings, events, check or made_check()), VIENNA, now)


def test_signals_of_one_cause_are_one_episode():
    result = monitor_stream(made_readings([*STEADY, *[0.18] * 12]), (), made_check(moving_range=False))

    (episode,) = episodes(result, VIENNA)
    assert len(result.signals) > 1
    assert episode.signals == result.signals
    assert episode.side == "low"
    assert episode.open


def test_the_sentence_says_what_moves_since_when_and_how_far():
    # the last baseline reading is high, so the run starts with the next one: 20 times 8 h after Mon 3 Mar 06:00 UTC
    result = monitor_stream(made_readings([*STEADY, *[0.18] * 9]), (), made_check(moving_range=False))

    (episode,) = episodes(result, VIENNA)
    assert episode.since == at_reading(20)
    assert episode.sentence == (
        "Bath concentration, tank has been below its centre line 0.200 mL/100 mL since Sun 9 Mar 2025 23:00, "
        "by 0.020 mL/100 mL on average over 9 readings: 9 readings in a row below the centre line. "
        "If nothing is done the limit 0.1 mL/100 mL is passed in about 44 readings, around Thu 27 Mar 2025."
    )
    assert episode.look_first == ("the agitator",)


def test_signals_more_than_five_readings_apart_are_two_episodes():
    calm = [0.19, 0.21] * 3
    values = [*STEADY, 0.32, *calm, 0.32]
    result = monitor_stream(made_readings(values), (), made_check(rules=made_check().rules[:1], moving_range=False))

    first, second = episodes(result, VIENNA)
    assert (first.open, second.open) == (False, True)
    assert [len(first.signals), len(second.signals)] == [1, 1]


def test_a_reset_ends_an_episode():
    changed = made_event("bath_changed", at_reading(29))
    result = monitor_stream(made_readings([*STEADY, *[0.18] * 9, 0.2]), (changed,), made_check())

    assert not episodes(result, VIENNA)[-1].open


def test_a_top_up_written_down_just_before_is_offered_as_an_explanation():
    topped_up = made_event("bath_topped_up", at_reading(19.5))
    result = monitor_stream(made_readings([*STEADY, 0.32]), (topped_up,), made_check())

    (episode,) = episodes(result, VIENNA)
    assert episode.explained_by == (topped_up,)


def test_a_jump_alone_is_told_as_a_jump():
    result = monitor_stream(made_readings([*STEADY, 0.14]), (), made_check(rules=()))

    (episode,) = episodes(result, VIENNA)
    # 0.065 = D4 times the mean moving range 0.02, D4 = 3.267 (NIST/SEMATECH e-Handbook 6.3.2.2)
    assert episode.sentence == (
        "Bath concentration, tank jumped at Sun 9 Mar 2025 23:00: a step of 0.070 mL/100 mL from one reading "
        "to the next, where 0.065 mL/100 mL is the most to expect."
    )


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ([0.2] * 5, "learning"),
        (STEADY, "calm"),
        ([*STEADY, 0.32], "moving"),
        ([*STEADY, 0.42], "failed"),
        ([*STEADY, 0.42, 0.2], "moving"),
    ],
)
def test_the_word_of_a_stream(values, word):
    assert state_after(values).word == word


def test_a_failed_check_says_what_it_read_what_is_asked_and_what_it_obliges():
    state = state_after([*STEADY, 0.05], hours=3)

    assert state.headline == (
        "Bath concentration, tank read 0.05 mL/100 mL at Sun 9 Mar 2025 23:00: at least 0.1 and at most 0.4 mL/100 mL, "
        "not confirmed for this site."
    )
    assert state.obliges == ("stop", "contain")
    assert state.look_first == ("the agitator",)
    assert state.margin_fraction == 0.0
    assert state.age_text == "3 h ago"


@pytest.mark.parametrize(
    ("last", "text"), [(0.0996, "0.0996 mL/100 mL"), (0.05, "0.05 mL/100 mL"), (0.404, "0.404 mL/100 mL")]
)
def test_a_failed_reading_is_never_rounded_onto_its_limit(last, text):
    assert f"read {text} at" in state_after([*STEADY, last]).headline


def test_starter_limits_are_shown_as_not_confirmed():
    assert "not confirmed for this site" in state_after(STEADY).limits_text

    named = Acceptance(rule="fixed", lower=0.1, document="Procedure P", revision="C", mark="site")
    assert state_after(STEADY, check=made_check(acceptance=named)).limits_text == (
        "at least 0.1 mL/100 mL \N{EN DASH} Procedure P, revision C"
    )


@pytest.mark.parametrize(
    ("last", "text", "fraction"),
    [
        (0.25, "0.15 above the lower limit 0.1 mL/100 mL", 1.0),
        (0.15, "0.05 above the lower limit 0.1 mL/100 mL", 1 / 3),
        (0.4, "on the limit 0.4 mL/100 mL", 0.0),
        (0.42, "0.02 above the upper limit 0.4 mL/100 mL", 0.0),
    ],
)
def test_the_margin_to_the_nearer_limit(last, text, fraction):
    state = state_after([*STEADY, last])

    assert state.margin_text == text
    assert state.margin_fraction == pytest.approx(fraction)


def test_a_judged_check_speaks_its_word():
    shim = made_check(
        kind="judged", charted="none", rules=(), unit_label="", chart_unit="",
        acceptance=Acceptance(rule="words", good=("shown",), bad=("not shown",), document="D", mark="memory"),
    )  # fmt: skip
    state = state_after([np.nan] * 2, check=shim, words=["shown", "not shown"])

    assert state.word == "failed"
    assert state.last_text == "not shown"
    assert "read not shown at Mon 3 Mar 2025 15:00: must be “shown”" in state.headline


def test_a_censored_last_reading_is_shown_as_written():
    assert state_after([*STEADY, 0.05], bounds=[0] * 20 + [Bound.BELOW]).last_text == "<0.05 mL/100 mL"


def test_not_run_is_not_the_last_reading():
    state = state_after([*STEADY, np.nan], words=[""] * 20 + ["not run"])

    assert state.last_text == "0.21 mL/100 mL"
    assert state.age_text == "9 h ago"


def test_a_reading_that_cannot_be_judged_undoes_no_failure():
    check = made_check()
    failed = state_after([0.2, 0.05, 0.5], bounds=[0, 0, Bound.BELOW], check=check)
    passed = state_after([0.2, 0.05, 0.2], check=check)

    assert failed.word == "failed"
    assert failed.headline.endswith("; no reading since shows that it passes.")
    assert failed.look_first == ("the agitator",)
    assert failed.margin_text == "not judged: <0.50 mL/100 mL may lie on either side of the limit"
    assert failed.margin_fraction is None
    assert passed.word == "learning"


def test_a_reading_without_its_reference_undoes_no_failure_and_borrows_no_margin():
    ammeter = made_check(
        title="Ammeter",
        charted="deviation",
        chart_unit="%",
        unit="A",
        unit_label="A",
        acceptance=Acceptance(rule="percent_or_amperes", percent=10, amperes=50),
    )
    state = state_after([1010.0, 1200.0, 1010.0], references=[1000.0, 1000.0, np.nan], check=ammeter)

    assert state.word == "failed"
    assert state.headline.startswith("Ammeter deviation, tank read 20.00 % at ")
    assert state.margin_text == "not judged: no reference beside it"
    assert state.margin_fraction is None


def test_a_ring_at_a_current_the_document_does_not_name_is_not_judged():
    ring = made_check(acceptance=Acceptance(rule="minimum_at_reference", table=((500.0, 3.0),)))

    assert state_after([2.0], references=[450.0], check=ring).margin_text == (
        "not judged: the document names no limit at 450 A"
    )


def test_a_failed_judged_check_stands_until_a_verdict_that_passes():
    shim = made_check(
        kind="judged", charted="none", rules=(), acceptance=Acceptance(rule="words", good=("shown",), bad=("partly",))
    )

    def word_after(*words):
        return state_after([np.nan] * len(words), words=words, check=shim).word

    assert word_after("shown", "partly", "not run") == "failed"
    assert word_after("shown", "partly", "shown") == "judged"


def test_a_time_that_has_not_come_yet_is_not_told_as_current():
    assert state_after([0.2], hours=-0.05).age_text == "just now"
    assert state_after([0.2], hours=-1.5).taken_text == "never"
    assert state_after([0.2, 0.05], hours=-1.5).last_text == "0.20 mL/100 mL"
    assert state_after([0.2, 0.05], hours=-1.5).word == "learning"


def test_an_age_says_how_far_ahead_a_time_is():
    assert age_text(START + timedelta(hours=1.5), START) == "dated 2 h ahead of the clock"
    assert age_text(START + timedelta(days=400), START) == "dated 400 days ahead of the clock"


@pytest.mark.parametrize(
    ("values", "due", "word", "headline"),
    [
        ([0.05], OVERDUE, "failed", "Bath concentration, tank read 0.05 mL/100 mL at"),
        ([*STEADY, *[0.18] * 12], OVERDUE, "overdue", "Bath concentration, tank: check overdue since Mon 3 Mar 2025"),
        (STEADY, OVERDUE, "overdue", "Bath concentration, tank: check overdue since Mon 3 Mar 2025 15:00: due every"),
        (STEADY, RESTING, "idle", "Line not in operation."),
        ([*STEADY, *[0.18] * 12], RESTING, "moving", "Bath concentration, tank has been below"),
        (STEADY, DUE, "calm", "No signal."),
        (STEADY, None, "calm", "No signal."),
    ],
)
def test_an_old_reading_is_not_told_as_calm(values, due, word, headline):
    result = monitor_stream(made_readings(values), (), made_check())
    state = stream_state(result, VIENNA, at_reading(len(values)), due)

    assert state.word == word
    assert state.headline.startswith(headline)


def test_what_is_due_is_told_within_a_shift_of_it():
    result = monitor_stream(made_readings(STEADY), (), made_check())

    def told(due: CheckDue) -> str:
        return stream_state(result, VIENNA, at_reading(20), due).due_text

    assert told(CheckDue("due", at_reading(20.5))) == "next check due by Mon 10 Mar 2025 03:00"
    assert told(CheckDue("due", at_reading(40))) == ""
    assert told(OVERDUE) == "check overdue since Mon 3 Mar 2025 15:00"
    assert told(RESTING) == "line not in operation since Mon 3 Mar 2025 15:00"


def test_the_headline_is_its_gist_and_its_reasons():
    state = state_after([0.05])

    assert ": " not in state.gist
    assert state.headline == f"{state.gist}: {state.because}"


def test_what_moved_before_a_reset_is_not_told_as_moving_after_it():
    moving = [*STEADY, *[0.18] * 12]
    topped_up = made_event("bath_topped_up", at_reading(31.5))
    changed = made_event("bath_changed", at_reading(31.5))

    assert state_after(moving, events=(topped_up,), hours=5).word == "moving"
    state = state_after(moving, events=(changed,), hours=5)

    assert state.word == "learning"
    assert state.headline == "Control limits need 20 readings since the last reset; 0 so far."


def test_a_failed_check_stands_after_a_reset_until_a_reading_passes():
    changed = made_event("bath_changed", at_reading(20.5))

    assert state_after([*STEADY, 0.05], events=(changed,), hours=5).word == "failed"
    assert state_after([*STEADY, 0.05, 0.2], events=(changed,)).word == "learning"


def test_a_failure_of_a_limit_that_the_site_has_not_confirmed_says_so():
    site = Acceptance(rule="fixed", lower=0.1, upper=0.4, document="D", revision="A", mark="site")

    assert state_after([0.05]).headline.endswith("at most 0.4 mL/100 mL, not confirmed for this site.")
    assert "confirmed" not in state_after([0.05], check=made_check(acceptance=site)).headline


def test_a_reading_off_the_scale_at_the_limit_is_beyond_it():
    dark = made_check(acceptance=Acceptance(rule="fixed", upper=2.0), possible=(0.0, None))

    assert state_after([2.0], bounds=[Bound.ABOVE], check=dark).margin_text == "beyond the limit 2 mL/100 mL"
    assert state_after([2.0], bounds=[Bound.BELOW], check=dark).margin_text == "on the limit 2 mL/100 mL"
    assert state_after([2.0 + 1e-12], check=dark).margin_text == "on the limit 2 mL/100 mL"


def test_a_limit_below_zero_has_a_true_minus_sign():
    timer = made_check(acceptance=Acceptance(rule="fixed", lower=-0.1, upper=0.1), possible=(None, None))

    state = state_after([-0.05], check=timer)

    assert state.margin_text == "0.05 above the lower limit \N{MINUS SIGN}0.1 mL/100 mL"
    assert state.limits_text.startswith("at least \N{MINUS SIGN}0.1 and at most 0.1")
