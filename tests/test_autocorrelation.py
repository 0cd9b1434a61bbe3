"""Lag correlations and the first-order fit."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.arrays import FloatArray
from spc.autocorrelation import first_order, lag_correlations
from spc.errors import InputError
from spc.sigma import sigma_within
from tests.strd_data import UNIVARIATE


def stream(phi: float, n: int, seed: int) -> FloatArray:
    """Return a stationary first-order stream about 0 with shocks of sigma 1."""
    rng = np.random.default_rng(seed)
    x = np.empty(n)
    x[0] = rng.normal() / math.sqrt(1 - phi * phi)
    for i in range(1, n):
        x[i] = phi * x[i - 1] + rng.normal()
    return x


def nile() -> FloatArray:
    """Return the annual flow at Aswan, 1871 to 1970, as statsmodels ships it."""
    from statsmodels.datasets import nile as flow  # type: ignore[import-untyped]  # statsmodels has no stubs

    return np.array(flow.load_pandas().data["volume"], dtype=np.float64)


@pytest.mark.parametrize("name", sorted(UNIVARIATE))
def test_certified_lag_correlation(name):
    # NIST StRD, univariate summary statistics: certified to 15 digits. NumAcc4 lies at 1e7 in steps of 0.1: a double
    # holds such a reading to 2e-9, and the certified value of the readings as written to 8 digits at best.
    readings, _, _, certified = UNIVARIATE[name]
    found = lag_correlations(readings, lags=1)

    assert found.correlation[0] == pytest.approx(certified, rel=1e-7 if name.startswith("NumAcc") else 1e-12)


def test_nile():
    # r1 of the annual flow at Aswan, shipped with statsmodels; plain arithmetic, computed independently.
    found = lag_correlations(nile(), lags=3)

    assert found.correlation[0] == pytest.approx(0.498408184, abs=5e-10)
    assert found.bound == pytest.approx(1.96 / np.sqrt([99, 98, 97]))


@pytest.mark.parametrize("phi", [-0.5, 0.0, 0.5, 0.9])
def test_moving_ranges_see_too_little_of_a_stream_that_follows_itself(phi):
    # Closed form: the expected sigma from moving ranges is root (1 - phi) of the overall one.
    x = stream(phi, 200_000, seed=1)
    overall = 1 / math.sqrt(1 - phi * phi)

    assert sigma_within(x) / overall == pytest.approx(math.sqrt(1 - phi), rel=0.01)
    assert lag_correlations(x, lags=1).correlation[0] == pytest.approx(phi, abs=0.01)


def test_independent_readings_stay_within_the_bounds():
    inside = []
    for seed in range(200):
        found = lag_correlations(np.random.default_rng(seed).normal(size=200), lags=5)
        inside += (np.abs(found.correlation) < found.bound).tolist()

    assert np.mean(inside) == pytest.approx(0.955, abs=0.02)


def test_pairs_with_a_missing_reading_are_left_out():
    x = stream(0.7, 4000, seed=3)
    x[np.random.default_rng(4).random(4000) < 0.3] = np.nan

    found = lag_correlations(x, lags=2)

    assert found.correlation == pytest.approx([0.7, 0.49], abs=0.05)
    assert found.n == np.count_nonzero(~np.isnan(x))


def test_a_lag_no_pair_has_is_no_number():
    found = lag_correlations([1.0, np.nan, 2.0, np.nan, 3.0], lags=2)

    assert np.isnan(found.correlation[0])
    assert np.isnan(found.bound[0])
    assert np.isfinite(found.correlation[1])


@pytest.mark.parametrize("missing", [False, True])
def test_the_fit_agrees_with_a_general_library(missing):
    from statsmodels.tsa.arima.model import ARIMA  # type: ignore[import-untyped]  # statsmodels has no stubs

    x = nile()
    if missing:
        x[[5, 6, 40, 77]] = np.nan
    reference = ARIMA(x, order=(1, 0, 0), trend="c").fit(method_kwargs={"maxiter": 500, "pgtol": 1e-10, "factr": 10})
    level, phi, variance = reference.params
    found = first_order(x)

    assert found.log_likelihood == pytest.approx(reference.llf, abs=1e-6)
    assert found.phi == pytest.approx(phi, abs=1e-4)
    assert found.level == pytest.approx(level, abs=0.05)
    assert found.sigma == pytest.approx(math.sqrt(variance), rel=1e-3)
    assert found.phi_error == pytest.approx(reference.bse[1], rel=0.25)  # its curvature is taken in other coordinates


def test_phi_comes_out_too_small_as_the_docstring_says():
    # Kendall (1954): bias about -(1 + 3 phi) / n. Seeded: 300 streams of 40.
    found = [first_order(stream(0.6, 40, seed)).phi for seed in range(300)]

    assert np.mean(found) == pytest.approx(0.6 - (1 + 3 * 0.6) / 40, abs=4 * float(np.std(found)) / math.sqrt(300))


@given(st.integers(0, 1000), st.sampled_from([1e-3, 1.8, 1000.0]), st.sampled_from([0.0, 32.0, -1e5]))
def test_the_fit_follows_a_change_of_unit(seed, scale, shift):
    x = stream(0.5, 30, seed)
    before, after = first_order(x), first_order(scale * x + shift)

    assert after.phi == pytest.approx(before.phi, abs=1e-5)
    assert after.sigma == pytest.approx(scale * before.sigma, rel=1e-6)
    assert after.level == pytest.approx(scale * before.level + shift, abs=1e-4 * scale)
    assert after.log_likelihood == pytest.approx(before.log_likelihood - 30 * math.log(scale), abs=1e-5)


def test_what_is_expected_fades_to_the_level():
    fit = first_order(stream(0.8, 200, seed=7))
    near, far = fit.ahead(fit.level + 5, 1), fit.ahead(fit.level + 5, 200)

    assert near == pytest.approx((fit.level + 5 * fit.phi, fit.sigma))
    assert far == pytest.approx((fit.level, fit.sigma_overall))


@pytest.mark.parametrize("x", [[1.0, 2.0, 3.0], [5.0] * 20, [1.0, math.nan, 2.0, math.nan, 3.0], []])
def test_refuses(x):
    with pytest.raises(InputError):
        first_order(x)


def test_lag_correlations_refuse_what_has_none():
    with pytest.raises(InputError, match="without any variation"):
        lag_correlations([5.0] * 20)
    with pytest.raises(InputError, match="at least 11"):
        lag_correlations([1.0, 2.0])
