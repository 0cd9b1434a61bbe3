"""What the fleet's page asks: what moves where, every stream, its signals, and what could not be read."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.words import count
from dashboard.urls import FLEET_SIGNALS, FLEET_STREAMS, MOVES, NARROWED, UNREAD, FleetView
from dashboard.views.choices import Choice
from dashboard.views.fleet import Cell, FleetPage, Head
from spc.catalogue.load import load_catalogue
from spc.errors import InputError
from spc.fleet.kept import KeptFleet, kept_signals, read_fleet, whole
from spc.fleet.outcome import PER, FleetFault, FleetStream, LeagueRow
from spc.wording import time_text

MOST = 100
"""Rows of a page."""

NO_FOLDER = (
    "This board was started without results of a fleet. Run “spc fleet READINGS --out FOLDER” over the readings of all "
    "lines, then start the board with “--fleet FOLDER”."
)
STANDING = (
    "A place in these tables asks where to look first; it judges no line. The acceptance limits are the catalogue's; "
    "the written procedure and the responsible Level 3 decide."
)
NAMES = {MOVES: "What moves where", FLEET_STREAMS: "Streams", FLEET_SIGNALS: "Signals", UNREAD: "Not read"}
SIDES = {"low": ", low side", "high": ", high side", "": ""}
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DASH = "\N{EN DASH}"

Column = tuple[str, str]
"""Name of a field, and the head of its column."""

MOVES_COLUMNS: tuple[Column, ...] = (
    ("place", "Place"), ("site", "Site"), ("line", "Line"), ("check", "Check"),
    ("rate", f"Warnings per {PER:,} readings".replace(",", "\N{NARROW NO-BREAK SPACE}")), ("drifts", "Drifts"),
    ("steps", "Steps"), ("failures", "Failed checks"), ("streams", "Streams"), ("n", "Readings"),
)  # fmt: skip
STREAM_COLUMNS: tuple[Column, ...] = (
    ("site", "Site"), ("line", "Line"), ("check", "Check"), ("position", "Position"), ("risk_next", "Risk, next check"),
    ("readings_to_limit", "Readings to the limit"), ("drifts", "Drifts"), ("steps", "Steps"),
    ("rule_signals", "Run rules"), ("failures", "Failed checks"), ("latest_at", "Latest warning"),
    ("centre_line", "Centre line"), ("sigma", "Sigma"), ("n", "Readings"), ("last_at", "Last reading"),
)  # fmt: skip
SIGNAL_HEADS = ("Taken at", "Site", "Line", "Check", "Position", "Value", "Signal", "Chart", "Row")
TEXTS = frozenset(NARROWED)


def fleet_page(known: Known, memory: Remembered, view: FleetView) -> FleetPage:
    """Return the rows of the fleet's results that an address names."""
    folder = known.settings.fleet
    if folder is None:
        return FleetPage(problem=NO_FOLDER)
    try:
        kept = memory.once("fleet", whole(folder), lambda: read_fleet(folder))
        return Asked(known, memory, view, kept).page()
    except InputError as refused:
        return FleetPage(problem=f"There is nothing to show yet. {refused}.")


