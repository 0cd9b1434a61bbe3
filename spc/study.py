"""A measurement study from plan to result: who reads which part in which order, and what the readings say.

Every operator reads every part several times, in an order drawn by lot, so that what drifts meanwhile spreads over all
of them. Each round holds every pair of part and operator once; who has read a part does not read it again before the
next round.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spc.arrays import FloatArray, frozen
from spc.capability.indices import Specification
from spc.errors import InputError, LogError
from spc.ingest.sheet import Sheet, read_text_sheet
from spc.ingest.table import plain_name
from spc.measurement.gauge import CrossedStudy, crossed_study
from spc.stream_csv import safe
from spc.wording import in_figures

MOST_READINGS = 20_000
"""Readings of a study: more is a mistaken file."""

COLUMNS = ("order", "round", "part", "operator", "value")
NEEDED = ("part", "operator", "value")


@dataclass(frozen=True, slots=True)
class PlannedReading:
    """One reading to be made."""

    order: int  # 1, 2, 3 ...
    round: int
    part: str
    operator: str


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """The readings of a study in the order in which they are made."""

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    rounds: int
    seed: int
    readings: tuple[PlannedReading, ...]

    @property
    def csv(self) -> str:
        """The plan as a table with an empty column to write the values in; `read_study` takes it back."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows((each.order, each.round, safe(each.part), safe(each.operator), "") for each in self.readings)
        return text.getvalue()


@dataclass(frozen=True, slots=True)
class StudyReadings:
    """What a study's sheet says; every column has n entries, in order of the sheet."""

    values: FloatArray
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    notes: tuple[str, ...]  # what was left out, a sentence each


@dataclass(frozen=True, slots=True)
class StudyResult:
    """A measurement study with its readings: what a report prints and a page shows."""

    title: str
    what: str  # what was read: "Bath concentration"
    unit: str
    readings: StudyReadings
    study: CrossedStudy
    specification: Specification | None


def plan_study(parts: Sequence[str], operators: Sequence[str], rounds: int, *, seed: int) -> StudyPlan:
    """Return a plan in an order drawn by lot; the same seed gives the same plan.

    Args:
        parts: names of the parts, tubes or places, 2 or more.
        operators: names or marks of those who read, 1 or more.
        rounds: how often each reads each part, 2 or more.
        seed: of the draw, 0 or more.

    Raises:
        InputError: too few, a name twice or empty, or too many readings.
    """
    named = tuple(part.strip() for part in parts), tuple(operator.strip() for operator in operators)
    for what, names, fewest in (("parts", named[0], 2), ("operators", named[1], 1)):
        if len(names) < fewest:
            raise InputError(f"{len(names)} {what} given; a study needs at least {fewest}")
        if "" in names or len(set(names)) < len(names):
            raise InputError(f"the {what} have an empty name or one twice; give each a name of its own")
    if rounds < 2:
        raise InputError(f"{rounds} rounds given; each part has to be read at least twice to tell repeatability")
    if len(named[0]) * len(named[1]) * rounds > MOST_READINGS:
        raise InputError(f"{len(named[0]) * len(named[1]) * rounds} readings planned; {MOST_READINGS} at most")
    if seed < 0:
        raise InputError(f"the seed is {seed}; give 0 or more")
    generator = np.random.default_rng(seed)
    pairs = [(part, operator) for part in named[0] for operator in named[1]]
    found: list[PlannedReading] = []
    for number in range(1, rounds + 1):
        for place in generator.permutation(len(pairs)).tolist():
            found.append(PlannedReading(len(found) + 1, number, *pairs[place]))
    return StudyPlan(*named, rounds, seed, tuple(found))


def read_study(path: Path | str) -> StudyReadings:
    """Return the readings of a study's sheet: CSV with the columns part, operator and value, in any order.

    A row without a value is a reading not made yet: it is left out and told. Decimal point or comma.

    Raises:
        LogError: the file cannot be read, a column is missing, or a value is no finite number; row and remedy.
    """
    return study_of_sheet(read_text_sheet(path))


def study_of_sheet(sheet: Sheet) -> StudyReadings:
    """Return the readings that a sheet holds; refusals as `read_study`."""
    if not sheet.rows:
        raise LogError(f"{sheet.file}: empty; a study's sheet has the columns {', '.join(NEEDED)}")
    header = [plain_name(cell.text) for cell in sheet.rows[0]]
    places = {}
    for name in NEEDED:
        if header.count(name) != 1:
            said = "twice or more" if header.count(name) else "nowhere"
            raise LogError(f"{sheet.file}: column '{name}' stands {said}; the header needs {', '.join(NEEDED)}")
        places[name] = header.index(name)
    values, parts, operators, empty = [], [], [], 0
    for place in range(1, len(sheet.rows)):
        row = sheet.numbers[place]
        if place in sheet.faults:
            raise LogError(f"{sheet.file}: row {row}: {sheet.faults[place]}; correct it")
        texts = {name: sheet.cell(place, at).text for name, at in places.items()}
        if not any(cell.text for cell in sheet.rows[place]):
            continue
        if not texts["value"]:
            empty += 1
            continue
        for name in ("part", "operator"):
            if not texts[name]:
                raise LogError(f"{sheet.file}: row {row}: no {name} is named; write it down or take the row out")
        values.append(_number(texts["value"], sheet.file, row))
        parts.append(texts["part"])
        operators.append(texts["operator"])
    if len(values) > MOST_READINGS:
        raise LogError(f"{sheet.file}: {len(values)} readings; a study has at most {MOST_READINGS}")
    rows = "1 row without a value was" if empty == 1 else f"{empty} rows without a value were"
    notes = (f"{rows} left out.",) if empty else ()
    return StudyReadings(frozen(np.array(values, dtype=np.float64)), tuple(parts), tuple(operators), notes)


def _number(text: str, file: str, row: int) -> float:
    plain = text.replace("\N{MINUS SIGN}", "-")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        raise LogError(f"{file}: row {row}: value {text!r} is no number; correct it or leave it empty") from None
    if not np.isfinite(value):
        raise LogError(f"{file}: row {row}: value {text!r} is no finite number; correct it or leave it empty")
    return value


def study_result(
    readings: StudyReadings,
    *,
    what: str,
    unit: str = "",
    title: str = "Measurement study",
    specification: Specification | None = None,
    resolution: float | None = None,
    confidence: float = 0.95,
) -> StudyResult:
    """Return what a study says.

    Args:
        readings: of its sheet.
        what: what was read.
        unit: of the readings.
        title: of the study.
        specification: acceptance limits, to hold the gauge against the width between them.
        resolution: smallest step a reading can be written in.
        confidence: of the limits.

    Raises:
        InputError: too few readings, parts or operators, or nothing varies.
    """
    study = crossed_study(
        readings.values,
        readings.parts,
        readings.operators,
        specification=specification,
        resolution=resolution,
        confidence=confidence,
    )
    return StudyResult(title, what, unit, readings, study, specification)


def anova_rows(study: CrossedStudy) -> list[tuple[str, ...]]:
    """Return the analysis of variance as words: source, sum of squares, df, mean square, F, p value."""
    return [
        (
            line.source,
            in_figures(line.sum_of_squares, 5),
            str(line.df),
            in_figures(line.mean_square, 5),
            "" if line.f is None else in_figures(line.f, 4),
            "" if line.p_value is None else in_figures(line.p_value, 2),
        )
        for line in study.anova
    ]
