"""The demo line's store: its two years taken in, and what its people decided and wrote down, all invented.

The site takes its store into use on the evening of the last day. Its people bring in two years of logs, confirm the
limits, write up two failed checks, correct what was written in the wrong unit, and sign a baseline off.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from spc.baseline_book import propose, take_step
from spc.catalogue.check import Catalogue
from spc.catalogue.load import load_catalogue
from spc.containment import ExposureWindow, exposure_windows
from spc.demo.history import FIRST_DAY, LAST_DAY, DemoFiles
from spc.demo.plan import ZONE, A, B
from spc.errors import InputError, StoreError
from spc.failure_book import failure_book, write_step
from spc.failures import FailureStep, StepKind
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from spc.results import StreamResult
from spc.run_start import Circuit, KnownDefectPart, NotchedShim, RingHoles, SetupSample, Technique
from spc.schedule.operation import line_operation
from spc.schedule.site_calendar import load_calendar
from spc.store.decided import Decided
from spc.store.entries import Calibration, Correction, Instrument, LimitDecision, Note, Reaction, Said
from spc.store.files import import_events, import_log
from spc.store.limits import decisions_of
from spc.store.readback import identity_of
from spc.store.store import Store
from spc.times import from_microseconds, to_microseconds

STORE_NAME = "demo-store.db"
SITE = ZoneInfo(ZONE)
LEVEL_3, ENGINEER, LEAD = "L3", "Q1", "T2"
"""Codes of the site's people."""

LAMP_1, BATH = StreamKey(A, "uva_irradiance", "lamp 1"), StreamKey(A, "bath_concentration", "tank")
AMMETER, CURTAIN = StreamKey(A, "ammeter", "head"), StreamKey(B, "ambient_light", "booth")
SIGNED_KEY = StreamKey(A, "bath_temperature", "tank")
WRITTEN_IN_MILLIWATTS = 100.0
"""Readings of lamp 1 below this (uW/cm2) were written in mW/cm2: a lamp in use reads thousands."""


def local(day: date, hour: int = 0, minutes: int = 0) -> datetime:
    """Return a moment of the site."""
    return datetime.combine(day, time(hour), SITE) + timedelta(minutes=minutes)


TAKEN_INTO_USE = local(LAST_DAY, 20)


@dataclass(slots=True)
class Clock:
    """The evening on which the store is taken into use, a minute a step."""

    at: datetime = TAKEN_INTO_USE

    def next(self) -> datetime:
        """Return the time, and move on."""
        self.at += timedelta(minutes=1)
        return self.at


def keep(files: DemoFiles) -> Path:
    """Make the demo line's store beside its files, anew if an earlier demo left one; return its path.

    Raises:
        InputError: a file of its name is there and is no demo's.
    """
    path = files.log.parent / STORE_NAME
    _take_away(path, files)
    catalogue, clock = load_catalogue(files.catalogue), Clock()
    with Store.open(path) as store:
        import_log(store, files.log, catalogue, zone=SITE, dates=None, who=ENGINEER, now=clock.next())
        import_events(store, files.events, catalogue, zone=SITE, dates=None, who=ENGINEER, now=clock.next())
        store.append(*_limits(catalogue), who=LEVEL_3, now=clock.next())
        store.append(*_instruments(), *_calibrations(), who=ENGINEER, now=clock.next())
        store.append(*_samples(), who=LEAD, now=clock.next())
        streams = store.streams([LAMP_1, BATH, AMMETER, CURTAIN, SIGNED_KEY])
        store.append(*_corrections(streams[LAMP_1]), who=ENGINEER, now=clock.next())
        _write_up(store, files, catalogue, streams, clock)
        _sign(store, catalogue, streams[SIGNED_KEY], clock)
        result = _monitored(store, catalogue, streams[AMMETER])
        store.append(*_reactions(result), who=ENGINEER, now=clock.next())
    return path


