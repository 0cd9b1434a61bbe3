"""What the drift room asks below its chart: baselines, other streams, splits, rule sets, questions, notes."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import Any, TypeVar

import numpy as np

from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.stream import window_of
from dashboard.queries.words import count
from dashboard.urls import BASELINE, LINE, QUESTIONS, READINGS, RULE_SETS, SIGNALS, SPLITS, StreamView
from dashboard.views.choices import Choice, Step
from dashboard.views.drift import (
    Asked,
    BaselinePart,
    BaselineRow,
    GroupRow,
    LinePart,
    NoteRow,
    QuestionPart,
    RuleSetPart,
    SplitPart,
    TriedRow,
)
from spc.baseline import BaselineReview, review_baseline
from spc.errors import InputError
from spc.figures import Screen
from spc.figures.compared import Compared
from spc.figures.notes import NoteMark
from spc.figures.same_line import Beside, same_line_figure
from spc.figures.split import split_figure
from spc.other_charts import MEASURED, TITLES, Fit, OtherChart, baseline_places, fits, other_chart, views_of
from spc.records import Bound, StreamKey
from spc.results import StreamResult
from spc.rules_in_view import rule_notes
from spc.rules_tried import EARLY_WARNING, LEAD, HistoryTried, RulesTried, try_rules
from spc.screening import FALSE_RATE, Question, screen
from spc.signals import subject
from spc.splits import WAYS, Split, split, ways_of
from spc.stream_facts import baseline_facts
from spc.times import from_microseconds, to_microseconds
from spc.wording import in_figures, level_text, time_text

R = TypeVar("R")

PROPOSED = "proposed"
ROWS_NAMED = 8
FEW_ALARMS = 5
MOST_BESIDE = 6
"""Streams on one time axis, beside the one of the page."""

SEED = 20260301
"""Of the simulated p values of a baseline's review: the same review is said the same way each time."""

PART_WORDS = {
    SIGNALS: "Signals",
    BASELINE: "Baseline",
    LINE: "Same line",
    SPLITS: "Splits",
    RULE_SETS: "Rule sets",
    QUESTIONS: "Questions",
    READINGS: "Readings and notes",
}


