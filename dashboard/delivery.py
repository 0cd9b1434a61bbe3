"""Everything goes out small, and what never changes goes out once.

Answers are compressed; files of the program whose address tells their version may be kept for a year; the chart library
is its part that draws what figures here use, and is fetched once the page has been painted.
"""

import gzip
import hashlib
from functools import cache
from pathlib import Path
from threading import Lock
from urllib.parse import parse_qs

from flask import Flask, Request, Response, request
from flask_compress import Compress

VENDOR = Path(__file__).parent / "vendor"
BUNDLE = VENDOR / "plotly-basic-4.1.1.min.js.gz"
BUNDLE_TRACES = frozenset({"scatter", "bar", "pie"})
"""What the chart library here can draw; a test holds every figure to it."""

DASHS_OWN = "/_dash-component-suites/plotly/package_data/plotly.min.js"
"""Where Dash itself looks for the chart library."""

SUITES, ASSETS, ICON = "/_dash-component-suites/", "/assets/", "/_favicon.ico"
YEAR = 365 * 24 * 3600
PLAIN_FROM = 1_000
"""Bytes below which nothing is compressed."""


class Compressed:
    """The compressed forms of the program's own files, each made once. Any thread may ask."""

    def __init__(self) -> None:
        self._kept: dict[str, bytes] = {}
        self._lock = Lock()

    def get(self, key: str) -> bytes | None:
        """Return what is kept; None where nothing is."""
        with self._lock:
            return self._kept.get(key)

    def set(self, key: str, value: bytes) -> None:
        """Keep a file; answers about the line have no key and are not kept."""
        if not key.endswith(";"):
            with self._lock:
                self._kept[key] = value


def deliver(server: Flask) -> None:
    """Let everything that `server` sends go out small; called first, so that it acts on answers last."""
    server.config.update(
        COMPRESS_ALGORITHM=["br", "gzip"],
        COMPRESS_STREAMS=False,
        COMPRESS_BR_LEVEL=5,
        COMPRESS_LEVEL=6,
        COMPRESS_MIN_SIZE=PLAIN_FROM,
    )
    compress = Compress()
    compress.init_app(server)
    compress.cache, compress.cache_key = Compressed(), file_key
    server.after_request(keep_or_not)
    for place in (bundle_address(), DASHS_OWN):
        server.add_url_rule(place, "plotly_bundle", bundle)


def file_key(asked: Request) -> str:
    """Return what names a file of the program, whose compressed form is kept; "" for everything else."""
    if asked.path.startswith(SUITES):
        return asked.path
    return asked.full_path if asked.path.startswith(ASSETS) and "m" in asked.args else ""


def keep_or_not(answer: Response) -> Response:
    """Say how long a browser may keep an answer: files whose address tells their version, a year; the line, never."""
    if answer.status_code not in (200, 304):
        return answer
    if request.path.startswith(ASSETS):
        answer.direct_passthrough = False
        answer.make_sequence()  # a file is read at once and closed, to be compressed whole
        if "m" in parse_qs(request.query_string.decode("latin-1")):
            answer.headers["Cache-Control"] = f"public, max-age={YEAR}, immutable"
    elif request.path == ICON and "v" in request.args:  # browsers ask for it at every change of page
        answer.headers["Cache-Control"] = f"public, max-age={YEAR}, immutable"
    elif request.path.startswith(SUITES):
        if answer.cache_control.max_age:
            answer.headers["Cache-Control"] = f"public, max-age={YEAR}, immutable"
    elif "Cache-Control" not in answer.headers:
        answer.headers["Cache-Control"] = "no-store"
    return answer


@cache
def bundle_address() -> str:
    """Return the address of the chart library, which tells its content."""
    return f"/charts-{hashlib.sha256(BUNDLE.read_bytes()).hexdigest()[:16]}.js"


@cache
def _bundle() -> tuple[bytes, bytes]:
    packed = BUNDLE.read_bytes()
    return packed, gzip.decompress(packed)


def bundle() -> Response:
    """Send the chart library, as it is kept."""
    packed, plain = _bundle()
    takes = request.accept_encodings["gzip"] > 0
    answer = Response(packed if takes else plain, mimetype="text/javascript")
    if takes:
        answer.headers["Content-Encoding"] = "gzip"
    answer.headers["Vary"] = "Accept-Encoding"
    lasting = request.path == bundle_address()
    answer.headers["Cache-Control"] = f"public, max-age={YEAR}, immutable" if lasting else "no-cache"
    return answer
