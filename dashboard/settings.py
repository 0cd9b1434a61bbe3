"""What a dashboard is started with."""

from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Literal

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class Settings:
    """One dashboard on one check log, or on a store."""

    log: Path | None = None  # with a store: whose rows go into it as they arrive
    store: str | None = None  # file or URL; None: the log alone
    events: Path | None = None
    catalogue: Path | None = None
    zone: tzinfo | None = None  # None: the machine's
    dates: str | None = None
    calendar: Path | None = None  # when the site works; None: around the clock
    clock: Literal["machine", "log"] = "machine"  # log: the time is that of the newest row, as in a demonstration
    title: str = "Process control board"  # what the site calls it
    fleet: Path | None = None  # results of a run over many lines, for the fleet page
    follow: bool = True  # whether the log is read again as it grows
    host: str = "127.0.0.1"
    port: int = 8050  # 0: any free one
    behind_proxy: str | None = None  # name under which a proxy on this machine lets others in, over TLS
    log_format: Literal["plain", "json"] | None = None  # of a line for each request; None: what goes wrong alone
    idle_minutes: float = 15.0  # after so long without a touch a screen asks again who is there

    @property
    def on_this_machine_alone(self) -> bool:
        """Whether nobody else on the network can open it."""
        return self.host in LOOPBACK
