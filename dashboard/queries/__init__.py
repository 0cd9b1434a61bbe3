"""Everything the pages ask. The one place where the dashboard reaches spc: records in, words and figures out.

`known.py` holds what the board knows now; each other module answers one page.
"""

from typing import Any

from dashboard.queries.board import board_page
from dashboard.queries.known import Known as Known
from dashboard.queries.known import Source as Source
from dashboard.queries.known import utc_now as utc_now
from dashboard.queries.known import watch as watch
from dashboard.queries.rows import rows_page
from dashboard.queries.stream import StreamAnswer, dated_ahead, no_stream, screen_of, whole, window_of
from dashboard.queries.words import key_of, stream_id
from dashboard.settings import Settings as Settings
from dashboard.urls import ON, StreamView
from dashboard.views import BoardPage, RowsPage, StreamPage
from spc.accounts import Right as Right
from spc.accounts import may as may
from spc.errors import InputError as InputError
from spc.errors import SetupError as SetupError
from spc.errors import SpcError as SpcError
from spc.figures import stream_figure
from spc.signals import subject
from spc.standing import Standing
from spc.stream_csv import stream_csv
from spc.watch import Snapshot as Snapshot


class Queries(Known):
    """Answers for the pages, from the latest snapshot. Any thread may ask."""

    _kept_board: tuple[Standing, BoardPage] | None = None

    def board(self) -> BoardPage:
        """Return the board as of this minute."""
        snapshot = self.source.snapshot
        stands, kept = self.standing(snapshot), self._kept_board
        if kept is None or kept[0] is not stands:
            kept = self._kept_board = (stands, board_page(stands, snapshot.scan.zone))
        return kept[1]

    def stream(self, view: StreamView) -> StreamPage:
        """Return one stream; a page that says so when there is none."""
        snapshot = self.source.snapshot
        stands, zone = self.standing(snapshot), snapshot.scan.zone
        result = next((result for result in stands.streams if result.key == key_of(view)), None)
        if result is None:
            return no_stream(view)
        if not len(result.readings):
            title = f"{result.key.line}: {subject(result)}"
            return StreamPage(found=False, title=title, notice=dated_ahead(result.key, stands, zone))
        return StreamAnswer(result, stands, view, zone).page()

    def figure(self, view: StreamView, screen: dict[str, object], search: str = "") -> Any:
        """Return the chart of one stream for a screen (theme, width, scale); None if there is no such stream.

        It carries `search`, the address as the browser wrote it, so that the browser knows what was asked.
        """
        scan, result = self.source.snapshot.scan, self.result(view)
        if result is None or not len(result.readings):
            return None
        window, _ = window_of(result, view, scan.zone)
        figure = stream_figure(
            result,
            zone=scan.zone,
            window=window,
            screen=screen_of(screen),
            focus_row=whole(view.row),
            rules=view.rules == ON,
        )
        return figure.update_layout(meta={"search": search, "stream": stream_id(result.key)})

    def csv(self, view: StreamView) -> str | None:
        """Return the readings in view as a CSV file; None when there is no such stream."""
        scan, result = self.source.snapshot.scan, self.result(view)
        if result is None or not len(result.readings):
            return None
        window, _ = window_of(result, view, scan.zone)
        return stream_csv(result, window.places(result), scan.zone)

    def rows(self) -> RowsPage:
        """Return the rows that could not be read, and what was decided in reading."""
        return rows_page(self.source.snapshot)
