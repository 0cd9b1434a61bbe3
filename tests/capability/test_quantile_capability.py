import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.capability.by_quantiles import HIGH, LOW, quantile_capability, quantile_indices
from spc.capability.fraction_outside import normal_fraction_outside
from spc.capability.indices import STABLE, UNSTABLE, Specification, capability
from spc.errors import InputError


def generator() -> np.random.Generator:
    return np.random.default_rng(20)


def test_indices_of_a_known_weibull():
    """ISO 22514-2's quantile formulas, Weibull of shape 1.5 and scale 10, limits 0 and 40: computed, closed form."""
    low, median, high = quantiles = [10 * (-np.log1p(-p)) ** (1 / 1.5) for p in (0.00135, 0.5, 0.99865)]
    indices = quantile_indices(low, median, high, Specification(0, 40))

    assert quantiles == pytest.approx([0.12220380303084041, 7.832197687746514, 35.212596536400646], rel=1e-12)
    assert indices["Pp"] == pytest.approx(1.13991315, abs=1e-8)
    assert indices["Ppu"] == pytest.approx(1.17484784, abs=1e-8)
    assert indices["Ppl"] == pytest.approx(1.01585005, abs=1e-8)
    assert indices["Ppk"] == indices["Ppl"]
    assert 1e6 * stats.weibull_min(1.5, scale=10).sf(40) == pytest.approx(335.4626, abs=1e-4)


def test_the_shares_are_those_of_three_sigma():
    assert pytest.approx((stats.norm.cdf(-3), stats.norm.cdf(3)), rel=1e-14) == (LOW, HIGH)


def test_a_normal_gives_the_normal_indices():
    """With the normal the six sigmas come back; the limits are the exact ones but for the drawing (4,000 times)."""
    x = np.random.default_rng(3).normal(10.0, 1.0, 40)
    limits = Specification(6, 13)
    drawn = quantile_capability(x, limits, generator=generator(), family="normal", resamples=4000)
    exact = capability(x, limits)

    for found, expected in zip(drawn.indices, (exact.pp, exact.ppl, exact.ppu), strict=False):
        assert expected is not None
        assert found.value == pytest.approx(expected.value, rel=1e-9)
        assert (found.lower, found.upper) == pytest.approx((expected.lower, expected.upper), rel=0.02)
    assert drawn.ppk.value == pytest.approx(exact.ppk.value, rel=1e-9)
    share, normal = drawn.fraction_outside, normal_fraction_outside(x, limits)
    assert share.outside == pytest.approx(normal.outside, rel=1e-9)
    assert share.upper == pytest.approx(normal.upper, rel=0.1)


@pytest.mark.parametrize(("family", "true"), [("lognormal", stats.lognorm(0.5)), ("weibull", stats.weibull_min(1.4))])
def test_limits_hold_their_confidence_for_skewed_shapes(family, true):
    """150 seeded samples of 25, limits by 199 draws: standard error of a stated 0.90 is 0.024."""
    rng = np.random.default_rng(6)
    upper = 6.0
    index = (upper - true.median()) / (true.ppf(HIGH) - true.median())
    share = true.sf(upper)
    held_index, held_share = [], []
    for _ in range(150):
        x = true.rvs(25, random_state=rng)
        found = quantile_capability(
            x, Specification(upper=upper), generator=rng, family=family, confidence=0.9, resamples=199
        )
        held_index.append(found.ppk.lower < index < found.ppk.upper)
        held_share.append(found.fraction_outside.lower < share < found.fraction_outside.upper)

    assert np.mean(held_index) == pytest.approx(0.90, abs=0.065)
    assert np.mean(held_share) == pytest.approx(0.90, abs=0.065)


@pytest.mark.parametrize(("family", "true"), [("gamma", stats.gamma(2.5)), ("folded normal", stats.foldnorm(1.0))])
def test_limits_nearly_hold_where_the_pivot_is_approximate(family, true):
    """60 seeded samples of 30: standard error of a stated 0.90 is 0.04; longer runs gave 0.84 to 0.92."""
    rng = np.random.default_rng(16)
    upper = true.ppf(HIGH) * 1.2
    index = (upper - true.median()) / (true.ppf(HIGH) - true.median())
    held = []
    for _ in range(60):
        x = true.rvs(30, random_state=rng)
        found = quantile_capability(
            x, Specification(upper=upper), generator=rng, family=family, confidence=0.9, resamples=99
        )
        held.append(found.ppk.lower < index < found.ppk.upper)

    assert np.mean(held) > 0.76


def test_skewed_readings_are_told_from_normal_ones():
    """Ambient light: only an upper limit, a skewed stream."""
    x = stats.lognorm(0.6, scale=8).rvs(60, random_state=np.random.default_rng(2))
    found = quantile_capability(x, Specification(upper=60), generator=generator(), stable=True)

    assert found.fitted.family.key == "lognormal"
    assert found.fits
    assert found.chosen_by.startswith("smallest AICc")
    assert [index.name for index in found.indices] == ["Ppu", "Ppk"]
    assert found.pp is found.ppl is None
    assert found.statement.startswith(STABLE)
    assert "do not contradict a lognormal" in found.statement
    assert found.low < found.median < found.high
    assert found.fraction_outside.below is None
    assert len(found.tried) == 6


def test_a_shape_that_is_contradicted_is_said_to_be():
    x = np.concatenate([np.random.default_rng(1).normal(1, 0.1, 30), np.random.default_rng(2).normal(9, 0.1, 30)])
    found = quantile_capability(x, Specification(0, 20), generator=generator(), stable=False)

    assert not found.fits
    assert found.statement.startswith(UNSTABLE)
    assert "readings contradict" in found.statement
    assert "several levels" in found.statement


def test_a_lower_limit_at_or_below_zero_is_never_passed_by_a_positive_shape():
    x = stats.gamma(3.0).rvs(40, random_state=np.random.default_rng(2))
    found = quantile_capability(x, Specification(-1, 30), generator=generator(), family="gamma")

    assert found.fraction_outside.below == 0.0
    assert found.ppl is not None
    assert found.ppl.value > 1


@pytest.mark.parametrize(
    ("readings", "family", "says"),
    [
        ([1.0] * 12, None, "no shape can be fitted"),
        (list(range(9)), None, "at least 10"),
        (list(range(12)), "gamma", "takes only readings above 0"),
    ],
)
def test_refuses(readings, family, says):
    with pytest.raises(InputError, match=says):
        quantile_capability(readings, Specification(0, 20), generator=generator(), family=family)


def test_readings_that_hardly_differ_at_their_step_are_refused_in_words():
    x = [0.2] * 40 + [0.25]
    with pytest.raises(InputError, match="read in finer steps"):
        quantile_capability(
            x, Specification(0.1, 0.4), generator=generator(), family="normal", resolution=0.05, resamples=19
        )


@settings(max_examples=10)
@given(
    st.lists(st.integers(1, 300), min_size=10, max_size=20).filter(lambda x: len(set(x)) > 4),
    st.sampled_from([0.01, 1000.0]),
)
def test_a_change_of_unit_changes_no_index(steps, scale):
    x = np.array(steps, float)
    before = quantile_capability(x, Specification(0.5, 400), generator=generator(), resamples=99)
    after = quantile_capability(scale * x, Specification(0.5 * scale, 400 * scale), generator=generator(), resamples=99)

    assert before.fitted.family.key == after.fitted.family.key
    for a, b in zip(before.indices, after.indices, strict=True):
        assert (a.value, a.lower, a.upper) == pytest.approx((b.value, b.lower, b.upper), rel=1e-5, abs=1e-7)
