"""Questions about how readings were written down: copied, rounded, in another unit, in another's place.

They are questions to the engineer, apart from signals: nothing here moves a chart, and nothing here is an accusation.
Every finding has an innocent reading too, and the chance that luck alone made it.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, tzinfo
from itertools import combinations

import numpy as np

from spc.results import StreamResult
from spc.screening.dates import day_and_month
from spc.screening.digits import digit_preference
from spc.screening.exchanged import exchanged_columns, exchanged_positions
from spc.screening.question import FALSE_RATE, Kind, Question
from spc.screening.repeated import coarse_throughout, coarser_stretches, copied_runs
from spc.screening.slips import unit_slips
from spc.screening.variation import quiet_stretches
from spc.screening.written import Series, series_of

__all__ = ["FALSE_RATE", "Kind", "Question", "screen"]


def screen(results: Sequence[StreamResult], *, zone: tzinfo = UTC) -> tuple[Question, ...]:
    """Return what an engineer may want to ask about the readings of a line, in order of time.

    The chance of any question on a line without anything to ask is at most FALSE_RATE, as far as noise is normal and
    independent: all looks share it, so that each is the more careful the more streams are given. Give the streams of
    one line, or of all lines, together. Two kinds are not counted in it, since they start from a row that is odd by
    itself: a reference used nowhere else, and a date out of order.

    A question may look at readings after those it asks about; on a log cut short, later ones have no say.

    Args:
        results: monitored streams.
        zone: of the times in the questions, where the log wrote none.
    """
    measured = [result for result in results if result.check.kind == "measured"]
    series = [each for result in measured for each in series_of(result)]
    pairs = list(_pairs(measured))
    share = FALSE_RATE / 5  # for copied numbers; for steps and digits; for scatter; for slips; for positions
    a_series, a_stream = share / max(1, len(series)), share / max(1, len(measured))
    a_pair = share / max(1, len(pairs))
    questions = [question for each in series for question in _of_series(each, a_series, zone)]
    for result in measured:
        questions += unit_slips(result, a_stream, zone)
        questions += exchanged_columns(result, zone)
        questions += day_and_month(result, zone)
    for a, b in pairs:
        questions += exchanged_positions(a, b, a_pair, zone)
    return tuple(sorted(questions, key=lambda question: (question.first, question.keys, question.kind)))


def _of_series(series: Series, most: float, zone: tzinfo) -> list[Question]:
    copied, inside = copied_runs(series, most, zone)
    coarser = coarser_stretches(series, most / 3, zone, copied=inside)
    asked = inside.copy()
    for question in coarser:
        asked |= np.isin(series.row, question.rows)
    return [
        *copied,
        *coarser,
        *coarse_throughout(series, most / 3, zone, copied=inside),
        *quiet_stretches(series, most, zone, left_out=asked),
        *digit_preference(series, most / 3, zone, left_out=asked),
    ]


def _pairs(results: Iterable[StreamResult]) -> Iterable[tuple[StreamResult, StreamResult]]:
    """Yield two streams of one check on one line, charted by their own value."""
    together: dict[tuple[str, str], list[StreamResult]] = {}
    for result in results:
        together.setdefault((result.key.line, result.key.check), []).append(result)
    for streams in together.values():
        for a, b in combinations(streams, 2):
            if a.check.charted == "value":
                yield a, b
