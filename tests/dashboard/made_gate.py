"""A board with one account a role, and every address and callback that it has."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from dashboard.auth import OPEN, OPEN_SUITES
from spc.store.store import Store

NOW = datetime(2026, 4, 10, 14, 0, tzinfo=UTC)
GOOD = "four plain words here"


class Clock:
    """A clock that stands until it is set on."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now

    def on(self, **more: float) -> None:
        self.now += timedelta(**more)


@dataclass
class Site:
    """A board on a store with one account a role, each named by it."""

    server: Flask
    app: Any
    store: Store
    clock: Clock
    file: Path

    def client(self, name: str = "", *, wall: bool = False) -> FlaskClient:
        """Return a browser; one that is signed in if a name is given."""
        client = self.server.test_client()
        if name:
            answer = sign_in(client, name, wall=wall)
            assert answer.status_code == 200, answer.text
        return client


def sign_in(client: FlaskClient, name: str, password: str = GOOD, **more: Any) -> Any:
    return client.post("/sign-in", json={"name": name, "password": password, **more})


def callback_bodies(app: Any) -> list[dict[str, Any]]:
    """Return a request for every callback that the server answers."""
    bodies = []
    for made in app._callback_list:
        if made.get("clientside_function"):
            continue
        names = re.split(r"(?<!\\)\.\.\.", made["output"].removeprefix("..").removesuffix(".."))
        outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
        several = made["output"].startswith("..")
        bodies.append(
            {
                "output": made["output"],
                "outputs": outputs if several else outputs[0],
                "changedPropIds": [f"{one['id']}.{one['property']}" for one in made["inputs"]],
                "inputs": [{**one, "value": None} for one in made["inputs"]],
                "state": [{**one, "value": None} for one in made.get("state", [])],
            }
        )
    return bodies


def routes(site: Site) -> list[tuple[str, str]]:
    """Return every method and address that the server knows, its variable parts filled in."""
    found = []
    for rule in site.server.url_map.iter_rules():
        if rule.endpoint in OPEN or rule.rule.startswith(OPEN_SUITES):
            continue
        address = re.sub(r"<[^>]+>", "x", rule.rule)
        found += [(method, address) for method in sorted((rule.methods or set()) - {"OPTIONS", "HEAD"})]
    return found
