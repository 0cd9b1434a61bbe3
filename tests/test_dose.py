"""What is suggested for a bath: amounts, reasons to wait, units and events."""

import math
from datetime import UTC, timedelta

import pytest

from spc.dose import AT_ONCE, bath_named, dose, rounded_down, volume_in_litres
from spc.dose_words import dose_headline, dose_sentences
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.results import StreamResult
from tests.made import KEY, START, made_check, made_event, made_readings

BATH = made_check(
    resolution=0.05,
    explained_by=("bath_topped_up", "carrier_added"),
    cautions=("Weigh powder without raising dust and wear a mask.",),
)
SHIFT = timedelta(hours=8)


def monitored(values, events=(), **parts) -> StreamResult:
    return monitor_stream(made_readings(values, **parts), events, BATH)


def suggested(values, events=(), *, volume_l=150.0, after=SHIFT / 2, target=None, **parts):
    """Return what is suggested half a shift after the last reading."""
    result = monitored(values, events, **parts)
    last = START + SHIFT * (len(values) - 1)
    return dose(result, volume_l, now=last + after, target=target)


def topped_up(place: int, amount: float = math.nan, unit: str = "g"):
    """Return a top-up an hour after reading `place`."""
    return made_event("bath_topped_up", START + SHIFT * place + timedelta(hours=1), amount=amount, unit=unit)


def said(found) -> str:
    return " ".join((dose_headline(found), *dose_sentences(found, UTC)))


def cycle(doses: int, grams: float, unit: str = "g"):
    """Return readings of a bath that falls from 0.21 to 0.17 and is fed back each time, and its top-ups."""
    values = [0.21, 0.20, 0.19, 0.18, 0.17] * doses + [0.21, 0.20]
    return values, [topped_up(5 * n + 4, grams, unit) for n in range(doses)]


# -- units -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        # NIST Special Publication 811, appendix B.8 (from memory): 1 gallon (US) = 3.785 412 L; 1 gallon (imperial)
        # = 4.546 09 L.
        ("120 L", 120.0),
        ("120L", 120.0),
        ("120 litres", 120.0),
        ("0,5 L", 0.5),
        ("40 US gal", 40 * 3.785412),
        ("40 USgal", 40 * 3.785412),
        ("40 imp gal", 40 * 4.54609),
        ("40 UK gal", 40 * 4.54609),
        ("1200 mL", 1.2),
    ],
)
def test_a_volume_is_read_in_the_unit_it_names(text, litres):
    assert volume_in_litres(text) == pytest.approx(litres, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("30 gal", "write '30 US gal' or '30 imp gal'"),
        ("30 gallons", "US or imperial"),
        ("30 gal.", "US or imperial"),
        ("30", "has no unit; write '30 L'"),
        ("L", "is no number with a unit"),
        ("", "is no number with a unit"),
        ("-5 L", "is no number with a unit"),
        ("1e3 L", "is no unit of volume"),
        ("1,200 L", "thousands or decimals"),
        ("0 L", "must be above 0"),
        ("30 kg", "is no unit of volume"),
        ("30 tanks", "is no unit of volume"),
    ],
)
def test_a_volume_that_is_not_clear_is_refused_with_the_remedy(text, says):
    with pytest.raises(InputError, match=says):
        volume_in_litres(text)


@pytest.mark.parametrize(("grams", "weighed"), [(75.9, 75.0), (7.59, 7.5), (0.0, 0.0), (-3.0, 0.0), (127.3, 120.0)])
def test_a_person_weighs_two_figures_and_never_more_than_is_meant(grams, weighed):
    assert rounded_down(grams) == pytest.approx(weighed)


@pytest.mark.parametrize(("amount", "unit"), [(28.349523125, "g"), (1.0, "oz"), (0.0625, "lb"), (0.028349523125, "kg")])
def test_a_weight_counts_in_any_unit_a_shop_uses(amount, unit):
    values, events = cycle(8, amount, unit)
    in_grams = suggested(*cycle(8, 28.349523125))

    found = suggested(values, events)

    assert found.written.weighed == 8
    assert found.knowledge.powder_yield.middle == pytest.approx(in_grams.knowledge.powder_yield.middle, rel=1e-6)


# -- what is suggested -------------------------------------------------------------------------------------------------


def test_the_worked_example_without_records_is_the_planning_figure_and_half_of_it():
    # 0.10 mL short, yield 0.2, 150 L: 75 g (2.6 oz); common practice, no source. One reading of 0.1 in steps of 0.01.
    found = suggested([0.10, 0.10, 0.10, 0.10, 0.11, 0.09, 0.10])

    assert found.suggestion == "add_powder"
    assert found.powder.to_target.middle == pytest.approx(75.0, rel=0.1)
    assert found.powder.to_target.low < 75.0 < found.powder.to_target.high
    assert found.powder.now == rounded_down(AT_ONCE * found.powder.to_target.middle)
    assert "no more before the bath is read again" in dose_headline(found)
    assert "judgement" in said(found)
    assert "2.6 oz" in said(found) or "2.7 oz" in said(found)


