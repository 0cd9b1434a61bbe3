"""`spc forecast`, as a person and as a script call it."""

import json
import random
from pathlib import Path

import pytest

from tests.command import run
from tests.test_scan import bath_rows, write


@pytest.fixture
def log(tmp_path: Path) -> Path:
    rng = random.Random(20250303)
    level = [0.25] * 40 + [0.25 - 0.005 * i for i in range(1, 25)]
    return write(tmp_path / "log.csv", bath_rows([round(x + rng.gauss(0, 0.008), 3) for x in level]))


def test_a_script_gets_the_same_forecast_as_from_a_scan(log, capsys):
    forecasts = json.loads(run(capsys, "forecast", log, "--zone", "Europe/Vienna", "--json")[1])
    streams = json.loads(run(capsys, "scan", log, "--zone", "Europe/Vienna", "--json")[1])["streams"]

    assert [each["forecast"] for each in forecasts] == [stream["forecast"] for stream in streams]
    assert 0 < forecasts[0]["forecast"]["readings_to_limit"]["p50"] < 20


def test_a_person_reads_the_readings_left_and_the_date(log, capsys):
    code, out, _ = run(capsys, "forecast", log, "--zone", "Europe/Vienna")
    text = " ".join(out.split())

    assert code == 0
    assert "Line A · bath_concentration · tank about " in text
    assert "Mar 2025" in text
    assert "responsible Level 3" in text


def test_not_on_this_trend_is_an_answer(tmp_path, capsys):
    rng = random.Random(20250303)
    calm = write(tmp_path / "calm.csv", bath_rows([round(0.25 + rng.gauss(0, 0.008), 3) for _ in range(80)]))

    assert "not on this trend" in run(capsys, "forecast", calm)[1]


def test_a_row_dated_ahead_of_the_clock_is_left_out_and_told_of(log, tmp_path, capsys):
    ahead = tmp_path / "ahead.csv"
    rows = log.read_text(encoding="utf-8").rstrip("\n").splitlines()
    one, odd = rows[-1].split(",", 1)[1], rows[-2].replace("bath_concentration", "bath_conc")
    ahead.write_text("\n".join([*rows, f"2162-03-03T06:00,{one}", odd]) + "\n", encoding="utf-8")

    said = json.loads(run(capsys, "forecast", log, "--json")[1])
    text = " ".join(run(capsys, "forecast", ahead)[1].split())

    assert json.loads(run(capsys, "forecast", ahead, "--json")[1]) == said
    assert f"row {len(rows) + 1}: Line A · bath_concentration · tank is dated Wed 3 Mar 2162 06:00, ahead of" in text
    assert "Rows that could not be read: 1 of the log, 0 of the event file" in text


def test_a_log_that_is_not_there_is_refused_in_one_line(capsys):
    code, _, err = run(capsys, "forecast", "no-such.csv")

    assert code == 2
    assert "no-such.csv" in err
    assert err.count("\n") == 1
