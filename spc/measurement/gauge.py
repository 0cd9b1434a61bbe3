"""Measurement study: how much of what is read comes from the part, how much from reading it.

Each of several operators reads each of several parts, more than once. The analysis of variance shares the variation
out: repeatability (the same operator, the same part, again), reproducibility (operators, and their interaction with
parts), part. Parts and operators stand for all there are: both are random.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray
from spc.capability.indices import Specification
from spc.errors import InputError
from spc.measurement.crossed import SOURCES, Layout, MeanSquare, layout, mean_squares, pooled
from spc.measurement.divisions import Divisions, judge_divisions
from spc.measurement.variance_limits import modified_large_sample
from spc.pivots import check_confidence
from spc.told import Told

POOL_ABOVE = 0.25
"""p value of the interaction above which it joins repeatability: Bancroft (1964), Biometrics 20, on pooling."""

CATEGORIES_FACTOR = 1.41
"""Distinct categories for each part sigma over gauge sigma: sqrt 2, as the published tables round it."""

COMPONENTS = {
    "repeatability": (0, 0, 0, 1),
    "operator": (0, 1, 0, 0),
    "interaction": (0, 0, 1, 0),
    "reproducibility": (0, 1, 1, 0),
    "gauge": (0, 1, 1, 1),
    "part": (1, 0, 0, 0),
    "total": (1, 1, 1, 1),
}
"""Which of SOURCES' variances make up each component."""


@dataclass(frozen=True, slots=True)
class AnovaLine:
    """One line of the analysis of variance, as printed; F and p are None where nothing is left to test against."""

    source: str
    sum_of_squares: float
    df: int
    mean_square: float
    f: float | None
    p_value: float | None


@dataclass(frozen=True, slots=True)
class VarianceComponent:
    """One source of variation, as a variance in the unit squared."""

    name: str
    estimate: float  # as computed; may be below 0
    variance: float  # not below 0
    lower: float  # confidence limits of the variance
    upper: float
    share: float  # of the total variance, between 0 and 1
    method: str

    @property
    def sd(self) -> float:
        """Standard deviation, in the readings' unit."""
        return math.sqrt(self.variance)


@dataclass(frozen=True, slots=True)
class CrossedStudy(Told):
    """A crossed measurement study, analysed."""

    method: str
    n: int
    parts: int
    operators: int
    balanced: bool
    mean: float
    interaction: str  # kept, pooled, or not to be told; and by what rule
    anova: tuple[AnovaLine, ...]
    total_sum_of_squares: float
    repeatability: VarianceComponent
    operator: VarianceComponent | None  # None with one operator
    interaction_component: VarianceComponent | None  # None where it is pooled
    reproducibility: VarianceComponent | None
    gauge: VarianceComponent  # repeatability and reproducibility together
    part: VarianceComponent
    total: VarianceComponent
    confidence: float
    categories_exact: float | None  # distinct categories before cutting off; None where the gauge shows no variation
    categories: int | None
    share_of_tolerance: float | None  # 6 gauge sigmas over the width between two specification limits
    divisions: Divisions | None
    statements: tuple[str, ...]
    mean_squares: tuple[MeanSquare, ...]  # what `generalised_limits` draws from

    @property
    def components(self) -> tuple[VarianceComponent, ...]:
        """The components there are, in the order people read them."""
        each = (
            self.repeatability,
            self.operator,
            self.interaction_component,
            self.reproducibility,
            self.gauge,
            self.part,
            self.total,
        )
        return tuple(component for component in each if component is not None)


