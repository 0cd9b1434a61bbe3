"""Many sockets that say nothing, half of something, or never read their answer: a screen is answered all the same."""

import http.client
import random
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from dashboard import server
from dashboard.app import create_app
from dashboard.requests import Measures
from dashboard.settings import Settings
from dashboard.urls import HEALTH, LIVE, WRITE_KEEP
from tests.dashboard.made_line import asked, write_line

SOCKETS = 200
HOST = b"Host: 127.0.0.1\r\n"
IDLE = (
    b"",
    b"G",
    b"GET / HTTP/1.1\r\n" + HOST + b"X-Half: ",
    b"POST " + WRITE_KEEP.encode() + b" HTTP/1.1\r\n" + HOST + b"Content-Type: application/json\r\n"
    b"Content-Length: 400\r\n\r\n{",
    b"GET " + LIVE.encode() + b" HTTP/1.1\r\n" + HOST + b"\r\n",  # answered, and kept open
    (b"GET /_dash-layout HTTP/1.1\r\n" + HOST + b"\r\n") * 20,  # asks, and never reads
)
"""What a socket sends before it falls silent."""


@pytest.fixture
def running(tmp_path, monkeypatch) -> Iterator[Any]:
    """Serve a board as `spc serve` does, but with all patience, so that no idle socket is let go meanwhile."""
    monkeypatch.setattr(server, "IDLE_SECONDS", 600)
    settings = Settings(port=0)
    app = create_app(asked(write_line(tmp_path)))
    running = server.create_server(server.bound(settings), server.layers(app.server, settings, Measures()))
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    yield running
    running.task_dispatcher.shutdown(timeout=1)
    for channel in list(running.active_channels.values()):
        channel.handle_close()
    running.close()
    thread.join(timeout=10)


def status_of(port: int, path: str) -> int:
    """Return the status of an answer that was read whole."""
    screen = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        screen.request("GET", path)
        with screen.getresponse() as answer:
            assert answer.read()
            return answer.status
    finally:
        screen.close()


def test_two_hundred_idle_sockets_keep_no_screen_waiting(running):
    generator, port = random.Random(9), running.effective_port
    with ExitStack() as open_sockets:
        idle = [open_sockets.enter_context(socket.create_connection(("127.0.0.1", port), 60)) for _ in range(SOCKETS)]
        for each in idle:
            each.sendall(generator.choice(IDLE))

        answers = [status_of(port, path) for path in ("/", LIVE, HEALTH, "/_dash-layout") for _ in range(3)]

        assert answers == [200] * 12
        assert SOCKETS <= len(running.active_channels) < server.CONNECTIONS
