"""`spc scan`, as a person and as a script call it."""

import json
import os
import random
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.command import run

SCHEMA = json.loads(Path(__file__).with_name("scan_schema.json").read_text(encoding="utf-8"))
HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note"
STEADY = [0.19, 0.21] * 10


def bath_rows(values, *, start=datetime(2025, 3, 3, 6)):  # noqa: DTZ001  a log's local time
    return [
        f"{start + timedelta(hours=8 * i):%Y-%m-%dT%H:%M},Line A,bath_concentration,tank,{value},,mL/100mL,tube-1,t1,A,"
        for i, value in enumerate(values)
    ]


def write(path: Path, rows: list[str], header: str = HEADER) -> Path:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def rules_warn(tmp_path: Path) -> Path:
    """A site's catalogue in which the run rules warn, and the early warning does not."""
    site = tmp_path / "site.toml"
    site.write_text("[defaults]\nearly_warning = false\nrules_signal = true\n", encoding="utf-8")
    return site


def scanned(capsys, log: Path, *options) -> dict[str, Any]:
    code, out, err = run(capsys, "scan", log, "--json", "--zone", "Europe/Vienna", *options)
    assert (code, err) == (0, "")
    result: dict[str, Any] = json.loads(out)
    jsonschema.validate(result, SCHEMA)
    return result


def test_the_example_of_the_contract_is_read(tmp_path, capsys):
    log = write(
        tmp_path / "log.csv",
        [
            "2025-03-04T06:10,Line A,bath_concentration,tank,0.21,,mL/100mL,tube-03,ktl,A,",
            "2025-03-04T06:15,Line A,uva_irradiance,lamp 1,2450,,uW/cm2,rad-2,ktl,A,after cleaning",
            "2025-03-04T06:20,Line A,ammeter,head,1010,1000,A,shunt-1,ktl,A,",
            "2025-03-04T06:25,Line A,notched_shim,bracket,shown,,,,ktl,A,",
        ],
    )

    result = scanned(capsys, log)

    assert result["rows"] == {"read": 4, "accepted": 4, "duplicate": 0, "quarantined": 0}
    checks = {stream["check"]: stream for stream in result["streams"]}
    assert set(checks) == {"bath_concentration", "uva_irradiance", "ammeter", "notched_shim"}
    assert not any(stream["acceptance"]["confirmed"] for stream in result["streams"])
    assert checks["ammeter"]["unit"] == "%"
    assert checks["ammeter"]["segments"][0]["from"] == "2025-03-04T06:20"
    assert (checks["ammeter"]["acceptance"]["lower"], checks["ammeter"]["acceptance"]["upper"]) == (-10, 10)


def test_signals_and_failures_name_their_rows(tmp_path, capsys, rules_warn):
    log = write(tmp_path / "log.csv", bath_rows([*STEADY, *[0.17] * 9, 0.09]))

    (stream,) = scanned(capsys, log, "--catalogue", rules_warn)["streams"]

    # 20 * 8 h after 2025-03-03T06:00 is 2025-03-09T22:00; row 2 is the first reading
    runs = [signal for signal in stream["signals"] if signal["rule"] == "one_side"]
    assert runs[0] == {
        "at": "2025-03-12T14:00", "row": 30, "value": 0.17, "chart": "individuals", "rule": "one_side", "side": "low"
    }  # fmt: skip
    assert stream["failures"] == [{"at": "2025-03-12T22:00", "row": 31, "value": 0.09, "bound": ""}]


def test_by_default_the_early_warning_warns_and_the_run_rules_are_listed(tmp_path, capsys):
    rng = random.Random(20250303)
    level = [0.25] * 40 + [0.25 - 0.005 * i for i in range(1, 25)]
    log = write(tmp_path / "log.csv", bath_rows([round(x + rng.gauss(0, 0.008), 3) for x in level]))

    (stream,) = scanned(capsys, log)["streams"]

    assert {signal["chart"] for signal in stream["signals"]} == {"early_warning"}
    assert {signal["side"] for signal in stream["signals"]} == {"low"}
    # the first of 0.25 - 0.005 i below the limit 0.1 would be i = 31: the drift is told long before
    assert 42 <= stream["signals"][0]["row"] <= 55
    assert any(signal["rule"] == "one_side" for signal in stream["rule_signals"])
    assert stream["failures"] == []


