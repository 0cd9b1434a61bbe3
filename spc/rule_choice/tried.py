"""Rule sets tried on the history of one stream: what each would have cost and caught on these very readings.

- A *failed stretch* is a failed check with the failed ones that follow it in its segment. It was caught when a rule
  hit at one of the `LEAD` charted readings before its first, in the same segment.
- *Quiet* are the judged readings that are neither in the lead of a failed stretch or after its start in the segment,
  nor between the start of a change that the early warning told and the end of its segment. A hit there asked for
  nothing. The early warning has no alarms of its own there by this meaning, so none are told.
- Hits at most `APART` readings from one another are one alarm: people are called once.

Looked back on: it compares sets on one history, which is short; the stated false alarms are what theory says of each.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spc.arl.cost import YEAR
from spc.arrays import BoolArray, FloatArray, IntArray
from spc.monitor import z_interval
from spc.results import Segment, StreamResult, since_reset
from spc.rule_choice.in_view import false_alarms_per_1000
from spc.rules import RULE_SETS, RuleSetting, run_rules
from spc.signals import segment_of

LEAD = 30
"""Charted readings before a failed check in which a hit counts as caught ahead."""

APART = 5
"""Hits no farther apart are one alarm."""

EARLY_WARNING = "early_warning"

WARNING_PER_1000 = 0.5
"""The early warning was set for about one false alarm in 2000 quiet readings; see `spc.early_warning`."""


@dataclass(frozen=True, slots=True)
class RulesTried:
    """What one rule set would have done on the history of a stream."""

    key: str
    title: str
    remark: str
    alarms: int | None  # in quiet stretches; None for the early warning, which says what is quiet
    alarms_per_1000: float | None  # of quiet readings; None where there are none
    stretches: int  # failed, with charted readings before them
    caught: int  # of these
    leads: tuple[int, ...]  # readings between the first hit and the first failed check of each that was caught
    stated_per_1000: float | None  # false alarms in control, by theory; None where nothing exact reaches it
    stated_per_year: float | None  # the same at the interval of this check

    @property
    def median_lead(self) -> float | None:
        """Readings by which the middle one of those caught was ahead; None where none was."""
        return float(np.median(self.leads)) if self.leads else None


@dataclass(frozen=True, slots=True)
class HistoryTried:
    """All rule sets on one history."""

    readings: int  # judged: in a segment with limits, after its baseline
    quiet: int  # of these
    checks_per_year: float | None
    rate_source: str
    tried: tuple[RulesTried, ...]


def try_rules(result: StreamResult, extra: Sequence[tuple[str, str, tuple[RuleSetting, ...]]] = ()) -> HistoryTried:
    """Return what the early warning, the catalogue's rules and every published set would have done on a stream.

    Args:
        result: a stream with a chart.
        extra: more sets to try, each with key, title and rules.
    """
    judged, stretches = _judged(result), _failed_stretches(result)
    quiet = judged & ~_restless(result, stretches)
    a_year, source = _rate(result)
    low, high, boundaries = _in_sigmas(result)

    def row(key: str, title: str, remark: str, hits: BoolArray, per_1000: float | None) -> RulesTried:
        alarms = None if key == EARLY_WARNING else _alarms(np.flatnonzero(hits & quiet))
        leads = tuple(lead for lead in (_lead(hits & judged, each, result) for each in stretches) if lead is not None)
        n_quiet = int(quiet.sum())
        return RulesTried(
            key=key,
            title=title,
            remark=remark,
            alarms=alarms,
            alarms_per_1000=1000 * alarms / n_quiet if n_quiet and alarms is not None else None,
            stretches=len(stretches),
            caught=len(leads),
            leads=leads,
            stated_per_1000=per_1000,
            stated_per_year=None if per_1000 is None or a_year is None else per_1000 * a_year / 1000,
        )

    tried = []
    if result.check.early_warning:
        warned = np.zeros(len(judged), dtype=np.bool_)
        warned[[signal.position for signal in result.signals if signal.chart == "early_warning"]] = True
        words = "A model of the stream that learns its scatter; it warns on this board."
        tried.append(row(EARLY_WARNING, "Early warning", words, warned, WARNING_PER_1000))
    sets = [(each.key, each.title, each.remark, each.settings) for each in RULE_SETS.values()]
    if result.check.rules and result.check.rules not in [settings for *_, settings in sets]:
        sets.insert(0, ("catalogue", "This check's own", "As the catalogue gives them.", result.check.rules))
    sets += [(key, title, "", settings) for key, title, settings in extra]
    for key, title, remark, settings in sets:
        found = run_rules(low, high, settings, boundaries=boundaries)
        hits = np.zeros(len(judged), dtype=np.bool_)
        hits[found.index] = True
        tried.append(row(key, title, remark, hits, false_alarms_per_1000(settings)))
    return HistoryTried(int(judged.sum()), int(quiet.sum()), a_year, source, tuple(tried))


def _judged(result: StreamResult) -> BoolArray:
    judged = np.zeros(len(result.charted.x), dtype=np.bool_)
    for segment in result.segments:
        if segment.limits is not None and segment.limits.complete:
            judged[segment.judged_from : segment.stop] = True
    return judged


def _failed_stretches(result: StreamResult) -> list[int]:
    """Return the charted place at which each failed stretch starts, where it has judged readings before it."""
    places = np.searchsorted(result.charted.index, [failure.index for failure in result.failures])
    inside = places < len(result.charted.index)
    indices = np.array([failure.index for failure in result.failures], dtype=np.int64)
    places = places[inside]
    places = places[result.charted.index[places] == indices[inside]]
    starts, before = [], None
    for place in places.tolist():
        segment = _whole(place, result)
        if before is None or segment != before:
            starts.append(place)
        before = segment
    return [place for place in starts if place > _whole(place, result)]


def _whole(place: int, result: StreamResult) -> int:
    """Return the first place since the last resetting event."""
    which = next(i for i, each in enumerate(result.segments) if each.first <= place < each.stop)
    return since_reset(result.segments, which).first


def _end(place: int, result: StreamResult) -> int:
    """Return where the stretch between two resetting events ends that holds `place`."""
    segment: Segment = segment_of(place, result.segments)
    stop = segment.stop
    for later in result.segments:
        if later.first == stop and later.continues:
            stop = later.stop
    return stop


def _restless(result: StreamResult, stretches: Sequence[int]) -> BoolArray:
    restless = np.zeros(len(result.charted.x), dtype=np.bool_)
    for place in stretches:
        restless[max(_whole(place, result), place - LEAD) : _end(place, result)] = True
    for signal in result.signals:
        if signal.chart != "early_warning" or restless[signal.position]:
            continue
        outcome = result.changes.get(signal.position)
        start = signal.position if outcome is None or outcome.since is None else outcome.since
        restless[max(_whole(signal.position, result), start) : _end(signal.position, result)] = True
    return restless


def _lead(hits: BoolArray, place: int, result: StreamResult) -> int | None:
    """Return by how many readings the first hit was ahead of a failed check; None where there was none."""
    first = max(_whole(place, result), place - LEAD)
    found = np.flatnonzero(hits[first:place])
    return place - first - int(found[0]) if len(found) else None


def _alarms(places: IntArray) -> int:
    return int(len(places) > 0) + int((np.diff(places) > APART).sum())


def _in_sigmas(result: StreamResult) -> tuple[FloatArray, FloatArray, BoolArray]:
    charted = result.charted
    low, high = np.full(len(charted.x), np.nan), np.full(len(charted.x), np.nan)
    boundaries = np.zeros(len(charted.x), dtype=np.bool_)
    for segment in result.segments:
        boundaries[segment.first] = not segment.continues
        if segment.limits is None or segment.limits.sigma <= 0:
            continue
        span = slice(segment.first, segment.stop)
        low[span], high[span] = z_interval(charted.x[span], charted.bound[span], segment.limits)
    return low, high, boundaries


def _rate(result: StreamResult) -> tuple[float | None, str]:
    """Return how many checks a year has, and where that comes from."""
    taken = result.charted.taken_at
    if len(taken) > 1 and taken[-1] > taken[0]:
        span = (int(taken[-1]) - int(taken[0])) / (YEAR.total_seconds() * 1e6)
        return (len(taken) - 1) / span, "as often as it was made in this log"
    every = result.check.interval.every
    return (YEAR / every, result.check.interval.words) if every else (None, "")
