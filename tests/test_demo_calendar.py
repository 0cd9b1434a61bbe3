"""The calendar of the demo line's site."""

from datetime import UTC, date, timedelta

from spc.catalogue.load import load_catalogue
from spc.demo.calendar import FIRST, calendar_toml
from spc.demo.working_days import working
from spc.schedule.site_calendar import load_calendar


def test_it_works_on_the_days_the_demo_line_does(tmp_path):
    path = tmp_path / "calendar.toml"
    path.write_text(calendar_toml(), encoding="utf-8")
    calendar = load_calendar(path, load_catalogue(None))
    last = FIRST + timedelta(days=3 * 366)
    planned = calendar.planned("Line A", FIRST, last, UTC)
    open_days = {shift.day for shift, closed in planned if closed is None}
    days = [FIRST + timedelta(days=i) for i in range((last - FIRST).days + 1)]

    assert open_days == {day for day in days if working(day)}
    assert date(2025, 12, 24) not in open_days
    assert [shift.name for shift, _ in planned[:2]] == ["A", "B"]
