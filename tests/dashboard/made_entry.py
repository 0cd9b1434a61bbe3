"""The made line in a store, with a site catalogue: some limits confirmed, some not. Readings can be written into it."""

from datetime import datetime, timedelta
from pathlib import Path

from dashboard.queries import Queries
from dashboard.settings import Settings
from spc.store.files import import_events, import_log
from spc.store.store import Store
from spc.store.watch import StoreWatch
from tests.dashboard.made_line import NOW, ZONE, write_line

TODAY = NOW + timedelta(days=1)
"""A day after the last readings: much is due."""

CATALOGUE = """
[check.bath_concentration]
resolution = 0.01
[check.bath_concentration.acceptance]
document = "Procedure 12, 4.1"
revision = "B"
[check.ammeter.acceptance]
document = "Procedure 12, 5"
revision = "B"
[check.notched_shim.acceptance]
document = "Procedure 12, 6"
revision = "B"
"""

CALENDAR = """
[[shift]]
name = "A"
start = "06:00"
end = "14:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
[[shift]]
name = "B"
start = "14:00"
end = "22:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
[[stream]]
line = "Line 2"
check = "water_break"
position = "tank 2"
from = 2026-04-01
[[stream]]
line = "Line 2"
check = "yoke_lift"
position = "yoke 1"
from = 2026-01-01
to = 2026-03-31
"""


def stored_settings(folder: Path, *, calendar: bool = True) -> Settings:
    """Bring the made line into a store; return what to start a board on it with."""
    settings = write_line(folder)
    catalogue, plan, store = folder / "site.toml", folder / "calendar.toml", folder / "store.db"
    catalogue.write_text(CATALOGUE, encoding="utf-8")
    plan.write_text(CALENDAR, encoding="utf-8")
    from spc.catalogue.load import load_catalogue

    known = load_catalogue(catalogue)
    assert settings.log is not None
    assert settings.events is not None
    with Store.open(store) as kept:
        import_log(kept, settings.log, known, zone=ZONE, dates=None, who="importer", now=NOW)
        import_events(kept, settings.events, known, zone=ZONE, dates=None, who="importer", now=NOW)
    return Settings(
        store=str(store), catalogue=catalogue, zone=ZONE, title="Hall 4", calendar=plan if calendar else None
    )


def stored_queries(settings: Settings, now: datetime = TODAY) -> Queries:
    """Return queries on the store of `settings`, the clock standing at `now`."""
    source = StoreWatch(settings.store, catalogue=settings.catalogue, zone=settings.zone)
    return Queries(source, settings, clock=lambda: now)
