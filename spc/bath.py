"""What a bath loses, what powder yields in it, and how much powder or carrier brings it to its target.

The level of a bath falls by a share of itself from shift to shift, and rises by a yield for each gram of powder in a
litre. Level, loss and yield are followed together through the readings, as a mixture of normal distributions: one for
each account of what may have happened unwritten (somebody fed the bath, a reading was wrong) that the readings bear
out. A rounded or censored reading tells only between which values it lay.

Units: levels in mL/100 mL, powder in g per litre of bath, yield in mL/100 mL per g/L, loss as a share of the level.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.bath_accounts import DOSE_ERROR, LEVEL, LOSS, PLANNING_YIELD, YIELD, Accounts, Since
from spc.errors import InputError
from spc.records import Bound


@dataclass(frozen=True, slots=True)
class Estimate:
    """A quantity and the range that holds it with 8 chances in 10."""

    middle: float
    low: float  # 1 chance in 10 that it is lower
    high: float  # 1 chance in 10 that it is higher


@dataclass(frozen=True, slots=True)
class BathKnowledge:
    """What the readings say of level, loss and yield: m normal distributions and their weights."""

    weight: FloatArray  # shape (m,), adds up to 1
    mean: FloatArray  # shape (m, 3): level now, loss from one reading to the next, yield
    covariance: FloatArray  # shape (m, 3, 3)
    n_readings: int
    n_doses: int  # top-ups of known amount that a reading followed
    unwritten_feeds: float  # how many more the readings point to
    surprise: float  # chance of a last reading as far off as it was, given all before; 1 where nothing was expected
    fell: bool  # whether it was off to the low side

    @property
    def level(self) -> Estimate:
        """The level at the last reading, or after what was added since."""
        found = self._estimate(LEVEL)
        return Estimate(*(max(0.0, x) for x in (found.middle, found.low, found.high)))

    @property
    def loss(self) -> Estimate:
        """The share of the level lost from one reading to the next; below 0 where the level rises by itself."""
        return self._estimate(LOSS)

    @property
    def powder_yield(self) -> Estimate:
        """How far 1 g/L raises the level."""
        return self._estimate(YIELD)

    def _estimate(self, place: int) -> Estimate:
        from scipy.special import ndtr

        mean, sd = self.mean[:, place], np.sqrt(self.covariance[:, place, place])
        reach = 10 * float(sd.max())
        ends = float(mean.min()) - reach, float(mean.max()) + reach
        low, middle, high = (
            _crossing(lambda x: float(self.weight @ ndtr((x - mean) / sd)), share, *ends) for share in (0.1, 0.5, 0.9)
        )
        return Estimate(middle, low, high)


def carrier_to_add(level: float, target: float, volume_l: float) -> float:
    """Return the litres of carrier on top of `volume_l` litres that bring them from `level` to `target`."""
    if target <= 0:
        raise InputError(f"target is {target}; no carrier dilutes a bath to that")
    return volume_l * max(0.0, level / target - 1.0)


def learn_bath(
    x: ArrayLike,
    *,
    step: float | None,
    bound: ArrayLike | None = None,
    shifts: ArrayLike | None = None,
    powder: ArrayLike | None = None,
    carrier: ArrayLike | None = None,
    unmeasured: ArrayLike | None = None,
    fresh: ArrayLike | None = None,
    since: Since | None = None,
) -> BathKnowledge:
    """Return what the readings of one bath tell of its level, loss and yield.

    Every column has shape (n,) and says what happened between the reading before and this one; left out, nothing did.
    What came before the first reading does not count.

    Args:
        x: readings in time order, shape (n,), n >= 1, in mL/100 mL.
        step: what readings are rounded to; None for exact ones.
        bound: values of `records.Bound` for censored readings.
        shifts: how much of an ordinary gap between readings it was: 1, less after a quick second reading.
        powder: g/L of powder added, where the amount is known.
        carrier: share of the bath that carrier took the place of.
        unmeasured: 1 where powder was added and nobody says how much, -1 where it was carrier, 0 elsewhere.
        fresh: whether the bath was changed.
        since: what was added after the last reading.

    Raises:
        InputError: no reading, only censored ones, or columns of another length.

    Source:
        Normal mixtures for a level that is now and then changed unseen: Harrison, P. J. and Stevens, C. F. (1976),
        Bayesian forecasting, Journal of the Royal Statistical Society B 38, 205-247. A rounded reading enters by the
        mean and variance of the normal distribution cut off at the ends of its interval (JCGM 100:2008, F.2.2.1, is
        the case where nothing else is known).
    """
    readings = as_readings(x)
    n = len(readings)
    kind = _column(bound, n, "bound")
    steps = [
        Since(shift, grams, share, int(way), bool(new))
        for shift, grams, share, way, new in zip(
            _column(shifts, n, "shifts", 1.0),
            _column(powder, n, "powder"),
            _column(carrier, n, "carrier"),
            _column(unmeasured, n, "unmeasured"),
            _column(fresh, n, "fresh"),
            strict=True,
        )
    ]
    exact = readings[kind == Bound.EXACT]
    if len(exact) == 0:
        raise InputError("every reading is censored; a level needs at least one that is written as a number")
    usual = max(float(np.median(exact)), step or 0.0)
    if usual <= 0:
        raise InputError("the usual reading is 0; a loss in percent needs readings above 0")
    bank, surprise, fell = Accounts.start(usual), 1.0, False
    half = (step or 0.0) / 2
    for place, (value, way, between) in enumerate(zip(readings.tolist(), kind.tolist(), steps, strict=True)):
        bank = bank.after(between) if place else bank
        low = -math.inf if way == Bound.BELOW else value if way == Bound.ABOVE else value - half
        high = math.inf if way == Bound.ABOVE else value if way == Bound.BELOW else value + half
        surprise, fell = bank.chance_so_far_off(low, high)
        bank = bank.read(low, high)
    expected = n > 1 and not steps[-1].fresh
    if since is not None:
        bank = bank.after(since)
    weight, mean, covariance, feeds = bank.whole()
    return BathKnowledge(
        weight=frozen(weight),
        mean=frozen(mean),
        covariance=frozen(covariance),
        n_readings=n,
        n_doses=sum(bool(between.powder > 0) for between in steps[1:]),
        unwritten_feeds=feeds,
        surprise=surprise if expected else 1.0,
        fell=fell,
    )


def _column(given: ArrayLike | None, n: int, name: str, otherwise: float = 0.0) -> FloatArray:
    if given is None:
        return np.full(n, otherwise)
    column = np.array(given, dtype=np.float64)
    if column.shape != (n,):
        raise InputError(f"{name} has shape {column.shape}; give one for each of the {n} readings")
    if not np.isfinite(column).all():
        raise InputError(f"{name} holds a number that is missing or infinite; give 0 where nothing was done")
    return column


def chance_above(knowledge: BathKnowledge, level: float, *, powder: float = 0.0, carrier: float = 0.0) -> float:
    """Return the chance that the bath ends above `level`.

    Args:
        knowledge: of the bath as it is.
        level: mL/100 mL.
        powder: g/L added now.
        carrier: share of the bath that carrier takes the place of now.
    """
    from scipy.special import ndtr

    kept = 1.0 - carrier
    mean, covariance = knowledge.mean, knowledge.covariance
    centre = kept * mean[:, LEVEL] + powder * mean[:, YIELD]
    variance = (
        kept**2 * covariance[:, LEVEL, LEVEL]
        + 2 * kept * powder * covariance[:, LEVEL, YIELD]
        + powder**2 * (covariance[:, YIELD, YIELD] + (DOSE_ERROR * mean[:, YIELD]) ** 2)
    )
    return float(knowledge.weight @ ndtr((centre - level) / np.sqrt(variance)))


def level_after(knowledge: BathKnowledge, *, powder: float = 0.0, carrier: float = 0.0) -> Estimate:
    """Return the level after adding powder or carrier now; arguments as in `chance_above`."""
    most = 4 * (knowledge.level.high + powder * abs(knowledge.powder_yield.high)) + 1.0

    def below(level: float) -> float:
        return 1.0 - chance_above(knowledge, level, powder=powder, carrier=carrier)

    low, middle, high = (_crossing(below, share, -most, most) for share in (0.1, 0.5, 0.9))
    return Estimate(middle, low, high)


def powder_to_reach(knowledge: BathKnowledge, level: float, chance: float) -> float:
    """Return the g/L of powder that brings the bath above `level` with the given chance; 0 where it is so already.

    Infinite where no amount does: so little is known of the yield.
    """
    most = 50 * max(level, 1e-9) / PLANNING_YIELD

    def above(powder: float) -> float:
        return chance_above(knowledge, level, powder=powder)

    if above(0.0) >= chance:
        return 0.0
    return _crossing(above, chance, 0.0, most) if above(most) > chance else math.inf


def carrier_to_reach(knowledge: BathKnowledge, level: float, chance: float) -> float:
    """Return the share of the bath that carrier must replace to bring it below `level` with the given chance."""
    return max(0.0, _crossing(lambda share: 1.0 - chance_above(knowledge, level, carrier=share), chance, 0.0, 1.0))


def _crossing(rising: Callable[[float], float], value: float, low: float, high: float) -> float:
    """Return where a rising function passes `value` between two ends; the end itself where it does not."""
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < value:
            low = middle
        else:
            high = middle
    return (low + high) / 2
