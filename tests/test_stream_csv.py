import csv
import io

import pytest

from spc.stream_csv import COLUMNS, stream_csv
from tests.dashboard.made_line import AMBIENT, AMMETER, BATH, LAMP, SHIM, ZONE, results

ALL = slice(None)


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    return results(tmp_path_factory.mktemp("line"))


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_every_reading_in_view_is_a_row_as_it_was_written(line):
    rows = read(stream_csv(line[BATH], ALL, ZONE))

    assert len(rows) == 80
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["taken_at"] == "2026-03-02T06:10"
    assert rows[0]["position"] == "tank"
    assert [row["value"] for row in rows] == [f"{value:.12g}" for value in line[BATH].readings.value]


def test_only_the_readings_asked_for_are_in_it(line):
    rows = read(stream_csv(line[BATH], slice(10, 13), ZONE))

    assert [row["row"] for row in rows] == [str(row) for row in line[BATH].readings.row[10:13]]


def test_failures_signals_and_limits_stand_beside_the_reading(line):
    ammeter, lamp = (read(stream_csv(line[key], ALL, ZONE)) for key in (AMMETER, LAMP))

    assert [row["failed"] for row in ammeter[-2:]] == ["no", "yes"]
    assert (ammeter[-1]["charted"], ammeter[-1]["chart_unit"]) == ("-13", "%")
    assert (ammeter[-1]["acceptance_lower"], ammeter[-1]["acceptance_upper"]) == ("-10", "10")
    assert lamp[-1]["signals"] == "drift"
    assert "beyond_limits" in lamp[-1]["rule_signals"]
    assert (lamp[0]["signals"], lamp[0]["rule_signals"]) == ("", "")
    assert float(lamp[-1]["centre_line"]) == pytest.approx(line[LAMP].segments[-1].limits.centre_line, rel=1e-11)


def test_words_bounds_and_absent_numbers(line):
    shim, ambient = (read(stream_csv(line[key], ALL, ZONE)) for key in (SHIM, AMBIENT))

    assert shim[30]["value"] == "not shown"
    assert shim[30]["failed"] == "yes"
    assert shim[50]["value"] == "not run"
    assert {shim[0][name] for name in ("reference", "charted", "control_lower")} == {""}
    assert "<0.1" in {row["value"] for row in ambient}


def test_a_cell_of_words_is_no_formula(line):
    assert read(stream_csv(line[BATH], ALL, ZONE))[12]["note"] == "'=1+1 <b>& note</b>"
    assert read(stream_csv(line[AMMETER], ALL, ZONE))[-1]["charted"] == "-13"  # a number stays one