class Room:
    """One stream in depth, at one moment."""

    def __init__(self, known: Known, memory: Remembered, view: StreamView, result: StreamResult) -> None:
        self.known, self.memory, self.view, self.result = known, memory, view, result
        self.zone: tzinfo = known.zone

    # what people wrote down

    def records(self, kind: type[R]) -> tuple[Any, ...]:
        """Return the entries of a kind about this stream, in the order written; none where there is no store."""
        store = self.known.store
        if store is None:
            return ()
        key = self.result.key
        version = self.known.snapshot.version

        def ask() -> tuple[Any, ...]:
            return tuple(entry for entry in store.records(kind, str(key)) if entry.record.key == key)  # type: ignore[attr-defined]  # every kind asked for here is of a stream

        return self.memory.once((kind.__name__, key), (version, self.known.snapshot.scan), ask)

    def written(self) -> int:
        """Return how much people wrote down about this stream."""
        if self.known.store is None:
            return 0
        from spc.store.entries import Answer, Baseline, Correction, Note, Reaction

        return sum(len(self.records(kind)) for kind in (Note, Reaction, Baseline, Answer, Correction))

    def notes(self) -> tuple[NoteMark, ...]:
        """Return the notes beside the chart."""
        from spc.store.entries import Note

        return tuple(NoteMark(e.record.at, e.record.words, e.record.by) for e in self.records(Note))

    def note_rows(self) -> tuple[NoteRow, ...]:
        """Return the notes with the way to each, newest first."""
        from spc.store.entries import Note

        return tuple(
            NoteRow(
                href=self._near(e.record.at, e.record.row),
                at=time_text(e.record.at, self.zone),
                words=e.record.words,
                who=e.record.by,
                written=time_text(e.at, self.zone),
            )
            for e in reversed(self.records(Note))
        )

    def life(self, first: int, last: int) -> tuple[Step, ...]:
        """Return what was written down about the signals between two moments, in microseconds."""
        from spc.store.entries import Reaction

        words = {"acknowledged": "seen", "cause": "cause", "action": "done", "closed": "closed"}
        return tuple(
            Step(words[e.record.step], e.record.words, e.record.by, time_text(e.at, self.zone))
            for e in self.records(Reaction)
            if first <= to_microseconds(e.record.signal_at) <= last
        )

    def _near(self, at: datetime, row: int | None = None) -> str:
        """Return the address of the chart with a moment in view."""
        window, _ = window_of(self.result, self.view, self.zone)
        half = (window.last - window.first) / 2
        start, end = (_local(each, self.zone) for each in (at - half, at + half))
        return self.view.moved(start=start, end=end, row=str(row or "")).href

    # views of the same readings

    def chart(self) -> str:
        """Return the view that is asked for; the usual one where the stream has no such view."""
        views = views_of(self.result)
        return self.view.chart if self.view.chart in views else (views[0] if views else "")

    def other(self) -> OtherChart | None:
        """Return what another chart draws; None where the usual one is shown."""
        key = self.chart()
        if key in ("", "individuals", "verdicts"):
            return None
        result = self.result
        return self.memory.once(
            ("chart", result.key, key), (result.readings, result.segments), lambda: other_chart(result, key)
        )

    def fits(self) -> dict[str, Fit]:
        """Return whether each view suits the readings."""
        result = self.result
        return self.memory.once(("fits", result.key), (result.readings, result.segments), lambda: fits(result))

    def charts(self) -> tuple[Choice, ...]:
        """Return the views to choose from."""
        shown, said = self.chart(), self.fits()
        return tuple(
            Choice(
                words=TITLES[key],
                href=replace(self.view, chart="" if key in (MEASURED[0], "verdicts") else key).href,
                on=key == shown,
                note="suits these readings" if key in said and said[key].suits else "",
            )
            for key in views_of(self.result)
        )

    def parts(self) -> tuple[Choice, ...]:
        """Return the parts below the chart."""
        has = [SIGNALS, *([BASELINE] if self.result.segments else []), LINE]
        has += [SPLITS, RULE_SETS] if self.result.segments else []
        has += [QUESTIONS, READINGS]
        asked = len(self.questions())
        return tuple(
            Choice(
                f"{PART_WORDS[part]} ({asked})" if part == QUESTIONS and asked else PART_WORDS[part],
                replace(self.view, part=part).href,
                part == self.part(),
            )
            for part in has
        )

    def part(self) -> str:
        """Return the part that is asked for."""
        if self.view.part not in PART_WORDS or (
            not self.result.segments and self.view.part in (BASELINE, SPLITS, RULE_SETS)
        ):
            return SIGNALS
        return self.view.part

    # baselines

    def review(self) -> BaselineReview | None:
        """Return the review of the readings that set the limits now; None where they are too few."""
        if not self.result.segments or self.result.segments[-1].limits is None:
            return None
        result = self.result
        places = baseline_places(result)
        x = np.where(result.charted.bound[places] == Bound.EXACT, result.charted.x[places], np.nan)
        step = result.charted.resolution[places]
        step = step[np.isfinite(step)]

        def look() -> BaselineReview | None:
            try:
                generator = np.random.default_rng(SEED)
                return review_baseline(x, generator=generator, resolution=float(np.median(step)) if len(step) else None)
            except InputError:
                return None

        return self.memory.once(("review", result.key), (len(places), int(places[0]), result.readings), look)

    def baseline(self) -> BaselinePart:
        """Return the baseline in use, what speaks against it, and other versions."""
        review = self.review()
        return BaselinePart(
            facts=baseline_facts(self.result, self.zone),
            review=tuple(self._dated(proposal) for proposal in review.proposals) if review else (),
            concerns=tuple(f"{words[:1].upper()}{words[1:]}." for words in review.concerns) if review else (),
            followed=self._followed(review),
            versions=tuple(self._versions()),
            proposed=self._compare(PROPOSED, "Lay these limits over the chart") if self.current() else None,
        )

    def _dated(self, proposal: Any) -> str:
        places = baseline_places(self.result)[list(proposal.indices)]
        times = [time_text(from_microseconds(int(at)), self.zone) for at in self.result.charted.taken_at[places]]
        when = times[0] if len(times) == 1 else f"{times[0]} to {times[-1]}"
        return f"{when}: {proposal.sentence}"

    def _followed(self, review: BaselineReview | None) -> str:
        if review is None or not review.proposals or review.limits_if_followed is None:
            return ""
        check, limits = self.result.check, review.limits_if_followed
        return (
            f"Without them the limits would be {level_text(limits.lower, check)} to {level_text(limits.upper, check)}, "
            f"centre line {level_text(limits.centre_line, check)}. Leave out only what has a cause in writing."
        )

    def _versions(self) -> Iterator[BaselineRow]:
        from spc.store.baselines import in_use
        from spc.store.entries import Baseline

        entries = self.records(Baseline)
        used = in_use([entry.record for entry in entries], self.result.key)
        versions: dict[int, list[Any]] = {}
        for entry in entries:
            versions.setdefault(entry.record.version, []).append(entry)
        check = self.result.check
        for version, steps in sorted(versions.items(), reverse=True):
            last = steps[-1].record
            first, end = time_text(last.first, self.zone), time_text(last.last, self.zone)
            yield BaselineRow(
                version=str(version),
                state=last.step,
                readings=f"{last.n} readings, {first} to {end}",
                centre_line=level_text(last.centre_line, check),
                limits=f"{level_text(last.lower, check)} to {level_text(last.upper, check)}",
                steps=tuple(
                    Step(each.record.step, each.record.words, each.record.by or each.who, time_text(each.at, self.zone))
                    for each in steps
                ),
                compare=self._compare(str(version), f"Lay version {version} over the chart"),
                in_use=used is not None and used.version == version,
            )

    def _compare(self, name: str, words: str) -> Choice:
        on = name in self.view.against
        kept = tuple(each for each in self.view.against if each != name)
        return Choice(words, replace(self.view, against=kept if on else (*kept, name)[-2:]).href, on)

    def current(self) -> Any:
        """Return the current segment's own readings as a proposal; None until its baseline is complete."""
        from spc.store.baselines import proposal
        from spc.store.entries import Baseline

        return proposal(self.result, [entry.record for entry in self.records(Baseline)])

    def compared(self) -> tuple[Compared, ...]:
        """Return the baselines that the address lays over the chart."""
        from spc.store.entries import Baseline

        found = []
        for name in self.view.against[:2]:
            if name == PROPOSED:
                record = self.current()
            else:
                named = [e.record for e in self.records(Baseline) if str(e.record.version) == name]
                record = named[-1] if named else None
            if record is not None:
                words = "own readings" if name == PROPOSED else f"version {name}"
                found.append(Compared(words, record.lower, record.centre_line, record.upper, record.first, record.last))
        return tuple(found)

    # other streams of the line

    def line(self) -> LinePart:
        """Return the other streams of the line, those on the axis marked."""
        chosen = self._beside()
        choices = []
        for other in self._others():
            name = beside_name(other.key)
            on = other in chosen
            kept = tuple(beside_name(each.key) for each in chosen if each is not other)
            wanted = kept if on else (*kept, name)[-MOST_BESIDE:]
            choices.append(Choice(subject(other), replace(self.view, beside=wanted).href, on))
        return LinePart(tuple(choices), len(chosen))

    def _others(self) -> list[StreamResult]:
        key = self.result.key
        streams = self.known.standing().streams
        return [each for each in streams if each.key.line == key.line and each.key != key and len(each.readings)]

    def _beside(self) -> list[StreamResult]:
        named = {beside_name(each.key): each for each in self._others()}
        chosen = [named[name] for name in self.view.beside if name in named]
        return chosen[:MOST_BESIDE]

    # splits

    def split(self) -> Split | None:
        """Return the readings in view, parted as the address asks; None where there is but one group."""
        streams = self.known.standing().streams
        ways = ways_of(self.result, streams)
        if not ways:
            return None
        by = self.view.by if self.view.by in ways else ways[0]
        window, _ = window_of(self.result, self.view, self.zone)
        return split(self.result, by, window.charted_places(self.result), streams)

    def splits(self) -> SplitPart:
        """Return the readings in view, parted one way, in words."""
        found, streams = self.split(), self.known.standing().streams
        if found is None:
            return SplitPart(
                (), (), "", "All readings share one instrument, technician and shift, or none is written down."
            )
        check = self.result.check
        return SplitPart(
            ways=tuple(
                Choice(WAYS[by], replace(self.view, by=by).href, by == found.by) for by in ways_of(self.result, streams)
            ),
            groups=tuple(
                GroupRow(
                    group.name,
                    count(group.n),
                    level_text(group.median, check),
                    f"{level_text(group.low, check)} to {level_text(group.high, check)}",
                )
                for group in found.groups
            ),
            heading=WAYS[found.by],
            question=found.question,
        )

    # rule sets

    def tried(self) -> HistoryTried:
        """Return every rule set on the history of the stream."""
        result = self.result
        return self.memory.once(("tried", result.key), (result.readings, result.segments), lambda: try_rules(result))

    def rule_sets(self) -> RuleSetPart:
        """Return every rule set on the history of the stream, in words."""
        history = self.tried()
        rate, more = "", ""
        if history.checks_per_year is not None:
            a_year = in_figures(history.checks_per_year, 2)
            rate = f" Stated false alarms are for {a_year} checks a year, {history.rate_source}."
        if any(_far_more(each) for each in history.tried):
            more = (
                " There are far more alarms here than stated: those hold for readings that do not follow one "
                "another, around a level that stays, with limits that are known."
            )
        return RuleSetPart(
            rows=tuple(_tried_row(each, history.checks_per_year) for each in history.tried),
            history=(
                f"{count(history.readings)} judged readings, {count(history.quiet)} of them quiet: not in the {LEAD} "
                f"readings before a failed check, nor after a change that was told.{rate}{more}"
            ),
            notes=rule_notes(self.result),
        )

    # questions

    def questions(self) -> tuple[Question, ...]:
        """Return the questions about this stream."""
        line = self.result.key.line
        streams = tuple(each for each in self.known.standing().streams if each.key.line == line)
        found = self.memory.once(("questions", line), streams, lambda: screen(streams, zone=self.zone))
        return tuple(question for question in found if self.result.key in question.keys)

    def asked(self) -> QuestionPart:
        """Return the questions about this stream with their answers."""
        from spc.store.entries import Answer

        entries = self.records(Answer)
        return QuestionPart(
            tuple(
                Asked(
                    id=question_id(question),
                    sentence=question.sentence.removeprefix(f"{question.line}: "),
                    href=self._near(question.first, question.rows[0] if question.rows else None),
                    evidence=(
                        f"{_rows_named(question.rows)} "
                        f"All questions together come without need at most once in {1 / FALSE_RATE:.0f} lines."
                    ),
                    answers=tuple(
                        Step("answer", e.record.words, e.record.by, time_text(e.at, self.zone))
                        for e in entries
                        if answer_id(e.record) == question_id(question)
                    ),
                )
                for question in self.questions()
            )
        )

    # figures below the chart

    def has_figure(self) -> bool:
        """Return whether the part that is shown has a figure of its own."""
        return self.part() in (LINE, SPLITS)

    def part_figure(self, screen_: Screen) -> Any:
        """Return the figure of the part that is shown; None where it has none."""
        window, _ = window_of(self.result, self.view, self.zone)
        if self.part() == LINE:
            chosen = self._beside()
            if not chosen:
                return None
            streams = [Beside(subject(each), each) for each in (self.result, *chosen)]
            return same_line_figure(streams, zone=self.zone, window=window, screen=screen_)
        if self.part() == SPLITS:
            found = self.split()
            return None if found is None or not found.groups else split_figure(found, self.result.check, screen=screen_)
        return None