class Asked:
    """One address of the fleet's page."""

    def __init__(self, known: Known, memory: Remembered, view: FleetView, kept: KeptFleet) -> None:
        self.known, self.view, self.kept = known, view, kept
        settings = known.settings
        self.checks = memory.once("fleet's checks", (), lambda: load_catalogue(settings.catalogue)).checks

    def page(self) -> FleetPage:
        """Return it."""
        kept, view = self.kept, self.view
        readings = sum(stream.n for stream in kept.streams)
        moved = sum(stream.drifts + stream.steps > 0 for stream in kept.streams)
        failed = sum(stream.failures for stream in kept.streams)
        sites = {stream.site for stream in kept.streams}
        of_sites = "1 site" if len(sites) == 1 else f"{count(len(sites))} sites"
        unread = "1 folder" if len(kept.faults) == 1 else f"{count(len(kept.faults))} folders"
        page = FleetPage(
            summary=(
                f"{count(len(kept.streams))} streams of {of_sites}, {count(readings)} readings on charts: "
                f"{count(moved)} streams were warned of a drift or a step, {count(failed)} checks failed."
            ),
            unread=Choice(f"{unread} of readings could not be read", FleetView(UNREAD).href) if kept.faults else None,
            parts=tuple(Choice(words, self.other(part), part == view.part) for part, words in NAMES.items()),
            narrowed=tuple(
                Choice(f"{name.capitalize()}: {self.words(name, getattr(view, name))}", self.without(name))
                for name in (*NARROWED, "find")
                if getattr(view, name)
            ),
            find=view.find,
            notes=(STANDING, f"Times are those of {self.known.zone}."),
        )
        makers = {MOVES: self.moves, FLEET_STREAMS: self.streams, FLEET_SIGNALS: self.signals, UNREAD: self.unread}
        return makers[view.part](page)

    # the parts

    def moves(self, page: FleetPage) -> FleetPage:
        """Return the league table."""
        found = self.sorted(self.chosen(self.kept.league), MOVES_COLUMNS, "place", down=False)
        largest = max((row.rate for row in self.kept.league), default=0.0) or 1.0

        def row(each: LeagueRow) -> tuple[Cell, ...]:
            of = {"site": each.site, "line": each.line, "check": each.check}
            return (
                Cell(count(each.place)),
                *self.names(each, ("site", "line", "check")),
                Cell(f"{each.rate:.2f}", self.to(FLEET_SIGNALS, **of), each.rate / largest),
                self.number(each.drifts, FLEET_SIGNALS, **of, rule="drift"),
                self.number(each.steps, FLEET_SIGNALS, **of, rule="step"),
                self.number(each.failures, FLEET_STREAMS, **of),
                self.number(each.streams, FLEET_STREAMS, **of),
                self.number(each.n, FLEET_STREAMS, **of),
            )

        return self.table(page, found, row, MOVES_COLUMNS, ("check of a line", "checks of a line"), names=4)

    def streams(self, page: FleetPage) -> FleetPage:
        """Return a row a stream."""
        found = self.sorted(self.chosen(self.kept.streams), STREAM_COLUMNS, "risk_next", down=True)

        def row(each: FleetStream) -> tuple[Cell, ...]:
            of = {"site": each.site, "line": each.line, "check": each.check, "position": each.position}
            latest = DASH
            if each.latest_at is not None:
                latest = f"{each.latest_rule}{SIDES.get(each.latest_side, '')}, {self.time(each.latest_at)}"
            return (
                *self.names(each, ("site", "line", "check", "position")),
                Cell(DASH if each.risk_next is None else f"{100 * each.risk_next:.1f}\N{NARROW NO-BREAK SPACE}%"),
                Cell(DASH if each.readings_to_limit is None else f"{each.readings_to_limit:.0f}"),
                self.number(each.drifts, FLEET_SIGNALS, **of, rule="drift"),
                self.number(each.steps, FLEET_SIGNALS, **of, rule="step"),
                self.number(each.rule_signals, FLEET_SIGNALS, **of),
                Cell(count(each.failures)),
                Cell(latest, self.to(FLEET_SIGNALS, **of) if each.latest_at is not None else ""),
                Cell(amount(each.centre_line, each.unit)),
                Cell(amount(each.sigma, each.unit)),
                Cell(count(each.n)),
                Cell(DASH if each.last_at is None else self.time(each.last_at)),
            )

        return self.table(page, found, row, STREAM_COLUMNS, ("stream", "streams"), names=4)

    def signals(self, page: FleetPage) -> FleetPage:
        """Return signals."""
        view, folder = self.view, self.known.settings.fleet
        if folder is None:
            return page
        where = {name: getattr(view, name) for name in NARROWED if getattr(view, name)}
        got = kept_signals(folder, where, first=MOST * (view.page - 1), most=MOST)
        shown = got.shown
        rows = []
        for i in range(len(shown)):
            check = str(shown.check[i])
            unit = self.checks[check].chart_unit if check in self.checks else ""
            of = {name: str(getattr(shown, name)[i]) for name in ("site", "line", "check", "position")}
            rule = str(shown.rule[i]).replace("_", " ")
            rows.append(
                (
                    Cell(self.time(int(shown.taken_at[i]))),
                    *(
                        Cell(self.words(name, text), self.to(FLEET_SIGNALS, **{name: text}))
                        for name, text in of.items()
                    ),
                    Cell(amount(float(shown.value[i]), unit)),
                    Cell(
                        f"{rule}{SIDES.get(str(shown.side[i]), '')}",
                        self.to(FLEET_SIGNALS, **of, rule=str(shown.rule[i])),
                    ),
                    Cell(str(shown.chart[i]).replace("_", " ")),
                    Cell(count(int(shown.row[i]))),
                )
            )
        order = "the newest first" if got.newest_first else "by site, line and check; narrow it to sort it by time"
        notes = ("Find looks for streams; signals are narrowed by the names in the table.",) if view.find else ()
        return replace(
            self.paged(page, got.found, (f"signal, {order}", f"signals, {order}")),
            heads=tuple(Head(words, number=words in ("Value", "Row")) for words in SIGNAL_HEADS),
            rows=tuple(rows),
            nothing="No signal is called so." if where else "No signal in any stream.",
            notes=(*notes, *page.notes),
        )

    def unread(self, page: FleetPage) -> FleetPage:
        """Return the partitions that gave nothing, and why."""
        found = self.chosen(self.kept.faults)

        def row(each: FleetFault) -> tuple[Cell, ...]:
            return *(Cell(self.words(name, getattr(each, name))) for name in ("site", "line", "check")), Cell(
                each.reason
            )

        columns = (("site", "Site"), ("line", "Line"), ("check", "Check"), ("reason", "Why"))
        made = self.table(
            page,
            found,
            row,
            columns,
            ("folder of readings that could not be read", "folders of readings that could not be read"),
            names=3,
        )
        return replace(
            made,
            heads=tuple(Head(words) for _, words in columns),
            nothing="" if made.rows else "Every folder of readings could be read.",
        )

    # rows

    def chosen(self, rows: Sequence[Any]) -> list[Any]:
        """Return the rows that the address narrows to; a name that a row does not have narrows nothing."""
        view = self.view
        for name in NARROWED:
            text = getattr(view, name)
            if text:
                rows = [row for row in rows if getattr(row, name, text) == text]
        find = view.find.casefold()
        if not find:
            return list(rows)
        found = []
        for row in rows:
            said = (row.site, row.line, row.check, self.words("check", row.check), getattr(row, "position", ""))
            if any(find in words.casefold() for words in said):
                found.append(row)
        return found

    def sorted(self, rows: list[Any], columns: Sequence[Column], usual: str, *, down: bool) -> list[Any]:
        """Return rows in the order that the address names; what is not known stands last either way."""
        name = self.view.sort if self.view.sort in dict(columns) else usual
        down = self.view.down if name == self.view.sort else down
        known = [row for row in rows if getattr(row, name) is not None]
        unknown = [row for row in rows if getattr(row, name) is None]
        return sorted(known, key=lambda row: getattr(row, name), reverse=down) + unknown

    def table(
        self,
        page: FleetPage,
        found: list[Any],
        row: Callable[[Any], Any],
        columns: Sequence[Column],
        what: tuple[str, str],
        names: int,
    ) -> FleetPage:
        """Return `page` with its part of the rows."""
        first = MOST * (self.view.page - 1)
        return replace(
            self.paged(page, len(found), what),
            heads=tuple(self.head(name, words) for name, words in columns),
            rows=tuple(row(each) for each in found[first : first + MOST]),
            names=names,
            nothing="Nothing has that name; take a choice away to see more.",
        )

    def head(self, name: str, words: str) -> Head:
        """Return the head of a column: by it the table is sorted, and the other way where it is already."""
        view, text = self.view, name in TEXTS
        on = view.sort == name
        down = not view.down if on else not text and name != "place"
        order = ("descending" if view.down else "ascending") if on else ""
        return Head(words, replace(view, sort=name, down=down, page=1).href, order, number=not text)

    def paged(self, page: FleetPage, found: int, what: tuple[str, str]) -> FleetPage:
        """Return `page` with what it is a part of, named for one and for several, and the ways to the others."""
        view = self.view
        first = MOST * (view.page - 1)
        last = min(found, first + MOST)
        part = f", {count(first + 1)} to {count(last)}" if found > MOST and first < found else ""
        back = min(view.page - 1, -(-found // MOST))
        return replace(
            page,
            caption=f"{count(found)} {what[found != 1]}{part}",
            before=replace(view, page=back).href if back > 0 else "",
            after=replace(view, page=view.page + 1).href if last < found and first < found else "",
        )

    # words

    def names(self, row: Any, which: Sequence[str]) -> tuple[Cell, ...]:
        """Return what a row is called, each part of it a way to narrow to it."""
        return tuple(
            Cell(self.words(name, getattr(row, name)), self.to(self.view.part, **{name: getattr(row, name)}))
            for name in which
        )

    def words(self, name: str, text: str) -> str:
        """Return what people call it."""
        if name == "check":
            return self.checks[text].title if text in self.checks else text
        return text.replace("_", " ") if name == "rule" else text or DASH

    def number(self, n: int, part: str, **of: str) -> Cell:
        """Return a count, with the way to what it counts."""
        return Cell(count(n), self.to(part, **of) if n else "")

    def to(self, part: str, **of: str) -> str:
        """Return the address of a part, narrowed further."""
        view = self.view
        held = {name: getattr(view, name) for name in NARROWED}
        named = FleetView(part, **(held | of))
        if part == view.part:
            named = replace(named, sort=view.sort, down=view.down, find=view.find)
        return named.href

    def other(self, part: str) -> str:
        """Return the address of another part of the same streams."""
        view = self.view
        held = {name: getattr(view, name) for name in NARROWED if name != "rule"}
        return FleetView(part, **held, find=view.find).href

    def without(self, name: str) -> str:
        """Return the address without one thing that it is narrowed to."""
        changed: Any = {name: "", "page": 1}
        return replace(self.view, **changed).href

    def time(self, microseconds: int) -> str:
        """Return a time in the board's zone."""
        return time_text(EPOCH + timedelta(microseconds=microseconds), self.known.zone)


def amount(value: float | None, unit: str) -> str:
    """Return a number with its unit."""
    return DASH if value is None else f"{value:.4g} {unit}".strip()
