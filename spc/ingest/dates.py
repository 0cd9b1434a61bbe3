"""Times as logs write them, to microseconds in UTC: ISO 8601, or the form that the user names; never guessed."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, IntArray, frozen
from spc.errors import InputError, SetupError
from spc.ingest.table import Column
from spc.records import NO_OFFSET

Offsets = NDArray[np.int16]

LOCAL_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - a clock on the wall has no zone
EXAMPLE = "2025-03-04T06:10"
DAY = 86_400_000_000  # microseconds
MINUTE = 60_000_000
YEARS = range(1900, 2200)  # years that a check can be of
NO_DAY = -1_000_000  # in a year that no check can be of
LARGEST_OFFSET = 14 * 60  # minutes: no place on earth is farther from UTC

NAMES_YEAR = re.compile("%[YyGcxDF]")
HEAD = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}")
TAIL = re.compile(
    r"(?::(?P<second>[0-9]{2})(?:[.,](?P<fraction>[0-9]{1,6})0*)?)?"
    r" ?(?:(?P<utc>Z)|(?P<sign>[+\-\u2212])(?P<hours>[0-9]{2})(?::?(?P<minutes>[0-9]{2}))?)?",
    re.IGNORECASE,
)
BASIC = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})T([0-9]{2})([0-9]{2})([0-9]{2})?(?![0-9])(.*)", re.IGNORECASE)
ISO_LIKE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?![0-9])")
DATE = r"(?P<first>[0-9]{1,4})(?P<part>[./\-])(?P<second>[0-9]{1,2})(?P=part)(?P<third>[0-9]{4}|[0-9]{1,2})(?![0-9])"
DATE_LIKE = re.compile(rf"(?:[^\W\d_]+\.?,?\s+)?{DATE}")  # "Tue 4/3/25 6:10"
WRITTEN = re.compile(
    rf"{DATE}(?:(?:\s*,\s*|\s+|T)(?P<hour>[0-9]{{1,2}}):(?P<minute>[0-9]{{2}})"
    r"(?P<tail>[^\sAaPp]*(?:\s?[+\-\u2212][0-9:]+)?)(?:\s*(?P<half>[AaPp])\.?[Mm]\.?)?)?"
)
CLOCK = re.compile(r"[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?")
MONTH = re.compile(
    r"(?<![^\W\d_])(?:jan(?:uar)?y?|jänner|feb(?:ruar)?y?|mar(?:ch)?|märz?|apr(?:il)?|ma[iy]|jun[ei]?|jul[iy]?|"
    r"aug(?:ust)?|sept?(?:ember)?|o[ck]t(?:ober)?|nov(?:ember)?|de[cz](?:ember)?)(?![^\W\d_])"
)

NO_TIME_OF_DAY = f"a date without a time of day has no place among the readings of its day; write {EXAMPLE}"
NO_SUCH_TIME = f"there is no such date or time; write a real one as {EXAMPLE}"
NO_TIME = f"this is no date and time; write {EXAMPLE}"


@dataclass(frozen=True, slots=True)
class Times:
    """Times of n cells; where a cell is in `faults`, its other entries mean nothing."""

    microseconds: IntArray  # since 1970-01-01 UTC, shape (n,)
    offset: Offsets  # minutes east of UTC as written, or NO_OFFSET
    repeated: BoolArray  # read as the first pass of an hour that a clock change repeats
    short_year: BoolArray  # a two-digit year was completed
    faults: dict[int, str] = field(default_factory=dict)  # cell to reason
    needs_dates: int | None = None  # first cell whose date form has to be named by the user
    need_dates: tuple[int, ...] = ()  # all of them


def machine_zone() -> tzinfo:
    """Return the zone this machine is set to.

    Raises:
        SetupError: it cannot be found out.
    """
    from tzlocal import get_localzone

    try:
        return get_localzone()
    except Exception as error:  # whatever a machine's broken setting brings up
        raise SetupError(f"this machine's time zone is not known ({error}); name one with --zone") from None


class TimeReader:
    """Reads the time cells of one file.

    Args:
        zone: zone of times written without an offset.
        dates: None for ISO 8601 alone; "dmy" or "mdy" for day or month first, ISO 8601 beside it; or a strptime
            pattern, which then is the only form.

    Raises:
        InputError: `dates` is none of these, or a pattern that leaves date or time of day open.
    """

    def __init__(self, zone: tzinfo, dates: str | None = None) -> None:
        self.zone = zone
        self._dates = dates
        self._pattern = dates if dates not in (None, "dmy", "mdy") else None
        if self._pattern is not None:
            _check_pattern(self._pattern)

    def read(self, texts: Sequence[str]) -> Times:
        """Return the times of `texts`, cells of one column, in order."""
        n = len(texts)
        if n == 0:
            return Times(np.zeros(0, np.int64), np.zeros(0, np.int16), np.zeros(0, bool), np.zeros(0, bool))
        faults: dict[int, str] = {}
        needs: list[int] = []
        short_year = np.zeros(n, dtype=np.bool_)
        if set(map(len, texts)) == {16}:  # the usual form, which has nothing after the minute
            heads, tails = list(texts), [""] * n
        else:
            heads, tails = [text[:16] for text in texts], [text[16:] for text in texts]
        letters = _letters(heads)
        other = ~_like_iso(letters) if self._pattern is None else np.ones(n, dtype=np.bool_)
        known: dict[str, tuple[str, str | None, bool]] = {}
        for place in np.flatnonzero(other).tolist():
            text = texts[place]
            iso, fault, short_year[place] = known[text] if text in known else known.setdefault(text, self._as_iso(text))
            heads[place], tails[place] = iso[:16] or EXAMPLE, iso[16:]
            if fault is not None:
                faults[place] = fault
            elif not iso:
                needs.append(place)
        local, no_such = _head_microseconds(_letters(heads) if other.any() else letters)
        for place in np.flatnonzero(no_such).tolist():
            faults.setdefault(place, _why_no_time(texts[place]))
        offset = np.full(n, NO_OFFSET, dtype=np.int16)
        _add_tails(tails, local, offset, faults)
        utc, repeated, gap = _to_utc(local, offset, self.zone)
        for place in np.flatnonzero(gap).tolist():
            faults.setdefault(
                place,
                f"this time does not exist in {self.zone}: the clocks go forward over it; "
                "correct it, or write its offset from UTC",
            )
        return Times(utc, offset, repeated, short_year, faults, min(needs, default=None), tuple(needs))

    def read_alike(self, letters: NDArray[np.uint8]) -> Times | None:
        """Return the times of cells of one length, from 16 on, without a text for each; None if one is not ISO 8601.

        Args:
            letters: ASCII codes of the cells, shape (n, width).
        """
        n, width = letters.shape
        if self._pattern is not None or n == 0 or width < 16:
            return None
        heads = letters[:, :16].T.copy()
        if not _like_iso(heads).all():
            return None
        local, no_such = _head_microseconds(heads)
        if no_such.any():
            return None
        offset = np.full(n, NO_OFFSET, dtype=np.int16)
        if width > 16:
            ends = np.ascontiguousarray(letters[:, 16:]).view(f"S{width - 16}").ravel()
            distinct, code = np.unique(ends, return_inverse=True)
            read = [_tail(end.decode("ascii", "replace").rstrip()) for end in distinct.tolist()]
            if any(fault is not None for _, _, fault in read):
                return None
            local += np.array([extra for extra, _, _ in read], dtype=np.int64)[code]
            offset[:] = np.array([minutes for _, minutes, _ in read], dtype=np.int16)[code]
        utc, repeated, gap = _to_utc(local, offset, self.zone)
        return None if gap.any() else Times(utc, offset, repeated, np.zeros(n, dtype=np.bool_))

    def _as_iso(self, text: str) -> tuple[str, str | None, bool]:
        """Return a cell as ISO 8601 text, the fault if there is one, and whether its year had two digits.

        No text and no fault: a date in a form that the user has to name.
        """
        text = text.strip()
        if not text:
            return "", f"the time is missing; write {EXAMPLE}", False
        if self._pattern is not None:
            return self._by_pattern(text, self._pattern)
        if HEAD.match(text):
            return text, None, False
        basic = BASIC.fullmatch(text)
        if basic:
            year, month, day, hour, minute, second, rest = basic.groups()
            return f"{year}-{month}-{day}T{hour}:{minute}{':' + second if second else ''}{rest}", None, False
        if ISO_LIKE.match(text):
            return "", _why_no_time(text), False
        return self._by_order(text)

    def _by_pattern(self, text: str, pattern: str) -> tuple[str, str | None, bool]:
        try:
            moment = datetime.strptime(text, pattern)  # noqa: DTZ007 - the zone is put on with all the others
        except (ValueError, OverflowError):
            return "", f"this is no time of the form {pattern!r} that --dates names; write it in that form", False
        return moment.isoformat(), None, "%y" in pattern

    def _by_order(self, text: str) -> tuple[str, str | None, bool]:
        if self._dates is None:
            return "", _why_not_iso(text), False
        written = WRITTEN.fullmatch(text)
        if not written:
            return "", NO_TIME, False
        first, second, third = (int(written[name]) for name in ("first", "second", "third"))
        if len(written["first"]) > 2 or len(written["third"]) not in (2, 4):
            return "", f"this is no date of the form {self._dates!r} that --dates names; write {EXAMPLE}", False
        day, month = (first, second) if self._dates == "dmy" else (second, first)
        short = len(written["third"]) == 2
        year = _whole_year(third) if short else third
        if written["hour"] is None:
            return "", NO_TIME_OF_DAY if _is_date(year, month, day) else NO_SUCH_TIME, False
        hour = int(written["hour"])
        if written["half"]:
            if not 1 <= hour <= 12:
                return "", NO_SUCH_TIME, False
            hour = hour % 12 + 12 * (written["half"].lower() == "p")
        return f"{year:04}-{month:02}-{day:02}T{hour:02}:{written['minute']}{written['tail']}", None, short


def _add_tails(tails: Sequence[str], local: IntArray, offset: Offsets, faults: dict[int, str]) -> None:
    """Add the seconds in `tails` to `local`, and write their offsets from UTC into `offset`."""
    if not any(tails):
        return
    column = Column()
    column.extend(tails)
    codes, read = column.codes, [_tail(tail.rstrip()) for tail in column.texts]
    local += np.array([extra for extra, _, _ in read], dtype=np.int64)[codes]
    offset[:] = np.array([minutes for _, minutes, _ in read], dtype=np.int16)[codes]
    faulty = np.array([fault is not None for _, _, fault in read], dtype=np.bool_)[codes]
    for place in np.flatnonzero(faulty).tolist():
        faults.setdefault(place, read[codes[place]][2] or NO_TIME)


def _letters(heads: Sequence[str]) -> NDArray[np.uint8]:
    """Return the first 16 characters of each cell, shape (16, n): shorter ones filled up, what is not ASCII as "?"."""
    if set(map(len, heads)) != {16}:
        heads = [head.ljust(16) for head in heads]
    return np.frombuffer("".join(heads).encode("ascii", "replace"), dtype=np.uint8).reshape(-1, 16).T.copy()


def _like_iso(letters: NDArray[np.uint8]) -> BoolArray:
    """Return which cells have digits and signs where EXAMPLE has them, shape (n,)."""
    digits = letters[[0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15]] - 48  # below "0" wraps to above 9
    signs = (letters[4] == ord("-")) & (letters[7] == ord("-")) & (letters[13] == ord(":"))
    between = (letters[10] == ord("T")) | (letters[10] == ord(" "))
    return np.asarray((digits < 10).all(axis=0) & signs & between, dtype=np.bool_)


def _head_microseconds(letters: NDArray[np.uint8]) -> tuple[IntArray, BoolArray]:
    """Return microseconds from 1970-01-01 to each local time, and where there is no such time; letters as above."""
    digit = letters.astype(np.int32) - 48
    year = digit[0] * 1000 + digit[1] * 100 + digit[2] * 10 + digit[3]
    month, day, hour, minute = (digit[at] * 10 + digit[at + 1] for at in (5, 8, 11, 14))
    place = ((year - YEARS.start) * 12 + month - 1) * 31 + day - 1
    real = (year >= YEARS.start) & (year < YEARS.stop) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    days = _days()[np.where(real, place, 0)]
    real &= (days != NO_DAY) & (hour <= 23) & (minute <= 59)
    return np.where(real, days * DAY + (hour * 60 + minute).astype(np.int64) * MINUTE, 0), ~real


@lru_cache(maxsize=1)
def _days() -> IntArray:
    """Return the day, counted from 1970-01-01, of every (year, month, day) of YEARS, 31 days a month; else NO_DAY."""
    months = np.arange(len(YEARS) * 12 + 1) + np.datetime64(f"{YEARS.start}-01", "M")
    first = months.astype("datetime64[D]").astype(np.int64)
    day = np.arange(31)
    return frozen(np.where(day < np.diff(first)[:, None], first[:-1, None] + day, NO_DAY).ravel())


def _tail(tail: str) -> tuple[int, int, str | None]:
    """Return microseconds after the minute, offset in minutes or NO_OFFSET, and the fault if there is one."""
    found = TAIL.fullmatch(tail)
    if not found:
        return 0, NO_OFFSET, NO_TIME
    second = int(found["second"] or 0)
    if second > 59:
        return 0, NO_OFFSET, NO_SUCH_TIME
    extra = second * 1_000_000 + int((found["fraction"] or "").ljust(6, "0"))
    if found["utc"]:
        return extra, 0, None
    if not found["sign"]:
        return extra, NO_OFFSET, None
    hours, minutes = int(found["hours"]), int(found["minutes"] or 0)
    offset = hours * 60 + minutes
    if minutes > 59 or offset > LARGEST_OFFSET:
        return 0, NO_OFFSET, "no place has this offset from UTC; write one between -12:00 and +14:00"
    return extra, offset if found["sign"] == "+" else -offset, None


def _to_utc(local: IntArray, offset: Offsets, zone: tzinfo) -> tuple[IntArray, BoolArray, BoolArray]:
    """Return the times in UTC, where a repeated hour was read as its first pass, and where there is no such time."""
    shift = offset.astype(np.int64) * MINUTE
    repeated, gap = np.zeros(len(local), dtype=np.bool_), np.zeros(len(local), dtype=np.bool_)
    bare = offset == NO_OFFSET
    if bare.any():
        day = local // DAY
        first = int(day.min())
        by_day = np.zeros(int(day.max()) - first + 1)
        for present in np.flatnonzero(np.bincount(day[bare] - first)).tolist():
            by_day[present] = _offset_of_day(zone, first + present)
        whole = by_day[day - first]
        steady = bare & ~np.isnan(whole)
        shift[steady] = whole[steady].astype(np.int64)
        for place in np.flatnonzero(bare & np.isnan(whole)).tolist():
            moment = LOCAL_EPOCH + timedelta(microseconds=int(local[place]))
            before, after = _microseconds(zone, moment), _microseconds(zone, moment.replace(fold=1))
            shift[place] = before
            repeated[place], gap[place] = before > after, before < after
    return local - shift, repeated, gap


def _offset_of_day(zone: tzinfo, day: int) -> float:
    """Return the offset of a local day (counted from 1970-01-01) in microseconds; NaN if the clocks change on it."""
    start = LOCAL_EPOCH + timedelta(days=day)
    offset = _microseconds(zone, start)
    return float(offset) if offset == _microseconds(zone, start + timedelta(days=1)) else np.nan


def _microseconds(zone: tzinfo, local: datetime) -> int:
    return (zone.utcoffset(local) or timedelta(0)) // timedelta(microseconds=1)


def _why_no_time(text: str) -> str:
    """Return what is wrong with a cell that has the form of a time and is none."""
    text = text.strip()
    if re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return NO_TIME_OF_DAY if _is_date(*map(int, text.split("-"))) else NO_SUCH_TIME
    if re.match("[0-9-]{10}[T ]24:00", text):
        return "24:00 belongs to two days; write 00:00 of the next day"
    if HEAD.match(text) and int(text[:4]) not in YEARS:
        return f"no check was made in the year {text[:4]}; write the time as {EXAMPLE}"
    return NO_TIME if ISO_LIKE.match(text) and not HEAD.match(text) else NO_SUCH_TIME


def _why_not_iso(text: str) -> str | None:
    """Return what is wrong with a cell that is not ISO 8601; None for a date whose form has to be named."""
    date = DATE_LIKE.match(text)
    if date:
        orders = _orders(int(date["first"]), int(date["second"]), int(date["third"]))
        return None if any(_is_date(*order) for order in orders) else NO_SUCH_TIME
    rest = CLOCK.sub("", text.casefold())
    return None if MONTH.search(rest) and len(re.findall("[0-9]+", rest)) >= 2 else NO_TIME


def _orders(first: int, second: int, third: int) -> list[tuple[int, int, int]]:
    """Return (year, month, day) for each order in which people write dates."""
    return [
        (_whole_year(third), second, first),
        (_whole_year(third), first, second),
        (_whole_year(first), second, third),
    ]


def _whole_year(year: int) -> int:
    """Return a two-digit year in full, as strptime's %y does: 69 to 99 are of the last century (POSIX)."""
    if year >= 100:
        return year
    return year + (1900 if year >= 69 else 2000)


