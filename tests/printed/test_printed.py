"""Every result prints; what is printed are its numbers, with their unit."""

import dataclasses
import importlib
import inspect
import io
import pkgutil
import typing
from typing import Any

import pytest
from rich.console import Console

from spc.charts import CHARTS
from spc.errors import InputError
from spc.printed import FORMS, printed
from spc.printed.charts import hits_printed, plotted_printed
from spc.rules import ALL_EIGHT, RuleSetting, run_rules
from tests.made_results import MOVED, UNIT, Z, made
from tests.test_architecture import LAYERS

PARTS_OF_OTHERS = {
    "Hits": "hits_printed, which needs the rules too",
    "Onset": "part of a step or a drift",
    "Index": "part of a capability",
    "ChartRules": "told by spc arl",
    "ShiftSeen": "told by spc arl",
    "RuleSetCost": "told by spc arl",
    "RuleSetting": "told by describe",
    "Rule": "told by describe",
    "SigmaEstimate": "a step on the way to a capability",
    "MeanSquare": "a step on the way to a study",
    "Layout": "a step on the way to a study",
    "Survival": "a step on the way to a run length",
    "LimitsOfMany": "compiled twin of IndividualsLimits, for thousands of streams at once",
    "Machine": "a step on the way to a run length",
    "Chain": "a step on the way to a run length",
    "Plotted": "plotted_printed, which needs the chart too",
    "Point": "part of a chart",
    "Proposal": "part of a review",
    "Forecast": "part of a scan",
}
"""Results that are printed as part of another, or by a function that needs more."""

OTHER_QUESTIONS = {"bath", "drift", "forecast", "repeats"}
"""Modules whose results are told by commands of their own."""


def text(result: Any, unit: str = UNIT) -> str:
    said = io.StringIO()
    Console(file=said, width=200, highlight=False).print(printed(result, unit=unit))
    return said.getvalue()


@pytest.mark.parametrize("name", sorted(made()))
def test_a_result_prints_in_plain_words(name):
    said = text(made()[name])

    assert said.strip()
    assert "nan" not in said
    assert "inf" not in said.replace("infinite", "")
    assert "None" not in said


def test_every_printed_form_is_tried():
    assert {type(result) for result in made().values()} == set(FORMS)


def returned_by_maths() -> dict[str, str]:
    """Return the frozen results that public maths functions return, each with one function that does."""
    found: dict[str, str] = {}
    for name in LAYERS["maths"]:
        if name in OTHER_QUESTIONS:
            continue
        package = importlib.import_module(f"spc.{name}")
        below = pkgutil.iter_modules(getattr(package, "__path__", []), f"spc.{name}.")
        for module in (package, *(importlib.import_module(each.name) for each in below)):
            for key, value in vars(module).items():
                if inspect.isfunction(value) and value.__module__ == module.__name__ and not key.startswith("_"):
                    returns = typing.get_type_hints(value, vars(module) | {"Matrix": Any}).get("return")
                    if dataclasses.is_dataclass(returns):
                        found[getattr(returns, "__name__", "")] = f"{module.__name__}.{key}"
    return found


def test_every_result_of_the_maths_has_a_printed_form_or_a_reason():
    known = {form.__name__ for form in FORMS} | set(PARTS_OF_OTHERS)
    states = {name for name in returned_by_maths() if name.endswith("State")}

    missing = {name: by for name, by in returned_by_maths().items() if name not in known | states}

    assert missing == {}


def test_what_has_no_printed_form_is_refused():
    with pytest.raises(InputError, match="a RuleSetting has no printed form"):
        printed(RuleSetting("beyond_limits", 1, 1, 3))


def test_numbers_come_with_the_unit_of_the_readings():
    found = made()["capability"]
    said = text(found)

    assert f"at least 0.1 and at most 0.4 {UNIT}" in said
    assert f"{found.sigma_overall:.4g} {UNIT}" in said
    assert "describe no stable process" not in said
    assert "no stable process is behind these indices" in said
    for index in found.indices:
        assert f"{index.name} " in said
    assert "The resolution" in said or "step" in said


def test_a_study_prints_the_numbers_of_its_analysis():
    study = made()["study"]
    said = text(study)

    for component in study.components:
        assert component.name in said
        assert f"{component.sd:.4g}"[:6] in said
    assert str(study.categories) in said
    assert study.interaction in said


def test_a_date_is_told_by_numbers_from_one():
    found = made()["step"]
    said = text(found)

    assert f"{found.when.index + 1} of 40, the likeliest" in said
    assert f"{min(found.when.index_set) + 1}" in said


def test_caution_stands_below_what_may_be_taken_for_a_decision():
    for name in ("conformance", "guarded acceptance", "guarded rejection", "risks"):
        assert "responsible Level 3" in text(made()[name])


def test_a_chart_tells_what_was_beyond_its_limits():
    chart = CHARTS["ewma"]
    plotted = chart.plot(MOVED, made()["limits of ewma"])
    said = io.StringIO()
    Console(file=said, width=200).print(plotted_printed(chart, plotted, UNIT))

    beyond = int((plotted.side != 0).sum())
    assert 0 < beyond < 20
    assert f"40 of 40 readings charted, {beyond} beyond a limit" in said.getvalue()
    assert said.getvalue().count("below") == beyond


def test_signals_are_told_in_words_and_no_more_than_can_be_read():
    hits = run_rules(Z, Z, ALL_EIGHT)
    said = io.StringIO()
    Console(file=said, width=200).print(hits_printed(hits, ALL_EIGHT))

    assert f"{len(hits)} signals" in said.getvalue()
    assert f"and {len(hits) - 20} more" in said.getvalue()
    assert "below the centre line" in said.getvalue()
