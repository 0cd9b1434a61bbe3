"""A dose as JSON, and `spc dose` as people and scripts call it."""

import json
from datetime import UTC, datetime

import pytest

from spc.as_json.dose import dose_json
from spc.dose_words import dose_headline
from tests.command import run as command
from tests.made import START
from tests.test_dose import SHIFT, cycle, suggested


@pytest.mark.parametrize(
    "values", [[0.15, 0.14, 0.15], [0.2, 0.2, 0.2], [0.45, 0.45, 0.45], [0.2, 0.2, 0.2, 0.2, 0.02]]
)
def test_json_holds_finite_numbers_and_what_people_read(values):
    found = suggested(values)

    text = json.dumps(dose_json(found, UTC), allow_nan=False)

    read = json.loads(text)
    assert read["suggestion"] == found.suggestion
    assert (read["powder"] is None) == (found.powder is None)
    assert (read["carrier"] is None) == (found.carrier is None)
    assert read["headline"] == dose_headline(found)
    assert read["level"]["p10"] <= read["level"]["middle"] <= read["level"]["p90"]
    assert read["yield"]["planning"] == {"middle": 0.2, "low": 0.15, "high": 0.25}


def run(capsys, *arguments) -> tuple[int, str, str]:
    """Return exit code, output and error output of `spc dose` with these arguments."""
    return command(capsys, "dose", *arguments)


@pytest.fixture
def files(tmp_path):
    """Return a log of a bath that is fed every five shifts, and its events."""
    values, events = cycle(7, 40.0)
    at = [datetime.now(UTC) - SHIFT * (len(values) + 2) + SHIFT * n for n in range(len(values) + 3)]
    rows = [
        f"{at[n]:%Y-%m-%dT%H:%M:%S}Z,Line A,bath_concentration,tank,{x:.2f}"
        for n, x in enumerate([*values, 0.19, 0.18, 0.17])
    ]
    log, event_file = tmp_path / "log.csv", tmp_path / "events.csv"
    log.write_text(
        "\n".join(["taken_at,line,check,position,value", *rows, "x,Line A,bath_concentration,tank,0.2"]) + "\n"
    )
    fed = [f"{event.at - START + at[0]:%Y-%m-%dT%H:%M:%S}Z,Line A,bath_topped_up,,,40,g," for event in events]
    event_file.write_text("\n".join(["at,line,kind,check,position,amount,unit,note", *fed]) + "\n")
    return log, event_file


def test_the_command_prints_what_to_add_and_why(files, capsys):
    log, events = files

    code, out, err = run(
        capsys, log, "--events", events, "--volume", "150 L", "--zone", "UTC", "--dates", "%Y-%m-%dT%H:%M:%SZ"
    )
    text = " ".join(out.split())

    assert (code, err) == (0, "")
    assert text.startswith("Line A · bath_concentration · tank Add ")
    assert "learned from 7 weighed top-ups" in text
    assert "Rows that could not be read: 1 of the log" in text
    assert "responsible Level 3" in text


def test_the_command_gives_a_script_the_same(files, capsys):
    log, events = files

    code, out, _ = run(capsys, log, "--events", events, "--volume", "39.6 US gal", "--zone", "UTC", "--json")

    read = json.loads(out)
    assert code == 0
    assert read["volume_l"] == pytest.approx(149.9, abs=0.05)
    assert read["suggestion"] == "add_powder"
    assert read["quarantined"] == {"log": 1, "events": 0}
    assert read["powder"]["now_g"] > 10


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "give --volume, such as --volume '120 L'"),
        (("--volume", "30 gal"), "'30 US gal' or '30 imp gal'"),
        (("--volume", "120 L", "--line", "Line Z"), "the log has: Line A"),
        (("--volume", "120 L", "--target", "0.9"), "not inside the acceptance limits"),
        (("--volume", "120 L", "--events", "none.csv"), "none.csv"),
        (("--volume", "120 L", "--zone", "Mars/Crater"), "no time zone"),
    ],
)
def test_the_command_refuses_on_one_line(files, capsys, options, says):
    log, _ = files

    code, out, err = run(capsys, log, *options)

    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert says in err
