import os
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboard import server
from dashboard.queries import SetupError
from dashboard.settings import Settings
from tests.dashboard.made_line import write_line

ROOT = Path(__file__).parent.parent.parent
CODE = """
import sys
from pathlib import Path
from dashboard.server import serve
from dashboard.settings import Settings
serve(Settings(log=Path(sys.argv[1]), port=0))
"""


def test_a_taken_port_is_refused_with_what_to_do(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        settings = replace(write_line(tmp_path), port=taken.getsockname()[1])
        with pytest.raises(SetupError, match=f"port {settings.port} on 127.0.0.1 is taken; name another with --port"):
            server.serve(settings)


def test_a_host_that_is_not_here_is_refused(tmp_path):
    settings = replace(write_line(tmp_path), host="192.0.2.1", port=0)  # an address for examples, RFC 5737

    with pytest.raises(SetupError, match=r"192\.0\.2\.1 cannot be had"):
        server.create_server(settings, None)


def test_it_is_on_this_machine_alone_unless_told_otherwise():
    settings = Settings(log=Path("log.csv"))

    assert settings.on_this_machine_alone
    assert not replace(settings, host="0.0.0.0").on_this_machine_alone


@pytest.mark.parametrize(
    ("host", "address"),
    [("127.0.0.1", "http://127.0.0.1:81"), ("0.0.0.0", "http://127.0.0.1:81"), ("::1", "http://[::1]:81")],
)
def test_the_address_is_one_a_browser_here_can_open(host, address):
    settings = Settings(log=Path("log.csv"), host=host)

    assert server.address_of(settings, SimpleNamespace(effective_port=81)) == address


def test_no_address_is_named_where_nothing_answers(monkeypatch, capsys):
    monkeypatch.setattr(server, "ANSWERS_WITHIN", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as closed_soon:
        port = closed_soon.getsockname()[1]
    settings = Settings(log=Path("log.csv"))
    server.announce(settings, SimpleNamespace(effective_port=port), threading.Event())
    said = capsys.readouterr()

    assert said.out == ""
    assert f"does not answer at http://127.0.0.1:{port}/" in said.err


def test_a_look_that_goes_wrong_ends_nothing(monkeypatch, caplog):
    monkeypatch.setattr(server, "LOOKS_EVERY", 0.001)
    end = threading.Event()
    looks: list[int] = []

    def poll() -> bool:
        looks.append(1)
        if len(looks) == 1:
            raise RuntimeError("the disk is gone")
        end.set()
        return False

    server.follow(SimpleNamespace(snapshot=None, poll=poll), end)

    assert len(looks) == 2
    assert "the disk is gone" in caplog.text


@pytest.mark.skipif(os.name == "nt", reason="Windows sends no such signals to a child")
@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_it_says_its_address_once_it_answers_and_ends_cleanly(tmp_path, ending):
    settings = write_line(tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-c", CODE, str(settings.log)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        address = said.split()[4]
        host, port = address.removeprefix("http://").rstrip("/").split(":")
        with socket.create_connection((host, int(port)), timeout=5):
            pass
        started = time.monotonic()
        process.send_signal(ending)
        _, errors = process.communicate(timeout=20)
    finally:
        process.kill()
        process.wait()

    assert said.startswith("The board is at http://127.0.0.1:")
    assert process.returncode == 0, errors
    assert "Traceback" not in errors
    assert time.monotonic() - started < 10