def _is_date(year: int, month: int, day: int) -> bool:
    try:
        datetime(year, month, day, tzinfo=UTC)
    except ValueError:
        return False
    return year in YEARS


def _check_pattern(pattern: str) -> None:
    """Raise InputError unless `pattern` says date, hour and, if it names a zone, its offset."""
    remedy = "give dmy, mdy or a strptime pattern with date and time of day, such as '%d.%m.%Y %H:%M'"
    if "%" not in pattern:
        raise InputError(f"--dates {pattern!r} is no date form; {remedy}")
    left_open = f"--dates {pattern!r} leaves the date, the time of day or the zone open; {remedy}"
    if not NAMES_YEAR.search(pattern.replace("%%", "")):
        raise InputError(left_open)
    moment = datetime(2027, 11, 23, 16, 0, tzinfo=UTC)
    try:
        back = datetime.strptime(moment.strftime(pattern), pattern)  # noqa: DTZ007 - compared below
    except (ValueError, OverflowError, re.error) as error:
        raise InputError(f"--dates {pattern!r} cannot be used ({error}); {remedy}") from None
    named_zone = "%Z" in pattern and "%z" not in pattern
    if back.replace(tzinfo=UTC) != moment or named_zone or (back.tzinfo is None and "%z" in pattern):
        raise InputError(left_open)