def _rows_named(rows: tuple[int, ...]) -> str:
    """Return the rows of a log as people name them."""
    more = " and more" if len(rows) > ROWS_NAMED else ""
    return f"{'Row' if len(rows) == 1 else 'Rows'} {', '.join(map(str, rows[:ROWS_NAMED]))}{more}."


def beside_name(key: StreamKey) -> str:
    """Return a stream of the same line as an address names it."""
    return f"{key.check}@{key.position}" if key.position else key.check


def question_id(question: Question) -> str:
    """Return what tells a question from the others of its stream."""
    return f"{question.kind} {to_microseconds(question.first)} {to_microseconds(question.last)}"


def answer_id(answer: Any) -> str:
    """Return which question an answer answers."""
    return f"{answer.kind} {to_microseconds(answer.first)} {to_microseconds(answer.last)}"


def _far_more(each: RulesTried) -> bool:
    """Return whether a set gave more than three times the alarms that are stated, beyond what chance does."""
    if each.alarms is None or each.alarms < FEW_ALARMS or each.alarms_per_1000 is None or not each.stated_per_1000:
        return False
    return each.alarms_per_1000 > 3 * each.stated_per_1000


def _tried_row(each: RulesTried, a_year: float | None) -> TriedRow:
    rate = ""
    if each.alarms_per_1000 is not None and a_year is not None:
        rate = f" ({in_figures(each.alarms_per_1000 * a_year / 1000, 2)} a year)"
    alarms = "not told by this measure" if each.alarms is None else f"{each.alarms}{rate}"
    lead = "" if each.median_lead is None else f"{each.median_lead:g} readings"
    if len(each.leads) > 1:
        lead = f"{lead} in the middle, {min(each.leads)} at least"
    stated = "not known exactly" if each.stated_per_year is None else f"{in_figures(each.stated_per_year, 2)} a year"
    if each.key == EARLY_WARNING and each.stated_per_year is not None:
        stated = f"{stated}, as it was set"
    return TriedRow(
        title=each.title,
        remark=each.remark,
        alarms=alarms,
        caught=f"{each.caught} of {each.stretches}" if each.stretches else "no failed check",
        lead=lead or "\N{EN DASH}",
        stated=stated,
    )


def _local(at: datetime, zone: tzinfo) -> str:
    return at.astimezone(zone).replace(tzinfo=None).isoformat(timespec="minutes")
