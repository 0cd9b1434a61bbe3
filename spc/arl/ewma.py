"""Average run length of the EWMA chart, by integral equation.

The chart's average is z' = (1 - lam) z + lam x, from z = 0; x is a reading's distance from the centre line in sigmas.
The control limits are `width` standard deviations of z either side: lam/(2 - lam) of the readings' variance once the
chart has run for long ("asymptotic"), and that times 1 - (1 - lam)^(2 t) at reading t when they start narrow.

Sources: Crowder, S. V. (1987), A simple method for studying run-length distributions of exponentially weighted moving
average charts, Technometrics 29, 401-407 (the equation); Lucas, J. M. and Saccucci, M. S. (1990), Exponentially
weighted moving average control schemes, Technometrics 32, 1-12 (tables, start-up limits).
"""

import math

import numpy as np

from spc.arl.run_length import Chain, RunLength, Start, check_start, run_length, steady_weights, survival_of
from spc.arrays import FloatArray
from spc.errors import InputError

SMALLEST_WEIGHT = 0.005
LARGEST_WIDTH = 10
NODES_A_SIGMA = 6
FULL_WIDTH = 1e-12
"""Start-up limits count as asymptotic once they are this part of themselves away."""


def ewma_run_length(lam: float, width: float, *, shift: float = 0.0, start: Start = "zero") -> RunLength:
    """Return the run length of a two-sided EWMA chart with asymptotic limits.

    Args:
        lam: weight of the newest reading, from 0.005 to 1.
        width: half-width of the limits in standard deviations of the average, at most 10.
        shift: of the level from the centre line in sigmas, from the first counted reading on.
        start: "zero" with the average on the centre line, "steady" from a long stretch in control without a signal.

    Raises:
        InputError: a number out of its range, or a chart that practically never signals.
    """
    check_start(start)
    lam, width, shift = _checked(lam, width, shift)
    limit = width * math.sqrt(lam / (2 - lam))
    nodes, weights = _nodes(limit, lam)
    step = _density(nodes, nodes, lam, shift) * weights
    if start == "zero":
        first = _density(np.zeros(1), nodes, lam, shift)[0] * weights
        chain = Chain(step, first, (1.0,), _memory(lam))
    else:
        chain = Chain(step, steady_weights(_density(nodes, nodes, lam, 0.0) * weights), (), _memory(lam))
    return run_length(survival_of(chain), method="integral equation", start=start, n_states=len(nodes))


def ewma_start_up_run_length(lam: float, width: float, *, shift: float = 0.0) -> RunLength:
    """Return the run length of a two-sided EWMA chart whose limits widen from the first reading on, from a fresh start.

    Args, raises: as `ewma_run_length`.
    """
    lam, width, shift = _checked(lam, width, shift)
    limit = width * math.sqrt(lam / (2 - lam))
    before = [1.0]
    nodes, weights = _nodes(limit, lam)
    last, mass = np.zeros(1), np.ones(1)  # the averages reached without a signal, and their chances
    reading = 0
    narrow = 1.0
    while narrow > FULL_WIDTH:
        reading += 1
        narrow = (1 - lam) ** (2 * reading)
        part = math.sqrt(1 - narrow)
        mass = mass @ (_density(last, part * nodes, lam, shift) * part * weights)
        last = part * nodes
        before.append(float(mass.sum()))
    chain = Chain(_density(nodes, nodes, lam, shift) * weights, mass, tuple(before[:-1]), _memory(lam))
    return run_length(survival_of(chain), method="integral equation", start="zero", n_states=len(nodes))


def ewma_width(lam: float, arl: float) -> float:
    """Return the half-width of asymptotic limits that gives the average run length `arl` in control, to 1e-6.

    Raises:
        InputError: a weight out of its range, or an average run length below 5 or above a million readings.
    """
    from scipy.optimize import brentq

    if not 5 <= arl <= 1e6:
        raise InputError(f"average run length is {arl}; give one from 5 to 1,000,000 readings")
    return float(brentq(lambda width: math.log(ewma_run_length(lam, width).arl / arl), 0.1, 5.5, xtol=1e-6))


def _checked(lam: float, width: float, shift: float) -> tuple[float, float, float]:
    if not SMALLEST_WEIGHT <= lam <= 1:
        raise InputError(f"weight of the newest reading is {lam}; give one from {SMALLEST_WEIGHT} to 1")
    if not 0 < width <= LARGEST_WIDTH:
        raise InputError(
            f"width of the EWMA limits is {width}; give from above 0 to {LARGEST_WIDTH} standard deviations"
        )
    if not math.isfinite(shift):
        raise InputError(f"shift is {shift}; give a number of sigmas")
    return float(lam), float(width), float(shift)


def _memory(lam: float) -> int:
    return math.ceil(3 / lam)


def _nodes(limit: float, lam: float) -> tuple[FloatArray, FloatArray]:
    """Return Gauss-Legendre nodes and weights from -limit to limit, close enough for steps of lam."""
    count = 30 + math.ceil(NODES_A_SIGMA * 2 * limit / lam)
    points, weights = np.polynomial.legendre.leggauss(count)
    return limit * points, limit * weights


def _density(last: FloatArray, now: FloatArray, lam: float, shift: float) -> FloatArray:
    """Return the density of the average `now`, shape (m,), after the average `last`, shape (k,): shape (k, m)."""
    reading = (now - (1 - lam) * last[:, None]) / lam
    density: FloatArray = np.exp(-0.5 * (reading - shift) ** 2) / (lam * math.sqrt(2 * math.pi))
    return density
