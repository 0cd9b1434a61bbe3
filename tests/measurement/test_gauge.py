import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.arrays import FloatArray, IntArray
from spc.capability.indices import Specification
from spc.errors import InputError
from spc.measurement.crossed import layout, mean_squares, pooled
from spc.measurement.divisions import judge_divisions
from spc.measurement.gauge import (
    CrossedStudy,
    VarianceComponent,
    crossed_study,
    crossed_study_with_interaction,
    crossed_study_without_interaction,
)
from spc.measurement.gauge_ranges import d2_star, range_df, range_study
from spc.measurement.generalised_limits import generalised_limits
from spc.measurement.variance_limits import drawn_variances, modified_large_sample

# The measurement systems analysis manual's study: 10 parts, 3 appraisers, 3 trials (from memory; every sum of squares
# recomputed from it agrees with the recalled print).
MANUAL = """
    A  .29  -.56 1.34  .47  -.80  .02 .59 -.31 2.26 -1.36
    A  .41  -.68 1.17  .50  -.92 -.11 .75 -.20 1.99 -1.25
    A  .64  -.58 1.27  .64  -.84 -.21 .66 -.17 2.01 -1.31
    B  .08  -.47 1.19  .01  -.56 -.20 .47 -.63 1.80 -1.68
    B  .25 -1.22  .94 1.03 -1.20  .22 .55  .08 2.12 -1.62
    B  .07  -.68 1.34  .20 -1.28  .06 .83 -.34 2.19 -1.50
    C  .04 -1.38  .88  .14 -1.46 -.29 .02 -.46 1.77 -1.49
    C -.11 -1.13 1.09  .20 -1.07 -.67 .01 -.56 1.45 -1.77
    C -.15  -.96  .67  .11 -1.45 -.49 .21 -.49 1.87 -2.16
"""
ROWS = [line.split() for line in MANUAL.split("\n") if line.strip()]
READINGS = np.array([float(value) for row in ROWS for value in row[1:]])
PARTS = [f"part {i}" for _ in ROWS for i in range(1, 11)]
OPERATORS = [row[0] for row in ROWS for _ in range(10)]


def component(study: CrossedStudy, name: str) -> VarianceComponent:
    return next(found for found in study.components if found.name == name)


def unequal(seed: int = 3, keep: float = 0.8) -> tuple[FloatArray, list[str], list[str]]:
    """Return the manual's study with some readings lost."""
    kept = np.flatnonzero(np.random.default_rng(seed).random(90) < keep)
    return READINGS[kept], [PARTS[i] for i in kept], [OPERATORS[i] for i in kept]


def test_the_manuals_sums_of_squares():
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)

    squares = [line.sum_of_squares for line in study.anova]
    assert squares == pytest.approx([88.3619, 3.1673, 0.3590, 2.7589], abs=5e-5)
    assert study.total_sum_of_squares == pytest.approx(94.6471, abs=5e-5)
    assert [line.df for line in study.anova] == [9, 2, 18, 60]
    assert study.anova[2].f == pytest.approx(0.4337, abs=5e-5)
    assert study.anova[0].f == pytest.approx(492.291, abs=0.005)
    assert study.anova[1].f == pytest.approx(79.406, abs=0.005)
    assert study.balanced


def test_the_manuals_pooled_analysis():
    study = crossed_study(READINGS, PARTS, OPERATORS)
    names = ("repeatability", "reproducibility", "gauge", "part", "total")
    sds = {name: component(study, name).sd for name in names}

    assert list(sds.values()) == pytest.approx([0.199933, 0.226838, 0.302373, 1.042327, 1.085300], abs=2e-6)
    shares = [100 * sds[name] / sds["total"] for name in names[:4]]
    assert shares == pytest.approx([18.42, 20.90, 27.86, 96.04], abs=0.005)
    assert study.categories_exact == pytest.approx(4.8605, abs=5e-5)
    assert study.categories == 4
    assert study.interaction.startswith("pooled with repeatability: its p value, 0.974")
    assert study.interaction_component is None


