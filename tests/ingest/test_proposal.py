"""Layouts proposed from headers: what the sheet does not say stays open, and nothing is passed over."""

import json
import tomllib

import pytest

from spc.catalogue.load import starter
from spc.errors import LayoutError, LogError
from spc.ingest.fit import read_sheets
from spc.ingest.layouts import layout_from
from spc.ingest.proposal import Proposal, proposal_json, propose_layout
from spc.ingest.wide import read_wide

SHEET = """Check log bench 3,,,,,,,
,,,,,,,
Date,Shift,Particle conc 0.1-0.4,UV @15in,,WB,Air press.,Remarks
,,mL/100,left uW/cm2,right uW/cm2,,bar,
04/03/2025,D,0.21,2450,2300,OK,6.1,
17/03/2025,S,0.22,2440,2290,P,6.0,added 2 oz
"""


def propose(text: str, tmp_path) -> Proposal:
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return propose_layout(read_sheets(path), starter())


def test_headers_become_columns_and_the_rest_is_named(tmp_path):
    proposal = propose(SHEET, tmp_path)

    values = tomllib.loads(proposal.text)
    assert values["header"] == [3, 4]
    assert values["first_row"] == 5
    assert (values["date"], values["shift"], values["remarks"]) == ("A", "B", ["H"])
    columns = [(c["at"], c["check"], c.get("position", ""), c.get("unit")) for c in values["column"]]
    assert columns == [
        ("C", "bath_concentration", "", "mL/100mL"),
        ("D", "uva_irradiance", "left", "uW/cm2"),
        ("E", "uva_irradiance", "right", "uW/cm2"),
        ("F", "water_break", "", None),
    ]
    assert [(each.column, each.header) for each in proposal.unplaced] == [("G", "Air press. / bar")]
    assert set(proposal.words) == {"OK", "P"}


def test_a_heading_above_stands_for_columns_that_say_nothing_of_their_own(tmp_path):
    text = "Date,Conc,,UV uW/cm2,\n,mL/100,Contam. %,left,right\n2025-03-04,0.2,5,2450,2300\n"

    columns = tomllib.loads(propose(text, tmp_path).text)["column"]

    assert [(column["check"], column["unit"], column.get("position", "")) for column in columns] == [
        ("bath_concentration", "mL/100mL", ""),
        ("bath_contamination", "%", ""),
        ("uva_irradiance", "uW/cm2", "left"),
        ("uva_irradiance", "uW/cm2", "right"),
    ]


def test_limits_of_a_header_are_shown_and_not_taken(tmp_path):
    text = propose(SHEET, tmp_path).text

    assert "# the header says 0.1-0.4: limits belong in the catalogue" in text
    assert "0.4" not in json.dumps(tomllib.loads(text)["column"])


def test_a_date_form_is_proposed_with_its_evidence_alone(tmp_path):
    assert tomllib.loads(propose(SHEET, tmp_path).text)["dates"] == "dmy"
    assert tomllib.loads(propose(SHEET.replace("17/03", "03/17"), tmp_path).text)["dates"] == "mdy"
    assert "dates" not in tomllib.loads(propose(SHEET.replace("17/03", "07/03"), tmp_path).text)
    both = SHEET.replace("04/03", "03/17")
    assert "dates" not in tomllib.loads(propose(both, tmp_path).text)


def test_a_proposal_is_refused_until_a_person_has_filled_it_in(tmp_path):
    text = propose(SHEET, tmp_path).text

    with pytest.raises(LayoutError, match="line"):
        layout_from(text, "layout.toml", starter())


def test_a_proposal_filled_in_reads_its_sheet(tmp_path):
    text = propose(SHEET, tmp_path).text
    text = text.replace('line = ""', 'line = "Line A"').replace('# ignore = ["G"]', 'ignore = ["G"]')
    for word, start, end in (("D", "06:00", "14:00"), ("S", "14:00", "22:00")):
        text = text.replace(
            f'# "{word}" = {{ start = "", end = "" }}', f'"{word}" = {{ start = "{start}", end = "{end}" }}'
        )
    text = text.replace('# "OK" = "pass"', '"OK" = "pass"').replace('# "P" = "pass"', '"P" = "pass"')

    log = read_wide(tmp_path / "sheet.csv", starter(), layout_from(text, "layout.toml", starter()))

    assert log.cells is not None
    assert (log.cells.accepted, log.cells.quarantined, log.cells.blank) == (8, 0, 0)


def test_an_ammeter_takes_the_reference_beside_it(tmp_path):
    columns = tomllib.loads(propose("Date,Panel A,Reference\n2025-03-04,1010,1000\n", tmp_path).text)["column"]

    assert columns == [{"at": "B", "check": "ammeter", "unit": "A", "reference_column": "C"}]


def test_two_columns_of_one_check_get_positions_of_their_own(tmp_path):
    columns = tomllib.loads(propose("Date,Conc am,Conc pm\n2025-03-04,0.2,0.2\n", tmp_path).text)["column"]

    assert len({column.get("position", "") for column in columns}) == 2


@pytest.mark.parametrize("text", ["hello\n", "a,b\n1,2\n", "2025-03-04,0.2\n"])
def test_a_file_without_a_header_is_refused(text, tmp_path):
    with pytest.raises(LogError, match="looks like the header"):
        propose(text, tmp_path)


def test_odd_characters_of_a_header_do_not_break_the_layout(tmp_path):
    proposal = propose('Date,"Conc ""old"" \\ [x] #1 \x07",WB\n2025-03-04,0.2,OK\n', tmp_path)

    assert tomllib.loads(proposal.text)["headers"]["B"] == 'Conc "old" \\ [x] #1 \x07'


def test_a_proposal_as_json_says_the_same(tmp_path):
    proposal = propose(SHEET, tmp_path)

    values = proposal_json(proposal)

    assert values["layout"] == proposal.text
    assert values["unplaced"] == [{"column": "G", "header": "Air press. / bar", "use": ""}]
    assert json.dumps(values, allow_nan=False)
