"""What correlated readings do to the control limits of an individuals chart."""

import math
from dataclasses import dataclass

from spc.arl.readings import NormalReadings
from spc.arl.rule_sets import rule_set_run_length
from spc.arl.run_length import RunLength
from spc.rules import RuleSetting
from spc.told import Told


@dataclass(frozen=True, slots=True)
class AutocorrelationEffect(Told):
    """How an individuals chart fares in control when each reading is correlated with the one before."""

    lag_correlation: float
    width: float  # of the limits, sigmas
    sigma_ratio: float  # sigma from moving ranges over the standard deviation of the readings
    false_alarm_rate: float  # chance that a reading lies beyond limits drawn from moving ranges
    moving_range_limits: RunLength  # with limits drawn from moving ranges
    true_limits: RunLength  # with limits drawn from the standard deviation of the readings


def autocorrelation_effect(lag_correlation: float, *, width: float = 3.0) -> AutocorrelationEffect:
    """Return what correlation of successive readings does to an individuals chart in control.

    The difference of two successive AR(1) readings has the variance 2 (1 - correlation) of the readings', so moving
    ranges give a sigma that is sqrt(1 - correlation) of the right one. The run length is from a stationary start.

    Args:
        lag_correlation: of a reading and the one before, from -0.99 to 0.99.
        width: half-width of the limits in sigmas.

    Raises:
        InputError: a number out of its range, or a chart that practically never signals.
    """
    from scipy.special import ndtr

    limits = (RuleSetting("beyond_limits", count=1, window=1, width=width),)
    ratio = math.sqrt(1 - NormalReadings(lag_correlation=lag_correlation).lag_correlation)
    return AutocorrelationEffect(
        lag_correlation=lag_correlation,
        width=width,
        sigma_ratio=ratio,
        false_alarm_rate=2 * float(ndtr(-width * ratio)),
        moving_range_limits=rule_set_run_length(limits, spread=1 / ratio, lag_correlation=lag_correlation),
        true_limits=rule_set_run_length(limits, lag_correlation=lag_correlation),
    )