def _take_away(path: Path, files: DemoFiles) -> None:
    if not path.exists():
        return
    try:
        with Store.open(path, must_exist=True) as store:
            named = {entry.subject for entry in store.since(0) if entry.kind == "file"}
    except StoreError:
        named = {""}
    if named - {str(files.log.resolve()), str(files.events.resolve())}:
        raise InputError(f"{path} is there already and is not the demo's; name another folder")
    for each in (path, *(path.with_name(f"{path.name}{end}") for end in ("-wal", "-shm"))):
        each.unlink(missing_ok=True)


def _limits(catalogue: Catalogue) -> Iterator[LimitDecision]:
    """Yield what the catalogue confirms, from the first day on, and how the limit of the booth's light came down."""
    for each in decisions_of(catalogue, [], valid_from=local(FIRST_DAY), confirmed_by=LEVEL_3):
        if each.check != CURTAIN.check:
            yield each
            continue
        earlier = replace(each.acceptance, revision="B")
        yield replace(each, acceptance=earlier, why="limits as they stood when the records begin")
        later = local(date(2026, 1, 7))
        yield replace(each, valid_from=later, why="revision C of the written procedure, same limit")


def _instruments() -> Iterator[Instrument]:
    for name, measures, days in (
        ("rad-1", "uva_irradiance", 182.0),
        ("rad-2", "uva_irradiance", 182.0),
        ("lux-1", "ambient_light", 182.0),
        ("lux-2", "ambient_light", 182.0),
        ("shunt-1", "ammeter", 365.0),
        ("gauss-1", "residual_field", 182.0),
        ("gauss-2", "residual_field", 182.0),
        ("therm-1", "bath_temperature", 365.0),
        ("therm-2", "bath_temperature", 365.0),
    ):
        yield Instrument(name, measures, calibrated_every_days=days)


def _calibrations() -> Iterator[Calibration]:
    for instrument in ("rad-1", "rad-2", "lux-1", "lux-2", "gauss-1", "gauss-2"):
        for number, day in enumerate((date(2025, 2, 3), date(2025, 8, 4), date(2026, 2, 2), date(2026, 8, 3)), start=1):
            if (instrument, number) == ("rad-1", 3):
                yield Calibration(
                    instrument, local(day, 7), "out of tolerance", -12.0, 0.0, "%", certificate="rad-1/3", by=ENGINEER
                )
            else:
                yield Calibration(
                    instrument, local(day, 7), "in tolerance", certificate=f"{instrument}/{number}", by=ENGINEER
                )
    for instrument in ("shunt-1", "therm-1", "therm-2"):
        for day in (date(2025, 1, 13), date(2026, 1, 14)):
            yield Calibration(instrument, local(day, 7), "in tolerance", by=ENGINEER)


def _samples() -> Iterator[SetupSample]:
    """Yield a set-up sample each week of the last quarter: one was weak, and was made again."""
    along = Technique("multidirectional", (Circuit("head", 1500.0), Circuit("coil", 800.0)), continuous=True)
    for week in range(12):
        at = local(date(2026, 8, 31) + timedelta(weeks=week), 6, 40)
        sample = SetupSample(at, A, "shaft with flange", along, NotchedShim("notched shim 2", "flange", "shown"), LEAD)
        if week == 6:
            weak = replace(sample, reference=NotchedShim("notched shim 2", "flange", "partly"))
            yield replace(weak, note="bath not stirred long enough after the weekend")
            sample = replace(sample, at=at + timedelta(minutes=50), note="made again after stirring")
        if week % 3 == 1:
            sample = replace(sample, reference=RingHoles("ring 1", 1500.0, 7, 6))
        if week % 3 == 2:
            sample = replace(sample, part_shape="gear", reference=KnownDefectPart("gear 3", 4, 4))
        yield sample


def _corrections(readings: Readings) -> Iterator[Correction]:
    """Yield what should have been written where milliwatts went into the column of microwatts."""
    value = readings.value
    for place in (i for i in range(len(readings)) if value[i] < WRITTEN_IN_MILLIWATTS):
        said = Said(
            taken_at=from_microseconds(int(readings.taken_at[place])),
            value=round(float(value[place]) * 1000.0, 1),
            instrument=str(readings.instrument[place]),
            technician=str(readings.technician[place]),
            shift=str(readings.shift[place]),
            note=str(readings.note[place]),
            offset=int(readings.offset[place]),
        )
        why = "written in mW/cm2; the paper sheet and the readings around it agree"
        yield Correction(readings.key, identity_of(readings, place), 0, said, why)


