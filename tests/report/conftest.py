"""A slice of the demo line: some months of some streams, read and reviewed once."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from spc.audit import Audit, Wanted, audit
from spc.demo import DEMO_ZONE, lay_out
from spc.report.gather import Asked, review_of
from spc.review import Review

NOW = datetime(2026, 11, 20, 15, tzinfo=UTC)
CHECKS = ("bath_concentration", "uva_irradiance", "ammeter", "known_defect_part", "residual_field")
COMMON = ("--zone", DEMO_ZONE, "--now", "2026-11-20T16:00")


@dataclass(frozen=True)
class Slice:
    """The files of the slice, and the options that name them."""

    log: Path
    events: Path
    catalogue: Path
    calendar: Path

    @property
    def words(self) -> list[str]:
        files = ["--events", self.events, "--catalogue", self.catalogue, "--calendar", self.calendar]
        return [str(self.log), *map(str, files), *COMMON]


@pytest.fixture(scope="session")
def demo_slice(tmp_path_factory) -> Slice:
    files = lay_out(tmp_path_factory.mktemp("demo"))
    lines = files.log.read_text(encoding="utf-8").splitlines()
    kept = [
        line
        for line in lines[1:]
        if line >= "2026-04" and line.split(",")[1] == "Line A" and line.split(",")[2] in CHECKS
    ]
    files.log.write_text("\n".join([lines[0], *kept]) + "\n", encoding="utf-8")
    return Slice(files.log, files.events, files.catalogue, files.calendar)


@pytest.fixture(scope="session")
def audited(demo_slice: Slice) -> Audit:
    return audit(
        demo_slice.log,
        events=demo_slice.events,
        catalogue=demo_slice.catalogue,
        calendar=demo_slice.calendar,
        zone=ZoneInfo(DEMO_ZONE),
        now=NOW,
    )


@pytest.fixture(scope="session")
def reviewed(audited: Audit) -> Review:
    return review_of(audited, Asked(Wanted()))
