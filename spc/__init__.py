"""Process control for wet fluorescent magnetic particle testing lines.

The public names. Each is loaded from its module when it is first used, so that `import spc` costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spc.catalogue.acceptance import Acceptance
    from spc.catalogue.check import Catalogue, Check
    from spc.catalogue.load import load_catalogue
    from spc.charts.individuals import IndividualsLimits, individuals_limits
    from spc.errors import CatalogueError, InputError, LogError, SetupError, SpcError
    from spc.ingest.csv_log import CheckLog, read_log
    from spc.ingest.event_log import EventLog, read_events
    from spc.monitor import monitor_stream
    from spc.records import Bound, Event, QuarantinedRow, Reading, Readings, RowCount, StreamKey
    from spc.results import Failure, Forecast, Limits, Segment, Signal, StreamResult
    from spc.rules import RULES, Rule, RuleSetting, run_rules
    from spc.scan import Scan
    from spc.scan import scan as scan_log  # `spc.scan` is the module
    from spc.signals import Episode, StreamState, episodes, stream_state

__all__ = [
    "RULES",
    "Acceptance",
    "Bound",
    "Catalogue",
    "CatalogueError",
    "Check",
    "CheckLog",
    "Episode",
    "Event",
    "EventLog",
    "Failure",
    "Forecast",
    "IndividualsLimits",
    "InputError",
    "Limits",
    "LogError",
    "QuarantinedRow",
    "Reading",
    "Readings",
    "RowCount",
    "Rule",
    "RuleSetting",
    "Scan",
    "Segment",
    "SetupError",
    "Signal",
    "SpcError",
    "StreamKey",
    "StreamResult",
    "StreamState",
    "episodes",
    "individuals_limits",
    "load_catalogue",
    "monitor_stream",
    "read_events",
    "read_log",
    "run_rules",
    "scan_log",
    "stream_state",
]

_HOMES = {
    "spc.catalogue.acceptance": ("Acceptance",),
    "spc.catalogue.check": ("Catalogue", "Check"),
    "spc.catalogue.load": ("load_catalogue",),
    "spc.charts.individuals": ("IndividualsLimits", "individuals_limits"),
    "spc.errors": ("CatalogueError", "InputError", "LogError", "SetupError", "SpcError"),
    "spc.ingest.csv_log": ("CheckLog", "read_log"),
    "spc.ingest.event_log": ("EventLog", "read_events"),
    "spc.monitor": ("monitor_stream",),
    "spc.records": ("Bound", "Event", "QuarantinedRow", "Reading", "Readings", "RowCount", "StreamKey"),
    "spc.results": ("Failure", "Forecast", "Limits", "Segment", "Signal", "StreamResult"),
    "spc.rules": ("RULES", "Rule", "RuleSetting", "run_rules"),
    "spc.scan": ("Scan", "scan_log"),
    "spc.signals": ("Episode", "StreamState", "episodes", "stream_state"),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}
_NAME_AT_HOME = {"scan_log": "scan"}


if not TYPE_CHECKING:  # so that type checkers refuse a name that is not there

    def __getattr__(name: str) -> object:
        """Return a public name, importing its module."""
        if name not in _HOME:
            raise AttributeError(f"module 'spc' has no attribute {name!r}")
        found = globals()[name] = getattr(import_module(_HOME[name]), _NAME_AT_HOME.get(name, name))
        return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
