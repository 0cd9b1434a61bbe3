"""The dashboard as a running server: follows the log, answers browsers, ends cleanly."""

import errno
import logging
import signal
import socket
import sys
from threading import Event, Thread
from types import FrameType
from typing import Any
from urllib.error import URLError
from urllib.request import ProxyHandler, build_opener

from dashboard.app import create_app
from dashboard.queries import Queries, SetupError, Source, watch
from dashboard.settings import Settings
from dashboard.urls import LIVE

LOOKS_EVERY = 0.4
"""Seconds between two looks at the log, so that with the browser's own a row is on the screen well within two."""

THREADS = 8
CONNECTIONS = 600
"""A browser keeps up to six; a hundred screens."""

IDLE_SECONDS = 30
ANSWERS_WITHIN = 30.0
ASKS_EVERY = 0.1

log = logging.getLogger(__name__)


def serve(settings: Settings) -> None:
    """Show the dashboard until Ctrl-C or a request to end.

    Raises:
        SpcError: the log cannot be read, or the port cannot be had.
    """
    source = watch(settings)
    server = create_server(settings, create_app(Queries(source, settings)).server)
    end = Event()
    helpers = [Thread(target=announce, args=(settings, server, end), daemon=True, name="announce")]
    if settings.follow:
        helpers.append(Thread(target=follow, args=(source, end), daemon=True, name="follow"))
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        for helper in helpers:
            helper.start()
        server.run()
    finally:
        signal.signal(signal.SIGTERM, before)
        end.set()
        server.close()
        for helper in helpers:
            helper.join(timeout=2.0)


def follow(source: Source, end: Event) -> None:
    """Look at the log again and again until `end` is set; a look that goes wrong is logged and ends nothing."""
    while not end.wait(LOOKS_EVERY):
        try:
            source.poll()
        except Exception:
            log.exception("the log could not be looked at")


def create_server(settings: Settings, application: Any) -> Any:
    """Return a server that holds its port.

    Raises:
        SetupError: the port is taken, or may not be had.
    """
    import waitress  # type: ignore[import-untyped]  # it comes without types

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a request that waits a moment is no news
    try:
        return waitress.create_server(
            application,
            host=settings.host,
            port=_port(settings),
            threads=THREADS,
            connection_limit=CONNECTIONS,
            channel_timeout=IDLE_SECONDS,
            asyncore_use_poll=True,
            ident=None,
            clear_untrusted_proxy_headers=True,
        )
    except (OSError, ValueError) as error:
        raise SetupError(_why_not(settings, error)) from None


def _port(settings: Settings) -> int:
    """Return the port; refuse one that something answers on, which some systems would share."""
    if settings.port:
        with socket.socket(socket.AF_INET6 if ":" in settings.host else socket.AF_INET) as probe:
            probe.settimeout(0.5)
            if probe.connect_ex((settings.host, settings.port)) == 0:
                raise OSError(errno.EADDRINUSE, "taken")
    return settings.port


def _why_not(settings: Settings, error: OSError | ValueError) -> str:
    where = f"port {settings.port} on {settings.host}"
    match getattr(error, "errno", None):
        case errno.EADDRINUSE:
            return f"{where} is taken; name another with --port, or --port 0 for any free one"
        case errno.EACCES:
            return f"{where} needs rights this user does not have; name one above 1023 with --port"
    return f"{where} cannot be had ({error}); name another --host or --port"


def announce(settings: Settings, server: Any, end: Event) -> None:
    """Print the address as soon as the dashboard really answers there."""
    address = address_of(settings, server)
    for _ in range(round(ANSWERS_WITHIN / ASKS_EVERY)):
        if answers(address):
            print(f"The board is at {address}/  (Ctrl-C ends it)", flush=True)  # noqa: T201
            if not settings.on_this_machine_alone:
                _say("Anyone who can reach this machine over the network can read it: it has no accounts.")
            return
        if end.wait(ASKS_EVERY):
            return
    _say(f"The board does not answer at {address}/ after {ANSWERS_WITHIN:g} s; see whether something blocks it.")


def answers(address: str) -> bool:
    """Return whether the dashboard itself answers at `address`."""
    try:
        with build_opener(ProxyHandler({})).open(address + LIVE, timeout=2.0) as answer:
            return b'"version"' in answer.read()
    except (URLError, OSError):
        return False


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)  # noqa: T201


def address_of(settings: Settings, server: Any) -> str:
    """Return the address a browser on this machine opens."""
    port = server.effective_port
    host = {"0.0.0.0": "127.0.0.1", "::": "[::1]", "::1": "[::1]"}.get(settings.host, settings.host)
    return f"http://{host}:{port}"


def _interrupt(signum: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
