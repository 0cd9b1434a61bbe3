"""A board that has to be signed in on."""

from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.queries import Queries, watch
from dashboard.sessions import Sessions, sessions_file
from dashboard.settings import Settings
from spc.accounts import ROLES
from spc.store.accounts import add_account
from spc.store.store import Store
from tests.dashboard.made_gate import GOOD, NOW, Clock, Site
from tests.dashboard.made_line import write_line


@pytest.fixture(scope="module")
def made_site(tmp_path_factory) -> tuple[Settings, Path]:
    folder = tmp_path_factory.mktemp("site")
    line = write_line(folder)
    settings = Settings(log=line.log, events=line.events, zone=line.zone, store=str(folder / "spc.db"), title="Hall 4")
    source = watch(settings)
    assert source.store is not None
    for role in ROLES:
        add_account(source.store, role, role, GOOD, who="setup", now=NOW)
    source.store.close()
    return settings, folder


@pytest.fixture
def site(made_site, tmp_path) -> Any:
    settings, folder = made_site
    copy = tmp_path / "spc.db"
    with Store.open(folder / "spc.db") as kept:
        from spc.store.backup import backup

        backup(kept, copy)
    clock = Clock()
    source = watch(Settings(store=str(copy), zone=settings.zone))
    file = sessions_file(tmp_path, str(copy))
    app = create_app(Queries(source, Settings(store=str(copy), title="Hall 4"), clock=clock), Sessions(file))
    assert source.store is not None
    yield Site(app.server, app, source.store, clock, file)
    source.store.close()