def test_a_learned_yield_is_used_whole_and_the_planning_figure_is_not_named():
    values, events = cycle(8, 40.0)  # 0.04 up and the shift's loss of 0.01 made good, by 40 g in 150 L: 0.1875

    found = suggested([*values, 0.19, 0.18, 0.17], events)

    assert found.learned
    assert found.knowledge.powder_yield.middle == pytest.approx(0.05 * 150 / 40, abs=0.01)
    assert found.powder.now == rounded_down(found.powder.to_target.middle)
    assert "learned from 8 weighed top-ups" in said(found)
    assert "planning figure" not in said(found)


def test_the_amount_follows_the_volume():
    low = [0.15, 0.15, 0.14, 0.15, 0.14]
    of_100, of_200 = suggested(low, volume_l=100.0), suggested(low, volume_l=200.0)

    assert of_200.powder.to_target.middle == pytest.approx(2 * of_100.powder.to_target.middle, rel=1e-9)


def test_a_bath_at_its_target_takes_nothing():
    found = suggested([0.2, 0.2, 0.21, 0.2, 0.2])

    assert (found.suggestion, found.powder, found.carrier) == ("nothing", None, None)
    assert "Nothing to add" in dose_headline(found)


def test_no_suggestion_passes_the_chance_of_ending_too_rich():
    # Target just below the upper limit: the whole amount would end above it too often.
    values, events = cycle(8, 30.0)

    found = suggested([*values, 0.19, 0.18, 0.17], events, target=0.395)

    assert found.learned
    assert found.powder.now <= found.powder.too_rich_above
    assert found.powder.now < found.powder.to_target.middle
    assert found.powder.chance_too_rich <= 0.0101
    assert "passes 1 in 100" in said(found)


def test_too_rich_a_bath_is_told_carrier_and_the_mark_comes_first():
    found = suggested([0.44, 0.45, 0.45, 0.44, 0.45])

    assert found.suggestion == "too_rich"
    assert found.failed
    # 0.45 to 0.20 in 150 L: mass balance asks for 150 (1 - 0.2 / 0.45) = 83 L.
    assert found.carrier.exchange.low < 83.3 < found.carrier.exchange.high + 2
    assert found.carrier.add == pytest.approx(150 * (found.knowledge.level.middle / 0.2 - 1), rel=1e-9)
    assert "First look at the mark" in said(found)
    assert "stop contain" in said(found)


def test_work_since_the_last_reading_is_read_before_anything_is_added():
    found = suggested([0.15, 0.15, 0.14, 0.15, 0.14], [topped_up(4, 40.0)])

    assert found.suggestion == "read_again"
    assert found.powder is None
    assert "Add nothing yet" in dose_headline(found)
    assert "bath topped up at" in said(found)


def test_a_changed_bath_without_a_reading_is_read_first():
    changed = made_event("bath_changed", START + SHIFT * 4 + timedelta(hours=1))

    found = suggested([0.15, 0.15, 0.14, 0.15, 0.14], [changed])

    assert found.suggestion == "read_again"


def test_a_sudden_fall_is_sampled_again_before_it_is_fed():
    found = suggested([0.2, 0.21, 0.2, 0.2, 0.19, 0.2, 0.05])

    assert found.unlike
    assert found.suggestion == "read_again"
    assert "Look first at: the agitator" in said(found)


def test_an_old_reading_is_said_to_be_old_and_its_amount_is_kept():
    found = suggested([0.15, 0.15, 0.14, 0.15, 0.14], after=timedelta(days=4))

    assert found.old == timedelta(days=4)
    assert dose_headline(found).startswith("Read the bath first, the last reading is 4 days old. By that reading: add ")


def test_evaporation_is_named_and_its_remedy_is_carrier():
    found = suggested([0.20, 0.21, 0.21, 0.22, 0.22, 0.23, 0.23, 0.24, 0.24, 0.25, 0.26, 0.26, 0.27, 0.27, 0.28])

    assert found.knowledge.loss.high < 0
    assert "The level rises" in said(found)
    assert "Fill up with carrier alone" in said(found)


def test_after_a_dose_the_bath_is_agitated_settled_and_read_again():
    text = said(suggested([0.15, 0.15, 0.14, 0.15, 0.14]))

    assert "agitate" in text
    assert "settle for its full time" in text
    assert "Weigh powder without raising dust and wear a mask." in text
    assert "responsible Level 3 decide" in text
    assert "not confirmed for this site" in text


