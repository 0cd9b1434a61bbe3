"""Run rules: published lengths, stated choices, and the two forms that must agree."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from spc.arrays import BoolArray, FloatArray
from spc.errors import InputError
from spc.rules import (
    ALL_EIGHT,
    DEFAULT_RULES,
    HIGH,
    LOW,
    NO_SIDE,
    RULE_SETS,
    RULES,
    RuleSetting,
    RuleState,
    describe,
    in_sigmas,
    in_sigmas_one,
    rule_of,
    run_rules,
    step,
)
from tests.strategies import MEASURED, intervals, rule_settings

Found = tuple[int, int, int]  # reading, rule, side

BEYOND3 = RuleSetting("beyond_limits", 1, 1, 3)
TWO_OF_THREE = RuleSetting("near_limit", 2, 3, 2)
FOUR_OF_FIVE = RuleSetting("off_centre", 4, 5, 1)
WITHIN15 = RuleSetting("close_to_centre", 15, 15, 1)
OUTSIDE8 = RuleSetting("away_from_centre", 8, 8, 1)
ALTERNATING14 = RuleSetting("alternating", 14, 14, 0)


def one_side(n: int) -> RuleSetting:
    return RuleSetting("one_side", n, n, 0)


def trend(n: int) -> RuleSetting:
    return RuleSetting("steady_trend", n, n, 0)


def signals(
    z: ArrayLike, *settings: RuleSetting, boundaries: BoolArray | None = None, restart: bool = False
) -> list[Found]:
    """Return (reading, rule, side) of every signal of exact readings, from the batch form and the step form alike."""
    z = np.asarray(z, dtype=float)
    return both_forms(z, z, settings, boundaries, restart)


def both_forms(
    low: ArrayLike,
    high: ArrayLike,
    settings: Sequence[RuleSetting],
    boundaries: BoolArray | None = None,
    restart: bool = False,
) -> list[Found]:
    hits = run_rules(low, high, settings, boundaries=boundaries, restart=restart)
    batch: list[Found] = list(zip(hits.index.tolist(), hits.rule.tolist(), hits.side.tolist(), strict=True))
    state = RuleState.start(settings, restart=restart)
    stepped: list[Found] = []
    for i, (a, b) in enumerate(zip(np.asarray(low).tolist(), np.asarray(high).tolist(), strict=True)):
        if boundaries is not None and boundaries[i]:
            state = state.cleared()
        state, found = step(state, a, b)
        stepped += [(i, *signal) for signal in found]

    assert batch == stepped
    return batch


# Sequences of our own construction for the choices the published texts leave open (see spc.rules); what is expected
# comes from an independent evaluator. Columns: what it shows, rule, z, segments, restart, readings that signal.
SEQUENCES = [
    ("on the limit is not beyond", BEYOND3, [0, 3.0, -3.0, 3.0000001, -3.0000001], None, False, [3, 4]),
    ("eight on one side are one short of nine", one_side(9), [0.1] * 8, None, False, []),
    ("the centre line is on no side", one_side(9), [0.1] * 8 + [0.0] + [0.1] * 9, None, False, [17]),
    ("the tenth completes the pattern again", one_side(9), [0.1] * 10, None, False, [8, 9]),
    ("after a signal a restarted rule counts anew", one_side(9), [0.1] * 18, None, True, [8, 17]),
    ("a segment boundary breaks a run", one_side(9), [0.1] * 9, [1] * 5 + [2] * 4, False, []),
    ("eight below", one_side(8), [-0.1] * 8, None, False, [7]),
    ("two sides make no run", one_side(8), [-0.1] * 4 + [0.1] * 4, None, False, []),
    ("five rising are one short of six", trend(6), [-2, -1, 0, 0.5, 1], None, False, []),
    ("a tie breaks a trend", trend(6), [-2, -1, 0, 0, 0.5, 1, 1.5], None, False, []),
    ("six rising are one short of seven", trend(7), [-2, -1, 0, 0.5, 1, 1.5], None, False, []),
    ("eight rising, seven intervals", trend(8), [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7], None, False, [7]),
    ("fourteen alternating", ALTERNATING14, [0.1, -0.1] * 7, None, False, [13]),
    ("a tie breaks an alternation", ALTERNATING14, [0.1, -0.1] * 3 + [0.1] + [0.1, -0.1] * 3 + [0.1], None, False, []),
    ("first and third of three", TWO_OF_THREE, [2.1, 0, 2.1], None, False, [2]),
    ("two suffice without a third", TWO_OF_THREE, [2.1, 2.1], None, False, [1]),
    ("on the two-sigma line is not beyond", TWO_OF_THREE, [2.0, 0, 2.1], None, False, []),
    ("beyond three is beyond two", TWO_OF_THREE, [3.5, 0, 2.1], None, False, [2]),
    ("four of five", FOUR_OF_FIVE, [1.1, 1.1, 0, 1.1, 1.1], None, False, [4]),
    ("sides are not pooled", FOUR_OF_FIVE, [1.1, 1.1, -1.1, 1.1, -1.1], None, False, []),
    ("only three of the last five", FOUR_OF_FIVE, [1.1, 1.1, 1.1, 0, 0, 1.1], None, False, []),
    ("fifteen within", WITHIN15, [0.9, -0.9, 0.1] * 5, None, False, [14]),
    ("on the one-sigma line is not within", WITHIN15, [0.9] * 14 + [1.0], None, False, []),
    ("eight outside on both sides", OUTSIDE8, [1.1, -1.1] * 4, None, False, [7]),
    ("one of eight inside", OUTSIDE8, [1.1, -1.1] * 3 + [1.1, 0.9], None, False, []),
    # and the rest of the choices
    ("the signalling reading is beyond itself", TWO_OF_THREE, [2.1, 2.1, 0], None, False, [1]),
    ("a missing reading breaks a run", one_side(3), [1, 1, math.nan, 1, 1, 1], None, False, [5]),
    ("a trend starts anew after a missing reading", trend(3), [1, 2, math.nan, 3, 4, 5], None, False, [5]),
    ("a restarted trend forgets the reading that signalled", trend(3), [1, 2, 3, 4, 5, 6], None, True, [2, 5]),
    ("a boundary breaks a trend", trend(3), [1, 2, 3, 4, 5], [1, 1, 2, 2, 2], False, [4]),
    ("restart clears both sides", TWO_OF_THREE, [2.1, -2.1, 2.1, -2.1], None, True, [2]),
]


@pytest.mark.parametrize(
    ("rule", "z", "phases", "restart", "expected"), [s[1:] for s in SEQUENCES], ids=[s[0] for s in SEQUENCES]
)
def test_sequence(rule, z, phases, restart, expected):
    boundaries = None if phases is None else np.diff(phases, prepend=phases[0]) != 0

    found = signals(z, rule, boundaries=boundaries, restart=restart)

    assert [reading for reading, _, _ in found] == expected


def test_restart_clears_only_the_rule_that_signalled():
    found = signals([1, 1, 1, 1], one_side(2), one_side(3), restart=True)

    assert found == [(1, 0, HIGH), (2, 1, HIGH), (3, 0, HIGH)]


def test_without_a_word_nothing_restarts():
    ones = np.ones(4)

    assert run_rules(ones, ones, [one_side(2)]).index.tolist() == [1, 2, 3]
    assert RuleState.start([one_side(2)]).restart is False


def test_sides_are_named():
    found = signals([4, -4, -5, -6, 1.5, -1.5], BEYOND3, trend(3), RuleSetting("away_from_centre", 6, 6, 1))

    assert found == [(0, 0, HIGH), (1, 0, LOW), (2, 0, LOW), (2, 1, LOW), (3, 0, LOW), (3, 1, LOW), (5, 2, NO_SIDE)]


# Properties.


@given(intervals(), st.lists(rule_settings(), max_size=8), st.booleans(), st.data())
def test_batch_equals_step_at_every_prefix(z, settings, restart, data):
    low, high = z
    n = len(low)
    boundaries = np.array(
        data.draw(st.lists(st.sampled_from([False] * 9 + [True]), min_size=n, max_size=n)), dtype=bool
    )
    whole = both_forms(low, high, settings, boundaries, restart)

    for cut in range(0, n + 1, 7):
        part = both_forms(low[:cut], high[:cut], settings, boundaries[:cut], restart)
        assert part == [signal for signal in whole if signal[0] < cut]


@given(intervals(), st.lists(rule_settings(), min_size=1, max_size=8), st.booleans())
def test_a_mirrored_stream_signals_on_the_other_side(z, settings, restart):
    low, high = z
    found = both_forms(low, high, settings, restart=restart)
    mirrored = both_forms(-high, -low, settings, restart=restart)

    assert mirrored == [(reading, rule, -side) for reading, rule, side in found]


@given(intervals(), st.lists(rule_settings(), min_size=1, max_size=8))
def test_an_uncertain_reading_never_adds_a_signal(z, settings):
    """Whatever the true values in the intervals, each signal of the intervals is one of theirs."""
    low, high = z
    found = set(both_forms(low, high, settings))
    lower, upper = np.maximum(low, -1e3), np.minimum(high, 1e3)

    for true in (lower, upper, (lower + upper) / 2, np.where(np.arange(len(low)) % 2, lower, upper)):
        assert found <= set(both_forms(true, true, settings))


@given(intervals(), rule_settings())
def test_a_rule_signals_as_its_words_say(z, setting):
    """A second way to the same: count afresh in every window."""
    exact = np.where(z[0] == z[1], z[0], np.nan)
    found = {(reading, side) for reading, _, side in both_forms(exact, exact, [setting])}

    assert found == {(i, side) for i in range(len(exact)) for side in by_words(exact, i, setting)}


def by_words(z: FloatArray, i: int, setting: RuleSetting) -> set[int]:
    start = i
    while start > 0 and not np.isnan(z[start - 1]):
        start -= 1
    history = z[start : i + 1]
    window, width = history[-setting.window :], setting.width
    if np.isnan(z[i]):
        return set()
    if setting.key in ("beyond_limits", "near_limit", "off_centre", "one_side"):
        high, low = window > width, window < -width
        return {side for side, flags in ((HIGH, high), (LOW, low)) if flags[-1] and flags.sum() >= setting.count}
    if setting.key in ("close_to_centre", "away_from_centre"):
        flags = abs(window) < width if setting.key == "close_to_centre" else abs(window) > width
        return {NO_SIDE} if flags[-1] and flags.sum() >= setting.count else set()
    if len(window) < setting.count:
        return set()
    signs = np.sign(np.diff(window))
    if setting.key == "steady_trend":
        return {int(signs[0])} if signs[0] != 0 and (signs == signs[0]).all() else set()
    return {NO_SIDE} if signs.all() and (signs[1:] == -signs[:-1]).all() else set()


# Refusals and words.


@pytest.mark.parametrize(
    ("setting", "says"),
    [
        (RuleSetting("wobble", 1, 1, 3), "there is no run rule 'wobble'; take one of beyond_limits, near_limit"),
        (RuleSetting("near_limit", 0, 3, 2), "count is 0; give a whole number of readings, at least 1"),
        (RuleSetting("near_limit", 2.0, 3, 2), "count is 2.0"),  # type: ignore[arg-type]  # what a settings file may hold
        (RuleSetting("near_limit", True, 3, 2), "count is True"),
        (RuleSetting("near_limit", 3, 2, 2), "window 2 is shorter than count 3"),
        (RuleSetting("near_limit", 2, 3, 0), "width is 0; give a distance in sigmas"),
        (RuleSetting("near_limit", 2, 3, -1), "width is -1"),
        (RuleSetting("near_limit", 2, 3, math.nan), "width is nan"),
        (RuleSetting("near_limit", 2, 3, math.inf), "width is inf"),
        (RuleSetting("one_side", 9, 9, 1), "has no width; leave it at 0, not 1"),
        (RuleSetting("one_side", 9, 9, -1), "has no width; leave it at 0, not -1"),
        (RuleSetting("steady_trend", 5, 6, 0), "counts readings in a row: give window 6 and count the same"),
        (RuleSetting("steady_trend", 1, 1, 0), "at least 2"),
        (RuleSetting("alternating", 2, 2, 0), "at least 3"),
    ],
)
def test_refuses_a_rule_that_cannot_be(setting, says):
    with pytest.raises(InputError, match=says):
        rule_of(setting)
    with pytest.raises(InputError, match=says):
        RuleState.start([setting])
    with pytest.raises(InputError, match=says):
        run_rules([0.0], [0.0], [setting])


@pytest.mark.parametrize(
    ("low", "high", "boundaries", "says"),
    [
        ([0.0, 1.0], [0.0], None, "the same length"),
        ([0.0], [0.0, 1.0], None, "the same length"),
        ([[0.0]], [[0.0]], None, "two rows"),
        ([0.0, 1.0], [0.0, 0.5], None, "reading 1 lies between 1.0 and 0.5"),
        ([0.0, math.nan], [0.0, 0.5], None, "reading 1 lies between nan and 0.5"),
        ([0.0, 0.0], [0.0, 0.0], np.array([True]), "one for each of the 2 readings"),
        ([0.0, 0.0], [0.0, 0.0], np.array([True] * 3), "one for each of the 2 readings"),
    ],
)
def test_refuses_arrays_that_do_not_match(low, high, boundaries, says):
    with pytest.raises(InputError, match=says):
        run_rules(low, high, ALL_EIGHT, boundaries=boundaries)


@pytest.mark.parametrize(("low", "high"), [(1.0, 0.5), (math.nan, 0.5), (0.5, math.nan)])
def test_step_refuses_an_interval_that_holds_nothing(low, high):
    with pytest.raises(InputError, match="the lower end must not be above the upper"):
        step(RuleState.start(ALL_EIGHT), low, high)


def test_no_readings_and_no_rules_give_no_signals():
    assert both_forms([], [], ALL_EIGHT) == []
    assert both_forms([5.0], [5.0], []) == []


def test_hits_cannot_be_written_to():
    hits = run_rules([4.0], [4.0], DEFAULT_RULES)

    with pytest.raises(ValueError, match="read-only"):
        hits.side[0] = 0


def test_every_rule_in_plain_words():
    high = [describe(setting, HIGH) for setting in ALL_EIGHT]

    assert high == [
        "a reading more than 3 sigma above the centre line",
        "2 of the last 3 readings more than 2 sigma above the centre line",
        "4 of the last 5 readings more than 1 sigma above the centre line",
        "9 readings in a row above the centre line",
        "6 readings in a row, each higher than the one before",
        "14 readings in a row alternating up and down",
        "15 readings in a row within 1 sigma of the centre line",
        "8 readings in a row more than 1 sigma from the centre line, on either side",
    ]


def test_words_for_the_low_side_and_for_none():
    assert describe(one_side(9), LOW) == "9 readings in a row below the centre line"
    assert describe(trend(6), LOW) == "6 readings in a row, each lower than the one before"
    assert describe(one_side(9)) == "9 readings in a row on one side of the centre line"
    assert describe(RuleSetting("one_side", 10, 11, 0), HIGH) == "10 of the last 11 readings above the centre line"


def test_every_rule_says_what_it_means_and_carries_its_own_key():
    for key, rule in RULES.items():
        assert rule.key == rule.default.key == key
        assert rule.means
        assert rule_of(rule.default) is rule


# Lengths from memory; see spc.rules.sets for how sure.
@pytest.mark.parametrize(
    ("key", "lengths"),
    [
        ("four_tests_1956", {"beyond_limits": 1, "near_limit": 2, "off_centre": 4, "one_side": 8}),
        ("iso_7870_2", {"beyond_limits": 1, "one_side": 7, "steady_trend": 7}),
        (
            "astm_e2587",  # recalled without certainty, as its mark says
            {
                "beyond_limits": 1,
                "near_limit": 2,
                "off_centre": 4,
                "one_side": 8,
                "steady_trend": 6,
                "alternating": 14,
                "close_to_centre": 15,
                "away_from_centre": 8,
            },
        ),
        (
            "eight_tests_1984",
            {
                "beyond_limits": 1,
                "near_limit": 2,
                "off_centre": 4,
                "one_side": 9,
                "steady_trend": 6,
                "alternating": 14,
                "close_to_centre": 15,
                "away_from_centre": 8,
            },
        ),
    ],
)
def test_published_sets(key, lengths):
    assert {setting.key: setting.count for setting in RULE_SETS[key].settings} == lengths


def test_published_lengths_and_widths():
    # Nelson (1984), from memory: of (count, window, width in sigmas).
    assert {setting.key: (setting.count, setting.window, setting.width) for setting in ALL_EIGHT} == {
        "beyond_limits": (1, 1, 3),
        "near_limit": (2, 3, 2),
        "off_centre": (4, 5, 1),
        "one_side": (9, 9, 0),
        "steady_trend": (6, 6, 0),
        "alternating": (14, 14, 0),
        "close_to_centre": (15, 15, 1),
        "away_from_centre": (8, 8, 1),
    }
    assert [setting.key for setting in DEFAULT_RULES] == ["beyond_limits", "near_limit", "one_side"]


def test_every_set_can_be_run_and_says_where_it_is_from():
    for key, chosen in RULE_SETS.items():
        assert chosen.key == key
        assert chosen.source
        assert chosen.remark
        assert RuleState.start(chosen.settings)


# Distances in sigmas.


@given(
    st.lists(MEASURED | st.sampled_from([math.nan, math.inf, -math.inf])),
    MEASURED,
    st.sampled_from([0.0, 1e-300, 0.3, 7.0]),
)
def test_distance_of_one_reading_equals_that_of_many(x, centre, sigma):
    many = in_sigmas(x, centre, sigma)

    np.testing.assert_array_equal(many, [in_sigmas_one(value, centre, sigma) for value in x])


def test_a_reading_on_a_line_is_on_it_whatever_the_last_bits_say():
    # 0.1 + 3 * 0.1 and 0.4 differ in the last bit.
    assert in_sigmas([0.1 + 3 * 0.1, 0.4, 0.1, -0.2], 0.1, 0.1).tolist() == [3.0, 3.0, 0.0, -3.0]


def test_with_no_scatter_every_other_reading_is_infinitely_far():
    assert in_sigmas([1.0, 1.5, 0.5], 1.0, 0.0).tolist() == [0.0, math.inf, -math.inf]
