"""The record of a failed check: what was exposed, who was told, what was found, who closed it.

A record is opened on an exposure window and grows step by step; no step is ever changed or taken away.

    told       who was told: the responsible Level 3, the customer
    held       what was stopped and held: line, lots, parts, how many; or why nothing was
    found      what was found: the cause, the parts looked at again and what they showed
    corrected  what was done to the line
    retired    what was taken out of use for good; stands in place of a pass, as it will be checked no more
    decided    what the responsible Level 3 and the customer decided on the parts
    closed     by whom, once the check has passed again and told, held, found and decided are written down
    reopened   why, after it was closed

The tool keeps the record. It decides on no part and closes nothing by itself. That nonconforming output and what was
done about it are kept on record: ISO 9001:2015 clauses 8.7 and 10.2 (memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, get_args

from spc.containment import ExposureWindow
from spc.errors import InputError
from spc.records import StreamKey
from spc.wording import bounds_text, source_text

StepKind = Literal["told", "held", "found", "corrected", "retired", "decided", "closed", "reopened"]
FailureState = Literal["open", "contained", "decided", "closed"]
STEP_KINDS: tuple[StepKind, ...] = get_args(StepKind)
STEP_WORDS: Mapping[StepKind, str] = {
    "told": "Who was told",
    "held": "What was stopped and held",
    "found": "What was found",
    "corrected": "What was done to the line",
    "retired": "Taken out of use for good",
    "decided": "What the responsible Level 3 and the customer decided",
    "closed": "Record closed",
    "reopened": "Record opened again",
}
"""The steps as people read them."""

BEFORE_CLOSING: tuple[StepKind, ...] = ("told", "held", "found", "decided")
"""Steps that have to stand in a record before it can be closed, since it was last opened."""


@dataclass(frozen=True, slots=True)
class FailureStep:
    """One thing done about a failed check."""

    kind: StepKind
    at: datetime  # aware
    by: str  # who writes it
    words: str


@dataclass(frozen=True, slots=True)
class WrittenStep:
    """A step with the record it belongs to: what a store keeps."""

    key: StreamKey
    failed_at: datetime
    step: FailureStep


@dataclass(frozen=True, slots=True)
class FailureRecord:
    """A failed check and all that was done about it."""

    key: StreamKey
    failed_at: datetime  # with `key` what names the record
    failed: str  # what was read
    asked: str  # the acceptance limits it failed, with document and revision
    last_good: datetime | None
    passed_at: datetime | None  # when the check passed again
    lots: tuple[str, ...]
    parts: tuple[str, ...]
    opened_at: datetime
    opened_by: str
    steps: tuple[FailureStep, ...] = ()

    @property
    def state(self) -> FailureState:
        """How far the record is: open, contained (something is held), decided, closed."""
        kinds = {step.kind for step in self.since_opened}
        if self.steps and self.steps[-1].kind == "closed":
            return "closed"
        return "decided" if "decided" in kinds else "contained" if "held" in kinds else "open"

    @property
    def since_opened(self) -> tuple[FailureStep, ...]:
        """The steps since the record was opened, or last opened again."""
        start = max((place for place, step in enumerate(self.steps) if step.kind == "reopened"), default=-1)
        return self.steps[start + 1 :]

    @property
    def lacks(self) -> tuple[str, ...]:
        """What is still to be written down or done before the record can be closed, in order."""
        kinds = {step.kind for step in self.since_opened}
        wanted = tuple(_WANTED[kind] for kind in BEFORE_CLOSING if kind not in kinds)
        done = self.passed_at is not None or "retired" in kinds
        return wanted if done else (*wanted, "the check has to pass again")


_WANTED = {
    "told": "who was told",
    "held": "what was held, or why nothing was",
    "found": "what was found",
    "decided": "what the responsible Level 3 and the customer decided",
}


def open_record(window: ExposureWindow, *, at: datetime, by: str) -> FailureRecord:
    """Return a new record of the failed check that `window` stands for.

    Raises:
        InputError: nobody is named, or `at` has no zone or lies before the failure.
    """
    _refuse_time(at, window.failed_at, "the check failed")
    return FailureRecord(
        key=window.key,
        failed_at=window.failed_at,
        failed=window.failed,
        asked=asked_text(window),
        last_good=window.last_good,
        passed_at=window.passed_at,
        lots=window.lots,
        parts=window.parts,
        opened_at=at,
        opened_by=_named(by, "by", "who opens the record"),
    )


def asked_text(window: ExposureWindow) -> str:
    """Return the acceptance limits that a check failed, with document and revision."""
    acceptance = window.check.acceptance
    return ": ".join(filter(None, (bounds_text(acceptance, window.check), source_text(acceptance))))


def with_step(record: FailureRecord, step: FailureStep) -> FailureRecord:
    """Return the record with one step more.

    Raises:
        InputError: the step says nothing or names nobody, lies before the one before it, comes after the record was
            closed, or closes it while something is lacking.
    """
    if step.kind not in STEP_KINDS:
        raise InputError(f"there is no step {step.kind!r}; there is {', '.join(STEP_KINDS)}")
    by = _named(step.by, "by", "who writes this down")
    words = _named(step.words, "words", "what was done or found")
    before, what = (record.steps[-1].at, "the step before it") if record.steps else (record.opened_at, "it was opened")
    _refuse_time(step.at, before, what)
    if record.state == "closed" and step.kind != "reopened":
        raise InputError("the record is closed; open it again, with a reason, before anything is added")
    if record.state != "closed" and step.kind == "reopened":
        raise InputError("the record is not closed; nothing has to be opened again")
    if step.kind == "closed" and record.lacks:
        raise InputError(f"the record cannot be closed yet; still missing: {'; '.join(record.lacks)}")
    return replace(record, steps=(*record.steps, replace(step, by=by, words=words)))


def _named(text: str, field: str, wanted: str) -> str:
    if not text.strip():
        raise InputError(f"{field} is empty; write {wanted}")
    return text.strip()


def _refuse_time(at: datetime, earliest: datetime, what: str) -> None:
    if at.tzinfo is None:
        raise InputError(f"time {at.isoformat()} has no zone; give an aware time")
    if at < earliest:
        raise InputError(f"time {at.isoformat()} is before {what} ({earliest.isoformat()}); correct it")