def test_an_event_starts_a_segment(tmp_path, capsys):
    log = write(tmp_path / "log.csv", bath_rows(STEADY))
    events = write(
        tmp_path / "events.csv",
        ["2025-03-04T05:30,Line A,bath_changed,bath_concentration,tank,,,"],
        header="at,line,kind,check,position,amount,unit,note",
    )

    (stream,) = scanned(capsys, log, "--events", events)["streams"]

    assert [(s["from"], s["because"], s["n"]) for s in stream["segments"]] == [
        ("2025-03-03T06:00", "start_of_log", 3),
        ("2025-03-04T06:00", "bath_changed", 17),
    ]


def test_a_bad_row_is_kept_with_its_reason(tmp_path, capsys):
    log = write(tmp_path / "log.csv", [*bath_rows([0.2, "1.2.3"]), *bath_rows([0.2])])

    result = scanned(capsys, log)

    assert result["rows"] == {"read": 3, "accepted": 1, "duplicate": 1, "quarantined": 1}
    (bad,) = result["quarantine"]
    assert (bad["row"], bad["column"], bad["text"]) == (3, "value", "1.2.3")


def test_a_header_without_rows_is_a_log_of_no_readings(tmp_path, capsys):
    assert scanned(capsys, write(tmp_path / "log.csv", []))["streams"] == []


def test_a_cut_log_gives_the_same_json_signals_up_to_the_cut(tmp_path, capsys):
    rows = bath_rows([*STEADY, *[0.17] * 12, 0.3, 0.09, 0.2])
    (whole,) = scanned(capsys, write(tmp_path / "log.csv", rows))["streams"]

    for n in (21, 28, 29, 30, 33, 34):
        (part,) = scanned(capsys, write(tmp_path / "log.csv", rows[:n]))["streams"]
        assert part["signals"] == [signal for signal in whole["signals"] if signal["row"] <= n + 1]
        assert part["failures"] == [failure for failure in whole["failures"] if failure["row"] <= n + 1]


def test_times_with_an_offset_are_printed_with_it(tmp_path, capsys):
    log = write(tmp_path / "log.csv", ["2025-03-04T06:10+01:00,Line A,bath_concentration,tank,0.05,,,,,,"])

    assert scanned(capsys, log)["streams"][0]["failures"][0]["at"] == "2025-03-04T06:10+01:00"


@pytest.mark.parametrize(
    ("options", "code"),
    [((), 0), (("--fail-on", "failure"), 1), (("--fail-on", "signal"), 1)],
)
def test_fail_on_ends_with_1_when_met(tmp_path, capsys, options, code):
    log = write(tmp_path / "log.csv", bath_rows([0.2, 0.05]))

    assert run(capsys, "scan", log, *options)[0] == code


@pytest.mark.parametrize("wanted", ["failure", "signal"])
def test_fail_on_ends_with_0_when_not_met(tmp_path, capsys, wanted):
    log = write(tmp_path / "log.csv", bath_rows([0.2, 0.21]))

    assert run(capsys, "scan", log, "--fail-on", wanted)[0] == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("scan", "no-such-file.csv"), "no-such-file.csv"),
        (("scan", "{log}", "--zone", "Mars/Crater"), "no time zone"),
        (("scan", "{log}", "--events", "no-such-events.csv"), "no-such-events.csv"),
        (("scan", "{log}", "--catalogue", "no-such.toml"), "no-such.toml"),
        (("scan", "{log}", "--fail-on", "anything"), "anything"),
        (("scan",), "Missing argument"),
        (("nonsense",), "nonsense"),
    ],
)
def test_a_refusal_is_one_line_and_exit_code_2(tmp_path, capsys, arguments, says):
    log = write(tmp_path / "log.csv", bath_rows([0.2]))

    code, out, err = run(capsys, *(a.format(log=log) for a in arguments))

    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert says in err


