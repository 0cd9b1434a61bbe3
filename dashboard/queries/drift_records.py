"""What people wrote down about a stream, out of the store: notes, and what was done about its signals."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import Any, TypeVar

from dashboard.queries.drift_words import local_text
from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.stream import window_of
from dashboard.queries.words import view_of
from dashboard.urls import QUESTIONS, StreamView
from dashboard.views.choices import Choice, Step
from dashboard.views.drift import NoteRow
from spc.figures.notes import NoteMark
from spc.formats import label
from spc.results import StreamResult
from spc.screening import Question
from spc.shown import conversion
from spc.signals import subject
from spc.times import to_microseconds
from spc.wording import time_text, with_unit

R = TypeVar("R")


class RoomRecords:
    """What people wrote down about one stream."""

    def __init__(self, known: Known, memory: Remembered, view: StreamView, result: StreamResult) -> None:
        self.known, self.memory, self.view, self.result = known, memory, view, result
        self.zone: tzinfo = known.zone

    def records(self, kind: type[R]) -> tuple[Any, ...]:
        """Return the entries of a kind about this stream, in the order written; none where there is no store."""
        store = self.known.store
        if store is None:
            return ()
        key = self.result.key
        written = self.known.snapshot.written

        def ask() -> tuple[Any, ...]:
            return tuple(entry for entry in store.records(kind, str(key)) if entry.record.key == key)  # type: ignore[attr-defined]  # every kind asked for here is of a stream

        found = self.memory.once((kind.__name__, key), (written, store), ask)
        return self._shown(found) if kind.__name__ == "Baseline" and self.result.check.kept_in else found

    def _shown(self, entries: tuple[Any, ...]) -> tuple[Any, ...]:
        """Return baselines with their levels in the unit that the stream is shown in."""
        check = self.result.check
        by = conversion(check.kept_in, check.unit)
        return tuple(
            replace(
                entry,
                record=replace(
                    entry.record,
                    centre_line=by.value(entry.record.centre_line),
                    sigma=by.difference(entry.record.sigma),
                    lower=by.value(entry.record.lower),
                    upper=by.value(entry.record.upper),
                ),
            )
            for entry in entries
        )

    def written(self) -> int:
        """Return how much people wrote down about this stream."""
        if self.known.store is None:
            return 0
        from spc.store.entries import Answer, Baseline, Correction, Note, Reaction

        return sum(len(self.records(kind)) for kind in (Note, Reaction, Baseline, Answer, Correction))

    def elsewhere(self, asked: Iterable[Question]) -> tuple[Choice, ...]:
        """Return the other streams that questions of the line are about, with how many each has and the way there."""
        many = Counter(key for question in asked for key in question.keys if key != self.result.key)
        return tuple(
            Choice(f"{subject(each)} ({many[each.key]})", replace(view_of(each.key), part=QUESTIONS).href)
            for each in self.known.standing().streams
            if each.key in many
        )

    def notes(self) -> tuple[NoteMark, ...]:
        """Return the notes beside the chart."""
        from spc.store.entries import Note

        return tuple(NoteMark(e.record.at, e.record.words, e.record.by) for e in self.records(Note))

    def note_rows(self) -> tuple[NoteRow, ...]:
        """Return the notes with the way to each, newest first."""
        from spc.store.entries import Note

        return tuple(
            NoteRow(
                href=self.near(e.record.at, e.record.row),
                at=time_text(e.record.at, self.zone),
                words=e.record.words,
                who=e.record.by,
                written=time_text(e.at, self.zone),
            )
            for e in reversed(self.records(Note))
        )

    def correction_rows(self) -> tuple[NoteRow, ...]:
        """Return what was corrected and why, in the unit it is kept in, with the way to each reading, newest first."""
        from spc.store.entries import Correction, said_text

        check, rows = self.result.check, []
        unit = label(check.kept_in) if check.kept_in else check.unit_label
        for e in reversed(self.records(Correction)):
            first, said = e.record.reading, e.record.said
            written = with_unit(said_text(first), "" if first.word else unit)
            now = with_unit(said_text(said), "" if said.word else unit) if said else ""
            stands = f"now {now}" if now else "taken out"
            rows.append(
                NoteRow(
                    href=self.near(first.taken_at),
                    at=time_text(first.taken_at, self.zone),
                    words=f"{written}, as first written; {stands}: {e.record.why}",
                    who=e.who,
                    written=time_text(e.at, self.zone),
                )
            )
        return tuple(rows)

    def life(self, first: int, last: int) -> tuple[Step, ...]:
        """Return what was written down about the signals between two moments, in microseconds."""
        from spc.store.entries import Reaction

        words = {"acknowledged": "seen", "cause": "cause", "action": "done", "closed": "closed"}
        return tuple(
            Step(words[e.record.step], e.record.words, e.record.by, time_text(e.at, self.zone))
            for e in self.records(Reaction)
            if first <= to_microseconds(e.record.signal_at) <= last
        )

    def near(self, at: datetime, row: int | None = None) -> str:
        """Return the address of the chart with a moment in view."""
        window, _ = window_of(self.result, self.view, self.zone)
        half = (window.last - window.first) / 2
        start, end = (local_text(each, self.zone) for each in (at - half, at + half))
        return self.view.moved(start=start, end=end, row=str(row or "")).href
