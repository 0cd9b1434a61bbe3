"""A measurement study: the plan drawn by lot, the sheet read back, the result equal to the library's."""

from pathlib import Path

import numpy as np
import pytest

from spc.errors import InputError, LogError
from spc.measurement.gauge import crossed_study
from spc.study import plan_study, read_study, study_result


def test_each_round_holds_every_pair_once_and_the_seed_decides_the_order():
    plan, again, other = (plan_study(["1", "2", "3"], ["A", "B"], 3, seed=seed) for seed in (4, 4, 5))

    pairs = {(part, operator) for part in plan.parts for operator in plan.operators}
    for number in (1, 2, 3):
        own = [(each.part, each.operator) for each in plan.readings if each.round == number]
        assert set(own) == pairs
        assert len(own) == len(pairs)
    assert [each.order for each in plan.readings] == list(range(1, 19))
    assert plan == again
    assert plan.readings != other.readings


@pytest.mark.parametrize(
    ("parts", "operators", "rounds", "says"),
    [
        (["1"], ["A"], 2, "1 parts given"),
        (["1", "2"], [], 2, "0 operators"),
        (["1", "1"], ["A"], 2, "one twice"),
        (["1", "2"], ["A"], 1, "at least twice"),
        (["1", "2"], ["A"], 10_001, "at most"),
    ],
)
def test_refuses_a_plan_that_tells_nothing(parts, operators, rounds, says):
    with pytest.raises(InputError, match=says):
        plan_study(parts, operators, rounds, seed=1)


def test_a_filled_plan_reads_back_and_gives_the_librarys_study(tmp_path: Path):
    rng = np.random.default_rng(3)
    plan = plan_study(["1", "2", "3", "4"], ["A", "B"], 3, seed=8)
    lines = plan.csv.splitlines()
    values = [round(float(part.part) + rng.normal(0, 0.1), 3) for part in plan.readings]
    sheet = tmp_path / "study.csv"
    sheet.write_text("\n".join([lines[0], *(f"{line}{v}" for line, v in zip(lines[1:], values, strict=True))]))

    found = study_result(read_study(sheet), what="Field", unit="G")

    expected = crossed_study(values, [each.part for each in plan.readings], [each.operator for each in plan.readings])
    assert found.study.gauge == expected.gauge
    assert found.study.components == expected.components
    assert found.readings.notes == ()


def test_rows_without_a_value_are_left_out_and_told(tmp_path: Path):
    sheet = tmp_path / "study.csv"
    sheet.write_text("part;operator;value\n1;A;0,21\n1;B;\n2;A;0,3\n")

    found = read_study(sheet)

    assert found.values.tolist() == [0.21, 0.3]
    assert found.notes == ("1 row without a value was left out.",)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("part,operator\n1,A\n", "column 'value' stands nowhere"),
        ("part,operator,value\n1,A,high\n", "row 2: value 'high' is no number"),
        ("part,operator,value\n1,A,inf\n", "no finite number"),
        ("part,operator,value\n,A,1\n", "row 2: no part"),
        ("part,part,operator,value\n1,1,A,1\n", "twice or more"),
    ],
)
def test_refuses_a_sheet_with_row_and_remedy(tmp_path: Path, text, says):
    sheet = tmp_path / "study.csv"
    sheet.write_text(text)

    with pytest.raises(LogError, match=says):
        read_study(sheet)
