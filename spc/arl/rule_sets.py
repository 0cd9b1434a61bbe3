"""Average run length of run rules: how often they cry wolf, and how soon they see a shift."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from spc.arl.histories import Machine, TooManyStates, machine_of
from spc.arl.last_value import steady_state_chain, zero_state_chain
from spc.arl.readings import NormalReadings
from spc.arl.run_length import Chain, RunLength, Start, check_start, run_length, steady_weights, survival_of
from spc.arl.simulation import simulated_run_length
from spc.errors import InputError
from spc.rules import RuleSetting, rule_of
from spc.sigma import D2_FOR_PAIRS, D4_FOR_PAIRS

if TYPE_CHECKING:
    from spc.arl.run_length import Matrix

MOVING_RANGE_LIMIT = D4_FOR_PAIRS * D2_FOR_PAIRS
"""Upper limit of the moving range of two, in sigmas of the readings: 3.686."""


def rule_set_run_length(
    settings: Sequence[RuleSetting],
    *,
    shift: float = 0.0,
    spread: float = 1.0,
    lag_correlation: float = 0.0,
    moving_range_limit: float = math.inf,
    start: Start = "zero",
    generator: np.random.Generator | None = None,
) -> RunLength:
    """Return the run length of a set of run rules on normal readings: readings until any of them signals.

    Where the rules remember only cells between lines, by an exact Markov chain. With rules that compare readings, a
    moving-range limit, or correlated readings, by integral equations in the last value, good to about 1 part in a
    million. Where either grows too large, by simulation, if a generator is given.

    Args:
        settings: the rules switched on.
        shift: of the level from the centre line, in sigmas, from the first counted reading on.
        spread: standard deviation of the readings in units of the sigma that the limits are drawn with.
        lag_correlation: of a reading and the one before (AR(1)); 0 for independent readings.
        moving_range_limit: in sigmas, MOVING_RANGE_LIMIT being the usual one; infinite where it does not signal.
        start: "zero" from a fresh chart, "steady" from a long stretch in control without a signal, after which
            the level shifts.
        generator: for the simulation, where it comes to that.

    Raises:
        InputError: a rule or a number that cannot be, rules that practically never signal, or rules that remember
            too much without a generator to simulate with.

    Source:
        Champ, C. W. and Woodall, W. H. (1987), Technometrics 29, 393-399.
    """
    check_start(start)
    readings = NormalReadings(shift, spread, lag_correlation)
    if not moving_range_limit > 0:
        raise InputError(f"moving-range limit is {moving_range_limit}; give a number of sigmas above 0")
    try:
        return _exact(tuple(settings), readings, moving_range_limit, start)
    except TooManyStates:
        if generator is None:
            raise InputError(
                "there is too much to remember here for an exact answer; give shorter windows, or a random generator "
                "to simulate with"
            ) from None
    return simulated_run_length(
        settings, readings, generator=generator, moving_range_limit=moving_range_limit, start=start
    )


def _exact(settings: tuple[RuleSetting, ...], readings: NormalReadings, limit: float, start: Start) -> RunLength:
    depends = readings.lag_correlation != 0 or math.isfinite(limit)
    machine = machine_of(settings, with_last_cell=depends)
    if depends or any(rule_of(setting).lead for setting in settings):
        chain = _LAST_VALUE[start](machine, readings, limit)
        return run_length(survival_of(chain), method="integral equation", start=start, n_states=len(chain.weights))
    step = _cell_step(machine, readings)
    fresh = np.zeros(len(machine.cell))
    fresh[0] = 1.0
    weights = fresh if start == "zero" else steady_weights(_cell_step(machine, readings.in_control))
    chain = Chain(step, weights, (), machine.memory)
    return run_length(survival_of(chain), method="exact chain", start=start, n_states=len(weights))


_LAST_VALUE = {"zero": zero_state_chain, "steady": steady_state_chain}


def _cell_step(machine: Machine, readings: NormalReadings) -> "Matrix":
    """Return the chances of going from state to state without a signal, shape (n, n)."""
    from scipy.sparse import coo_array
    from scipy.special import ndtr

    chances = np.diff(ndtr((np.array(machine.borders) - readings.shift) / readings.spread))
    n = len(machine.cell)
    return coo_array((chances[machine.reading_cell], (machine.source, machine.target)), shape=(n, n)).tocsr()
