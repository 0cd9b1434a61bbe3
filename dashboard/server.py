"""The dashboard as a running server: follows the log, answers browsers, reads its files anew, ends cleanly."""

import errno
import logging
import re
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import timedelta
from functools import cache
from ipaddress import ip_address
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Thread
from types import FrameType
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import ProxyHandler, build_opener

from dashboard.app import create_app
from dashboard.auth import FROM_HERE
from dashboard.notify import tell, tell_reloading
from dashboard.queries import Queries, SetupError, Source, watch
from dashboard.queries.accounts import AccountBook
from dashboard.requests import LARGEST_BODY, Application, Measures, measured, set_up_log
from dashboard.sessions import Lasting, Sessions, sessions_file
from dashboard.settings import LOOPBACK, Settings
from dashboard.urls import HEALTH, LIVE, METRICS

LOOKS_EVERY = 0.15
"""Seconds between two looks at the log, so that with the browser's own a row is on the screen within one."""

THREADS = 8
CONNECTIONS = 600
"""A browser keeps up to six; a hundred screens."""

SWITCHES_EVERY = 0.001
"""Seconds after which a thread that reckons lets others go on: short answers must not wait for a long one."""

M_ARENA_MAX, HEAPS = -8, 2
"""The number by which glibc knows the setting (malloc.h), and how many heaps there may be."""

BACKLOG = 1024
"""Browsers that may wait to be let in."""

EVERY_ADDRESS = ("0.0.0.0", "::")
IDLE_SECONDS = 30
LARGEST_HEADER = 64 * 1024
"""Bytes of what leads a request."""

ANSWERS_WITHIN = 30.0
ASKS_EVERY = 0.1
FINISHES_WITHIN = 5.0
"""Seconds that requests have to finish when the board ends."""

FORWARDED = ("HTTP_FORWARDED", "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST")

NEEDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO")
"""What a proxy has to say of each request. One that is silent would make everybody look like a program on this machine;
as it gets no page, whoever sets it up sees that at once."""

FOR_PROGRAMS = (HEALTH, METRICS, LIVE)
"""What programs on this machine ask past the proxy: of these the gate lets nobody see the line without a session."""

MUTE_PROXY = (
    "This board was started with --behind-proxy {name} and is opened at https://{name} alone.\n"
    "If you came that way: its proxy does not tell who asks. Let it send X-Forwarded-For, X-Forwarded-Proto and Host.\n"
)
OTHER_NAME = (
    "This board does not answer under the name in your address bar.\n"
    "Open it by the address that was printed when it started, or by the address or name of its own machine.\n"
    "To reach it from other machines, it has to be started with --host; under another name, with --behind-proxy NAME.\n"
)

NAME = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*\.?")
"""A name of a machine, or an IPv4 address, as it stands before the port."""

log = logging.getLogger(__name__)


def serve(settings: Settings) -> None:
    """Show the dashboard until Ctrl-C or a request to end (SIGTERM); SIGHUP reads catalogue and calendar anew.

    Raises:
        SpcError: the log cannot be read, or the port cannot be had.
    """
    set_up_log(settings.log_format)
    listener, measures = bound(settings), Measures()
    try:
        source = watch(settings)
        queries = Queries(source, settings)
        refuse_strangers(queries, settings)
        application = layers(create_app(queries, sessions_of(settings), measures).server, settings, measures)
    except BaseException:
        listener.close()
        raise
    server = create_server(listener, application)
    sys.setswitchinterval(SWITCHES_EVERY)
    share_heaps()
    end, wishes = Event(), SimpleQueue[bool]()
    helpers = [
        Thread(target=announce, args=(settings, server, end), daemon=True, name="announce"),
        Thread(target=reload_on, args=(wishes, queries), daemon=True, name="reload"),
    ]
    if settings.follow:
        helpers.append(Thread(target=follow, args=(source, end), daemon=True, name="follow"))
    before = signal.signal(signal.SIGTERM, _interrupt)
    hang_up = getattr(signal, "SIGHUP", None)  # not on Windows
    hung_up = signal.signal(hang_up, lambda signum, frame: wishes.put(True)) if hang_up is not None else None
    try:
        for helper in helpers:
            helper.start()
        run(server)
    finally:
        tell("STOPPING=1")
        end.set()
        wishes.put(False)
        server.close()
        for helper in helpers:
            helper.join(timeout=2.0)
        if source.store is not None:
            source.store.close()
        signal.signal(signal.SIGTERM, before)
        if hang_up is not None:
            signal.signal(hang_up, hung_up)