def test_a_person_reads_what_moves_since_when_and_what_to_do(tmp_path, capsys, rules_warn):
    log = write(tmp_path / "log.csv", [*bath_rows([*STEADY, *[0.17] * 10]), "2025-03-20T06:00,Line A,tea,x,1,,,,,,"])

    code, out, _ = run(capsys, "scan", log, "--zone", "Europe/Vienna", "--catalogue", rules_warn)
    text = " ".join(out.split())

    assert code == 0
    assert "31 rows read = 30 accepted + 0 duplicate + 1 quarantined" in text
    assert "has been below its centre line 0.200 mL/100 mL since Sun 9 Mar 2025 22:00" in text
    assert "Look first at:" in text
    assert "not confirmed for this site" in text
    assert "responsible Level 3" in text


def test_the_module_runs_as_a_command(tmp_path):
    log = write(tmp_path / "log.csv", bath_rows([0.2]))

    done = subprocess.run(
        [sys.executable, "-m", "spc", "scan", str(log), "--json"], capture_output=True, text=True, check=False
    )

    assert done.returncode == 0
    assert json.loads(done.stdout)["rows"]["accepted"] == 1


def test_an_event_that_touches_no_stream_is_said_so(tmp_path, capsys):
    log = write(tmp_path / "log.csv", bath_rows(STEADY))
    events = write(
        tmp_path / "events.csv",
        [
            "2025-03-04T05:30,Line A,bath_changed,bath_concentration,tank,,,",
            "2025-03-04T05:30,Line Q,bath_changed,bath_concentration,tank,,,",
            "2025-03-04T05:31,Line A,lamp_replaced,uva_irradiance,lamp 9,,,",
        ],
        "at,line,kind,check,position,amount,unit,note",
    )

    notes = scanned(capsys, log, "--events", events)["notes"]

    assert [note for note in notes if "touches no stream" in note] == [
        f"{events}: row 3: bath_changed at Line Q · bath_concentration · tank touches no stream that was read; "
        "it was not used",
        f"{events}: row 4: lamp_replaced at Line A · uva_irradiance · lamp 9 touches no stream that was read; "
        "it was not used",
    ]


def test_a_reading_dated_ahead_of_the_clock_is_pointed_at(tmp_path, capsys):
    rows = [*bath_rows([0.05]), "2162-03-03T06:00,Line A,bath_concentration,tank,0.2,,,,,,"]
    code, out, _ = run(capsys, "scan", write(tmp_path / "log.csv", rows), "--zone", "UTC")

    assert code == 0
    assert "row 3: Line A · bath_concentration · tank is dated Wed 3 Mar 2162 06:00, ahead of the clock" in " ".join(
        out.split()
    )


def test_what_a_failure_obliges_is_told_in_whole_sentences(tmp_path, capsys):
    _, out, _ = run(capsys, "scan", write(tmp_path / "log.csv", bath_rows([0.05])))

    told = " ".join(out.split())
    assert "This obliges: Stop work on this line" in told
    assert ".." not in told
    assert ".;" not in told


def test_numbers_near_the_end_of_what_can_be_held_lose_their_own_row_alone(tmp_path, capsys):
    huge = ["1.7e308", "1e308", "-1e308"]
    rows = [f"2025-03-0{day}T06:10,Line A,uva_irradiance,lamp,{value},,,,,," for day, value in enumerate(huge, 1)] + [
        "2025-03-04T06:10,Line A,ammeter,head,1e300,1e-300,,,,,",
        *bath_rows(STEADY),
    ]

    result = scanned(capsys, write(tmp_path / "log.csv", rows))

    assert result["rows"] == {"read": 24, "accepted": 20, "duplicate": 0, "quarantined": 4}