def test_limits_of_the_manuals_study():
    """Formulas of Burdick, Borror and Montgomery (2003), computed from the mean squares; drawing agrees within 2 %."""
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)
    repeat, gauge, part = (component(study, name) for name in ("repeatability", "gauge", "part"))

    assert (repeat.lower, repeat.upper) == pytest.approx((0.033121, 0.068153), abs=1e-6)
    assert (gauge.estimate, gauge.lower, gauge.upper) == pytest.approx((0.08943, 0.04992, 2.12171), abs=6e-6)
    assert (part.estimate, part.lower, part.upper) == pytest.approx((1.0887, 0.5139, 3.6335), abs=6e-5)
    assert (repeat.method, gauge.method) == ("chi-square", "modified large sample")


def test_generalised_limits_of_the_manuals_study():
    """Drawn a million times elsewhere: gauge 0.050 to 2.122, part 0.514 to 3.624."""
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)
    found = generalised_limits(study, generator=np.random.default_rng(1), draws=400_000)

    assert found.variances["gauge"] == pytest.approx((0.050, 2.122), rel=0.02)
    assert found.variances["part"] == pytest.approx((0.514, 3.624), rel=0.02)
    assert found.variances["repeatability"] == pytest.approx((0.033121, 0.068153), rel=0.01)
    assert found.shares["gauge"][0] < component(study, "gauge").share < found.shares["gauge"][1]
    assert found.categories is not None
    assert study.categories_exact is not None
    assert found.categories[0] < study.categories_exact < found.categories[1]
    assert (found.draws, found.confidence) == (400_000, 0.95)
    with pytest.raises(InputError, match="999 draws"):
        generalised_limits(study, generator=np.random.default_rng(1), draws=999)


def test_two_degrees_of_freedom_for_operators_are_said_to_leave_the_gauge_open():
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)

    assert any("hardly known: its upper limit is 24 times the estimate" in said for said in study.statements)
    assert any("interaction variance came out below zero" in said for said in study.statements)


def test_equal_cells_by_textbook_formulas():
    """Second way: components from the mean squares by the balanced formulas."""
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)
    part, operator, interaction, error = (line.mean_square for line in study.anova)

    assert component(study, "part").estimate == pytest.approx((part - interaction) / 9, rel=1e-12)
    assert component(study, "operator").estimate == pytest.approx((operator - interaction) / 30, rel=1e-12)
    assert component(study, "interaction").estimate == pytest.approx((interaction - error) / 3, rel=1e-12)
    assert component(study, "interaction").variance == 0.0
    assert component(study, "reproducibility").estimate == pytest.approx(
        component(study, "operator").estimate + component(study, "interaction").estimate, rel=1e-12
    )


def test_p_values_are_those_of_the_f_distribution():
    """Equal cells: parts and operators against the interaction, the interaction against repeatability."""
    study = crossed_study_with_interaction(READINGS, PARTS, OPERATORS)
    part, operator, interaction, error = study.anova

    assert part.p_value == pytest.approx(stats.f.sf(part.mean_square / interaction.mean_square, 9, 18), rel=1e-9)
    assert operator.p_value == pytest.approx(
        stats.f.sf(operator.mean_square / interaction.mean_square, 2, 18), rel=1e-9
    )
    assert interaction.p_value == pytest.approx(
        stats.f.sf(interaction.mean_square / error.mean_square, 18, 60), rel=1e-9
    )
    assert error.f is error.p_value is None


def test_without_an_operator_effect_its_p_value_is_uniform_in_unequal_cells():
    """Satterthwaite's mix of interaction and repeatability; 400 seeded studies, standard error of 10 %: 1.5 %."""
    rng = np.random.default_rng(12)
    part = rng.integers(0, 6, 60)
    operator = rng.integers(0, 3, 60)
    p_values = []
    for _ in range(400):
        cells = rng.normal(size=(6, 3)) + 2 * rng.normal(size=(6, 1))
        x = cells[part, operator] + rng.normal(size=60)
        p_values.append(crossed_study_with_interaction(x, part.tolist(), operator.tolist()).anova[1].p_value or 0.0)

    assert np.mean(np.array(p_values) < 0.1) == pytest.approx(0.1, abs=0.045)
    assert np.mean(np.array(p_values) < 0.5) == pytest.approx(0.5, abs=0.075)