def crossed_study(
    readings: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    *,
    confidence: float = 0.95,
    pool_above: float = POOL_ABOVE,
    specification: Specification | None = None,
    resolution: float | None = None,
) -> CrossedStudy:
    """Analyse a crossed study, keeping the interaction unless it is far from significant.

    Args:
        readings: shape (n,), in any order.
        parts: which part each reading is of, n labels.
        operators: who read it, n labels.
        confidence: of the two-sided limits.
        pool_above: the interaction joins repeatability when its p value is above this.
        specification: to hold the gauge against the width between its limits.
        resolution: the step of the readings, to be told when it decides the answer.

    Raises:
        InputError: labels and readings do not match, fewer than 2 parts, nothing varies, operators that share no part,
            or too few readings to tell repeatability.

    Source:
        Burdick, Borror and Montgomery (2005), Design and Analysis of Gauge R&R Studies.
    """
    study = layout(readings, parts, operators)
    squares = mean_squares(study)
    if "interaction" not in squares or "repeatability" not in squares:
        reason = (
            "not to be told: one operator, or operators that share too few parts"
            if "repeatability" in squares
            else "not to be told from repeatability: no operator read a part twice"
        )
        return _analyse(study, pooled(squares), reason, confidence, specification, resolution)
    line = _line(squares["interaction"], squares)
    keep = line.p_value is not None and line.p_value <= pool_above
    verdict = "none" if line.p_value is None else f"{line.p_value:.3f}"
    if keep:
        reason = f"kept: its p value, {verdict}, is not above {pool_above:g}"
        return _analyse(study, squares, reason, confidence, specification, resolution)
    reason = f"pooled with repeatability: its p value, {verdict}, is above {pool_above:g}"
    return _analyse(study, pooled(squares), reason, confidence, specification, resolution)


def crossed_study_with_interaction(
    readings: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    *,
    confidence: float = 0.95,
    specification: Specification | None = None,
    resolution: float | None = None,
) -> CrossedStudy:
    """Analyse a crossed study with the interaction, whatever its p value; arguments as `crossed_study`.

    Raises:
        InputError: also where the interaction cannot be told: one operator, or no part read twice by an operator.
    """
    study = layout(readings, parts, operators)
    squares = mean_squares(study)
    if "interaction" not in squares or "repeatability" not in squares:
        raise InputError("the interaction cannot be told: it needs 2 operators who each read parts more than once")
    return _analyse(study, squares, "kept: asked for", confidence, specification, resolution)


def crossed_study_without_interaction(
    readings: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    *,
    confidence: float = 0.95,
    specification: Specification | None = None,
    resolution: float | None = None,
) -> CrossedStudy:
    """Analyse a crossed study with the interaction counted to repeatability; arguments as `crossed_study`."""
    study = layout(readings, parts, operators)
    squares = pooled(mean_squares(study))
    return _analyse(study, squares, "pooled with repeatability: asked for", confidence, specification, resolution)


def _analyse(
    study: Layout,
    squares: dict[str, MeanSquare],
    interaction: str,
    confidence: float,
    specification: Specification | None,
    resolution: float | None,
) -> CrossedStudy:
    check_confidence(confidence)
    if "part" not in squares:
        raise InputError("parts cannot be told from operators: no two parts were read by the same operator")
    if len(study.operators) > 1 and "operator" not in squares:
        raise InputError("operators cannot be compared: no two of them read the same part")
    lines = tuple(squares.values())
    found = {name: _component(name, lines, confidence) for name in COMPONENTS if _applies(name, squares)}
    total = found["total"].variance
    found = {name: _with_share(component, total) for name, component in found.items()}
    gauge, part = found["gauge"], found["part"]
    exact = CATEGORIES_FACTOR * part.sd / gauge.sd if gauge.variance > 0 else None
    two_limits = specification is not None and specification.lower is not None and specification.upper is not None
    width = specification.upper - specification.lower if two_limits else None  # type: ignore[union-attr,operator]  # both are given
    divisions = None if resolution is None else judge_divisions(study, resolution, confidence=confidence)
    return CrossedStudy(
        method="analysis of variance" + ("" if study.balanced else ", unequal cells (Henderson's method 3)"),
        n=study.n,
        parts=len(study.parts),
        operators=len(study.operators),
        balanced=study.balanced,
        mean=study.mean,
        interaction=interaction,
        anova=tuple(_line(line, squares) for line in lines),
        total_sum_of_squares=float(study.deviations @ study.deviations),
        repeatability=found["repeatability"],
        operator=found.get("operator"),
        interaction_component=found.get("interaction"),
        reproducibility=found.get("reproducibility"),
        gauge=gauge,
        part=part,
        total=found["total"],
        confidence=confidence,
        categories_exact=exact,
        categories=None if exact is None else math.floor(exact),
        share_of_tolerance=None if width is None else 6 * gauge.sd / width,
        divisions=divisions,
        statements=_statements(study, found, divisions),
        mean_squares=lines,
    )


