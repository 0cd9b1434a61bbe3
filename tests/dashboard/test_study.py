"""The measurement study's page: plans are those of the library, results too, and bad sheets are refused in words."""

import base64
import csv
import io

import pytest

from dashboard.app import create_app
from dashboard.pages.study import at, plan, result
from dashboard.queries.study import LARGEST, MOST, plan_of, plan_page, refusal, study_figure, study_told, uploaded
from dashboard.urls import study_search
from spc.errors import InputError, SpcError
from spc.ingest.sheet import sheet_of_text
from spc.study import plan_study, study_of_sheet, study_result
from tests.dashboard.made_line import asked as bare
from tests.dashboard.made_line import write_line

SEARCH = study_search("tube 1, tube 2,tube 3", "A, B", "2", "7")
SHEET = "part,operator,value\n" + "".join(
    f"tube {part},{who},{0.2 + 0.05 * part + 0.01 * (who == 'B') + 0.005 * (turn == 2):.3f}\n"
    for part in (1, 2, 3, 4)
    for who in "AB"
    for turn in (1, 2)
)


def told(**more):
    return study_told({"text": SHEET, "what": "Bath concentration", "unit": "mL/100mL", **more})


def test_the_plan_is_that_of_the_library_and_its_link_gives_it_again():
    made = plan_study(["tube 1", "tube 2", "tube 3"], ["A", "B"], 2, seed=7)

    assert plan_of(SEARCH) == made
    assert [row[2:] for row in plan_page(SEARCH).rows] == [(each.part, each.operator) for each in made.readings]
    assert plan_page(SEARCH).csv_href == SEARCH


def test_the_plan_comes_as_a_file_that_the_page_reads_back(tmp_path):
    client = create_app(bare(write_line(tmp_path))).server.test_client()
    answer = client.get("/study-plan.csv" + SEARCH)
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    filled = ["order,round,part,operator,value"] + [
        f"{row['order']},{row['round']},{row['part']},{row['operator']},{0.1 * int(row['order']):.1f}" for row in rows
    ]

    assert answer.headers["Content-Disposition"] == 'attachment; filename="study-plan-7.csv"'
    assert len(rows) == 12
    assert dict(study_told({"text": "\n".join(filled)}).facts)["Readings"] == "12: 3 parts by 2 operators"
    assert client.get("/study-plan.csv?parts=a").status_code == 404


@pytest.mark.parametrize(
    ("search", "says"),
    [
        (study_search("one", "A", "2", "1"), "1 parts given"),
        (study_search("a,a", "A", "2", "1"), "one twice"),
        (study_search("a,b", "A", "1", "1"), "at least twice"),
        (study_search("a,b", "A", "two", "1"), "“two” is no whole number"),
        (study_search("a,b", "A", "2", "-1"), "“-1” is no whole number"),
        (study_search("a,b", "A", str(MOST), "1"), f"draws {MOST} at most"),
        (study_search("a" * 5000, "A", "2", "1"), "letters"),
    ],
)
def test_a_plan_that_cannot_be_made_is_refused_in_str(search, says):
    shown = plan_page(search)

    assert says in shown.problem
    assert says in str(plan(shown))
    assert shown.rows == ()


def test_the_result_is_that_of_the_library():
    readings = study_of_sheet(sheet_of_text(SHEET, "sheet"))
    study = study_result(readings, what="Bath concentration", unit="mL/100mL").study
    shown = told()

    assert dict(shown.facts)["Readings"] == "16: 4 parts by 2 operators"
    assert dict(shown.facts)["Distinct categories"] == str(study.categories)
    assert [row[0] for row in shown.components] == [each.name for each in study.components]
    assert [row[0] for row in shown.anova] == [line.source for line in study.anova]
    assert shown.statements[: len(study.statements)] == study.statements
    assert f"{study.categories} distinct categories" in shown.headline


def test_limits_and_step_are_taken_into_account():
    wide, narrow = told(lower="0,1", upper="0.4", step="0.005"), told(lower="0.2", upper="0.3")

    assert "% of the width between the limits" in dict(wide.facts)["Six gauge sigmas"]
    share = [float(dict(each.facts)["Six gauge sigmas"].split(" ")[0]) for each in (wide, narrow)]
    assert share[1] == pytest.approx(3 * share[0], rel=0.01)
    assert any("division" in said for said in wide.statements)
    assert not any("division" in said for said in narrow.statements)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"text": ""}, "No readings yet"),
        ({"text": "a,b\n1,2\n"}, "column 'part' stands nowhere"),
        ({"text": "part,operator,value\nx,A,1\nx,A,two\n"}, "row 3: value 'two' is no number"),
        ({"text": "part,operator,value\nx,A,1\nx,A,2\n"}, "part"),
        ({"text": SHEET, "lower": "low"}, "“low” is no number for the lower acceptance limit"),
        ({"text": SHEET, "lower": "nan"}, "“nan” is no number"),
        ({"text": SHEET, "lower": "2", "upper": "1"}, "limit"),
        ({"text": SHEET, "step": "0"}, "not above 0"),
        ({"text": "x" * (LARGEST + 1)}, "at most"),
        ({"text": "part,operator,value\n" + "x,A,1\n" * (MOST + 1)}, f"works out {MOST} at most"),
    ],
)
def test_what_cannot_be_worked_out_is_refused_in_str(asked, says):
    with pytest.raises(SpcError) as refused:
        study_told(asked)

    assert says in refusal(refused.value)


def test_a_file_is_read_as_it_was_sent():
    sent = "data:text/csv;base64," + base64.b64encode(SHEET.encode("utf-8-sig")).decode()
    text = uploaded(sent, "study.csv")

    assert told(text=text).components == told().components
    with pytest.raises(InputError, match="did not arrive whole"):
        uploaded("data:text/csv;base64,####", "study.csv")
    with pytest.raises(InputError, match="at most"):
        uploaded("data:;base64," + base64.b64encode(b"1" * (LARGEST + 1)).decode(), "study.csv")


def test_the_figure_is_drawn_from_what_was_asked():
    figure = study_figure({"text": SHEET, "what": "Bath <b>"}, {"theme": "dark", "width": 700, "scale": 1})

    assert figure.layout.width == 700
    assert len(figure.data) > 3
    assert "<b>" not in figure.to_json().replace("\\u003cb\\u003e", "")


def test_the_page_needs_no_log(tmp_path):
    settings = write_line(tmp_path)
    assert settings.log is not None
    settings.log.write_text("taken_at,line,check,position,value,unit\n", encoding="utf-8")
    text = str(at(bare(settings), ""))

    for said in ("1. Plan", "2. Readings", "Nothing on this page is kept"):
        assert said in text
    assert "3. What it says" in str(result(told()))