def test_names_that_differ_in_case_or_spaces_alone_are_kept_apart_and_said_so(tmp_path, capsys):
    log = write(
        tmp_path / "log.csv",
        [
            "2025-03-04T06:10,Line A,bath_concentration,tank,0.21,,,,,,",
            "2025-03-04T06:10,line  A,bath_concentration,tank,0.21,,,,,,",
            "2025-03-04T06:15,Line B,uva_irradiance,lamp 1,2450,,,,,,",
            "2025-03-04T06:15,Line B,uva_irradiance,Lamp1,2450,,,,,,",
            "2025-03-04T06:15,Line B,ambient_light,lamp 1,1,,,,,,",
        ],
    )

    result = scanned(capsys, log)

    assert len(result["streams"]) == 5
    assert [note.partition(" differ")[0] for note in result["notes"] if "differ in case" in note] == [
        "'Line A' and 'line  A'",
        "'Line B · uva_irradiance · Lamp1' and 'Line B · uva_irradiance · lamp 1'",
    ]


def test_brackets_and_colons_in_a_log_are_words(tmp_path, capsys):
    names = ["Line [/x]", "[red]Line", ":smile:"]
    log = write(tmp_path / "log.csv", [f"2025-03-04T06:10,{name},viscosity,[/b],2.5,,,,,,[bold]" for name in names])

    code, out, _ = run(capsys, "scan", log, "--zone", "UTC")

    assert code == 0
    assert [name for name in names if name not in out] == []


def test_a_row_of_a_line_not_in_operation_is_no_reading_in_the_table(tmp_path, capsys):
    rows = [*bath_rows([0.2, 0.21]), "2025-03-05T06:10,Line A,bath_concentration,tank,not run,,,,,,"]

    _, out, _ = run(capsys, "scan", write(tmp_path / "log.csv", rows))

    (told,) = [line for line in out.splitlines() if line.startswith("Bath concentration, tank ")]
    assert told.split()[3] == "2"


def ended(log: Path, *options: str, encoding: str = "utf-8", shut: bool = False) -> tuple[int, bytes, str]:
    """Return exit code, output and error output of the command itself; with `shut`, nobody reads what it prints."""
    environment = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    command = [sys.executable, "-m", "spc", "scan", str(log), "--zone", "UTC", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        if shut:
            process.stdout.close()
            return process.wait(60), b"", process.stderr.read().decode()
        out, err = process.communicate(timeout=60)
        return process.returncode, out, err.decode()


@pytest.mark.parametrize("options", [(), ("--json",)])
def test_a_machine_without_unicode_gets_utf_8_in_a_file(tmp_path, options):
    log = write(tmp_path / "log.csv", ["2025-03-04T06:10,Line Ω,timer,head,-0.5,,s,,,,"])

    code, out, err = ended(log, *options, encoding="ascii")

    assert (code, err) == (0, "")
    assert "Line Ω" in out.decode("utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="a closed pipe is told in another way there")
@pytest.mark.parametrize(("options", "code"), [((), 0), (("--fail-on", "failure"), 1)])
def test_a_reader_who_has_seen_enough_changes_no_exit_code(tmp_path, options, code):
    log = write(tmp_path / "log.csv", bath_rows([0.05]))

    assert ended(log, *options, shut=True) == (code, b"", "")


def test_readings_copied_for_weeks_are_asked_about_and_signal_nothing(tmp_path, capsys):
    rng = random.Random(20250303)
    values = [round(0.25 + rng.gauss(0, 0.008), 3) for _ in range(150)]
    values[90:120] = [0.251] * 30
    log = write(tmp_path / "log.csv", bath_rows(values))

    result = scanned(capsys, log)

    (question,) = [question for question in result["questions"] if question["kind"] == "copied"]
    assert len(question["rows"]) >= 30
    assert set(range(92, 122)) <= set(question["rows"])
    assert result["streams"][0]["signals"] == []
    printed = " ".join(run(capsys, "scan", log)[1].split())
    assert f"(no signal, no accusation) {question['sentence'][:40]}" in printed  # the line is named once
