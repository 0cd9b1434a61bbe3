"""Everything the pages ask. The one place where the dashboard reaches spc: records in, words and figures out.

`known.py` holds what the board knows now; each other module answers one page.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from dashboard.queries.board import Before, board_page
from dashboard.queries.drift import Room
from dashboard.queries.drift_settings import with_settings
from dashboard.queries.drift_writes import WHO, WRITINGS, form, write
from dashboard.queries.fleet import fleet_page
from dashboard.queries.known import Known as Known
from dashboard.queries.known import Source as Source
from dashboard.queries.known import utc_now as utc_now
from dashboard.queries.known import watch as watch
from dashboard.queries.remembered import Remembered
from dashboard.queries.rows import rows_page
from dashboard.queries.stream import StreamAnswer, dated_ahead, no_stream, screen_of, whole, window_of
from dashboard.queries.streams import streams_page
from dashboard.queries.words import key_of, stream_id
from dashboard.settings import Settings as Settings
from dashboard.urls import ON, FleetView, StreamView
from dashboard.views import BoardPage, RowsPage, StreamPage
from dashboard.views.drift import Field, Form, StreamsPage
from dashboard.views.fleet import FleetPage
from spc.accounts import Right as Right
from spc.accounts import may as may
from spc.errors import InputError as InputError
from spc.errors import SetupError as SetupError
from spc.errors import SpcError as SpcError
from spc.figures.other_chart import other_chart_drawing
from spc.figures.stream import Drawing, stream_drawing
from spc.records import StreamKey
from spc.signals import subject
from spc.standing import Standing
from spc.stream_csv import stream_csv
from spc.watch import Snapshot as Snapshot


class Queries(Known):
    """Answers for the pages, from the latest snapshot. Any thread may ask."""

    _kept_board: tuple[Standing, BoardPage] | None = None

    def __init__(self, source: Source, settings: Settings, clock: Callable[[], datetime] = utc_now) -> None:
        super().__init__(source, settings, clock)
        self.memory = Remembered()
        self._told: Before = {}

    def board(self) -> BoardPage:
        """Return the board as of this minute."""
        snapshot = self.source.snapshot
        stands, kept = self.seen(snapshot), self._kept_board
        if kept is None or kept[0] is not stands:
            with self._one_asks:
                kept = self._kept_board
                if kept is None or kept[0] is not stands:
                    zone, writes = snapshot.scan.zone, self.store is not None
                    page = board_page(stands, zone, self.reactions(), writes=writes, before=self._told)
                    kept = self._kept_board = (stands, page)
        return kept[1]

    def reactions(self) -> Mapping[StreamKey, list[Any]]:
        """Return what people wrote down about signals, by stream, in the order written."""
        store = self.store
        if store is None:
            return {}

        def ask() -> Mapping[StreamKey, list[Any]]:
            from spc.store.entries import Reaction

            found: dict[StreamKey, list[Any]] = {}
            for entry in store.records(Reaction):
                found.setdefault(entry.record.key, []).append(entry)
            return found

        return self.memory.once("reactions", (self.snapshot.written, store), ask)

    def stream(self, view: StreamView) -> StreamPage:
        """Return one stream; a page that says so when there is none."""
        snapshot = self.source.snapshot
        stands, zone = self.seen(snapshot), snapshot.scan.zone
        result = next((result for result in stands.streams if result.key == key_of(view)), None)
        if result is None:
            return no_stream(view)
        if not len(result.readings):
            title = f"{result.key.line}: {subject(result)}"
            return StreamPage(found=False, title=title, notice=dated_ahead(result.key, stands, zone))
        return StreamAnswer(Room(self, self.memory, view, result), stands).page()

    def stream_state(self, view: StreamView) -> StreamPage:
        """Return of one stream what its page says of now; a page that says so when there is none."""
        stands, result = self.seen(), self.shown(view)
        if result is None or not len(result.readings):
            return self.stream(view)
        return StreamAnswer(Room(self, self.memory, view, result), stands).now()

    def figure(self, view: StreamView, screen: dict[str, object], search: str = "") -> Drawing | None:
        """Return the chart of one stream for a screen (theme, width, scale); None if there is no such stream.

        It carries `search`, the address as the browser wrote it, so that the browser knows what was asked.
        """
        scan, result = self.source.snapshot.scan, self.shown(view)
        if result is None or not len(result.readings):
            return None
        window, _ = window_of(result, view, scan.zone)
        room = Room(self, self.memory, view, result)
        other = room.other()
        if other is not None:
            drawing = other_chart_drawing(
                result, other, zone=scan.zone, window=window, screen=screen_of(screen), notes=room.notes()
            )
        else:
            drawing = stream_drawing(
                result,
                zone=scan.zone,
                window=window,
                screen=screen_of(screen),
                focus_row=whole(view.row),
                rules=view.rules == ON,
                notes=room.notes(),
                compared=room.compared(),
            )
        drawing["layout"]["meta"] = {"search": search, "stream": f"{stream_id(result.key)} {room.chart()}"}
        return drawing

    # the drift room

    def stamp(self, view: StreamView) -> str:
        """Return a text that changes when the stream of `view`, what is written beside it, or the view itself does."""
        room = self.room(view)
        return f"{super().stamp(view)} {room.written() if room is not None else 0}"

    def room(self, view: StreamView) -> Room | None:
        """Return one stream in depth, to be read; None when there is none, or none of its readings counts yet."""
        result = self.shown(view)
        return Room(self, self.memory, view, result) if result is not None and len(result.readings) else None

    def part_figure(self, view: StreamView, screen: dict[str, object], search: str = "") -> Any:
        """Return the figure below the chart; None where there is none."""
        room = self.room(view)
        figure = room.part_figure(screen_of(screen)) if room is not None else None
        return None if figure is None else figure.update_layout(meta={"search": search})

    def part_stamp(self, view: StreamView) -> str:
        """Return a text that changes when the figure below the chart does."""
        room = self.room(view)
        if room is None or not room.has_figure():
            return "none"
        return f"{self.snapshot.version} {view.to_search()}"

    def forms(self, view: StreamView, person: str, may: Callable[[Right], bool]) -> tuple[Form, ...]:
        """Return what can be written down in the part that is shown."""
        room = self.room(view)
        return form(room, person, may) if room is not None else ()

    def with_settings(self, view: StreamView, fields: dict[str, str]) -> StreamView:
        """Return a view of the same chart drawn with other numbers, as a person typed them."""
        return with_settings(view, fields)

    def name_field(self) -> Field:
        """Return the field for the name of whoever writes, where nobody is signed in."""
        return WHO

    def right_for(self, what: str) -> Right:
        """Return the right that it takes to write something down.

        Raises:
            InputError: nothing of that name can be written down.
        """
        if what not in WRITINGS:
            raise InputError(f"Nothing is called “{what}” here.")
        return WRITINGS[what].right

    def write(self, view: StreamView, what: str, fields: Mapping[str, str], person: str) -> str:
        """Write something down in the drift room; return what to say.

        Raises:
            SpcError: it cannot be kept, in words for the form.
        """
        result = self.result(view)  # what is kept is in the unit of the catalogue
        room = Room(self, self.memory, view, result) if result is not None and len(result.readings) else None
        if room is None:
            raise InputError("There is no such stream any more; go back to the board.")
        return write(room, what, fields, person, self.clock())

    def streams(self) -> StreamsPage:
        """Return every stream, the one that needs a person most first."""
        return streams_page(self.board())

    def csv(self, view: StreamView) -> str | None:
        """Return the readings in view as a CSV file; None when there is no such stream."""
        scan, result = self.source.snapshot.scan, self.result(view)
        if result is None or not len(result.readings):
            return None
        window, _ = window_of(result, view, scan.zone)
        return stream_csv(result, window.places(result), scan.zone)

    def fleet(self, view: FleetView) -> FleetPage:
        """Return some rows of the results of a run over many lines."""
        return fleet_page(self, self.memory, view)

    def rows(self) -> RowsPage:
        """Return the rows that could not be read, and what was decided in reading."""
        return rows_page(self.source.snapshot)