@pytest.mark.parametrize("scale", [1.0, 0.001])
def test_shares_are_of_the_total_variance(scale):
    study = crossed_study(scale * READINGS, PARTS, OPERATORS)
    total = component(study, "total").variance

    for found in study.components:
        assert found.share == pytest.approx(found.variance / total, rel=1e-12)
    assert sum(component(study, name).share for name in ("repeatability", "reproducibility", "part")) == pytest.approx(
        1
    )


def test_a_gauge_that_is_well_known_is_not_said_to_be_open():
    rng = np.random.default_rng(13)
    parts = np.repeat(np.arange(12), 24)
    operators = np.tile(np.repeat(np.arange(12), 2), 12)
    cells = rng.normal(0, 0.5, (12, 12)) + rng.normal(size=(12, 1)) * 3 + rng.normal(size=12) * 2
    study = crossed_study_with_interaction(
        cells[parts, operators] + rng.normal(0, 0.3, 288), parts.tolist(), operators.tolist()
    )

    assert component(study, "gauge").upper < 4 * component(study, "gauge").variance
    assert study.statements == ()


def test_the_gauge_is_said_to_be_open_above_four_times_its_estimate():
    rng = np.random.default_rng(31)
    part, operator = np.repeat(np.arange(5), 10), np.tile(np.repeat(np.arange(5), 2), 5)
    ratios = []
    for _ in range(60):
        readings = rng.normal(size=5)[part] + 0.5 * rng.normal(size=5)[operator] + 0.4 * rng.normal(size=50)
        study = crossed_study_without_interaction(readings, part.tolist(), operator.tolist())
        ratios.append(study.gauge.upper / study.gauge.variance)
        assert any("hardly known" in said for said in study.statements) == (ratios[-1] > 4)

    for low, high in ((2, 3.5), (3.5, 4), (4, 4.5), (4.5, 6)):
        assert any(low < ratio < high for ratio in ratios)


def test_limits_of_a_difference_are_zero_where_the_exact_test_is_undecided():
    """Ting and others (1990): the cross terms are chosen so that the limits agree with the F test at its own point."""
    for df in ((9, 18), (4, 30), (12, 5)):
        for tail in (0.025, 0.05):
            at, below = stats.f.isf(tail, *df), stats.f.ppf(tail, *df)
            near = modified_large_sample([1, -1], [at * (1 + 1e-5), 1.0], df, 1 - 2 * tail)
            far = modified_large_sample([1, -1], [at * (1 - 1e-5), 1.0], df, 1 - 2 * tail)
            assert 0 < near[0] < 1e-3
            assert far[0] == 0
            assert 0 < modified_large_sample([1, -1], [below * (1 + 1e-5), 1.0], df, 1 - 2 * tail)[1] < 1e-3
            assert modified_large_sample([1, -1], [below * (1 - 1e-5), 1.0], df, 1 - 2 * tail)[1] == 0


def test_unequal_cells_agree_with_a_library():
    """statsmodels' type II sums of squares; components then solve the expectations."""
    import pandas as pd
    import statsmodels.formula.api as smf  # type: ignore[import-untyped]  # statsmodels has no stubs
    from statsmodels.stats.anova import anova_lm  # type: ignore[import-untyped]  # statsmodels has no stubs

    readings, parts, operators = unequal()
    study = crossed_study_with_interaction(readings, parts, operators)
    table = anova_lm(smf.ols("y ~ C(p) * C(o)", pd.DataFrame({"y": readings, "p": parts, "o": operators})).fit(), typ=2)

    assert [line.sum_of_squares for line in study.anova] == pytest.approx(table["sum_sq"].tolist(), rel=1e-9)
    assert [line.df for line in study.anova] == table["df"].tolist()
    assert study.anova[2].p_value == pytest.approx(table["PR(>F)"].iloc[2], rel=1e-9)
    assert not study.balanced
    assert "Henderson" in study.method
    assert any("cells are unequal" in said for said in study.statements)


