"""What is wrong with which row: the first fault of each, told with the cell as it was written."""

from collections.abc import Callable

import numpy as np

from spc.arrays import BoolArray, IntArray
from spc.ingest.decisions import Decision, Decisions
from spc.ingest.table import Fault, Rows

TIME = "taken_at"
"""The column of times, which a table keeps apart from the others."""


class Blame:
    """The first fault of each row, and what was decided for the rows that turn out to have none."""

    def __init__(self, rows: Rows, number: IntArray, decisions: Decisions) -> None:
        self.good = np.ones(len(number), dtype=np.bool_)
        self.faults: list[Fault] = []
        self._rows, self._number = rows, number
        self._texts: dict[str, list[str]] = {}
        self._decisions = decisions
        self._decided: list[tuple[Decision, IntArray]] = []

    def blame(self, places: BoolArray | IntArray, column: str, reason: Callable[[int], str] | str) -> None:
        """Set the rows at `places` (a mask or indices) aside, unless something else was wrong with them before."""
        where: IntArray = np.flatnonzero(places) if places.dtype == np.bool_ else np.asarray(places, dtype=np.int64)
        where = where[self.good[where]]
        if len(where) == 0:
            return
        self.good[where] = False
        cells = self._cells(column, where)
        for place, row, text in zip(where.tolist(), self._number[where].tolist(), cells, strict=True):
            self.faults.append(Fault(row, column, text, reason if isinstance(reason, str) else reason(place)))

    def decided(self, what: Decision, places: IntArray) -> None:
        """Count `what` for those of the rows at `places` that can be used in the end."""
        self._decided.append((what, places))

    def settle(self) -> IntArray:
        """Tell the decisions; return the rows that can be used."""
        for what, places in self._decided:
            self._decisions.counts[what] += int(np.count_nonzero(self.good[places]))
        return np.flatnonzero(self.good)

    def _cells(self, column: str, where: IntArray) -> list[str]:
        if column == TIME:
            return [self._rows.times[place] for place in where.tolist()]
        written = self._rows.columns.get(column)
        if written is None:
            return [""] * len(where)
        if column not in self._texts:
            self._texts[column] = written.texts
        texts = self._texts[column]
        return [texts[code] for code in written.codes[where].tolist()]
