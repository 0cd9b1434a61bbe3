"""Level, loss and yield of a bath: against exact filters, least squares, and simulated baths of known truth."""

import math

import numpy as np
import pytest

from spc import bath_accounts
from spc.bath import learn_bath
from spc.bath_accounts import LEVEL, LOSS, PLANNING_SPREAD, PLANNING_YIELD, YIELD, Since
from spc.errors import InputError

# -- one reading, and none of the bath's own history -------------------------------------------------------------------


def test_without_top_ups_the_yield_is_the_planning_figure():
    known = learn_bath([0.20, 0.19, 0.20, 0.19], step=0.01)

    low, high = PLANNING_SPREAD
    assert known.n_doses == 0
    assert known.powder_yield.middle == pytest.approx(PLANNING_YIELD, abs=0.005)
    assert low < known.powder_yield.low < known.powder_yield.high < high


@pytest.mark.parametrize("step", [0.01, 0.025, 0.05])
def test_one_reading_tells_the_level_within_its_scatter(step):
    known = learn_bath([0.2], step=step)

    assert known.level.middle == pytest.approx(0.2, abs=0.005)
    assert 0.005 < known.level.high - known.level.low < 0.1


def test_a_finer_step_tells_more():
    widths = []
    for step in (0.01, 0.05, 0.1):
        known = learn_bath([0.2, 0.2, 0.2], step=step)
        widths.append(known.level.high - known.level.low)

    assert widths[0] < widths[1] < widths[2]


def test_a_censored_reading_bounds_the_level_from_one_side():
    below = learn_bath([0.2, 0.1], step=0.01, bound=[0, -1], fresh=[0, 1])
    above = learn_bath([0.2, 0.3], step=0.01, bound=[0, 1], fresh=[0, 1])

    assert below.level.high < 0.13
    assert above.level.low > 0.27


# -- against an exact filter -------------------------------------------------------------------------------------------


def one_account(monkeypatch: pytest.MonkeyPatch, *, read: float, mixing: float) -> None:
    """Leave one setting and one account: a level with normal noise and nothing unwritten."""
    monkeypatch.setattr(bath_accounts, "_READ", (read,))
    monkeypatch.setattr(bath_accounts, "_MIXING", (mixing,))
    monkeypatch.setattr(bath_accounts, "_UNWRITTEN_FEEDS", (1e-300,))
    monkeypatch.setattr(bath_accounts, "_SUDDEN_FALL", 1e-300)
    monkeypatch.setattr(bath_accounts, "_MISREAD", 1e-300)
    monkeypatch.setattr(bath_accounts, "_WRONG_WEIGHT", 1e-300)
    monkeypatch.setattr(bath_accounts, "_OTHER_SHARE", 1e-300)


def test_exact_readings_of_a_lossless_bath_are_a_bayesian_mean(monkeypatch):
    """Without loss and mixing, the level is a normal mean with a normal prior: Gelman et al., Bayesian Data Analysis,
    3rd edition, equations 2.11 and 2.12 (from memory)."""
    one_account(monkeypatch, read=0.05, mixing=0.0)
    monkeypatch.setattr(bath_accounts, "_START_LOSS", (0.0, 0.0))
    monkeypatch.setattr(bath_accounts, "_LOSS_WANDERS", 0.0)
    x = np.array([0.21, 0.19, 0.20, 0.22, 0.18, 0.20])

    known = learn_bath(x, step=None, shifts=np.zeros(6))

    usual = float(np.median(x))
    prior, noise = (0.6 * usual) ** 2, (0.05 * usual) ** 2
    precision = 1 / prior + len(x) / noise
    place = int(np.argmax(known.weight))
    assert known.weight[place] == pytest.approx(1.0, abs=1e-6)
    assert known.mean[place, LEVEL] == pytest.approx((usual / prior + x.sum() / noise) / precision, rel=1e-9)
    assert known.covariance[place, LEVEL, LEVEL] == pytest.approx(1 / precision, rel=1e-9)


def test_a_rounded_reading_has_the_moments_of_a_normal_cut_at_its_ends(monkeypatch):
    """One rounded reading against numerical integration over the level."""
    one_account(monkeypatch, read=0.05, mixing=0.0)
    known = learn_bath([0.2], step=0.05)

    level = np.linspace(-0.6, 1.0, 200_001)
    prior = np.exp(-0.5 * ((level - 0.2) / 0.12) ** 2)
    noise = 0.05 * 0.2
    cdf = np.vectorize(lambda z: 0.5 * math.erfc(-z / math.sqrt(2)))
    posterior = prior * (cdf((0.225 - level) / noise) - cdf((0.175 - level) / noise))
    posterior /= posterior.sum()
    mean = float(posterior @ level)
    place = int(np.argmax(known.weight))
    assert known.mean[place, LEVEL] == pytest.approx(mean, abs=1e-9)
    assert known.covariance[place, LEVEL, LEVEL] == pytest.approx(float(posterior @ (level - mean) ** 2), rel=1e-6)


