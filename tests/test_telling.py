"""Results tell themselves: a short table for `print`, HTML for a notebook, the same words in both."""

import dataclasses
import html
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from IPython.core.formatters import DisplayFormatter

import spc
from spc.printed import FORMS
from spc.printed.parts import PARTS
from spc.rule_choice.cost import chart_rules, given_sigma
from spc.told import Told
from tests.made_results import made

DATASETS = Path(__file__).parent.parent / "datasets"
VOID = {"path", "line", "rect", "circle", "polygon", "polyline", "br"}
OF_NO_CLASS_OF_OURS = {"FlooredSigma"}  # a named tuple, told by `spc.printed_of`


class Balanced(HTMLParser):
    """Raises where an element is closed that is not open."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.told: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.told.append(data)


def told_in(page: str) -> str:
    parser = Balanced()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return " ".join(" ".join(parser.told).split())


def words_of(text: str) -> list[str]:
    return re.findall(r"[^\s]+", text)


@pytest.fixture(scope="module")
def scan() -> spc.Scan:
    return spc.scan_log(DATASETS / "demo-log.csv", events=DATASETS / "demo-events.csv", zone=ZoneInfo("Europe/Vienna"))


def test_every_result_with_a_printed_form_tells_itself():
    mute = {form.__name__ for form in FORMS if not issubclass(form, Told)}

    assert mute == OF_NO_CLASS_OF_OURS


@pytest.mark.parametrize(
    "name",
    sorted(
        name
        for name, result in made().items()
        if vars(type(result)).get("__str__") is None and isinstance(result, Told)
    ),
)
def test_print_and_page_of_a_result_hold_the_same_words(name):
    result = made()[name]
    printed, page = str(result), result._repr_html_()

    assert type(result).__name__ + "(" not in printed
    assert len(printed.splitlines()) < 60
    assert sorted(words_of(printed)) == sorted(words_of(told_in(page)))


def test_repr_still_gives_every_field():
    found = made()["capability"]

    assert repr(found).startswith("Capability(method='normal, individual readings', n=")


def test_tables_stay_tables():
    page = made()["capability"]._repr_html_()

    assert "<table>" in page
    assert re.search(r"<tr><td[^>]*>Cpk</td><td[^>]*>[0-9.]+</td>", page)


def test_a_scan_accounts_for_every_row_and_tells_what_needs_a_person(scan):
    said = str(scan)

    assert "13756 rows read = 13740 accepted + 5 duplicate + 11 quarantined" in said
    assert "All 11 quarantined rows stand in .quarantine." in said
    assert "UV-A irradiance, lamp 2 has been falling since about Thu 22 Oct 2026" in said
    assert re.search("Line B · ammeter · head +failed +\N{MINUS SIGN}10.5 % +96 +1 +1$", said, re.MULTILINE)
    assert all(str(result.key) in said for result in scan.streams)
    assert "accepts or rejects no part" in said


def test_a_scan_says_the_same_on_any_day(scan):
    assert "As of the last reading, Fri 20 Nov 2026 14:46" in str(scan)


def test_a_stream_tells_its_limits_and_shows_its_chart(scan):
    stream = scan.stream("Line A", "bath_concentration")
    page = stream._repr_html_()

    assert "at least 0.1 and at most 0.4 mL/100 mL" in str(stream)
    assert "not confirmed for this site" in str(stream)
    assert page.count("<title>") == 1
    assert "<title>Chart of Line A · bath_concentration · tank</title>" in page
    assert "Times in UTC" in told_in(page)


def test_parts_of_a_scan_tell_themselves(scan):
    assert "172 rows read = 172 accepted" in str(scan.events)
    assert str(scan.log).splitlines()[1].startswith("13756 rows read")
    assert "974, Mon 4 Nov 2024 05:13 to Fri 20 Nov 2026 13:16" in str(
        scan.stream("Line A", "bath_concentration").readings
    )


NOT_TOLD = {
    "Acceptance": "told with its check",
    "ChartRules": "what is asked of compare_rule_sets",
    "Hits": "arrays, one entry a hit",
    "MonitorState": "what monitor_next goes on from; its limits tell themselves",
    "Plotted": "arrays, one entry a reading",
    "Rule": "how a rule is worded and reckoned; describe tells it",
    "RuleSetCost": "told with the others of its comparison",
    "RuleSetting": "describe tells it",
    "Screen": "what a figure is drawn for",
    "StreamKey": "its own words",
}


def test_every_public_result_tells_itself_or_has_a_reason():
    public = [getattr(spc, name) for name in spc.__all__]
    results = [each for each in public if isinstance(each, type) and dataclasses.is_dataclass(each)]

    assert {each.__name__ for each in results if not issubclass(each, Told)} == set(NOT_TOLD)
    assert [form.__name__ for form in PARTS if not issubclass(form, Told)] == []


@pytest.fixture(scope="module")
def parts(scan) -> dict[type, Any]:
    zone = ZoneInfo("Europe/Vienna")
    lamp, meter = scan.stream("Line A", "uva_irradiance", "lamp 2"), scan.stream("Line B", "ammeter", "head")
    bath = scan.stream("Line A", "bath_concentration")
    at = datetime(2026, 11, 20, 14, tzinfo=UTC)
    key = bath.key
    found = (
        scan.catalogue, lamp.check, lamp.segments[-1], lamp.segments[-1].limits, meter.failures[-1], lamp.signals[-1],
        lamp.forecast, spc.episodes(lamp, zone)[-1], spc.stream_state(meter, zone, at), scan.log.quarantine[0],
        scan.log.rows, scan.events.events[0], spc.screen(scan.streams, zone=zone)[0], spc.RULE_SETS["starter"],
        spc.dose_of(bath, 100.0, now=at),
        spc.rules_cost_of(
            bath.check, [chart_rules("beyond_limits", bath.check)], [0.03], sigma=given_sigma(0.01),
            generator=np.random.default_rng(1),
        ),
        spc.Reading(key, at, 60, 12, 0.05, spc.Bound.BELOW, technician="ktl", shift="A"),
    )  # fmt: skip
    return {type(each): each for each in found}


PART_SAYS = {
    spc.Catalogue: "water_break Water break must be “pass” or “shown” every day, water baths alone",
    spc.Check: "asked at least 1000 µW/cm²",
    spc.Dose: "Line A · bath_concentration · tank",
    spc.Episode: "UV-A irradiance, lamp 2 has been falling since about Thu 22 Oct 2026",
    spc.Event: "Bath topped up: Line B · bath_concentration · tank",
    spc.Failure: "reading \N{MINUS SIGN}10.50 as charted",
    spc.Forecast: "The acceptance limit is reached in about 47 readings",
    spc.Limits: "control limits 2,845 to 3,357",
    spc.QuarantinedRow: "row 585, value: '0.2.1': this is no number",
    spc.Question: "Was it written so?",
    spc.Reading: "value <0.05",
    spc.RowCount: "13756 rows read = 13740 accepted + 5 duplicate + 11 quarantined",
    spc.RuleSet: "- a reading more than 3 sigma on one side of the centre line",
    spc.RulesCost: "What run rules cost: Bath concentration",
    spc.Segment: "began with lamp replaced",
    spc.Signal: "chart early warning rule step side low",
    spc.StreamState: "state failed",
}


@pytest.mark.parametrize("kind", PARTS, ids=lambda kind: kind.__name__)
def test_a_part_says_the_same_in_print_and_in_a_page(parts, kind):
    said = str(parts[kind])

    assert PART_SAYS[kind] in " ".join(said.split())
    assert kind.__name__ + "(" not in said
    assert " nan" not in said
    assert sorted(words_of(said)) == sorted(words_of(told_in(parts[kind]._repr_html_())))
    assert repr(parts[kind]).startswith(kind.__name__ + "(")


def test_a_part_of_a_short_stream_says_what_is_missing(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("taken_at,line,check,value\n2025-03-04T06:10,A,bath_concentration,0.2\n"
                   "2025-03-04T06:10,A,notched_shim,not shown\n")  # fmt: skip
    scan = spc.scan_log(log, zone=ZoneInfo("UTC"))
    bath, shim = scan.stream("A", "bath_concentration"), scan.stream("A", "notched_shim")

    assert "none: they take 2 readings" in str(bath.segments[-1])
    assert "Nothing can be said" in str(bath.forecast)
    assert "“not shown”" in str(shim.failures[0])
    assert "must be “pass” or “shown”" in str(shim.check)


def test_what_a_log_holds_cannot_become_a_part_of_the_page(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("taken_at,line,check,value\n2025-03-04T06:10,<b>[red]x,bath_concentration,<script>1\n"
                   "2025-03-04T06:10,<b>[red]x,bath_concentration,0.2\n")  # fmt: skip
    scan = spc.scan_log(log, zone=ZoneInfo("UTC"))
    page = scan._repr_html_()

    assert "<script" not in page
    assert "<b>" not in page
    assert html.escape("<b>[red]x") in page
    assert "<b>[red]x · bath_concentration" in str(scan)


def test_a_shell_shows_the_words_and_a_notebook_the_page_of_a_result():
    found = made()["capability"]

    shown, _ = DisplayFormatter().format(found, include={"text/plain", "text/html"})

    assert shown == {"text/plain": str(found), "text/html": found._repr_html_()}


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (("Line A", "uva_irradiance"), "'Line A · uva_irradiance' is not one stream; give its position; there are: "),
        (("Line A", "uva_irradiance", "lamp 3"), "lamp 3' is no stream of this log; there are: 'Line A · uva_irradia"),
        (("Line C", "viscosity"), "'Line C · viscosity' is no stream of this log; there are: 'Line A · bath_conc"),
    ],
)
def test_a_stream_that_is_not_there_is_refused_with_those_that_are(scan, asked: Any, says):
    with pytest.raises(spc.InputError, match=re.escape(says)):
        scan.stream(*asked)


def test_a_log_without_rows_tells_that(tmp_path):
    (tmp_path / "log.csv").write_text("taken_at,line,check,value\n")

    scan = spc.scan_log(tmp_path / "log.csv", zone=ZoneInfo("UTC"))

    assert "0 rows read = 0 accepted" in str(scan)
    assert "nothing" not in str(scan)
    assert told_in(scan._repr_html_())
