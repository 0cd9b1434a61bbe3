import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.capability.distributions import FAMILIES, FoldedNormal, choose, fit, fit_all
from spc.capability.goodness_of_fit import anderson_darling, draw, goodness_of_fit, usable
from spc.errors import InputError

# Lieblein and Zelen (1956): million revolutions to failure of 23 ball bearings, as printed in Lawless, Statistical
# Models and Methods for Lifetime Data (from memory; the fits agree with the printed ones, rounded as shown).
BALL_BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip


def test_published_fits_of_the_ball_bearings():
    weibull, gamma, lognormal = (fit(BALL_BEARINGS, family) for family in ("weibull", "gamma", "lognormal"))

    assert weibull.parameters == pytest.approx((2.10, 81.9), abs=0.03)
    assert gamma.parameters[0] == pytest.approx(4.03, abs=0.005)
    assert lognormal.parameters == pytest.approx((4.15, 0.534), abs=0.005)  # 0.522 with divisor n


def test_weibull_fit_of_the_handbook():
    """NIST/SEMATECH e-Handbook 8.4.1.2 has ten failures and ten still running; here its ten failures alone.

    Second way: scipy's general maximum-likelihood fit.
    """
    hours = np.array([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], dtype=float)
    shape, _, scale = stats.weibull_min.fit(hours, floc=0)

    assert fit(hours, "weibull").parameters == pytest.approx((shape, scale), rel=1e-3)