def test_expected_mean_squares_by_brute_force():
    """Second way: for each variance, the mean square's expectation is the trace of its whole n by n form."""
    readings, parts, operators = unequal(seed=8, keep=0.55)
    study = layout(readings, parts, operators)
    found = mean_squares(study)
    n = study.n
    indicators = {
        "part": study.part[:, None] == np.arange(len(study.parts)),
        "operator": study.operator[:, None] == np.arange(len(study.operators)),
    }
    cell = study.part * len(study.operators) + study.operator
    indicators["interaction"] = cell[:, None] == np.unique(cell)
    spaces = {name: np.linalg.pinv(z.astype(float)) for name, z in indicators.items()}
    project = {name: z @ spaces[name] for name, z in indicators.items()}
    both = np.hstack([indicators["part"], indicators["operator"]]).astype(float)
    project["both"] = both @ np.linalg.pinv(both)
    forms = {
        "part": project["both"] - project["operator"],
        "operator": project["both"] - project["part"],
        "interaction": project["interaction"] - project["both"],
        "repeatability": np.eye(n) - project["interaction"],
    }
    for source, form in forms.items():
        df = np.trace(form)
        weights = [np.trace(form @ (z @ z.T.astype(float))) / df for z in indicators.values()]

        assert found[source].df == pytest.approx(df)
        assert found[source].sum_of_squares == pytest.approx(readings @ form @ readings, rel=1e-9)
        assert found[source].expected == pytest.approx((*weights, 1.0), abs=1e-9)


def drawn_study(rng: np.random.Generator, counts: IntArray) -> CrossedStudy:
    """Return the analysis of a drawn study: part, operator, interaction, repeatability sd 2, 1, 0.5, 0.7."""
    p, o = counts.shape
    levels = 2 * rng.normal(size=(p, 1)) + rng.normal(size=(1, o)) + 0.5 * rng.normal(size=(p, o))
    cells = [(i, j) for i in range(p) for j in range(o) for _ in range(counts[i, j])]
    readings = [levels[i, j] + 0.7 * rng.normal() for i, j in cells]
    return crossed_study_with_interaction(readings, [i for i, _ in cells], [j for _, j in cells], confidence=0.9)


TRUE = {"part": 4.0, "operator": 1.0, "interaction": 0.25, "repeatability": 0.49, "gauge": 1.74, "total": 5.74}


@pytest.mark.parametrize("equal", [True, False])
def test_drawn_studies_give_their_variances_back(equal):
    """300 seeded studies of 6 parts by 4 operators: unbiased, and the limits hold about as often as stated."""
    rng = np.random.default_rng(12)
    counts = np.full((6, 4), 2) if equal else rng.integers(1, 4, (6, 4))
    studies = [drawn_study(rng, counts) for _ in range(300)]
    for name, true in TRUE.items():
        found = [component(study, name) for study in studies]
        estimates = np.array([c.estimate for c in found])

        assert estimates.mean() == pytest.approx(true, abs=4 * estimates.std() / math.sqrt(300))
        assert np.mean([c.lower <= true <= c.upper for c in found]) == pytest.approx(0.90, abs=0.055)


def test_modified_large_sample_is_exact_for_one_mean_square():
    from scipy.stats import chi2

    low, high = modified_large_sample([0.0, 2.0], [5.0, 3.0], [4, 10], 0.95)

    assert low == pytest.approx(2 * 3.0 * 10 / chi2.isf(0.025, 10), rel=1e-12)
    assert high == pytest.approx(2 * 3.0 * 10 / chi2.ppf(0.025, 10), rel=1e-12)


@pytest.mark.parametrize(("ratio", "confidence"), [(1.0, 0.95), (4.0, 0.90), (30.0, 0.90)])
def test_limits_of_a_difference_hold_their_confidence(ratio, confidence):
    """1,500 seeded pairs of mean squares, 5 and 12 degrees of freedom; standard error of a stated 0.90: 0.008.

    A variance that is truly 0 cannot lie below its limits, so only one tail of 5 % is left.
    """
    rng = np.random.default_rng(2)
    squares = np.array([ratio, 1.0]) * rng.chisquare([5, 12], (1500, 2)) / [5, 12]
    true = (ratio - 1.0) / 3
    limits = np.array([modified_large_sample([1 / 3, -1 / 3], pair, [5, 12], 0.90) for pair in squares])

    assert np.mean((limits[:, 0] <= true) & (true <= limits[:, 1])) == pytest.approx(confidence, abs=0.03)


def test_drawn_variances_have_the_right_spread():
    """One mean square: drawn values are SS over chi-square, whose mean is SS / (df - 2)."""
    drawn = drawn_variances([[1.0], [-1.0]], [12.0], [8], draws=400_000, generator=np.random.default_rng(4))

    assert drawn[:, 0].mean() == pytest.approx(2.0, abs=0.01)
    assert np.all(drawn[:, 1] == 0.0)


