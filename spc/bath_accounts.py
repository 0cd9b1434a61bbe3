"""The accounts of what may have happened to a bath, one normal distribution of level, loss and yield for each.

Between two readings a bath loses a share of its level, gains by powder and is thinned by carrier; now and then somebody
feeds it unwritten, powder settles, or a reading is wrong. Each of these is an account of its own, weighed by how well
it foretells the readings; the likeliest few are kept. `spc.bath` asks them.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from spc.arrays import FloatArray

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
_WRONG_WEIGHT = 0.03  # chance that a weight written down is not what went in
_SUDDEN_FALL = 0.003  # chance that the level fell at once: powder settled, carrier added unwritten
_MISREAD = 0.005  # chance that a reading says nothing of the bath
_FEED = (0.2, 0.15)  # size of a feed of which no amount is known, in usual levels: mean, standard deviation
_FRESH = 0.6  # standard deviation of a new bath's level, in usual levels
_KEPT = 8  # accounts kept for each setting of the scatter

LEVEL, LOSS, YIELD = 0, 1, 2

_LOG_ROOT = 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True, slots=True)
class Since:
    """What happened to a bath from one reading on; see `learn_bath`."""

    shifts: float = 0.0
    powder: float = 0.0
    carrier: float = 0.0
    unmeasured: int = 0
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Accounts:
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
    def start(cls, usual: float) -> "Accounts":
        """Return the accounts before the first reading of a bath that usually reads `usual` mL/100 mL."""
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

    def after(self, between: Since) -> "Accounts":
        """Return the bank after `between`, accounts of unwritten work among them."""
        level, loss, gain = self.mean[..., LEVEL], self.mean[..., LOSS], self.mean[..., YIELD]
        fed = level + between.powder * gain  # a bath is fed when it reads low: the loss of the gap comes after
        kept = 1.0 - between.carrier
        factor = kept * (1.0 - between.shifts * loss)
        mean = self.mean.copy()
        # The mean of a product is the product of the means and the covariance.
        with_loss = self.covariance[..., LEVEL, LOSS] + between.powder * self.covariance[..., YIELD, LOSS]
        mean[..., LEVEL] = factor * fed - kept * between.shifts * with_loss
        move = np.zeros((*level.shape, 3, 3))
        move[..., LEVEL, LEVEL] = factor
        move[..., LEVEL, LOSS] = -kept * between.shifts * fed
        move[..., LEVEL, YIELD] = factor * between.powder
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
        if between.powder > 0 and not (between.unmeasured or between.fresh):
            return moved._or_else(self.after(replace(between, powder=0.0, unmeasured=1)), _WRONG_WEIGHT)
        written = between.unmeasured or between.fresh
        return moved if written or between.shifts == 0 else moved._unwritten(between.shifts)

    def _or_else(self, other: "Accounts", chance: float) -> "Accounts":
        """Return these accounts, and with the given chance the `other` ones."""
        return self._with(
            np.concatenate([self.log_weight + math.log1p(-chance), other.log_weight + math.log(chance)], axis=1),
            np.concatenate([self.mean, other.mean], axis=1),
            np.concatenate([self.covariance, other.covariance], axis=1),
            np.concatenate([self.feeds, other.feeds], axis=1),
        )

    def _unwritten(self, shifts: float) -> "Accounts":
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

    def read(self, low: float, high: float) -> "Accounts":
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

    def chance_so_far_off(self, low: float, high: float) -> tuple[float, bool]:
        """Return the chance of a reading as far to one side or farther, times two, at most 1; and whether it is low."""
        weight = _weights(self.log_weight)
        spread = np.sqrt(self.covariance[..., LEVEL, LEVEL] + self.read_sd**2)
        centre = self.mean[..., LEVEL]
        at_most = float(np.sum(weight * _normal_cdf((high - centre) / spread)))
        at_least = float(np.sum(weight * _normal_cdf((centre - low) / spread)))
        return min(1.0, 2 * min(at_most, at_least)), at_most < at_least

    def whole(self) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Return weight, mean and covariance of every account that counts, and the feeds nobody wrote down."""
        weight = _weights(self.log_weight)
        counts = weight > 1e-7
        share = weight[counts] / weight[counts].sum()
        return share, self.mean[counts], self.covariance[counts], float(share @ self.feeds[counts])

    def _with(self, log_weight: FloatArray, mean: FloatArray, covariance: FloatArray, feeds: FloatArray) -> "Accounts":
        return Accounts(self.usual, self.read_sd, self.mixing, self.feed_rate, log_weight, mean, covariance, feeds)


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
