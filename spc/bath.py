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
from spc.errors import InputError
from spc.records import Bound

PLANNING_YIELD = 0.2
"""mL/100 mL for each g/L of dry fluorescent powder, until the bath's own top-ups tell. Judgement: from recalled dosing
advice of powder makers (0.75 to 1.25 g/L for 0.15 to 0.25 mL/100 mL); a powder that comes mixed with conditioner yields
far less."""

PLANNING_SPREAD = (0.15, 0.25)
"""Yields between which 19 products in 20 are taken to lie. Judgement."""

DOSE_ERROR = 0.1
"""Standard deviation of what a weighed dose does, as a share of it: scale, spillage, mixing. Judgement."""

# Judgement, like the two above: starting points that some ten readings outweigh.
_START_LOSS = (0.015, 0.02)  # share of the level lost from one reading to the next: mean, standard deviation
_LOSS_WANDERS = 4e-4  # how much that share changes from one reading to the next
_LOSS_AFTER_CHANGE = 3e-3  # and with a new bath
_OTHER_YIELD = (0.15, 0.06)  # of a powder unlike the planning figure: mean, standard deviation
_OTHER_SHARE = 0.1  # of powders that are so
_READ = (0.03, 0.05, 0.08, 0.13)  # standard deviations of a reading before rounding, as shares of the usual level
_MIXING = (0.003, 0.015)  # of the level itself from reading to reading, likewise
_UNWRITTEN_FEEDS = (0.02, 0.12)  # chance that the bath was fed unwritten between two readings
_SUDDEN_FALL = 0.003  # chance that the level fell at once: powder settled, carrier added unwritten
_MISREAD = 0.005  # chance that a reading says nothing of the bath
_FEED = (0.2, 0.15)  # size of a feed of which no amount is known, in usual levels: mean, standard deviation
_FRESH = 0.6  # standard deviation of a new bath's level, in usual levels
_KEPT = 8  # accounts kept for each setting of the scatter

LEVEL, LOSS, YIELD = 0, 1, 2


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

    @property
    def level(self) -> Estimate:
        """The level at the last reading, or after what was added since."""
        return self._estimate(LEVEL)

    @property
    def loss(self) -> Estimate:
        """The share of the level lost from one reading to the next; below 0 where the level rises by itself."""
        return self._estimate(LOSS)

    @property
    def powder_yield(self) -> Estimate:
        """How far 1 g/L raises the level."""
        return self._estimate(YIELD)

    def _estimate(self, place: int) -> Estimate:
        mean, sd = self.mean[:, place], np.sqrt(self.covariance[:, place, place])
        reach = 10 * float(sd.max())
        ends = float(mean.min()) - reach, float(mean.max()) + reach
        low, middle, high = (
            _crossing(lambda x: float(self.weight @ _normal_cdf((x - mean) / sd)), share, *ends)
            for share in (0.1, 0.5, 0.9)
        )
        return Estimate(middle, low, high)


def powder_needed(short: float, powder_yield: float, volume_l: float) -> float:
    """Return the grams of powder that raise `volume_l` litres by `short` mL/100 mL.

    Raises:
        InputError: a yield or a volume that is not above 0.

    Source:
        Arithmetic: level = yield times powder over volume.
    """
    if not (powder_yield > 0 and volume_l > 0):
        raise InputError(f"yield is {powder_yield} and volume {volume_l}; both must be above 0")
    return short / powder_yield * volume_l


def carrier_to_exchange(level: float, target: float, volume_l: float) -> float:
    """Return the litres of carrier that take the place of bath to bring `volume_l` litres from `level` to `target`.

    A tank that stands so far below its mark has lost it by evaporation; from a full one as much is drained first.
    """
    return volume_l * max(0.0, 1.0 - target / level) if level > 0 else 0.0


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
    since: "Since | None" = None,
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
    bank, surprise = _Bank.start(usual), 1.0
    half = (step or 0.0) / 2
    for place, (value, way, between) in enumerate(zip(readings.tolist(), kind.tolist(), steps, strict=True)):
        bank = bank.after(between) if place else bank
        low = -math.inf if way == Bound.BELOW else value if way == Bound.ABOVE else value - half
        high = math.inf if way == Bound.ABOVE else value if way == Bound.BELOW else value + half
        surprise = bank.chance_so_far_off(low, high)
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


