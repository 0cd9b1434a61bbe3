"""What the server was asked: how often, how long each took, and a line of the log for each. Never what was in it.

A line tells method, path, status and time: no query, body, cookie, password or name of a person. Who signed in, or was
refused, is told by the number of the entry of the trail that says what their account is.
"""

import json
import logging
import secrets
import sys
import time
from collections.abc import Callable, Iterable
from contextvars import ContextVar
from datetime import UTC, datetime
from threading import Lock
from typing import Any, Literal

from dashboard.urls import HEALTH, LIVE, METRICS

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]

BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.15, 0.3, 1.0, 3.0, 10.0)
"""Upper ends of the groups of times, in seconds: those that the goals are set for are among them."""

CALLBACK = "/_dash-update-component"
LARGEST_BODY = 4 * 1024 * 1024
"""Bytes of a request. The most that a page sends is a sheet of a measurement study, 200 kB."""

FILES = ("/assets/", "/_dash-component-suites/", "/charts-", "/_favicon")
OFTEN = frozenset({"live", "probe", "file"})
"""Kinds of requests that are counted, and logged only where they go wrong."""

LONGEST_PATH = 200

asked_as: ContextVar[str] = ContextVar("asked_as", default="")
"""The name of the request that this thread answers."""

log = logging.getLogger("dashboard.requests")


class Measures:
    """How many requests there were, and how long they took. Any thread may ask."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._answers: dict[tuple[str, str], int] = {}  # by kind and class of status
        self._times: dict[str, list[int]] = {}  # by kind: how many took up to each of BUCKETS, and all
        self._seconds: dict[str, float] = {}

    def add(self, kind: str, status: int, seconds: float) -> None:
        """Count one request."""
        with self._lock:
            answer = (kind, f"{status // 100}xx")
            self._answers[answer] = self._answers.get(answer, 0) + 1
            counts = self._times.setdefault(kind, [0] * (len(BUCKETS) + 1))
            for place, most in enumerate((*BUCKETS, float("inf"))):
                counts[place] += seconds <= most
            self._seconds[kind] = self._seconds.get(kind, 0.0) + seconds

    def lines(self) -> list[str]:
        """Return them in the text form of the open metrics exposition format, version 0.0.4."""
        with self._lock:
            answers, times, sums = (
                dict(self._answers),
                {k: list(v) for k, v in self._times.items()},
                dict(self._seconds),
            )
        said = ["# HELP board_requests_total Requests answered.", "# TYPE board_requests_total counter"]
        said += [
            f'board_requests_total{{kind="{kind}",status="{status}"}} {count}'
            for (kind, status), count in sorted(answers.items())
        ]
        said += ["# HELP board_request_seconds Time to an answer.", "# TYPE board_request_seconds histogram"]
        for kind, counts in sorted(times.items()):
            for most, count in zip((*map(str, BUCKETS), "+Inf"), counts, strict=True):
                said.append(f'board_request_seconds_bucket{{kind="{kind}",le="{most}"}} {count}')
            said.append(f'board_request_seconds_sum{{kind="{kind}"}} {sums[kind]:.6f}')
            said.append(f'board_request_seconds_count{{kind="{kind}"}} {counts[-1]}')
        return said


def kind_of(method: str, path: str) -> str:
    """Return what kind of request it is; there are few kinds, whatever is asked for."""
    if path == LIVE:
        return "live"
    if path in (HEALTH, METRICS):
        return "probe"
    if path == CALLBACK:
        return "callback"
    if path.startswith(FILES):
        return "file"
    return "entry" if method == "POST" and path.startswith("/write") else "page"


def measured(application: Application, measures: Measures) -> Application:
    """Return an application whose requests are named, counted and logged."""

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        method, path = str(environ.get("REQUEST_METHOD", "")), str(environ.get("PATH_INFO", ""))
        kind, name, status = kind_of(method, path), secrets.token_hex(8), [500]
        before, token = time.perf_counter(), asked_as.set(name)

        def begin(line: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            status[0] = int(line.split(" ", 1)[0])
            return start(line, [*headers, ("X-Request-Id", name)], *more)

        try:
            return application(environ, begin)
        finally:
            seconds = time.perf_counter() - before
            measures.add(kind, status[0], seconds)
            if kind not in OFTEN or status[0] >= 400:
                told = {"method": method[:10], "path": path[:LONGEST_PATH], "status": status[0], "ms": seconds * 1000}
                log.info("asked", extra={"told": told})
            asked_as.reset(token)

    return answer


# the log


def set_up_log(form: Literal["plain", "json"] | None) -> None:
    """Write the log to the standard error, a line each; None: what goes wrong alone, as words."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else PlainLines())
    root = logging.getLogger()
    for each in [each for each in root.handlers if isinstance(each.formatter, JsonLines | PlainLines)]:
        root.removeHandler(each)
    root.addHandler(handler)
    for name in ("dashboard", "spc"):
        logging.getLogger(name).setLevel(logging.WARNING if form is None else logging.INFO)


def told_of(record: logging.LogRecord) -> dict[str, Any]:
    """Return what a line of the log says."""
    said: dict[str, Any] = {
        "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
        "level": record.levelname.lower(),
        "from": record.name,
        "says": record.getMessage(),
    }
    if asked_as.get():
        said["request"] = asked_as.get()
    told = getattr(record, "told", None)
    if isinstance(told, dict):
        said |= told | ({"ms": round(float(told["ms"]), 1)} if "ms" in told else {})
    if record.exc_info:
        said["trace"] = logging.Formatter().formatException(record.exc_info)
    return said


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        return json.dumps(told_of(record))


class PlainLines(logging.Formatter):
    """Words, a line each; a trace below."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        said = told_of(record)
        trace = said.pop("trace", "")
        line = f"{said.pop('at')} {said.pop('level')} {said.pop('from')}: {said.pop('says')}"
        more = " ".join(
            f"{key}={value!r}" if isinstance(value, str) else f"{key}={value}" for key, value in said.items()
        )
        line = " ".join(
            part
            for part in ("".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line), more)
            if part
        )
        return f"{line}\n{trace}" if trace else line