def test_weighed_doses_into_a_still_bath_give_the_yield_by_least_squares(monkeypatch):
    """Exact readings, no loss: the posterior of (level, yield) is that of a normal linear regression, done here by
    numpy.linalg.lstsq on readings and priors together."""
    one_account(monkeypatch, read=0.05, mixing=0.0)
    monkeypatch.setattr(bath_accounts, "_START_LOSS", (0.0, 0.0))
    monkeypatch.setattr(bath_accounts, "_LOSS_WANDERS", 0.0)
    monkeypatch.setattr(bath_accounts, "DOSE_ERROR", 0.0)
    x, powder = np.array([0.10, 0.14, 0.13, 0.19, 0.20, 0.27]), np.array([0.0, 0.2, 0.0, 0.25, 0.1, 0.3])

    known = learn_bath(x, step=None, powder=powder, shifts=np.zeros(6))

    usual = float(np.median(x))
    noise, level_sd, yield_sd = 0.05 * usual, 0.6 * usual, 0.1 / (2 * 1.96)
    rows = np.column_stack([np.ones(6), np.cumsum(powder)]) / noise
    rows = np.vstack([rows, [1 / level_sd, 0], [0, 1 / yield_sd]])
    right = np.concatenate([x / noise, [usual / level_sd, PLANNING_YIELD / yield_sd]])
    start, slope = np.linalg.lstsq(rows, right, rcond=None)[0]
    place = int(np.argmax(known.weight))
    assert known.mean[place, YIELD] == pytest.approx(slope, rel=1e-8)
    assert known.mean[place, LEVEL] == pytest.approx(start + slope * powder.sum(), rel=1e-8)
    assert known.mean[place, LOSS] == 0.0


# -- simulated baths of known truth ------------------------------------------------------------------------------------


def simulated(rng, *, n=110, loss=0.02, powder_yield=0.2, read=0.012, step=0.01, unwritten=0.25):
    """Return columns of a bath that is fed when it reads low, what is added after its last reading, and its level."""
    level, x, powder, levels, waiting = 0.21, [], [], [], 0.0
    for _ in range(n):
        x.append(max(round((level + read * rng.standard_normal()) / step) * step, 0.0))
        powder.append(waiting)
        levels.append(level)
        waiting = 0.0
        if x[-1] <= 0.17:
            grams = (0.21 - x[-1]) / 0.2
            waiting = grams if rng.random() >= unwritten else 0.0
            level += powder_yield * grams * (1 + 0.1 * rng.standard_normal())
        level *= 1 - loss * (1 + 0.3 * rng.standard_normal())
    return np.array(x), np.array(powder), levels[-1]


@pytest.fixture(scope="module")
def baths():
    found = []
    for seed in range(60):
        rng = np.random.default_rng(20_250_304 + seed)
        truth = {
            "loss": rng.uniform(0.005, 0.035),
            "powder_yield": rng.uniform(0.15, 0.25),
            "read": rng.uniform(0.008, 0.018),
            "step": float(rng.choice([0.01, 0.025, 0.05])),
            "unwritten": float(rng.choice([0.0, 0.25, 0.5])),
        }
        x, powder, level = simulated(rng, **truth)
        found.append((learn_bath(x, step=truth["step"], powder=powder), truth | {"level": level}))
    return found


@pytest.mark.parametrize(
    ("what", "of"),
    [("level", "level"), ("loss", "loss"), ("powder_yield", "powder_yield")],
)
def test_ranges_hold_the_truth_as_often_as_they_say(baths, what, of):
    # 8 chances in 10 on 60 seeded baths: 48 expected, standard error 3.1; 36 to 59 are within four of them.
    held = sum(getattr(known, what).low <= truth[of] <= getattr(known, what).high for known, truth in baths)

    assert 36 <= held <= 59


def test_loss_and_yield_come_out_near_the_truth(baths):
    loss = np.array([known.loss.middle - truth["loss"] for known, truth in baths])
    powder_yield = np.array([known.powder_yield.middle - truth["powder_yield"] for known, truth in baths])

    assert abs(loss.mean()) < 4 * loss.std() / math.sqrt(len(loss))
    assert abs(powder_yield.mean()) < 4 * powder_yield.std() / math.sqrt(len(powder_yield))
    assert math.sqrt((loss**2).mean()) < 0.008
    assert math.sqrt((powder_yield**2).mean()) < 0.03


def test_unwritten_feeds_are_noticed_and_do_not_bend_the_loss():
    rng = np.random.default_rng(7)
    x, powder, _ = simulated(rng, n=200, loss=0.03, step=0.01, read=0.008, unwritten=0.5)
    written = int((powder > 0).sum())

    known = learn_bath(x, step=0.01, powder=powder)

    assert known.unwritten_feeds == pytest.approx(written, rel=0.6)  # half of them are written
    assert known.loss.low < 0.03 < known.loss.high


