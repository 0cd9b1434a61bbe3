"""What the page of one failed check asks, and what people write down about it."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, tzinfo
from importlib.util import find_spec
from itertools import chain
from threading import Lock
from typing import Any

from dashboard.queries.audited import Audited, audited
from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.stream import screen_of
from dashboard.queries.words import view_of
from dashboard.urls import FAILED, TRAIL, RecordView, WindowView, write_href
from dashboard.views.choices import Choice
from dashboard.views.record import StepForm, StepRow, WindowPage
from spc.accounts import Right
from spc.containment import ExposureWindow
from spc.errors import InputError
from spc.failure_book import failure_book, write_step
from spc.failures import BEFORE_CLOSING, STEP_WORDS, FailureRecord, FailureStep
from spc.records import StreamKey
from spc.report.window_pages import doubt, window_facts, window_name
from spc.wording import time_text

NO_STORE = (
    "This board shows a bare log, which keeps no such record. Start it on a store to have one: "
    "spc serve --store FILE --follow LOG."
)
STEPS: Mapping[str, str] = {
    "told": "Who was told",
    "held": "What was stopped and held, or why nothing was",
    "found": "What was found: the cause, parts looked at again",
    "corrected": "What was done to the line",
    "retired": "Taken out of use for good",
    "decided": "What the responsible Level 3 and the customer decided",
    "closed": "That it is closed, and why",
    "reopened": "That it is open again, and why",
}
"""The steps of a failed check as people choose them."""

DECISIONS = frozenset({"retired", "decided", "closed", "reopened"})
"""Steps that take the right to decide: they settle what becomes of parts, or stand in place of a pass."""

STATES: Mapping[str, tuple[str, str]] = {
    "": ("failed", "Nothing is written down yet"),
    "open": ("failed", "Written up; nothing is held yet"),
    "contained": ("learning", "Held; not decided yet"),
    "decided": ("learning", "Decided; not closed yet"),
    "closed": ("calm", "Closed"),
}
"""Shape and words of how far a record is; "" where there is none."""

LONGEST = 2000
"""Letters of what is written down in one step."""

_one_at_a_time = Lock()


class OvertakenError(InputError):
    """Somebody else wrote since the form was drawn what has to be read first."""


def right_of(step: str) -> Right:
    """Return the right that it takes to write a step down.

    Raises:
        InputError: there is no such step.
    """
    if step not in STEPS:
        raise InputError("Choose first what it is that you write down.")
    return Right.DECIDE if step in DECISIONS else Right.WRITE


def window_href(key: StreamKey, failed_at: datetime, zone: tzinfo) -> str:
    """Return the address of a failed check, exact to what the log tells of its time."""
    return WindowView(key.line, key.check, key.position, _at_text(failed_at, zone)).href


def _at_text(at: datetime, zone: tzinfo) -> str:
    local = at.astimezone(zone)
    return local.isoformat(timespec="auto" if local.second or local.microsecond else "minutes")


def state_words(record: FailureRecord | None) -> str:
    """Return how far the record of a failed check is, in words."""
    return STATES[record.state if record else ""][1]


def window_named(windows: Iterable[ExposureWindow], view: WindowView, zone: tzinfo) -> ExposureWindow | None:
    """Return the window that an address names, by its first failed check or by a later one in it; None if none is.

    An address without seconds, as they once were, names the first one of that minute.
    """
    key, at = _place(view, zone)
    if at is None:
        return None
    own = [each for each in windows if each.key == key]
    exact = (each for each in own if each.failed_at == at)
    inside = (each for each in own if each.failed_at <= at and (each.passed_at is None or at < each.passed_at))
    of_minute = (each for each in own if at == _minute(at) == _minute(each.failed_at))
    return next(chain(exact, of_minute, inside), None)


def _place(view: WindowView, zone: tzinfo) -> tuple[StreamKey, datetime | None]:
    key = StreamKey(view.line, view.check, view.position)
    try:
        at = datetime.fromisoformat(view.at.strip())
        at = at if at.tzinfo is not None else at.replace(tzinfo=zone)
        return key, at.astimezone(UTC)
    except (ValueError, OverflowError):
        return key, None


def _minute(at: datetime) -> datetime:
    return at.replace(second=0, microsecond=0)


# the page


def window_page(known: Known, memory: Remembered, view: WindowView) -> WindowPage:
    """Return the failed check that an address names."""
    found, zone = audited(known, memory), known.zone
    back = RecordView(FAILED).href
    window = window_named(found.shown, view, zone)
    if window is None:
        return _no_window(found, view, zone, back)
    record = found.book.records.get((window.key, window.failed_at))
    shape, words = STATES[record.state if record else ""]
    return WindowPage(
        found=True,
        title=f"Failed: {window_name(window)}, {time_text(window.failed_at, zone)}",
        notice="" if known.store is not None else NO_STORE,
        whose=window.key.line,
        back=back,
        state=shape,
        state_words=words,
        doubt=doubt(window, zone),
        facts=tuple(window_facts(window, zone)),
        obliges=window.obliges,
        steps=_steps(record, zone),
        lacks=record.lacks if record and record.state != "closed" else (),
        closed=record is not None and record.state == "closed",
        figure=_figure_words(window, zone),
        ways=tuple(_ways(window, zone, stored=known.store is not None)),
        files=tuple(_files(view)),
    )


def _files(view: WindowView) -> Iterator[tuple[str, str]]:
    """Yield the files that can be made here; a PDF takes a library of the report extra."""
    if find_spec("weasyprint") is not None:
        yield "Evidence as PDF", view.file_href("pdf")
    yield "Evidence as HTML", view.file_href("html")


def _no_window(found: Audited, view: WindowView, zone: tzinfo, back: str) -> WindowPage:
    key, at = _place(view, zone)
    own = [each for each in found.book.records.values() if each.key == key]
    exact = (each for each in own if each.failed_at == at)
    of_minute = (each for each in own if at is not None and at == _minute(at) == _minute(each.failed_at))
    written = next(chain(exact, of_minute), None)
    if written is None:
        return WindowPage(False, "No such failed check", "No check of this stream failed then.", back=back)
    check = found.audit.catalogue.checks.get(key.check)
    name = " ".join(filter(None, (check.title if check else key.check, key.position)))
    return WindowPage(
        found=True,
        title=f"{name}, {time_text(written.failed_at, zone)}",
        notice="The reading that failed was corrected since, so nothing is in doubt by it now. What was written stays.",
        whose=key.line,
        back=back,
        state="idle",
        state_words=f"{state_words(written)}; the reading was corrected",
        facts=(("Read", written.failed), ("Asked", written.asked)),
        steps=_steps(written, zone),
        closed=True,
    )


def _steps(record: FailureRecord | None, zone: tzinfo) -> tuple[StepRow, ...]:
    steps = record.steps if record is not None else ()
    return tuple(StepRow(time_text(step.at, zone), step.by, STEP_WORDS[step.kind], step.words) for step in steps)


def _figure_words(window: ExposureWindow, zone: tzinfo) -> str:
    passed = f"it passed again {time_text(window.passed_at, zone)}" if window.passed_at else "it has not passed since"
    return f"{doubt(window, zone).split(';')[0]}; {passed}. The table says the same."


def _ways(window: ExposureWindow, zone: tzinfo, *, stored: bool) -> Iterator[Choice]:
    yield Choice("The failed reading on its chart", view_of(window.key, row=str(window.failed_row)).href, False)
    if stored and window.open:
        yield Choice("Write the check down again", write_href(window.key), False)
    at = window.failed_at.astimezone(zone).isoformat(timespec="minutes")
    key = window.key
    if stored:
        trail = RecordView(TRAIL, key.line, key.check, key.position, at=at)
        yield Choice("Who changed this reading?", trail.href, False)


def window_figure(known: Known, memory: Remembered, view: WindowView, screen: Mapping[str, object]) -> Any:
    """Return the figure of a failed check: what is in doubt, and when the line ran; None if there is none such."""
    from spc.figures.ledger import exposure_course

    found = audited(known, memory)
    window = window_named(found.shown, view, known.zone)
    if window is None:
        return None
    kept = found.audit.ledger
    return exposure_course(
        window, kept.operations[window.key.line], known.zone, now=kept.now, screen=screen_of(dict(screen))
    )


def window_stamp(known: Known, memory: Remembered, view: WindowView) -> str:
    """Return a text that changes when what is known of a failed check does."""
    page = window_page(known, memory, view)
    return f"{view.href} {len(page.steps)} {hash(page)}"


# what people write down


def step_form(
    known: Known, memory: Remembered, view: WindowView, person: str, may: Callable[[Right], bool]
) -> StepForm | None:
    """Return what can be written down by whoever asks; None where there is nothing to write about.

    Args:
        known, memory: what the board knows.
        view: the failed check.
        person: who is signed in; "" where nobody is known by name.
        may: whether they may do something.
    """
    found = audited(known, memory)
    window = window_named(found.windows, view, known.zone)
    if window is None or known.store is None:
        return None
    record = found.book.records.get((window.key, window.failed_at))
    closed = record is not None and record.state == "closed"
    kinds = ["reopened"] if closed else [kind for kind in STEPS if kind != "reopened"]
    own = tuple((kind, STEPS[kind]) for kind in kinds if may(right_of(kind)))
    seen = len(record.steps) if record is not None else 0
    who = person or "You"
    if not own:
        need = Right.DECIDE if closed else Right.WRITE
        why = f"{who} may not {need.value} here. {'To open it again, ask' if closed else 'Ask'} a person who may."
        return StepForm((), "", False, seen, why_not=why)
    done = {step.kind for step in record.since_opened} if record is not None else set()
    allowed = [kind for kind, _ in own]
    chosen = next((kind for kind in (*BEFORE_CLOSING, "closed") if kind in allowed and kind not in done), allowed[0])
    says = f"Written down as {person}." if person else ""
    if len(own) < len(kinds):
        says = f"{says} Taking out of use, decisions and closing take the right to decide.".strip()
    return StepForm(own, chosen, not person, seen, says=says)


def steps_written(known: Known, memory: Remembered, view: WindowView) -> int:
    """Return how many steps are written about a failed check."""
    found = audited(known, memory)
    window = window_named(found.windows, view, known.zone)
    record = found.book.records.get((window.key, window.failed_at)) if window is not None else None
    return len(record.steps) if record is not None else 0


def overtaken(newer: Iterable[FailureStep], kind: str, who: str, zone: tzinfo) -> None:
    """Refuse a step that was decided on before others wrote: nobody closes over what they have not seen.

    Raises:
        OvertakenError: another person wrote since, and this step decides, or theirs closed or reopened the record.
    """
    others = [each for each in newer if each.by != who]
    if others and (kind in DECISIONS or any(each.kind in ("closed", "reopened") for each in others)):
        last = others[-1]
        raise OvertakenError(
            f"Since this page was drawn {last.by} wrote, {time_text(last.at, zone)}: "
            f'{STEP_WORDS[last.kind].lower()}, "{last.words}". All of it stands above now: read it, and keep your '
            "words again if they still hold."
        )


def write_window_step(
    known: Known, memory: Remembered, view: WindowView, kind: str, words: str, person: str, seen: int | None
) -> str:
    """Write a step of a failed check down; return what was kept.

    The same step tapped twice is kept once: what the same person wrote in the same words since the form was drawn is
    not written again.

    Args:
        known, memory: what the board knows.
        view: the failed check.
        kind: a key of `STEPS`.
        words: what was done, found or decided.
        person: who writes.
        seen: steps written when the form was drawn; None: as many as there are.

    Raises:
        InputError: something is missing or cannot follow what stands there, in words for the form.
        OvertakenError: somebody else wrote since, and it has to be read first.
        StoreError: the store refuses it.
    """
    store = known.store
    if store is None:
        raise InputError(NO_STORE)
    words, who = words.strip(), " ".join(person.split())
    right_of(kind)
    if not who:
        raise InputError("Write your name: what is written down carries the name of who wrote it.")
    if not words:
        raise InputError(f"Write in words: {_said(kind)}.")
    if len(words) > LONGEST:
        raise InputError(f"That is {len(words)} letters; {LONGEST} are kept in one step, so write two.")
    with _one_at_a_time:
        found = audited(known, memory)
        window = window_named(found.windows, view, known.zone)
        if window is None:
            raise InputError("No check of this stream failed then any more; the reading may have been corrected.")
        book = failure_book(store, found.windows)
        record = book.records.get((window.key, window.failed_at))
        steps = record.steps if record is not None else ()
        if any(
            (each.kind, each.words, each.by) == (kind, words, who)
            for each in steps[len(steps) if seen is None else seen :]
        ):
            return f"Kept once: {_said(kind).partition(',')[0]}, by {who}."
        overtaken(steps[len(steps) if seen is None else seen :], kind, who, known.zone)
        step = FailureStep(kind, known.now(), who, words)  # type: ignore[arg-type]  # a key of STEPS
        write_step(store, book, window, step, who=who, now=known.clock())
        known.source.poll()
    return f"Kept: {_said(kind).partition(',')[0]}, by {who}."


def _said(kind: str) -> str:
    """Return what a step says, inside a sentence: names keep their capitals."""
    return f"{STEPS[kind][:1].lower()}{STEPS[kind][1:]}"
