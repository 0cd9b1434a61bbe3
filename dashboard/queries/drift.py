"""What the drift room asks below its chart: baselines, other streams, splits, rule sets, questions, notes."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from dashboard.queries.drift_records import RoomRecords
from dashboard.queries.drift_settings import settings_of, settings_shown
from dashboard.queries.drift_words import (
    answer_id,
    beside_name,
    far_more,
    question_id,
    rows_named,
    tried_row,
)
from dashboard.queries.stream import window_of
from dashboard.queries.words import count
from dashboard.urls import BASELINE, LINE, QUESTIONS, READINGS, RULE_SETS, SIGNALS, SPLITS
from dashboard.views.choices import Choice, Settings, Step
from dashboard.views.drift import (
    Asked,
    BaselinePart,
    BaselineRow,
    GroupRow,
    LinePart,
    QuestionPart,
    RuleSetPart,
    SplitPart,
)
from spc.arrays import IntArray
from spc.baseline import BaselineReview, review_baseline
from spc.chart_fit import Fit, fits
from spc.errors import InputError
from spc.figures import Screen
from spc.figures.compared import Compared
from spc.figures.same_line import Beside, same_line_figure
from spc.figures.split import split_figure
from spc.other_charts import MEASURED, TITLES, OtherChart, other_chart, views_of
from spc.records import Bound
from spc.results import StreamResult, from_reset
from spc.rule_choice.in_view import rule_notes
from spc.rule_choice.tried import LEAD, HistoryTried, try_rules
from spc.screening import FALSE_RATE, Question, screen
from spc.signals import subject
from spc.splits import WAYS, Split, split, ways_of
from spc.stream_facts import baseline_facts
from spc.times import from_microseconds
from spc.wording import in_figures, level_text, time_text

R = TypeVar("R")

PROPOSED = "proposed"
SCREENED_AT_ONCE = 30_000
"""Readings of a line up to which the number of questions is told before anybody asks for them: a third of a second."""

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


class Room(RoomRecords):
    """One stream in depth, at one moment."""

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
        result, settings = self.result, settings_of(self.view)[0]
        return self.memory.once(
            ("chart", result.key, key, settings),
            (result.readings, result.segments),
            lambda: other_chart(result, key, settings),
        )

    def settings(self) -> Settings:
        """Return the numbers that the chart is drawn with."""
        return settings_shown(self.view, self.chart(), self.memory)

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
        asked = len(self.questions()) if self.part() == QUESTIONS or self._few_readings() else 0
        return tuple(
            Choice(
                f"{PART_WORDS[part]} ({asked})" if part == QUESTIONS and asked else PART_WORDS[part],
                replace(self.view, part=part).href,
                part == self.part(),
            )
            for part in has
        )

    def _few_readings(self) -> bool:
        """Return whether the line has so few readings that all of them are screened in a moment."""
        line = self.result.key.line
        n = sum(len(each.readings) for each in self.known.standing().streams if each.key.line == line)
        return n <= SCREENED_AT_ONCE

    def part(self) -> str:
        """Return the part that is asked for."""
        if self.view.part not in PART_WORDS or (
            not self.result.segments and self.view.part in (BASELINE, SPLITS, RULE_SETS)
        ):
            return SIGNALS
        return self.view.part

    # baselines

    def review(self) -> BaselineReview | None:
        """Return the review of the first readings of this segment, as they would be proposed; None where too few."""
        result, places = self.result, self.own_places()
        if not len(places):
            return None
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

    def own_places(self) -> IntArray:
        """Return the charted places of the readings that this segment itself has for a baseline."""
        segment = from_reset(self.result.segments) if self.result.segments else None
        if segment is None or segment.limits is None:
            return np.zeros(0, dtype=np.int64)
        return np.arange(segment.first, segment.first + segment.limits.n_baseline, dtype=np.int64)

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
        places = self.own_places()[list(proposal.indices)]
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
        streams = self.known.seen().streams
        return [each for each in streams if each.key.line == key.line and each.key != key and len(each.readings)]

    def _beside(self) -> list[StreamResult]:
        named = {beside_name(each.key): each for each in self._others()}
        chosen = [named[name] for name in self.view.beside if name in named]
        return chosen[:MOST_BESIDE]

    # splits

    def split(self) -> Split | None:
        """Return the readings in view, parted as the address asks; None where there is but one group."""
        streams = self.known.seen().streams
        ways = ways_of(self.result, streams)
        if not ways:
            return None
        by = self.view.by if self.view.by in ways else ways[0]
        window, _ = window_of(self.result, self.view, self.zone)
        return split(self.result, by, window.charted_places(self.result), streams)

    def splits(self) -> SplitPart:
        """Return the readings in view, parted one way, in words."""
        found, streams = self.split(), self.known.seen().streams
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
        if any(far_more(each) for each in history.tried):
            more = (
                " There are far more alarms here than stated: those hold for readings that do not follow one "
                "another, around a level that stays, with limits that are known."
            )
        return RuleSetPart(
            rows=tuple(tried_row(each, history.checks_per_year) for each in history.tried),
            history=(
                f"{count(history.readings)} judged readings, {count(history.quiet)} of them quiet: not in the {LEAD} "
                f"readings before a failed check, nor after a change that was told.{rate}{more}"
            ),
            notes=rule_notes(self.result),
        )

    # questions

    def questions(self, *, line_wide: bool = False) -> tuple[Question, ...]:
        """Return the questions about this stream, or about every stream of its line."""
        line = self.result.key.line
        streams = tuple(each for each in self.known.standing().streams if each.key.line == line)
        found = self.memory.once(("questions", line), streams, lambda: screen(streams, zone=self.zone))
        return tuple(question for question in found if line_wide or self.result.key in question.keys)

    def asked(self) -> QuestionPart:
        """Return the questions about this stream with their answers."""
        from spc.store.entries import Answer

        entries = self.records(Answer)
        return QuestionPart(
            tuple(
                Asked(
                    id=question_id(question),
                    sentence=question.sentence.removeprefix(f"{question.line}: "),
                    href=self.near(question.first, question.rows[0] if question.rows else None),
                    evidence=(
                        f"{rows_named(question.rows)} "
                        f"All questions together come without need at most once in {1 / FALSE_RATE:.0f} lines."
                    ),
                    answers=tuple(
                        Step("answer", e.record.words, e.record.by, time_text(e.at, self.zone))
                        for e in entries
                        if answer_id(e.record) == question_id(question)
                    ),
                )
                for question in self.questions()
            ),
            self.elsewhere(self.questions(line_wide=True)),
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