def test_a_powder_unlike_the_planning_figure_is_learned():
    rng = np.random.default_rng(3)
    x, powder, _ = simulated(rng, n=300, loss=0.03, powder_yield=0.2, read=0.01, step=0.01, unwritten=0.0)

    known = learn_bath(x, step=0.01, powder=4 * powder)  # a product with a quarter of the yield

    assert known.powder_yield.low < 0.05 < known.powder_yield.high
    assert known.powder_yield.high < 0.08


def test_a_weight_written_wrongly_bends_the_yield_little():
    rng = np.random.default_rng(4)
    x, powder, _ = simulated(rng, n=150, loss=0.03, powder_yield=0.2, read=0.01, step=0.01, unwritten=0.0)
    wrong = powder.copy()
    wrong[np.flatnonzero(powder)[3]] *= 10

    right, bent = learn_bath(x, step=0.01, powder=powder), learn_bath(x, step=0.01, powder=wrong)

    assert bent.powder_yield.middle == pytest.approx(right.powder_yield.middle, abs=0.01)


def test_a_dose_goes_in_at_the_start_of_the_gap_before_its_loss():
    known = learn_bath([0.2, 0.2, 0.2, 0.2], step=0.01, since=Since(shifts=1.0, powder=0.5))
    later = learn_bath([0.2, 0.2, 0.2, 0.2], step=0.01, since=Since(shifts=0.0, powder=0.5))

    assert known.level.middle < later.level.middle


def test_evaporation_is_a_loss_below_nothing():
    rising = 0.2 * 1.02 ** np.arange(15)

    known = learn_bath(np.round(rising, 2), step=0.01)

    assert known.loss.high < 0
    assert known.loss.low < -0.02 < known.loss.high


def test_a_misread_does_not_move_the_level_and_is_a_surprise():
    known = learn_bath([0.2, 0.21, 0.2, 0.19, 0.2, 0.21, 0.05], step=0.01)

    assert known.surprise < 0.005
    assert known.fell
    assert known.level.low > 0.15


def test_a_second_low_reading_is_believed():
    known = learn_bath([0.2, 0.21, 0.2, 0.19, 0.2, 0.21, 0.10, 0.10, 0.10], step=0.01)

    assert known.surprise > 0.005
    assert known.level.high < 0.13


def test_carrier_dilutes_by_its_share():
    steady = [0.2, 0.2, 0.2, 0.2, 0.2]

    known = learn_bath(steady, step=0.01, since=Since(carrier=0.25))

    assert known.level.middle == pytest.approx(0.75 * learn_bath(steady, step=0.01).level.middle, rel=1e-6)


def test_powder_since_the_last_reading_is_counted():
    steady = [0.15, 0.15, 0.15, 0.15, 0.15]

    known = learn_bath(steady, step=0.01, since=Since(powder=0.25))

    assert known.level.middle == pytest.approx(0.20, abs=0.005)
    assert known.level.high - known.level.low > learn_bath(steady, step=0.01).level.high - 0.15


def test_a_top_up_of_unknown_weight_teaches_no_yield():
    x = [0.2, 0.19, 0.18, 0.17, 0.22, 0.21, 0.2]
    known = learn_bath(x, step=0.01, unmeasured=[0, 0, 0, 0, 1, 0, 0])
    without = learn_bath([0.2, 0.19], step=0.01)

    assert known.n_doses == 0
    assert known.powder_yield.middle == pytest.approx(without.powder_yield.middle, abs=1e-6)
    assert known.loss.middle > 0.01


def test_a_change_of_scale_changes_nothing_but_the_scale():
    x = np.array([0.2, 0.19, 0.18, 0.17, 0.21, 0.2, 0.19])
    one = learn_bath(x, step=0.01)
    ten = learn_bath(10 * x, step=0.1)

    assert ten.level.middle == pytest.approx(10 * one.level.middle, rel=1e-6)
    assert ten.loss.middle == pytest.approx(one.loss.middle, rel=1e-6)


def test_nothing_is_changed_and_results_are_frozen():
    x = np.array([0.2, 0.19, 0.2])

    known = learn_bath(x, step=0.01)

    assert x.tolist() == [0.2, 0.19, 0.2]
    assert not known.mean.flags.writeable
    assert known.weight.sum() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("x", "columns", "says"),
    [
        ([], {}, "0 readings given"),
        ([0.2, math.nan], {}, "reading 1 is nan"),
        ([0.2, 0.1], {"bound": [-1, -1]}, "every reading is censored"),
        ([0.0, 0.0], {"step": None}, "the usual reading is 0"),
        ([0.2, 0.2], {"powder": [0.1]}, "powder has shape"),
        ([0.2, 0.2], {"carrier": [0.0, math.inf]}, "carrier holds a number that is missing or infinite"),
    ],
)
def test_refuses(x, columns, says):
    with pytest.raises(InputError, match=says):
        learn_bath(x, **({"step": 0.01} | columns))
