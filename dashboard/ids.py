"""Names of the parts of every page: a typo is a name error, not a dead callback."""


class Shell:
    """What every page has."""

    URL, PAGE, SAID = "url", "page", "said"
    LIVE = "live"  # {"version": .., "minute": ..}: what the server last told
    SCREEN = "screen"  # {"theme": .., "width": .., "scale": ..}: what the chart is drawn for
    LINK, LINK_WORDS, LOOK = "link", "link-words", "look"
    ROWS, CLOCK = "rows", "clock"
    WAYS = "ways"
    PERSON = "person-name"


class Board:
    """The board."""

    ALL, TODO, NEXT, TOLD, SHAPE = "board", "board-todo", "board-next", "board-told", "board-shape"
    BELOW = "board-below"

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
    VIEWS, RANGES, LIMITS = "stream-views", "stream-ranges", "stream-limits"
    TOLD, FIGURE_TOLD = "stream-told", "stream-figure-told"
    SETTINGS, SETTINGS_TOLD, SET = "stream-settings", "stream-settings-told", "stream-set"

    @staticmethod
    def setting(name: str) -> dict[str, str]:
        """Return the id of the field of a setting of the chart."""
        return {"part": "stream-setting", "name": name}


class Drift:
    """What stands below the chart of a stream, and what is written down there."""

    PARTS, PART, FORMS, FORMS_TOLD, SAID, WROTE = (
        "drift-parts",
        "drift-part",
        "drift-forms",
        "drift-forms-told",
        "drift-said",
        "drift-wrote",
    )
    FIGURE, DRAWN, FIGURE_TOLD, FIGURE_BOX = "drift-figure", "drift-drawn", "drift-figure-told", "drift-figure-box"
    COPY, COPIED = "drift-copy", "drift-copied"

    @staticmethod
    def field(name: str) -> dict[str, str]:
        """Return the id of a field of a form."""
        return {"part": "drift-field", "name": name}

    @staticmethod
    def do(what: str) -> dict[str, str]:
        """Return the id of a button that writes something down."""
        return {"part": "drift-do", "what": what}


class Streams:
    """The list that leads into the drift room."""

    LIST, TOLD = "streams-list", "streams-told"


class Rows:
    """The rows that could not be read."""

    TABLE, TOLD = "rows-table", "rows-told"


class Write:
    """Writing a check down: the tablet fills it."""

    ROOT, SAID = "write", "write-said"


class Setup:
    """The set-up sample before a run."""

    FORM, KEEP, SAID, DONE, PAST, SEEN = (
        "setup-form",
        "setup-keep",
        "setup-said",
        "setup-done",
        "setup-past",
        "setup-seen",
    )
    CIRCUITS = "setup-circuits"
    FIGURE, NO_CHART = "setup-figure", "setup-no-chart"

    @staticmethod
    def field(name: str) -> dict[str, str]:
        """Return the id of a field of the form."""
        return {"part": "setup-field", "name": name}


class Accounts:
    """The page of accounts."""

    TABLE, SAID = "accounts-table", "accounts-said"
    NEW_NAME, NEW_ROLE, NEW_PASSWORD, ADD = (
        "accounts-new-name",
        "accounts-new-role",
        "accounts-new-password",
        "accounts-add",
    )
    NAME, ROLE, PASSWORD = "accounts-name", "accounts-role", "accounts-password"
    BEFORE, AFTER, OWN, OWN_SAID = "accounts-before", "accounts-after", "accounts-own", "accounts-own-said"
    SCREENS, ELSEWHERE, ELSEWHERE_SAID = "accounts-screens", "accounts-elsewhere", "accounts-elsewhere-said"

    @staticmethod
    def change(what: str) -> dict[str, str]:
        """Return the id of the button of one change."""
        return {"part": "accounts-change", "what": what}


class Reviewed:
    """The capability review."""

    START, END, SHOW, SAID = "review-from", "review-to", "review-show", "review-said"
    PAGE, CHECKS, WINDOWS, METERS = "review-page", "review-checks", "review-windows", "review-meters"
    WAIT, ASKED, SHOWN = "review-wait", "review-asked", "review-shown"


class Record:
    """The record, and the page of one failed check."""

    PAGE, PART, FIGURE, NAME, ERROR, OFFSET, FOUND, SINCE, ASK = (
        "record-page",
        "record-part",
        "record-figure",
        "record-name",
        "record-error",
        "record-offset",
        "record-found",
        "record-since",
        "record-ask",
    )
    WINDOW, BODY, TOLD, COURSE, FORM, KIND, WORDS, WHO, SEEN, KEEP, SAID, REPLY = (
        "window-page",
        "window-body",
        "window-told",
        "window-course",
        "window-form",
        "window-kind",
        "window-words",
        "window-who",
        "window-seen",
        "window-keep",
        "window-said",
        "window-reply",
    )


class Fleet:
    """The fleet."""

    BODY, FIND, FINDER = "fleet-body", "fleet-find", "fleet-finder"


class Study:
    """The measurement study."""

    PARTS, OPERATORS, ROUNDS, SEED, DRAW, PLAN = (
        "study-parts",
        "study-operators",
        "study-rounds",
        "study-seed",
        "study-draw",
        "study-plan",
    )
    FILE, TEXT, WHAT, UNIT, LOWER, UPPER, STEP, READ, SAID, RESULT, FIGURE, ASKED = (
        "study-file",
        "study-text",
        "study-what",
        "study-unit",
        "study-lower",
        "study-upper",
        "study-step",
        "study-read",
        "study-said",
        "study-result",
        "study-figure",
        "study-asked",
    )