@dataclass(frozen=True, slots=True)
class Since:
    """What happened to a bath from one reading on; see `learn_bath`."""

    shifts: float = 0.0
    powder: float = 0.0
    carrier: float = 0.0
    unmeasured: int = 0
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class _Bank:
    """For each of H settings of the scatter, K accounts of what happened."""

    usual: float
    read_sd: FloatArray  # (H, 1)
    mixing: FloatArray  # (H, 1)
    feed_rate: FloatArray  # (H, 1)
    log_weight: FloatArray  # (H, K)
    mean: FloatArray  # (H, K, 3)
    covariance: FloatArray  # (H, K, 3, 3)
    feeds: FloatArray  # (H, K) unwritten ones so far

    @classmethod
    def start(cls, usual: float) -> "_Bank":
        low, high = PLANNING_SPREAD
        planning = (PLANNING_YIELD, (high - low) / (2 * 1.96))
        yields = ((planning, 1 - _OTHER_SHARE), (_OTHER_YIELD, _OTHER_SHARE))
        settings = [
            (read * usual, mixing, rate, powder, share)
            for read in _READ
            for mixing in _MIXING
            for rate in _UNWRITTEN_FEEDS
            for powder, share in yields
        ]
        mean = np.array([[[usual, _START_LOSS[0], powder[0]]] for *_, powder, _ in settings])
        spread = np.array([[(_FRESH * usual) ** 2, _START_LOSS[1] ** 2, powder[1] ** 2] for *_, powder, _ in settings])
        return cls(
            usual=usual,
            read_sd=np.array([[each[0]] for each in settings]),
            mixing=np.array([[each[1]] for each in settings]),
            feed_rate=np.array([[each[2]] for each in settings]),
            log_weight=np.log([[each[4]] for each in settings]),
            mean=mean,
            covariance=spread[:, None, :, None] * np.eye(3),
            feeds=np.zeros((len(settings), 1)),
        )

    def after(self, between: Since) -> "_Bank":
        """Return the bank after `between`, accounts of unwritten work among them."""
        level, loss, gain = self.mean[..., LEVEL], self.mean[..., LOSS], self.mean[..., YIELD]
        kept = 1.0 - between.carrier
        factor = kept * (1.0 - between.shifts * loss)
        mean = self.mean.copy()
        # E[level loss] is the product of the means and their covariance.
        mean[..., LEVEL] = factor * level + between.powder * gain
        mean[..., LEVEL] -= kept * between.shifts * self.covariance[..., LEVEL, LOSS]
        move = np.zeros((*level.shape, 3, 3))
        move[..., LEVEL, LEVEL] = factor
        move[..., LEVEL, LOSS] = -kept * between.shifts * level
        move[..., LEVEL, YIELD] = between.powder
        move[..., LOSS, LOSS] = move[..., YIELD, YIELD] = 1.0
        covariance = move @ self.covariance @ np.swapaxes(move, -1, -2)
        covariance[..., LEVEL, LEVEL] += between.shifts * (self.mixing * level) ** 2
        covariance[..., LEVEL, LEVEL] += (DOSE_ERROR * between.powder * gain) ** 2
        covariance[..., LOSS, LOSS] += between.shifts * _LOSS_WANDERS**2
        if between.unmeasured:
            mean[..., LEVEL] += np.sign(between.unmeasured) * _FEED[0] * self.usual
            covariance[..., LEVEL, LEVEL] += (2 * _FEED[1] * self.usual) ** 2
        if between.fresh:
            mean[..., LEVEL] = self.usual
            covariance[..., LEVEL, :] = covariance[..., :, LEVEL] = 0.0
            covariance[..., LEVEL, LEVEL] = (_FRESH * self.usual) ** 2
            covariance[..., LOSS, LOSS] += _LOSS_AFTER_CHANGE**2
        moved = self._with(self.log_weight, mean, covariance, self.feeds)
        written = between.unmeasured or between.fresh or between.powder > 0
        return moved if written or between.shifts == 0 else moved._unwritten(between.shifts)

    def _unwritten(self, shifts: float) -> "_Bank":
        """Return the bank with the accounts that somebody fed the bath, or that its level fell at once."""
        rate = shifts * self.feed_rate
        fall = shifts * _SUDDEN_FALL
        shift, spread = _FEED[0] * self.usual, (_FEED[1] * self.usual) ** 2
        up, down, wider = self.mean.copy(), self.mean.copy(), self.covariance.copy()
        up[..., LEVEL] += shift
        down[..., LEVEL] -= shift
        wider[..., LEVEL, LEVEL] += spread
        return self._with(
            np.concatenate(
                [
                    self.log_weight + np.log1p(-rate - fall),
                    self.log_weight + np.log(rate),
                    self.log_weight + math.log(fall),
                ],
                axis=1,
            ),
            np.concatenate([self.mean, up, down], axis=1),
            np.concatenate([self.covariance, wider, wider], axis=1),
            np.concatenate([self.feeds, self.feeds + 1, self.feeds], axis=1),
        )

    def read(self, low: float, high: float) -> "_Bank":
        """Return the bank after a reading that lay between `low` and `high`, the account that it says nothing too."""
        spread = np.sqrt(self.covariance[..., LEVEL, LEVEL] + self.read_sd**2)
        centre = self.mean[..., LEVEL]
        log_chance, moved, left = _cut_normal((low - centre) / spread, (high - centre) / spread)
        if low == high:
            log_chance = log_chance - np.log(spread)
        width = high - low if low < high and math.isfinite(high - low) else self.usual if low < high else 1.0
        gain = self.covariance[..., LEVEL] / spread[..., None]
        mean = self.mean + gain * moved[..., None]
        covariance = self.covariance - gain[..., :, None] * gain[..., None, :] * (1.0 - left)[..., None, None]
        log_weight = np.concatenate(
            [
                self.log_weight + log_chance + math.log1p(-_MISREAD),
                self.log_weight + math.log(_MISREAD * min(1.0, width / (2 * self.usual))),
            ],
            axis=1,
        )
        best = np.argsort(-log_weight, axis=1, kind="stable")[:, :_KEPT]
        whole = self._with(
            log_weight,
            np.concatenate([mean, self.mean], axis=1),
            np.concatenate([covariance, self.covariance], axis=1),
            np.concatenate([self.feeds, self.feeds], axis=1),
        )
        rows = np.arange(len(best))[:, None]
        return whole._with(
            whole.log_weight[rows, best] - float(log_weight.max()),
            whole.mean[rows, best],
            whole.covariance[rows, best],
            whole.feeds[rows, best],
        )

    def chance_so_far_off(self, low: float, high: float) -> float:
        """Return the chance of a reading as far to one side as this one or farther, times two, at most 1."""
        weight = _weights(self.log_weight)
        spread = np.sqrt(self.covariance[..., LEVEL, LEVEL] + self.read_sd**2)
        centre = self.mean[..., LEVEL]
        at_most = float(np.sum(weight * _normal_cdf((high - centre) / spread)))
        at_least = float(np.sum(weight * _normal_cdf((centre - low) / spread)))
        return min(1.0, 2 * min(at_most, at_least))

    def whole(self) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Return weight, mean and covariance of every account that counts, and the feeds nobody wrote down."""
        weight = _weights(self.log_weight)
        counts = weight > 1e-7
        share = weight[counts] / weight[counts].sum()
        return share, self.mean[counts], self.covariance[counts], float(share @ self.feeds[counts])

    def _with(self, log_weight: FloatArray, mean: FloatArray, covariance: FloatArray, feeds: FloatArray) -> "_Bank":
        return _Bank(self.usual, self.read_sd, self.mixing, self.feed_rate, log_weight, mean, covariance, feeds)


def _weights(log_weight: FloatArray) -> FloatArray:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def _normal_cdf(z: FloatArray) -> FloatArray:
    from scipy.special import ndtr

    return np.asarray(ndtr(z), dtype=np.float64)


def _cut_normal(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return log probability, mean and variance of a standard normal between `a` and `b`; at a = b, log density.

    Exact in either tail.
    """
    from scipy.special import log_ndtr

    flipped = a + b > 0
    low, high = np.where(flipped, -b, a), np.where(flipped, -a, b)
    log_density_low, log_density_high = -0.5 * low**2 - _LOG_ROOT, -0.5 * high**2 - _LOG_ROOT
    if np.array_equal(low, high):
        return log_density_high, a, np.zeros_like(a)
    top = log_ndtr(high)
    log_p = top + np.log(-np.expm1(log_ndtr(low) - top))
    at_low, at_high = np.exp(log_density_low - log_p), np.exp(log_density_high - log_p)
    mean = at_low - at_high
    ends = np.where(np.isinf(low), 0.0, low) * at_low - np.where(np.isinf(high), 0.0, high) * at_high
    variance = np.clip(1.0 + ends - mean**2, 0.0, 1.0)
    return log_p, np.where(flipped, -mean, mean), variance


_LOG_ROOT = 0.5 * math.log(2 * math.pi)


def chance_above(knowledge: BathKnowledge, level: float, *, powder: float = 0.0, carrier: float = 0.0) -> float:
    """Return the chance that the bath ends above `level`.

    Args:
        knowledge: of the bath as it is.
        level: mL/100 mL.
        powder: g/L added now.
        carrier: share of the bath that carrier takes the place of now.
    """
    kept = 1.0 - carrier
    mean, covariance = knowledge.mean, knowledge.covariance
    centre = kept * mean[:, LEVEL] + powder * mean[:, YIELD]
    variance = (
        kept**2 * covariance[:, LEVEL, LEVEL]
        + 2 * kept * powder * covariance[:, LEVEL, YIELD]
        + powder**2 * (covariance[:, YIELD, YIELD] + (DOSE_ERROR * mean[:, YIELD]) ** 2)
    )
    return float(knowledge.weight @ _normal_cdf((centre - level) / np.sqrt(variance)))


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