def test_by_ranges():
    """The manual's hand calculation, which rounds its constants to four places (from memory)."""
    study = range_study(READINGS, PARTS, OPERATORS)

    assert study.mean_range == pytest.approx(0.3417, abs=5e-5)
    assert study.operator_difference == pytest.approx(0.4446, abs=1e-4)
    assert study.part_range == pytest.approx(3.511, abs=5e-4)
    assert (study.repeatability, study.reproducibility, study.gauge, study.part, study.total) == pytest.approx(
        (0.20188, 0.22963, 0.30575, 1.10456, 1.14610), abs=1.5e-4
    )
    shares = [100 * share for share in study.shares_of_study.values()]
    assert shares == pytest.approx([17.62, 20.04, 26.68, 96.38], abs=0.02)
    assert (study.categories, study.repeats) == (5, 3)
    assert study.statements == ()


@pytest.mark.parametrize(("parts", "operators", "few"), [(4, 3, True), (5, 3, True), (4, 4, False)])
def test_up_to_fifteen_ranges_are_few(parts, operators, few):
    """d2 of two is 2 / sqrt(pi), d3 is sqrt(2 - 4 / pi); up to 15 ranges d2* takes the place of d2."""
    part, operator = np.repeat(np.arange(parts), 2 * operators), np.tile(np.repeat(np.arange(operators), 2), parts)
    study = range_study(
        10.0 * part + operator + np.tile([0.0, 0.5], parts * operators), part.tolist(), operator.tolist()
    )

    spread = (2 - 4 / math.pi) / (parts * operators) if few else 0.0
    assert study.mean_range == pytest.approx(0.5)
    assert study.repeatability == pytest.approx(0.5 / math.sqrt(4 / math.pi + spread), rel=1e-9)


@pytest.mark.parametrize("scale", [1e-4, 1.0, 1e5])
def test_rounding_is_not_taken_for_interaction(scale):
    """Part and operator add up and every repeat is equal: what is left is the last bits of the readings."""
    part, operator = np.repeat(np.arange(7), 6), np.tile(np.repeat(np.arange(3), 2), 7)
    readings = scale * (0.37 * part + 0.113 * operator)
    study = crossed_study_with_interaction(readings, part.tolist(), operator.tolist())

    part_line, operator_line, interaction, repeatability = study.anova
    assert interaction.sum_of_squares == repeatability.sum_of_squares == 0.0
    assert part_line.sum_of_squares == pytest.approx(6 * (0.37 * scale) ** 2 * 28, rel=1e-12)
    assert operator_line.sum_of_squares == pytest.approx(14 * (0.113 * scale) ** 2 * 2, rel=1e-12)
    assert part_line.f is operator_line.f is interaction.f is None
    assert not any("below zero" in said for said in study.statements)


def test_a_small_repeatability_is_not_taken_for_rounding():
    """Parts 1000 apart, repeats 0.00002 apart: half the square of that, whatever the parts."""
    part, operator = np.repeat(np.arange(4), 4), np.tile(np.repeat(np.arange(2), 2), 4)
    study = crossed_study_with_interaction(1000.0 * part + np.tile([0.0, 0.00002], 8), part.tolist(), operator.tolist())

    assert study.repeatability.estimate == pytest.approx(0.00002**2 / 2, rel=1e-6, abs=0)


def test_pooled_mean_squares_expect_no_interaction():
    squares = pooled(mean_squares(layout(READINGS, PARTS, OPERATORS)))

    assert [line.expected for line in squares.values()] == [
        pytest.approx((9.0, 0.0, 0.0, 1.0)),
        pytest.approx((0.0, 30.0, 0.0, 1.0)),
        (0.0, 0.0, 0.0, 1.0),
    ]


# d2*: Duncan, Quality Control and Industrial Statistics, as tabled for g ranges of m (from memory; the tables' last
# place is off by one here and there); the manual's K2 and K3 are 1/d2* for one range.
@pytest.mark.parametrize(
    ("size", "groups", "tabled"),
    [(2, 1, 1.41421), (3, 1, 1.91155), (10, 1, 3.17905), (15, 1, 3.55333), (2, 2, 1.27931), (3, 2, 1.80538)],
)
def test_d2_star(size, groups, tabled):
    assert d2_star(size, groups) == pytest.approx(tabled, abs=1.5e-4)