# -- what was written down ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("amount", "unit", "why"),
    [
        (math.nan, "", ""),
        (40.0, "", "an amount without a unit is no weight"),
        (2.0, "scoops", "2 scoops is no weight"),
        (1.5, "L", "1.5 L is no weight"),
        (-5.0, "g", "-5 g is no weight"),
        (40.0, "kg", "40 kg is more than the bath can have taken"),
    ],
)
def test_a_top_up_without_a_weight_is_counted_and_teaches_nothing(amount, unit, why):
    values, _ = cycle(2, 0.0)

    found = suggested(values, [topped_up(4, amount, unit), topped_up(9, amount, unit)])

    assert (found.written.weighed, found.written.unweighed, found.knowledge.n_doses) == (0, 2, 0)
    assert "2 top-ups written down without a weight" in said(found)
    assert why in said(found)


def test_carrier_that_was_measured_dilutes_the_bath_it_went_into():
    added = made_event("carrier_added", START + SHIFT * 5 + timedelta(hours=1), amount=10.0, unit="US gal")
    values = [0.3, 0.31, 0.3, 0.29, 0.3, 0.3]

    with_carrier = suggested([*values, 0.23, 0.22, 0.23], [added])

    assert with_carrier.written.carrier == 1
    assert not with_carrier.unlike
    assert with_carrier.knowledge.unwritten_feeds < 0.5


def test_carrier_beyond_half_the_bath_is_no_addition_of_carrier():
    added = made_event("carrier_added", START + SHIFT * 3 + timedelta(hours=1), amount=1000.0, unit="L")

    found = suggested([0.2, 0.2, 0.2, 0.2, 0.2, 0.2], [added])

    assert found.knowledge.level.middle == pytest.approx(0.2, abs=0.01)


def test_a_level_is_never_shown_below_nothing():
    found = suggested([0.0])

    assert found.knowledge.level.low == 0.0
    assert "\N{MINUS SIGN}0.0" not in said(found).partition("Loss from")[0]


def test_a_new_bath_starts_its_level_anew_and_keeps_its_yield():
    values, events = cycle(8, 40.0)
    changed = made_event("bath_changed", START + SHIFT * (len(values) - 1) + timedelta(hours=1))

    found = suggested([*values, 0.35, 0.34], [*events, changed])

    assert found.knowledge.level.middle == pytest.approx(0.345, abs=0.01)
    assert found.learned
    assert not found.unlike


def test_work_on_another_line_is_no_work_on_this_bath():
    values, _ = cycle(2, 0.0)
    other = topped_up(4, 40.0)

    found = suggested(
        values, [type(other)(at=other.at, offset=0, row=2, line="Line B", kind=other.kind, amount=40.0, unit="g")]
    )

    assert (found.written.weighed, found.written.unweighed) == (0, 0)


def test_a_second_reading_soon_after_counts_as_less_than_a_shift():
    every = [START + timedelta(hours=h) for h in (0, 8, 9, 16, 24, 25, 32)]
    result = monitored([0.2, 0.19, 0.19, 0.18, 0.17, 0.17, 0.16], times=every)

    found = dose(result, 100.0, now=every[-1] + timedelta(hours=1))

    assert found.knowledge.loss.low < 0.05 < found.knowledge.loss.high + 0.01  # 0.04 of 0.18 in 4 1/4 shifts


# -- refusals ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "says"),
    [
        (0.0, "target is 0"),
        (math.nan, "target is nan"),
        (0.05, "not inside the acceptance limits"),
        (0.4, "not inside"),
    ],
)
def test_a_target_outside_the_limits_is_refused(target, says):
    with pytest.raises(InputError, match=says):
        suggested([0.2, 0.2], target=target)


@pytest.mark.parametrize("volume", [0.0, -1.0, 0.12, 120_000.0, math.inf, math.nan])
def test_a_volume_that_cannot_be_is_refused(volume):
    with pytest.raises(InputError, match="volume is"):
        suggested([0.2, 0.2], volume_l=volume)


def test_a_bath_without_a_number_is_refused():
    with pytest.raises(InputError, match="no reading that is a number"):
        suggested([math.nan, math.nan], words=["not run", "not run"])


def test_a_bath_of_censored_readings_is_refused():
    with pytest.raises(InputError, match="every reading is censored"):
        suggested([0.05, 0.05], bounds=[-1, -1])


def test_the_bath_is_found_or_the_log_s_baths_are_named():
    keys = [KEY, StreamKey("Line B", "bath_concentration", "tank"), StreamKey("Line A", "uva_irradiance", "lamp 1")]
    checks = {"bath_concentration": BATH, "uva_irradiance": made_check(unit="uW/cm2")}

    assert bath_named(keys[:1] + keys[2:], checks, None, None) == KEY
    assert bath_named(keys, checks, "Line B", None).line == "Line B"
    with pytest.raises(InputError, match=r"more than one bath fits.*Line A.*Line B"):
        bath_named(keys, checks, None, None)
    with pytest.raises(InputError, match=r"no readings of a bath.*the log has: Line A"):
        bath_named(keys, checks, "Line C", None)
    with pytest.raises(InputError, match="the log has: none"):
        bath_named(keys[2:], checks, None, None)