def _applies(name: str, squares: dict[str, MeanSquare]) -> bool:
    if name in ("operator", "reproducibility"):
        return "operator" in squares
    return name != "interaction" or "interaction" in squares


def component_weights(name: str, lines: Sequence[MeanSquare]) -> FloatArray:
    """Return the weights of the mean squares in a component: their expectations, solved for the variances."""
    columns = [SOURCES.index(line.source) for line in lines]
    expected = np.array([[line.expected[column] for column in columns] for line in lines])
    wanted = np.array([COMPONENTS[name][column] for column in columns], dtype=np.float64)
    return np.asarray(np.linalg.solve(expected.T, wanted))


def _component(name: str, lines: Sequence[MeanSquare], confidence: float) -> VarianceComponent:
    weights = component_weights(name, lines)
    weights[np.abs(weights) < 1e-12 * np.abs(weights).max()] = 0.0
    values, dfs = [line.value for line in lines], [line.df for line in lines]
    estimate = float(weights @ np.array(values))
    lower, upper = modified_large_sample(weights, values, dfs, confidence)
    method = "chi-square" if np.count_nonzero(weights) == 1 else "modified large sample"
    return VarianceComponent(name, estimate, max(0.0, estimate), lower, upper, math.nan, method)


def _with_share(component: VarianceComponent, total: float) -> VarianceComponent:
    share = min(1.0, component.variance / total) if total > 0 else 0.0
    return VarianceComponent(
        component.name,
        component.estimate,
        component.variance,
        component.lower,
        component.upper,
        share,
        component.method,
    )


def _line(line: MeanSquare, squares: dict[str, MeanSquare]) -> AnovaLine:
    """Return a line with its F test, against interaction and repeatability mixed as its expectation mixes them."""
    from scipy.stats import f

    error = squares.get("repeatability")
    if line.source == "repeatability" or error is None:
        return AnovaLine(line.source, line.sum_of_squares, line.df, line.value, None, None)
    against, df = error.value, float(error.df)
    interaction = squares.get("interaction")
    if interaction is not None and line.source != "interaction":
        mix = line.expected[2] / interaction.expected[2]
        pieces = [(mix * interaction.value, interaction.df), ((1 - mix) * error.value, error.df)]
        against = sum(piece for piece, _ in pieces)
        spread = sum(piece**2 / piece_df for piece, piece_df in pieces)
        df = against**2 / spread if spread > 0 else 0.0  # Satterthwaite; equal cells: the interaction's own
    if against <= 0:
        return AnovaLine(line.source, line.sum_of_squares, line.df, line.value, None, None)
    ratio = line.value / against
    return AnovaLine(line.source, line.sum_of_squares, line.df, line.value, ratio, float(f.sf(ratio, line.df, df)))


def _statements(study: Layout, found: dict[str, VarianceComponent], divisions: Divisions | None) -> tuple[str, ...]:
    said = []
    if "operator" not in found:
        said.append("One operator: reproducibility cannot be told, and the gauge's share is too small by it.")
    said += [
        f"The {name} variance came out below zero ({found[name].estimate:.3g}) and is taken as 0: it is too small to "
        "be told from the scatter."
        for name in ("operator", "interaction", "part")
        if name in found and found[name].estimate < 0
    ]
    gauge = found["gauge"]
    if gauge.variance > 0 and gauge.upper > 4 * gauge.variance:
        said.append(
            f"With {len(study.operators)} operators the gauge variance is hardly known: its upper limit is "
            f"{gauge.upper / gauge.variance:.0f} times the estimate. More operators narrow it; more repeats do not."
        )
    if gauge.variance == 0:
        said.append("No reading differed from its repeat or between operators; the number of categories has no bound.")
    if not study.balanced:
        said.append("The cells are unequal: limits other than repeatability's are approximate.")
    if divisions is not None and divisions.decides:
        said.append(divisions.statement)
    return tuple(said)