def _monitored(store: Store, catalogue: Catalogue, readings: Readings) -> StreamResult:
    check = Decided.of(store).check_of(readings, catalogue.checks[readings.key.check])
    return monitor_stream(readings, store.events(), check)


STEPS: tuple[tuple[StepKind, str], ...] = (
    ("told", "Level 3 and the customers of the lots named, by telephone and in writing"),
    ("held", "line stopped; all parts since the last good check set aside and marked"),
    ("found", "{cause}; all parts set aside were examined again, no indication had been missed"),
    ("corrected", "{cure}; the check passed and the set-up sample showed"),
    ("decided", "Level 3 and customer: the repeated examination counts"),
    ("closed", "record complete"),
)
FAILED = {
    BATH: ("the bath had not been fed for ten days", "bath fed and stirred, feeding put on the shift's list", 6),
    CURTAIN: ("the curtain of the booth was torn", "curtain replaced", 3),
}
"""Of each stream whose latest failed check is written up: cause, cure, and how many of the steps are done."""


def _write_up(
    store: Store, files: DemoFiles, catalogue: Catalogue, streams: Mapping[StreamKey, Readings], clock: Clock
) -> None:
    for key, (cause, cure, done) in FAILED.items():
        window = _last_window(store, files, catalogue, streams[key])
        for kind, words in STEPS[:done]:
            book = failure_book(store, (window,))
            by = LEVEL_3 if kind in ("decided", "closed") else ENGINEER
            now = clock.next()
            step = FailureStep(kind, now, by, words.format(cause=cause, cure=cure))
            write_step(store, book, window, step, who=by, now=now)


def _last_window(store: Store, files: DemoFiles, catalogue: Catalogue, readings: Readings) -> ExposureWindow:
    """Return the exposure window of the last failed check of a stream that was a check of numbers."""
    streams, events = {readings.key: readings}, store.events()
    site = load_calendar(files.calendar, catalogue)
    operation, _ = line_operation(readings.key.line, streams, events, site, zone=SITE, now=TAKEN_INTO_USE)
    return exposure_windows(_monitored(store, catalogue, readings), streams, operation, now=TAKEN_INTO_USE)[-1]


def _sign(store: Store, catalogue: Catalogue, readings: Readings, clock: Clock) -> None:
    """Sign off the baseline of the current segment, as it has set the limits since it was complete."""
    result = _monitored(store, catalogue, readings)
    words = "steady, no work on the bath's heater in this time"
    made = propose(store, result, words=words, who=ENGINEER, now=clock.next())
    take_step(
        store, readings.key, made.version, "reviewed", words="nothing speaks against it", who=LEAD, now=clock.next()
    )
    holds = made.last + timedelta(minutes=1)
    take_step(
        store, readings.key, made.version, "signed off", words=words, valid_from=holds, who=LEVEL_3, now=clock.next()
    )


def _reactions(result: StreamResult) -> Iterator[Reaction | Note]:
    """Yield what was done about the first signal of the creeping ammeter."""
    begins = to_microseconds(local(date(2025, 9, 1)))
    signal = next(each for each in result.signals if each.taken_at >= begins)
    at = from_microseconds(signal.taken_at)
    yield Reaction(result.key, at, signal.rule, "acknowledged", LEAD)
    yield Reaction(result.key, at, signal.rule, "cause", ENGINEER, "the shunt's terminal had worked loose")
    yield Reaction(result.key, at, signal.rule, "action", ENGINEER, "terminal tightened, meter calibrated")
    yield Reaction(result.key, at, signal.rule, "closed", ENGINEER, "five readings within 2 % since")
    yield Note(result.key, at, "terminal checked with every calibration from now on", ENGINEER, signal.row)