def share_heaps() -> None:
    """Let all threads share two heaps, where the system's library is glibc: with one each, what is freed stays held."""
    if not sys.platform.startswith("linux"):
        return
    import ctypes

    with suppress(OSError, AttributeError):  # another library, which has no such setting
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, HEAPS)


def run(server: Any) -> None:
    """Answer until Ctrl-C or SIGTERM; requests that were taken in are answered then, nobody else is let in."""
    try:
        server.asyncore.loop(timeout=server.adj.asyncore_loop_timeout, map=server._map, use_poll=True)
    except (KeyboardInterrupt, SystemExit):
        signal.signal(signal.SIGTERM, signal.SIG_IGN)  # it ends already
        work, until = server.task_dispatcher, time.monotonic() + FINISHES_WITHIN
        while (work.queue or work.active_count) and time.monotonic() < until:
            time.sleep(0.01)
        work.shutdown(timeout=1.0)


def reload_on(wishes: "SimpleQueue[bool]", queries: Queries) -> None:
    """Read catalogue and calendar anew at each wish, until one is False."""
    while wishes.get():
        tell_reloading()
        try:
            said = queries.reload()
        except Exception:
            log.exception("catalogue and calendar could not be read anew")
        else:
            log.log(logging.ERROR if said else logging.INFO, "%s", said or "Catalogue and calendar were read anew")
        tell("READY=1")


def refuse_strangers(queries: Queries, settings: Settings) -> None:
    """Refuse to listen to other machines where nobody would have to sign in.

    Raises:
        SetupError: so.
    """
    if settings.behind_proxy and not settings.on_this_machine_alone:
        raise SetupError(
            f"--behind-proxy with --host {settings.host} would believe what anyone on the network says of themselves; "
            "let the proxy run on this machine and leave --host out"
        )
    if settings.behind_proxy and not NAME.fullmatch(settings.behind_proxy):
        raise SetupError(
            f"--behind-proxy {settings.behind_proxy}: write the name alone, without https:// and without a port, as in "
            "board.plant.example"
        )
    if (settings.on_this_machine_alone and not settings.behind_proxy) or AccountBook(queries).accounts():
        return
    way = f"--behind-proxy {settings.behind_proxy}" if settings.behind_proxy else f"--host {settings.host}"
    if queries.store is None:
        raise SetupError(
            f"{way} would show this log to anyone on the network: a bare log keeps no accounts; serve "
            "a store (--store FILE --follow LOG) and make an account: "
            "spc user add NAME --role administrator --store FILE"
        )
    raise SetupError(
        f"{way} would let anyone on the network in: the store has no accounts; make one first: "
        f"spc user add NAME --role administrator --store {queries.store.name}"
    )


def sessions_of(settings: Settings) -> Sessions:
    """Return who is signed in, as this machine's user keeps it between two starts of the board on one store."""
    from platformdirs import user_data_path

    lasting = Lasting(idle=timedelta(minutes=settings.idle_minutes))
    if settings.store is None:
        return Sessions(lasting=lasting)
    place = settings.store if "://" in settings.store else str(Path(settings.store).expanduser().resolve())
    return Sessions(sessions_file(user_data_path("spc", appauthor=False), place), lasting=lasting)


def follow(source: Source, end: Event) -> None:
    """Look at the log again and again until `end` is set; a look that goes wrong is logged and ends nothing."""
    while not end.wait(LOOKS_EVERY):
        try:
            source.poll()
        except Exception:
            log.exception("the log could not be looked at")


