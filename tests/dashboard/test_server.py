import os
import signal
import socket
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboard import server
from dashboard.queries import SetupError, SpcError
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
        server.bound(settings)


def test_a_wrong_host_is_not_contacted(tmp_path, monkeypatch):
    def connect(*args: object) -> None:
        raise AssertionError("somebody was contacted")

    monkeypatch.setattr(socket.socket, "connect", connect)
    monkeypatch.setattr(socket.socket, "connect_ex", connect)
    settings = replace(write_line(tmp_path), host="192.0.2.1", port=8050)

    with pytest.raises(SetupError, match=r"port 8050 on 192\.0\.2\.1 cannot be had"):
        server.serve(settings)


def test_a_log_that_is_refused_gives_the_port_back(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as free_soon:
        port = free_soon.getsockname()[1]
    with pytest.raises(SpcError):
        server.serve(Settings(log=tmp_path / "none.csv", port=port))

    server.bound(Settings(log=tmp_path / "none.csv", port=port)).close()


@pytest.mark.parametrize(
    ("bound_to", "asked", "allowed"),
    [
        ("127.0.0.1", "127.0.0.1:8050", True),
        ("127.0.0.1", "localhost:8050", True),
        ("127.0.0.1", "LOCALHOST", True),
        ("127.0.0.1", "[::1]:8050", True),
        ("127.0.0.1", "rebound.example:8050", False),
        ("127.0.0.1", "192.0.2.7:8050", False),
        ("127.0.0.1", "", False),
        ("192.0.2.7", "192.0.2.7:8050", True),
        ("192.0.2.7", "192.0.2.8:8050", False),
        ("192.0.2.7", "localhost", True),
        ("board.example", "board.example:8050", True),
        ("0.0.0.0", "192.0.2.7:8050", True),
        ("0.0.0.0", "[2001:db8::7]:8050", True),
        ("0.0.0.0", f"{socket.gethostname()}:8050", True),
        ("0.0.0.0", f"{socket.gethostname().partition('.')[0]}.local:8050", True),
        ("0.0.0.0", "other.local", False),
        ("0.0.0.0", "rebound.example", False),
        ("0.0.0.0", "127.0.0.1.rebound.example", False),
    ],
)
def test_it_answers_under_the_names_of_this_machine_alone(bound_to, asked, allowed):
    settings = Settings(log=Path("log.csv"), host=bound_to)
    told: list[str] = []
    application = server.only_by_name(lambda environ, start: [b"the board"], settings)
    answer = list(application({"HTTP_HOST": asked}, lambda status, headers: told.append(status)))

    assert server.name_allowed(asked, settings) == allowed
    assert (answer == [b"the board"]) == allowed
    assert told == ([] if allowed else ["421 Misdirected Request"])
    assert allowed or b"Open it by the address that was printed when it started" in answer[0]


def test_a_network_without_a_name_server_is_asked_once_for_the_name(monkeypatch):
    asked = []

    def own_name() -> str:
        asked.append(1)
        return "line-pc.plant.example"

    monkeypatch.setattr(socket, "getfqdn", own_name)
    server.own_names.cache_clear()
    try:
        settings = Settings(log=Path("log.csv"), host="0.0.0.0")
        assert server.name_allowed("192.0.2.7:8050", settings)
        assert asked == []
        assert all(server.name_allowed("line-pc.plant.example:8050", settings) for _ in range(3))
        assert asked == [1]
    finally:
        server.own_names.cache_clear()


@pytest.mark.parametrize("name", ["https://board.plant.example", "board.plant.example:8443", "board plant", ""])
def test_a_proxy_is_known_by_its_name_alone(name):
    settings = Settings(log=Path("log.csv"), behind_proxy=name or "/")

    with pytest.raises(SetupError, match="write the name alone"):
        server.refuse_strangers(None, settings)  # type: ignore[arg-type]  # refused before anything is asked


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
        with socket.create_connection((host, int(port)), timeout=60):
            pass
        process.send_signal(ending)
        _, errors = process.communicate(timeout=120)
    finally:
        process.kill()
        process.wait()

    assert said.startswith("The board is at http://127.0.0.1:")
    assert process.returncode == 0, errors
    assert "Traceback" not in errors
