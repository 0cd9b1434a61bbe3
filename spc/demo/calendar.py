"""The calendar of the demo line's site, as a file: its two shifts, its holidays and its shutdowns."""

from collections.abc import Iterator
from datetime import date, timedelta

from spc.demo.working_days import SHIFT_STARTS, SHIFTS_END, holiday, shut_down, working

DAY = timedelta(days=1)
FIRST, LAST = date(2024, 11, 1), date(2030, 12, 31)
"""Days the file covers: the demo's two years, and as long as anybody lets it run on."""


def calendar_toml() -> str:
    """Return the site calendar as TOML."""
    parts = ["# When the demo line works. The site and its days are invented.\n"]
    starts = list(SHIFT_STARTS.items())
    ends = [*(start for _, start in starts[1:]), SHIFTS_END]
    for (name, start), end in zip(starts, ends, strict=True):
        days = 'days = ["mon", "tue", "wed", "thu", "fri"]'
        parts.append(f'[[shift]]\nname = "{name}"\nstart = "{start:%H:%M}"\nend = "{end:%H:%M}"\n{days}\n')
    parts += [f'[[closed]]\nfrom = {first}\nto = {last}\nnote = "{note}"\n' for first, last, note in _closed()]
    return "\n".join(parts)


def _closed() -> Iterator[tuple[date, date, str]]:
    """Yield the stretches of days without work that are not weekends."""
    day = FIRST
    while day <= LAST:
        if working(day) or not (shut_down(day) or holiday(day)):
            day += DAY
            continue
        first, note = day, "plant closed" if shut_down(day) else "holiday"
        while day <= LAST and ((shut_down(day) and note == "plant closed") or (holiday(day) and note == "holiday")):
            day += DAY
        yield first, day - DAY, note
