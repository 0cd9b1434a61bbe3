"""What the page of the measurement study asks: a plan drawn by lot, and what the readings of a sheet say."""

import base64
import binascii
import math
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qs

from dashboard.queries.stream import screen_of
from dashboard.urls import study_search
from dashboard.views.study import PlanShown, StudyTold
from spc.capability.indices import Specification
from spc.errors import InputError, SpcError
from spc.figures.gauge import gauge_figure
from spc.formats import formats_now
from spc.ingest.decoder import Decoder
from spc.ingest.sheet import sheet_of_text
from spc.study import StudyPlan, StudyResult, anova_rows, plan_study, study_of_sheet, study_result
from spc.wording import in_figures, with_unit

LARGEST = 200_000
"""Letters of a sheet."""
MOST = 2_000
"""Readings that a page works out while somebody waits."""
LONGEST = 4_000
"""Letters of a list of names."""
SHEET = "the sheet"
FEWEST_CATEGORIES = 5
"""Distinct categories from which a gauge is usually taken to tell parts apart (common practice, no source)."""


def plan_page(search: str | None) -> PlanShown:
    """Return the plan that an address names; the form as it stands, with the reason, where it names none."""
    parts, operators, rounds, seed = _asked(search)
    if not (parts or operators):
        return PlanShown("", "", rounds or "3", seed)
    try:
        plan = plan_of(search)
    except InputError as refused:
        return PlanShown(parts, operators, rounds, seed, problem=f"No plan. {refused}.")
    rows = tuple((str(each.order), str(each.round), each.part, each.operator) for each in plan.readings)
    return PlanShown(parts, operators, rounds, seed, rows, csv_href=study_search(parts, operators, rounds, seed))


def plan_of(search: str | None) -> StudyPlan:
    """Return the plan that an address names.

    Raises:
        InputError: it names none.
    """
    parts, operators, rounds, seed = _asked(search)
    if max(len(parts), len(operators)) > LONGEST:
        raise InputError(f"the names have more than {LONGEST} letters; use shorter ones")
    planned = plan_study(
        _names(parts), _names(operators), _count(rounds, "how often each part is read"), seed=_count(seed, "the draw")
    )
    if len(planned.readings) > MOST:
        raise InputError(f"{len(planned.readings)} readings planned; this page draws {MOST} at most")
    return planned


def _asked(search: str | None) -> tuple[str, str, str, str]:
    found = parse_qs((search or "").removeprefix("?"))
    parts, operators, rounds, seed = (
        found.get(name, [""])[0].strip() for name in ("parts", "operators", "rounds", "seed")
    )
    return parts, operators, rounds, seed


def _names(text: str) -> list[str]:
    return [name for line in text.splitlines() for name in (one.strip() for one in line.split(",")) if name]


def _count(text: str, what: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError(f"“{text[:40]}” is no whole number for {what}; write one such as 3")
    return int(text)


def uploaded(contents: str, name: str) -> str:
    """Return the text of a file as a browser sends it.

    Raises:
        SpcError: it is too large, or no text.
    """
    try:
        whole = base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise InputError(f"{name}: the file did not arrive whole; choose it again") from None
    if len(whole) > LARGEST:
        raise InputError(f"{name}: {len(whole)} bytes; a study's sheet has at most {LARGEST}")
    return Decoder(name).feed(whole, final=True)


def study_told(asked: Mapping[str, Any]) -> StudyTold:
    """Return what a sheet says.

    Args:
        asked: "text" of the sheet, "what" was read, "unit", "lower" and "upper" acceptance limit, "step".

    Raises:
        SpcError: it says nothing, with the reason.
    """
    found = _result(asked)
    study, unit = found.study, found.unit
    rows = tuple(
        (
            each.name,
            with_unit(in_figures(each.sd), unit),
            f"{in_figures(math.sqrt(each.lower))} to {with_unit(in_figures(math.sqrt(each.upper)), unit)}"
            if math.isfinite(each.upper)
            else f"at least {with_unit(in_figures(math.sqrt(each.lower)), unit)}",
            f"{in_figures(100 * each.share)} %",
        )
        for each in study.components
    )
    facts = [
        ("Readings", f"{study.n}: {study.parts} parts by {study.operators} operators"),
        ("Mean", with_unit(in_figures(study.mean, 4), unit)),
        ("Gauge, standard deviation", with_unit(in_figures(study.gauge.sd), unit)),
        ("Interaction", study.interaction),
        ("Distinct categories", "no bound" if study.categories is None else str(study.categories)),
    ]
    if study.share_of_tolerance is not None:
        facts.append(
            ("Six gauge sigmas", f"{in_figures(100 * study.share_of_tolerance)} % of the width between the limits")
        )
    return StudyTold(
        headline=_headline(found),
        facts=tuple(facts),
        components=rows,
        confidence=f"{100 * study.confidence:g} % limits",
        anova=tuple(anova_rows(study)),
        statements=tuple(
            dict.fromkeys((*study.statements, *((study.divisions.statement,) if study.divisions is not None else ())))
        ),
        notes=found.readings.notes,
        method=f"{study.method}.",
        asked=dict(asked),
    )


def study_figure(asked: Mapping[str, Any], screen: dict[str, object]) -> Any:
    """Return the figure of a study; arguments and refusals as `study_told`."""
    found = _result(asked)
    return gauge_figure(
        found.readings.values,
        found.readings.parts,
        found.readings.operators,
        found.study,
        what=found.what,
        unit=found.unit,
        screen=screen_of(screen),
    )


def _result(asked: Mapping[str, Any]) -> StudyResult:
    text = str(asked.get("text") or "")
    if not text.strip():
        raise InputError("no readings yet; paste the filled-in sheet, or choose its file")
    if len(text) > LARGEST:
        raise InputError(f"the sheet has {len(text)} letters; this page reads {LARGEST} at most")
    readings = study_of_sheet(sheet_of_text(text, SHEET))
    if len(readings.values) > MOST:
        raise InputError(f"{len(readings.values)} readings; this page works out {MOST} at most")
    lower, upper, step = (_number(asked, name, what) for name, what in _NUMBERS)
    if step is not None and step <= 0:
        raise InputError("the smallest step is not above 0; leave it empty if it is not known")
    specification = Specification(lower, upper) if lower is not None or upper is not None else None
    return study_result(
        readings,
        what=_words(asked, "what") or "Reading",
        unit=_words(asked, "unit"),
        specification=specification,
        resolution=step,
    )


_NUMBERS = (("lower", "lower acceptance limit"), ("upper", "upper acceptance limit"), ("step", "smallest step"))


def _words(asked: Mapping[str, Any], name: str) -> str:
    return " ".join(str(asked.get(name) or "").split())[:60]


def _number(asked: Mapping[str, Any], name: str, what: str) -> float | None:
    text = str(asked.get(name) or "").strip().replace("\N{MINUS SIGN}", "-")
    if not text:
        return None
    plain = formats_now().read(text)
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"“{text[:40]}” is no number for the {what}; correct it or leave it empty")
    return value


def _headline(found: StudyResult) -> str:
    study = found.study
    told = f"Part-to-part differences are {in_figures(100 * study.part.share)} % of the variance"
    if study.categories is None:
        return f"{told}; the gauge shows no variation of its own."
    word = "at least" if study.categories >= FEWEST_CATEGORIES else "fewer than"
    return (
        f"{told}; {study.categories} distinct categories, {word} the {FEWEST_CATEGORIES} that are commonly looked for."
    )


def refusal(refused: SpcError) -> str:
    """Return why there is no result, as a sentence."""
    words = str(refused)
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."
