"""The site's calendar: what it says, and what it refuses."""

from datetime import UTC, date, timedelta
from pathlib import Path

import pytest

from spc.catalogue.load import starter
from spc.errors import CatalogueError
from spc.schedule.site_calendar import AROUND_THE_CLOCK, GRACE, load_calendar
from tests.schedule.made_site import DAY_SHIFTS, THREE_SHIFTS, VIENNA, calendar, local

EXAMPLE = Path(__file__).parents[2] / "datasets" / "site-calendar.toml"
SHIFT = '[[shift]]\nname = "A"\nstart = "06:00"\nend = "14:00"\ndays = ["mon"]\n'


@pytest.fixture
def load(tmp_path):
    def read(text: str):
        (tmp_path / "calendar.toml").write_text(text, encoding="utf-8")
        return load_calendar(tmp_path / "calendar.toml", starter())

    return read


def test_the_example_is_read():
    found = load_calendar(EXAMPLE, starter())

    assert [plan.name for plan in found.shifts] == ["A", "B"]
    assert found.grace == timedelta(minutes=30)
    assert any(closed.note == "plant closed" for closed in found.closed)


def test_shifts_follow_the_clock_of_the_site():
    planned = calendar(THREE_SHIFTS).planned("Line A", date(2025, 3, 28), date(2025, 3, 30), VIENNA)

    assert [(shift.name, shift.day.day) for shift, _ in planned] == [("A", 28), ("B", 28), ("C", 28), ("C", 30)]
    assert planned[0][0].start == local("2025-03-28T06:00")
    assert planned[3][0].stop == local("2025-03-31T06:00")


def test_a_night_shift_is_an_hour_shorter_when_the_clock_goes_forward():
    nights = {"shift": [{"name": "C", "start": "22:00", "end": "06:00", "days": ["sat"]}]}

    ((shift, _),) = calendar(nights).planned("Line A", date(2025, 3, 29), date(2025, 3, 29), VIENNA)

    assert shift.stop - shift.start == timedelta(hours=7)


def test_a_start_that_the_clock_leaves_out_is_where_it_jumps_by():
    nights = {"shift": [{"name": "C", "start": "02:30", "end": "06:00", "days": ["sun"]}]}

    ((shift, _),) = calendar(nights).planned("Line A", date(2025, 3, 30), date(2025, 3, 30), VIENNA)

    assert shift.start.astimezone(VIENNA).strftime("%H:%M") == "03:30"


def test_closed_and_extra_days():
    site = calendar(
        closed=[{"from": date(2025, 3, 3), "to": date(2025, 3, 4), "note": "overhaul", "lines": ["Line A"]}],
        extra=[{"on": date(2025, 3, 8), "shifts": ["A"]}, {"on": date(2025, 3, 4), "shifts": ["B"]}],
    )

    a = site.planned("Line A", date(2025, 3, 3), date(2025, 3, 9), VIENNA)
    b = site.planned("Line B", date(2025, 3, 3), date(2025, 3, 3), VIENNA)

    assert [why for _, why in a[:4]] == ["overhaul", "overhaul", "overhaul", None]  # shift B of the 4th works after all
    assert (a[-1][0].day, a[-1][0].name) == (date(2025, 3, 8), "A")
    assert [why for _, why in b] == [None, None]


def test_shifts_of_single_lines():
    site = calendar({"shift": [{**DAY_SHIFTS["shift"][0], "lines": ["Line B"]}]})

    assert site.planned("Line A", date(2025, 3, 3), date(2025, 3, 3), VIENNA) == ()
    assert len(site.planned("Line B", date(2025, 3, 3), date(2025, 3, 3), VIENNA)) == 1


def test_without_shifts_every_day_is_one():
    ((one, why),) = AROUND_THE_CLOCK.planned("Line A", date(2025, 3, 30), date(2025, 3, 30), VIENNA)

    assert why is None
    assert one.stop - one.start == timedelta(hours=23)
    assert one.start.tzinfo is UTC


def test_what_is_left_out_has_its_usual_value(load):
    assert load(SHIFT).grace == GRACE


REFUSED = [
    ("", "calendar.toml: shift: no shift is given"),
    ("[[shift]\n", "correct the TOML"),
    ("shift = 3\n", "shift: 3 is no list of tables"),
    ("hours = 3\n" + SHIFT, "unknown key 'hours'"),
    (SHIFT.replace('"mon"', '"monday"'), "shift[1].days: there is no weekday 'monday' here; did you mean 'mon'"),
    (SHIFT.replace('["mon"]', "[]"), "shift[1].days: no weekday is given"),
    (SHIFT.replace('"06:00"', '"6 am"'), "shift[1].start: '6 am' is no time of day"),
    (SHIFT.replace('end = "14:00"\n', ""), "shift[1].end: None is no time of day"),
    (SHIFT.replace('name = "A"\n', ""), "shift[1]: name is missing"),
    (SHIFT + SHIFT.replace("06:00", "13:00").replace('"14:00"', '"20:00"'), "shift[2]: 'A' and 'A' overlap"),
    ('grace = "soon"\n' + SHIFT, "grace: 'soon' is no time up to 12 h"),
    ('grace = "13 h"\n' + SHIFT, "grace: '13 h' is no time up to 12 h"),
    (SHIFT + '[[closed]]\nnote = "x"\n', "closed[1]: from is missing"),
    (SHIFT + '[[closed]]\nfrom = "2025-12-24"\n', "closed[1].from: '2025-12-24' is no date"),
    (SHIFT + "[[closed]]\nfrom = 0001-01-01\n", "closed[1].from: 0001-01-01 is outside the years 1900 to 2199"),
    (SHIFT + "[[closed]]\nfrom = 2025-12-24\nto = 2025-12-01\n", "closed[1].to: 2025-12-01 is before 2025-12-24"),
    (SHIFT + '[[extra]]\non = 2025-12-24\nshifts = ["X"]\n', "extra[1].shifts: there is no shift 'X'"),
    (SHIFT + "[[extra]]\non = 2025-12-24\n", "extra[1].shifts: no shift is given"),
    (
        SHIFT + '[[stream]]\nline = "L"\ncheck = "tmer"\nfrom = 2025-01-01\n',
        "stream[1].check: there is no check 'tmer'; did",
    ),
    (SHIFT + '[[stream]]\nline = "L"\ncheck = "timer"\n', "stream[1]: neither from nor to is given"),
    (
        SHIFT + 2 * '[[stream]]\nline = "L"\ncheck = "timer"\nfrom = 2025-01-01\n',
        "stream[2]: L · timer stands there twice",
    ),
    (
        SHIFT + '[[stream]]\nline = "L"\ncheck = "timer"\nfrom = 2025-02-01\nto = 2025-01-01\n',
        "stream[1].to: 2025-01-01 is before 2025-02-01",
    ),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_a_mistake_is_refused_with_key_value_and_remedy(load, text, says):
    with pytest.raises(CatalogueError) as refused:
        load(text)

    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_night_and_the_next_mornings_shift_may_not_overlap_either(load):
    night = SHIFT.replace('"A"', '"C"').replace('"06:00"', '"22:00"').replace('"14:00"', '"07:00"')
    day = SHIFT.replace('["mon"]', '["tue"]')

    with pytest.raises(CatalogueError, match="overlap"):
        load(day + night)


def test_shifts_of_different_lines_may_lie_at_one_time(load):
    assert len(load(SHIFT + 'lines = ["A"]\n' + SHIFT + 'lines = ["B"]\n').shifts) == 2


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(CatalogueError, match="cannot be read"):
        load_calendar(tmp_path / "none.toml", starter())