def bound(settings: Settings) -> socket.socket:
    """Return a socket that holds the port; nothing is sent to the host, which may be a wrong one.

    Raises:
        SetupError: the port is taken, or may not be had.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind, protocol)
        try:
            exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)  # where two programs could share a port otherwise
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR if exclusive is None else exclusive, 1)
            listener.bind(address)
            listener.listen(BACKLOG)
        except BaseException:
            listener.close()
            raise
    except (OSError, ValueError) as error:
        raise SetupError(_why_not(settings, error)) from None
    return listener


def create_server(listener: socket.socket, application: Any) -> Any:
    """Return a server on the port that `listener` holds."""
    import waitress  # type: ignore[import-untyped]  # it comes without types

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a request that waits a moment is no news
    return waitress.create_server(
        application,
        sockets=[listener],
        threads=THREADS,
        connection_limit=CONNECTIONS,
        channel_timeout=IDLE_SECONDS,
        max_request_header_size=LARGEST_HEADER,
        max_request_body_size=LARGEST_BODY,
        asyncore_use_poll=True,
        ident=None,
        clear_untrusted_proxy_headers=False,  # `layers` does it, and notes that there was a proxy
    )


def layers(application: Application, settings: Settings, measures: Measures) -> Application:
    """Return an application with all around it: who asks and through what, under which name, and how long it took."""
    inner = measured(only_by_name(application, settings), measures)
    if settings.behind_proxy is not None:
        from werkzeug.middleware.proxy_fix import ProxyFix

        inner = ProxyFix(inner, x_for=1, x_proto=1, x_host=1)

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        through = any(name in environ for name in FORWARDED)
        if not through and environ.get("REMOTE_ADDR") in LOOPBACK:
            environ[FROM_HERE] = True
        if settings.behind_proxy is None:
            for name in FORWARDED:
                environ.pop(name, None)
        elif not all(environ.get(name) for name in NEEDED) and environ.get("PATH_INFO") not in FOR_PROGRAMS:
            return misdirected(start, MUTE_PROXY.format(name=settings.behind_proxy))
        return inner(environ, start)

    return answer


def misdirected(start: Callable[..., Any], words: str) -> Iterable[bytes]:
    """Answer that a request did not come the way that this board is reached."""
    start("421 Misdirected Request", [("Content-Type", "text/plain; charset=utf-8"), ("Cache-Control", "no-store")])
    return [words.encode()]


def only_by_name(application: Application, settings: Settings) -> Application:
    """Return an application that answers only under the names of this machine.

    A page of a stranger's site can make its own name stand for this machine's address (DNS rebinding) and would then
    read the board through the browser of whoever opened it; the name it asks under gives it away.
    """

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if name_allowed(environ.get("HTTP_HOST", ""), settings):
            return application(environ, start)
        return misdirected(start, OTHER_NAME)

    return answer


def name_allowed(host: str, settings: Settings) -> bool:
    """Return whether a request that asks for `host`, with or without its port, means this machine."""
    name = host.rpartition("]")[0].removeprefix("[") if host.startswith("[") else host.partition(":")[0]
    name = name.lower().rstrip(".")
    if name in LOOPBACK or name in (settings.host.lower(), (settings.behind_proxy or "").lower().rstrip(".") or None):
        return True
    if settings.on_this_machine_alone:
        return False
    try:  # an address is no name that a stranger could point elsewhere
        ip_address(name)
    except ValueError:
        return name in own_names()
    return settings.host in EVERY_ADDRESS


@cache
def own_names() -> frozenset[str]:
    """Return the names of this machine: asked for once, as a network without a name server answers late.

    The one in .local is how tablets find it on such a network (RFC 6762: multicast DNS).
    """
    name = socket.gethostname().lower()
    return frozenset({name, f"{name.partition('.')[0]}.local", socket.getfqdn().lower()})


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
            tell("READY=1", f"STATUS=The board is at {address}/")
            if not settings.on_this_machine_alone:
                _say(
                    "Other machines may sign in. What goes over the network is not encrypted: passwords can be read on "
                    "the way, so keep it to a network you trust, or put a server with TLS before it."
                )
            return
        if end.wait(ASKS_EVERY):
            return
    _say(f"The board does not answer at {address}/ after {ANSWERS_WITHIN:g} s; see whether something blocks it.")


def answers(address: str) -> bool:
    """Return whether the dashboard itself answers at `address`."""
    try:
        with build_opener(ProxyHandler({})).open(address + LIVE, timeout=2.0) as answer:
            return b'"version"' in answer.read()
    except HTTPError as error:
        return error.code == 401 and b'"says"' in error.read()
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
