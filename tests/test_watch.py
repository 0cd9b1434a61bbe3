"""A bare log under watch takes another catalogue, or says why not and keeps the one before."""

from datetime import UTC

from spc.records import StreamKey
from spc.watch import Watch

BATH = StreamKey("Line 1", "bath_concentration", "tank")
LOG = "taken_at,line,check,position,value\n" + "".join(
    f"2025-03-{day:02}T06:10,Line 1,bath_concentration,tank,{value}\n" for day, value in enumerate((0.2, 0.3, 0.2), 1)
)
TIGHTER = """\
[check.bath_concentration.acceptance]
rule = "fixed"
lower = 0.15
upper = 0.25
document = "Procedure 7"
revision = "C"
"""


def watched(tmp_path):
    log, catalogue = tmp_path / "log.csv", tmp_path / "site.toml"
    log.write_text(LOG)
    catalogue.write_text("")
    return Watch(log, catalogue=catalogue, zone=UTC), catalogue


def failures(watch: Watch) -> list[int]:
    return [failure.row for failure in watch.snapshot.scan.stream("Line 1", BATH.check).failures]


def test_all_readings_are_judged_by_a_catalogue_that_is_read_anew(tmp_path):
    watch, catalogue = watched(tmp_path)
    before = watch.snapshot
    catalogue.write_text(TIGHTER)

    assert failures(watch) == []
    assert watch.reload() is None
    assert failures(watch) == [3]
    assert watch.snapshot.version > before.version
    assert watch.snapshot.changed == {BATH: watch.snapshot.version}


def test_a_catalogue_with_a_mistake_is_not_taken_and_the_board_says_so_until_it_is_put_right(tmp_path):
    watch, catalogue = watched(tmp_path)
    catalogue.write_text(TIGHTER)
    watch.reload()
    catalogue.write_text(TIGHTER.replace("lower = 0.15", "lower = 0.35"))
    said = watch.reload()

    assert said is not None
    assert "site.toml" in said
    assert watch.snapshot.problem == said
    assert failures(watch) == [3]
    watch.poll()
    assert watch.snapshot.problem == said

    catalogue.write_text("")
    assert watch.reload() is None
    assert watch.snapshot.problem is None
    assert failures(watch) == []
