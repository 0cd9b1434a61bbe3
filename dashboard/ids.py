"""Names of the parts of every page: a typo is a name error, not a dead callback."""


class Shell:
    """What every page has."""

    URL, PAGE, SAID = "url", "page", "said"
    LIVE = "live"  # {"version": .., "minute": ..}: what the server last told
    SCREEN = "screen"  # {"theme": .., "width": .., "scale": ..}: what the chart is drawn for
    LINK, LINK_WORDS, LOOK = "link", "link-words", "look"
    ROWS, CLOCK = "rows", "clock"
    WAYS = "ways"


class Board:
    """The board."""

    TODO, TOLD, SHAPE = "board-todo", "board-told", "board-shape"

    @staticmethod
    def tile(stream: str) -> dict[str, str]:
        """Return the id of one stream's tile."""
        return {"part": "tile", "stream": stream}

    @staticmethod
    def tile_body(stream: str) -> dict[str, str]:
        """Return the id of what changes in it."""
        return {"part": "tile-body", "stream": stream}

    @staticmethod
    def line(place: int) -> str:
        """Return the id of the section of a line, to jump to."""
        return f"line-{place}"

    @staticmethod
    def line_summary(line: str) -> dict[str, str]:
        """Return the id of the words under a line's name."""
        return {"part": "line-summary", "line": line}


class Stream:
    """One stream."""

    HEAD, STATE, STATE_TOLD = "stream-head", "stream-state", "stream-state-told"
    FIGURE, DRAWN, CHART = "stream-figure", "stream-drawn", "stream-chart"
    RANGES, SIGNALS, LIMITS, FORECAST, READINGS = (
        "stream-ranges",
        "stream-signals",
        "stream-limits",
        "stream-forecast",
        "stream-readings",
    )
    TOLD, FIGURE_TOLD = "stream-told", "stream-figure-told"


class Rows:
    """The rows that could not be read."""

    TABLE, TOLD = "rows-table", "rows-told"


class Write:
    """Writing a check down: the tablet fills it."""

    ROOT, SAID = "write", "write-said"