SAMPLES = {
    "normal": stats.norm(10, 2),
    "lognormal": stats.lognorm(0.6, scale=3),
    "weibull": stats.weibull_min(1.5, scale=10),
    "gamma": stats.gamma(2.5, scale=2),
    "folded normal": stats.foldnorm(0.8, scale=2),
    "rayleigh": stats.rayleigh(scale=3),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_no_other_parameters_are_more_likely(family):
    """Second way: move every parameter a little either way; the likelihood falls (to first order it does not move)."""
    x = SAMPLES[family].rvs(200, random_state=np.random.default_rng(3))
    fitted = fit(x, family)
    parameters = np.array(fitted.parameters)
    for i in range(len(parameters)):
        for change in (-0.02, 0.02):
            moved = parameters.copy()
            moved[i] *= 1 + change
            likelihood = np.sum(fitted.family.distribution(moved[None, :]).logpdf(x[None, :]))

            assert likelihood < fitted.log_likelihood


@pytest.mark.parametrize("family", FAMILIES)
def test_many_readings_give_their_family_back(family):
    x = SAMPLES[family].rvs(4000, random_state=np.random.default_rng(1))
    fitted = fit(x, family)
    q = np.array([[0.01, 0.3, 0.99]])

    assert fitted.distribution.ppf(q)[0] == pytest.approx(SAMPLES[family].ppf(q[0]), rel=0.12)
    assert fitted.distribution.cdf(fitted.distribution.ppf(q))[0] == pytest.approx(q[0], rel=1e-9)


@pytest.mark.parametrize(("own", "library"), [("gamma", stats.gamma), ("weibull", stats.weibull_min)])
def test_fits_agree_with_a_library(own, library):
    x = SAMPLES[own].rvs(60, random_state=np.random.default_rng(2))
    shape, _, scale = library.fit(x, floc=0)

    assert fit(x, own).parameters == pytest.approx((shape, scale), rel=1e-3)
    assert fit(x, own).log_likelihood >= np.sum(library.logpdf(x, shape, scale=scale)) - 1e-9


def test_folded_normal_functions_agree_with_a_library():
    own, library = FoldedNormal(np.array([[1.6]]), np.array([[2.0]])), stats.foldnorm(0.8, scale=2)
    x, q = np.array([[0.0, 0.5, 2.0, 9.0]]), np.array([[0.00135, 0.4, 0.9, 0.99865]])

    assert own.cdf(x)[0] == pytest.approx(library.cdf(x[0]), abs=1e-14)
    assert own.sf(x)[0] == pytest.approx(library.sf(x[0]), rel=1e-9)
    assert own.logpdf(x)[0] == pytest.approx(library.logpdf(x[0]), abs=1e-12)
    assert own.ppf(q)[0] == pytest.approx(library.ppf(q[0]), rel=1e-7)


def test_a_half_normal_is_a_fold_at_its_mean():
    """Readings with a fourth moment above three squared second moments: the mean before folding is 0."""
    x = np.array([0.0, 0.1, 0.1, 0.2, 0.3, 0.5, 2.0])
    mu, sigma = fit(x, "folded normal").parameters

    assert mu == 0.0
    assert sigma == pytest.approx(np.sqrt(np.mean(x**2)), rel=1e-12)


def test_the_normal_is_kept_unless_another_shape_is_clearly_better():
    normal = SAMPLES["normal"].rvs(60, random_state=np.random.default_rng(5))
    skewed = SAMPLES["lognormal"].rvs(60, random_state=np.random.default_rng(5))
    fits, left_out = fit_all(normal)

    assert choose(fits).family.key == "normal"
    assert left_out == ()
    assert choose(fit_all(skewed)[0]).family.key == "lognormal"
    best = min(fits, key=lambda fitted: fitted.aicc)
    assert next(f for f in fits if f.family.key == "normal").aicc <= best.aicc + 2


def test_akaikes_criterion():
    """AICc = 2k - 2 log L + 2k(k + 1)/(n - k - 1), with log L summed by hand."""
    x = np.array([1.0, 2.0, 4.0, 5.0, 8.0])
    fitted = fit(x, "normal")
    log_likelihood = np.sum(stats.norm(x.mean(), x.std(ddof=1)).logpdf(x))

    assert fitted.aicc == pytest.approx(4 - 2 * log_likelihood + 12 / 2, rel=1e-12)


@pytest.mark.parametrize(
    ("readings", "out"),
    [
        ([0.0, 1.0, 2.0, 5.0], {"lognormal", "weibull", "gamma", "rayleigh"}),
        ([-1.0, 1.0, 2.0, 5.0], {"lognormal", "weibull", "gamma", "folded normal", "rayleigh"}),
        ([1000.0, 1000.1, 1000.2, 1000.1], {"lognormal", "weibull", "gamma", "folded normal", "rayleigh"}),
    ],
)
def test_shapes_that_cannot_be_are_left_out_with_a_reason(readings, out):
    fits, left_out = fit_all(readings)

    assert {key for key, _ in left_out} >= out - {"rayleigh"}
    assert {key for key, _ in left_out} | {fitted.family.key for fitted in fits} == set(FAMILIES)
    assert all(reason for _, reason in left_out)
    with pytest.raises(InputError, match="cannot be fitted"):
        fit(readings, "gamma")


@pytest.mark.parametrize(
    ("readings", "family", "says"),
    [
        ([3.0] * 5, "normal", "all 5 readings are 3"),
        ([1.0, 2.0, 3.0], "normal", "at least 4"),
        ([1.0, 2.0, 3.0, 4.0], "cauchy", "unknown family 'cauchy'; choose one of normal, lognormal"),
        ([1.0, 2.0, float("nan"), 4.0], "normal", "reading 2 is nan"),
    ],
)
def test_fit_refuses(readings, family, says):
    with pytest.raises(InputError, match=says):
        fit(readings, family)


def test_constant_readings_have_no_shape():
    with pytest.raises(InputError, match="no shape can be fitted: all 6 readings are 2"):
        fit_all([2.0] * 6)


POSITIVE = st.lists(st.integers(1, 400), min_size=6, max_size=30).filter(lambda x: len(set(x)) > 2)


@settings(max_examples=40)
@given(POSITIVE, st.sampled_from([1e-6, 0.5, 1e9]))
def test_fits_follow_a_change_of_unit(steps, scale):
    x = np.array(steps, float)
    for before, after in zip(fit_all(x)[0], fit_all(scale * x)[0], strict=True):
        q = np.array([[0.001, 0.5, 0.999]])

        assert after.distribution.ppf(q)[0] == pytest.approx(scale * before.distribution.ppf(q)[0], rel=1e-6)
        assert after.aicc - before.aicc == pytest.approx(2 * len(x) * np.log(scale), abs=1e-5)


@settings(max_examples=25)
@given(POSITIVE, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(steps, random):
    mixed = list(steps)
    random.shuffle(mixed)
    for one, other in zip(fit_all(steps)[0], fit_all(mixed)[0], strict=True):
        assert one.parameters == pytest.approx(other.parameters, rel=1e-7, abs=1e-7)


def test_anderson_darling_statistic_agrees_with_a_library():
    x = SAMPLES["normal"].rvs(40, random_state=np.random.default_rng(8))
    fitted = fit(x, "normal")
    library = stats.goodness_of_fit(
        stats.norm,
        x,
        statistic="ad",
        known_params={"loc": fitted.parameters[0], "scale": fitted.parameters[1]},
        n_mc_samples=1,
        rng=np.random.default_rng(0),
    )

    assert anderson_darling(x[None, :], fitted.distribution)[0] == pytest.approx(library.statistic, rel=1e-9)


# Upper 10, 5 and 1 % points of A squared with both parameters estimated: Stephens, in D'Agostino and Stephens (1986),
# tables 4.7 and 4.17 (from memory): normal A2 (1 + 0.75/n + 2.25/n2), Weibull A2 (1 + 0.2/sqrt n).
@pytest.mark.parametrize(
    ("family", "factor", "points"),
    [
        ("normal", lambda n: 1 + 0.75 / n + 2.25 / n**2, (0.631, 0.752, 1.035)),
        ("weibull", lambda n: 1 + 0.2 / np.sqrt(n), (0.637, 0.757, 1.038)),
    ],
)
def test_distances_of_drawn_readings_follow_the_published_tables(family, factor, points):
    """10,000 samples of 30: standard errors of the shares 0.003, 0.002 and 0.001."""
    n = 30
    fitted = fit(SAMPLES[family].rvs(n, random_state=np.random.default_rng(1)), family)
    samples = draw(fitted, 10_000, np.random.default_rng(2))
    distances = anderson_darling(samples, fitted.family.distribution(fitted.family.fit(samples))) * factor(n)

    assert np.mean(distances > points[0]) == pytest.approx(0.10, abs=0.010)
    assert np.mean(distances > points[1]) == pytest.approx(0.05, abs=0.008)
    assert np.mean(distances > points[2]) == pytest.approx(0.01, abs=0.004)


def test_readings_of_another_shape_contradict_the_normal():
    skewed = SAMPLES["lognormal"].rvs(80, random_state=np.random.default_rng(3))
    rng = np.random.default_rng(1)

    assert goodness_of_fit(skewed, fit(skewed, "normal"), generator=rng).p_value <= 0.01
    assert goodness_of_fit(skewed, fit(skewed, "lognormal"), generator=rng).p_value > 0.1


def test_the_same_generator_gives_the_same_verdict():
    x = SAMPLES["gamma"].rvs(30, random_state=np.random.default_rng(4))
    verdicts = [goodness_of_fit(x, fit(x, "gamma"), generator=np.random.default_rng(7), resamples=99) for _ in "ab"]

    assert verdicts[0] == verdicts[1]
    assert 0.01 <= verdicts[0].p_value <= 1.0
    assert (verdicts[0].n, verdicts[0].resamples) == (30, 99)


def test_rounding_does_not_count_against_the_shape_when_the_step_is_given():
    x = np.round(SAMPLES["normal"].rvs(100, random_state=np.random.default_rng(6)) / 2) * 2
    fitted = fit(x, "normal")

    assert goodness_of_fit(x, fitted, generator=np.random.default_rng(1)).p_value < 0.05
    assert goodness_of_fit(x, fitted, generator=np.random.default_rng(1), resolution=2.0).p_value > 0.05


def test_drawn_readings_are_rounded_and_stay_where_the_family_lives():
    fitted = fit([0.2, 0.2, 0.4, 0.6, 0.2, 1.2], "lognormal")
    samples = draw(fitted, 200, np.random.default_rng(1), resolution=0.2)

    assert np.all(samples >= 0.1)
    kept_at_half = samples == 0.1
    assert kept_at_half.any()
    assert np.abs(samples / 0.2 - np.round(samples / 0.2))[~kept_at_half].max() < 1e-9
    assert len(usable(np.array([[1.0, 1.0], [1.0, 2.0]]))) == 1


def test_too_few_resamples_are_refused():
    with pytest.raises(InputError, match="18 resamples"):
        goodness_of_fit([1, 2, 3, 4], fit([1, 2, 3, 4], "normal"), generator=np.random.default_rng(1), resamples=18)