def test_degrees_of_freedom_of_ranges():
    """Tabled for 15 readings: 10.8 (from memory). One range of two is one degree of freedom, exactly."""
    assert range_df(15, 1) == pytest.approx(10.8, abs=0.05)
    assert range_df(2, 1) == pytest.approx(1.0, abs=1e-6)
    assert 25 < range_df(3, 15) < 30


def test_the_range_method_refuses_what_it_cannot_do():
    with pytest.raises(InputError, match="cells are unequal"):
        range_study(*unequal())
    with pytest.raises(InputError, match="at least 2 operators and 2 readings"):
        range_study([1, 2, 3, 5], ["p", "p", "q", "q"], ["A"] * 4)
    with pytest.raises(InputError, match="take 2 to 25"):
        range_study(np.arange(104.0), [i // 4 for i in range(104)], [i % 2 for i in range(104)])
    with pytest.raises(InputError, match="0 ranges have no mean"):
        d2_star(3, 0)


def test_operators_alike_give_no_reproducibility_by_ranges():
    study = range_study([1, 3, 1, 3, 11, 13, 11, 13], ["p"] * 4 + ["q"] * 4, ["A", "A", "B", "B"] * 2)

    assert study.reproducibility == 0.0
    assert study.gauge == study.repeatability > 0
    assert "taken as 0" in study.statements[0]


def test_the_interaction_is_kept_when_it_is_real():
    rng = np.random.default_rng(5)
    part, operator = np.repeat(np.arange(6), 6), np.tile(np.repeat(np.arange(3), 2), 6)
    readings = rng.normal(size=(6, 3))[part, operator] * 3 + part + 0.1 * rng.normal(size=36)
    study = crossed_study(readings, part.tolist(), operator.tolist())

    assert study.interaction.startswith("kept: its p value, 0.000, is not above 0.25")
    assert component(study, "interaction").estimate > 1
    without = crossed_study_without_interaction(readings, part.tolist(), operator.tolist())
    assert without.interaction == "pooled with repeatability: asked for"
    assert component(without, "repeatability").variance > 10 * component(study, "repeatability").variance


def test_the_pooling_rule_follows_its_p_value():
    readings, parts, operators = unequal()
    p_value = crossed_study_with_interaction(readings, parts, operators).anova[2].p_value
    assert p_value is not None

    assert crossed_study(readings, parts, operators, pool_above=p_value - 1e-6).interaction_component is None
    assert crossed_study(readings, parts, operators, pool_above=p_value + 1e-6).interaction_component is not None


def test_one_operator_has_no_reproducibility():
    """One way: F is the ratio of the parts' mean square to that within them."""
    study = crossed_study([1, 2, 4, 5, 9, 9.5], ["a", "a", "b", "b", "c", "c"], ["A"] * 6)

    assert [line.source for line in study.anova] == ["part", "repeatability"]
    assert study.anova[0].f == pytest.approx((2 * (1.5**2 + 4.5**2 + 9.25**2) - 6 * (30.5 / 6) ** 2) / 2 / (1.125 / 3))
    assert study.operator is study.reproducibility is study.interaction_component is None
    assert study.gauge.variance == study.repeatability.variance == pytest.approx(0.375)
    assert "One operator" in study.statements[0]
    with pytest.raises(InputError, match="needs 2 operators"):
        crossed_study_with_interaction([1, 2, 4, 5, 9, 9.5], ["a", "a", "b", "b", "c", "c"], ["A"] * 6)


def test_without_repeats_interaction_and_repeatability_are_one():
    rows = [i for i, row in enumerate(ROWS) if i % 3 == 0]
    readings = np.concatenate([READINGS[10 * i : 10 * i + 10] for i in rows])
    study = crossed_study(readings, PARTS[:10] * 3, [OPERATORS[10 * i] for i in rows for _ in range(10)])

    assert study.interaction.startswith("not to be told from repeatability: no operator read a part twice")
    assert [line.df for line in study.anova] == [9, 2, 18]
    with pytest.raises(InputError, match="interaction cannot be told"):
        crossed_study_with_interaction(readings, PARTS[:10] * 3, [OPERATORS[10 * i] for i in rows for _ in range(10)])


def test_a_missing_cell_is_no_obstacle():
    keep = [i for i in range(90) if not (PARTS[i] == "part 3" and OPERATORS[i] == "B")]
    study = crossed_study(READINGS[keep], [PARTS[i] for i in keep], [OPERATORS[i] for i in keep])

    assert study.n == 87
    assert component(study, "part").variance == pytest.approx(1.0864, rel=0.1)


@pytest.mark.parametrize(
    ("readings", "parts", "operators", "says"),
    [
        ([1, 2, 3], ["p"] * 3, ["A"] * 3, "readings of one part"),
        ([1, 2, 3], ["p", "q"], ["A"] * 3, "3 readings but 2 part labels"),
        ([1, 2, 3], ["p", "q", "q"], ["A"], "3 readings but 1 operator labels"),
        ([1, 2, 3], ["p", "q", "q", "q"], ["A"] * 3, "3 readings but 4 part labels"),
        ([1, 2, 3], ["p", " ", "q"], ["A"] * 3, "reading 1 has no part"),
        ([1, 2, 3], ["p", "q", "q"], ["A", None, "B"], "reading 1 has no operator"),
        ([1, 2, 3], ["p", "q", float("nan")], ["A"] * 3, "reading 2 has no part"),
        ([1, 2, float("nan")], ["p", "q", "q"], ["A"] * 3, "reading 2 is nan"),
        ([0.2] * 4, ["p", "p", "q", "q"], ["A", "B"] * 2, "nothing varies"),
        ([1, 2], ["p", "q"], ["A", "A"], "nothing is left to tell repeatability from"),
        ([1, 2, 3, 4], ["p", "p", "q", "q"], ["A", "A", "B", "B"], "parts cannot be told from operators"),
        ([1, 2, 3, 4, 5, 6, 7, 8], list("ppqqrrss"), list("AAAABBBB"), "operators cannot be compared"),
        (list(range(2001)), list(range(2001)), ["A"] * 2001, "more than a study of 2000 cells"),
        (list(range(50)), list(range(50)), list(range(50)), "more than a study of 2000 cells"),
    ],
)
def test_refuses(readings, parts, operators, says):
    with pytest.raises(InputError, match=says):
        crossed_study(readings, parts, operators)


def test_refuses_a_confidence_in_percent():
    with pytest.raises(InputError, match=r"95 % as 0\.95"):
        crossed_study(READINGS, PARTS, OPERATORS, confidence=95)


def test_the_gauge_against_the_width_of_the_limits():
    study = crossed_study(READINGS, PARTS, OPERATORS, specification=Specification(-3, 3))

    assert study.share_of_tolerance == pytest.approx(6 * 0.302373 / 6, abs=2e-6)
    assert crossed_study(READINGS, PARTS, OPERATORS, specification=Specification(-3)).share_of_tolerance is None


def tube_study(step: float) -> CrossedStudy:
    """Return a settling-tube study: two readers, eight samples, three readings; repeatability 0.015, read to `step`."""
    rng = np.random.default_rng(20)
    sample, reader = np.repeat(np.arange(8), 6), np.tile(np.repeat(np.arange(2), 3), 8)
    true = 0.12 + 0.03 * sample + 0.01 * reader + 0.015 * rng.normal(size=48)
    return crossed_study(np.round(true / step) * step, sample.tolist(), reader.tolist(), resolution=step)


def test_coarse_divisions_are_told_to_decide_the_answer():
    study = tube_study(0.05)

    assert study.divisions is not None
    assert study.divisions.decides
    assert study.divisions.possible_ranges < 4
    assert "The resolution decides the answer" in study.divisions.statement
    assert study.divisions.statement in study.statements
    assert study.divisions.from_equal_repeats is not None
    low, high = study.divisions.from_equal_repeats
    assert low < 0.015 < high  # the true repeatability, which the cells' own scatter misses


def test_fine_divisions_are_not():
    study = tube_study(0.002)

    assert study.divisions is not None
    assert not study.divisions.decides
    assert study.divisions.statement not in study.statements
    assert study.divisions.repeatability_as_read == pytest.approx(0.015, rel=0.3)
    assert tube_study(0.05).divisions is not None
    assert crossed_study(READINGS, PARTS, OPERATORS).divisions is None


def test_a_study_where_every_cell_repeats_exactly():
    study = crossed_study(
        [0.2, 0.2, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3], list("ppppqqqq"), ["A", "A", "B", "B"] * 2, resolution=0.05
    )

    assert study.gauge.variance == 0.0
    assert study.categories is study.categories_exact is None
    assert study.anova[0].f is None
    assert study.divisions is not None
    assert study.divisions.cells_all_equal == study.divisions.cells_repeated == 4
    assert "at most" in study.divisions.statement
    assert any("no bound" in said for said in study.statements)
    assert generalised_limits(study, generator=np.random.default_rng(1), draws=1000).categories is None


def test_limits_of_repeatability_from_equal_repeats_hold_their_confidence():
    """200 seeded studies of 24 pairs, step 3 sigma: standard error of at least 0.90 is 0.02."""
    rng = np.random.default_rng(14)
    held = []
    for _ in range(200):
        true = np.repeat(rng.uniform(0, 300, 24), 2) + rng.normal(size=48)
        study = layout(np.round(true / 3) * 3, np.repeat(np.arange(24), 2).tolist(), ["A"] * 48)
        limits = judge_divisions(study, 3.0, confidence=0.9).from_equal_repeats
        assert limits is not None
        held.append(limits[0] <= 1.0 <= limits[1])

    assert np.mean(held) >= 0.87


def test_divisions_without_repeats_or_with_unequal_ones():
    none = judge_divisions(layout([1, 2, 3, 4], list("ppqq"), list("ABAB")), 1.0)
    some = judge_divisions(layout([1, 1, 1, 4, 4], list("pppqq"), ["A"] * 5), 1.0)

    assert not none.decides
    assert "No cell is read twice" in none.statement
    assert some.from_equal_repeats is None
    assert some.decides
    with pytest.raises(InputError, match="resolution is 0"):
        judge_divisions(layout([1, 2, 3, 4], list("ppqq"), list("AABB")), 0.0)


STUDY = st.lists(st.integers(-50, 50), min_size=24, max_size=24).filter(lambda x: len(set(x)) > 5)
SIX, FOUR = [i // 4 for i in range(24)], [i % 2 for i in range(24)]


@settings(max_examples=40)
@given(STUDY, st.integers(-(10**9), 10**9), st.sampled_from([0.01, 8.0]))
def test_variances_follow_a_change_of_unit(steps, shift, scale):
    before = crossed_study_with_interaction(np.array(steps) * 1.0, SIX, FOUR)
    after = crossed_study_with_interaction(np.array([scale * (step + shift) for step in steps]), SIX, FOUR)

    for one, other in zip(before.components, after.components, strict=True):
        assert other.estimate == pytest.approx(scale**2 * one.estimate, rel=1e-6, abs=1e-6 * scale**2)
        assert other.upper == pytest.approx(scale**2 * one.upper, rel=1e-6, abs=1e-6 * scale**2)
    assert (after.categories_exact is None) == (before.categories_exact is None)


@settings(max_examples=40)
@given(STUDY, st.permutations(range(24)))
def test_the_order_of_readings_and_labels_does_not_matter(steps, order):
    before = crossed_study(steps, SIX, FOUR)
    after = crossed_study([steps[i] for i in order], [f"x{9 - SIX[i]}" for i in order], [f"y{FOUR[i]}" for i in order])

    for one, other in zip(before.components, after.components, strict=True):
        assert other.estimate == pytest.approx(one.estimate, rel=1e-9, abs=1e-9)
        assert (other.lower, other.upper) == pytest.approx((one.lower, one.upper), rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(STUDY)
def test_sums_of_squares_of_equal_cells_add_up(steps):
    study = crossed_study_with_interaction(steps, SIX, FOUR)

    assert sum(line.sum_of_squares for line in study.anova) == pytest.approx(study.total_sum_of_squares, rel=1e-9)
    assert sum(line.df for line in study.anova) == 23
    assert all(0 <= found.share <= 1 and found.lower <= found.upper for found in study.components)
    assert not math.isnan(study.gauge.sd)
