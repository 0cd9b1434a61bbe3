"""The early-warning model through quiet readings, compiled: `spc.drift.update` without its outcomes.

The loop stops at every reading that might signal, restarts a level or cannot be taken, with the state as it was before
it; the plain `update` then decides that reading. So every signal, and all that is said of it, is the plain model's.
"""

import math

import numba
import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray

MEAN, SLOW, AGEING, P_MEAN, P_MEAN_SLOW, P_SLOW, P_MEAN_AGEING, P_SLOW_AGEING, P_AGEING = range(9)  # of `Level`
LIFT, P_MEAN_LIFT, P_SLOW_LIFT, P_AGEING_LIFT, P_LIFT = range(9, 14)
LIFTED, LASTING, PASSING, DISTURBED, PAUSE = range(5)  # of `Move`
SHORT, N_SHORT, RATIO, N_RATIO = range(4)  # of `Noise`
ROW = 64
"""Room for the onsets of one row of the bank: its parts lie one behind the other in one array, which vectorises."""
PARTS = 6
POWERS = np.exp(np.arange(61.0))
_SQRT2 = math.sqrt(2.0)
_DENSITY_AT_0 = 1.0 / math.sqrt(2.0 * math.pi)
NEGLIGIBLE = 14.0
"""A likelihood ratio this far (in logs) below the threshold is counted at that, not reckoned."""


@numba.njit(inline="always")
def _sum_of_eight(x: FloatArray, at: int) -> float:
    """Return the sum of 8 values in the order in which numpy adds them."""
    first, second = (x[at] + x[at + 1]) + (x[at + 2] + x[at + 3]), (x[at + 4] + x[at + 5]) + (x[at + 6] + x[at + 7])
    return float(first + second)


@numba.njit(inline="always")
def _log(x: float) -> float:
    """Return the logarithm; that of what is not above 0 (to 1e-12) is -inf."""
    if x > 1e-12:
        return math.log(x)
    return -math.inf


@numba.njit(cache=True, nogil=True)
def _scored(low: float, high: float, width: float, mean: float, variance: float) -> tuple[float, float]:
    """Return `spc.drift.reading.scored`."""
    sd = math.sqrt(variance)
    if high - low < 0.7 * sd:
        whole = variance + width * width / 12.0
        return ((low + high) / 2.0 - mean) / math.sqrt(whole), 1.0 / whole
    a, b = (low - mean) / sd, (high - mean) / sd
    if a > 0:
        inside = 0.5 * (math.erfc(a / _SQRT2) - math.erfc(b / _SQRT2))
    else:
        inside = 0.5 * (math.erf(b / _SQRT2) - math.erf(a / _SQRT2))
    if inside < 1e-9:
        return (a if a > 0 else b), 1.0 / variance
    at_a, at_b = _DENSITY_AT_0 * math.exp(-a * a / 2.0), _DENSITY_AT_0 * math.exp(-b * b / 2.0)
    mean_inside = (at_a - at_b) / inside
    upper = b * at_b if math.isfinite(b) else 0.0
    lower = a * at_a if math.isfinite(a) else 0.0
    spread = 1.0 - (upper - lower) / inside
    information = max(1.0 - (spread - mean_inside * mean_inside), 1e-4) / variance
    return mean_inside / sd / math.sqrt(information), information


@numba.njit(cache=True, nogil=True)
def _off_step(value: float, step: float) -> bool:
    return bool(abs(value - step * np.rint(value / step)) > 1e-6 * abs(value))


@numba.njit(cache=True, nogil=True)
def _on_several(x: FloatArray, step: float) -> bool:
    least, most = math.inf, -math.inf
    for value in x:
        if not _off_step(value, step):
            multiple = np.rint(value / step)
            least, most = min(least, multiple), max(most, multiple)
    return bool(most > least)


@numba.njit(cache=True, nogil=True)
def written_steps(x: FloatArray, resolution: FloatArray, ratios: FloatArray, recent: int) -> FloatArray:
    """Return `spc.drift.reading.written_step` of the latest `recent` readings at each reading, shape (n,)."""
    n, k = len(x), len(ratios)
    found = np.zeros(n)
    off = np.zeros((k, recent), dtype=np.bool_)
    count = np.zeros(k, dtype=np.int64)
    counted = math.nan
    for i in range(n):
        if math.isnan(resolution[i]):
            counted = math.nan
            continue
        have = min(i + 1, recent)
        first = i + 1 - have
        afresh = resolution[i] != counted
        counted = resolution[i]
        for j in range(k):
            step = counted * ratios[j]
            if afresh:
                count[j] = 0
                for at in range(first, i + 1):
                    off[j, at % recent] = _off_step(x[at], step)
                    count[j] += off[j, at % recent]
            else:
                if i >= recent:
                    count[j] -= off[j, i % recent]
                off[j, i % recent] = _off_step(x[i], step)
                count[j] += off[j, i % recent]
        found[i] = counted
        for j in range((k if have >= 10 else 9) - 1, -1, -1):
            step = counted * ratios[j]
            if count[j] <= have // 12 and (step <= counted or _on_several(x[first : i + 1], step)):
                found[i] = step
                break
    return found


@numba.njit(cache=True, nogil=True)
def _might_signal(
    bank: FloatArray,
    first: int,
    stop: int,
    sigma: float,
    to_lower: float,
    to_upper: float,
    most: float,
    step_sigmas: FloatArray,
    per_reading: FloatArray,
    step_weight: float,
    drift_weight: float,
    nearest: float,
    powers: FloatArray,
) -> bool:
    """Return whether the log odds of a change to either side may exceed `most`.

    No size explains more than score**2 / (2 information), so that most readings are done with after a bound.
    """
    m, width = stop - first, len(bank) // PARTS
    slack = 2.0 * (most - math.log((step_weight + drift_weight) * m))
    if slack > 0.0:
        beyond = np.uint64(0)
        for j in range(2 * ROW):
            beyond |= np.uint64(bank[j] * bank[j] > slack * bank[width + j])
        if beyond == 0:
            return False
    enough = math.exp(most) * (1.0 - 1e-9)
    low, high = 0.0, 0.0
    for row in range(2):
        weight = drift_weight if row else step_weight
        for j in range(row * ROW + first, row * ROW + stop):
            score, information = bank[j], bank[width + j]
            best = 0
            if information > 0.0:
                best = int(min(score * score / (2.0 * information), 59.0)) + 1
            if score > 0.0:
                low, high = low + weight, high + weight * powers[best]
            else:
                low, high = low + weight * powers[best], high + weight
    if max(low, high) < enough:
        return False
    least = most - NEGLIGIBLE
    n_steps, n_slopes = len(step_sigmas), len(per_reading)
    for side in range(2):
        if (high if side else low) < enough:
            continue
        way = 1.0 if side else -1.0
        distance = to_upper if side else -to_lower
        total = (step_weight + drift_weight) * m * math.exp(least)
        for r in range(n_steps + n_slopes):
            if r < n_steps:
                size, weight, row = way * (sigma * step_sigmas[r]), step_weight / n_steps, 0
            elif math.isfinite(distance):
                size = way * (max(distance, nearest * sigma) * per_reading[r - n_steps])
                weight, row = drift_weight / n_slopes, 1
            else:
                continue
            half = size * size / 2.0
            for j in range(row * ROW + first, row * ROW + stop):
                log = bank[j] * size - bank[width + j] * half
                if log > least:
                    total += weight * math.exp(min(log, 60.0))
        if total >= enough:
            return True
    return False


@numba.njit(cache=True, nogil=True)
def quiet_readings(
    at: int,
    since_restart: int,
    first: int,
    lasting: int,
    far: int,
    x: FloatArray,
    bound: NDArray[np.int8],
    steps: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    restart: BoolArray,
    moves: FloatArray,
    moved_by: float,
    middles: FloatArray,
    level: FloatArray,
    noise: FloatArray,
    bank: FloatArray,
    m: int,
    log: bool,
    usual: float,
    constants: FloatArray,
    step_sigmas: FloatArray,
    per_reading: FloatArray,
    shapes: FloatArray,
    weights: FloatArray,
    powers: FloatArray,
) -> tuple[int, int, int, int, int, float]:
    """Go on from reading `at` until one that the plain model has to decide; return it and the state before it.

    Args:
        at: reading to start with; the level is set.
        since_restart, lasting, far: of `DriftState`.
        first: reading with which its history begins.
        x, bound, steps, lower, upper, restart: of every reading, shape (n,).
        moves: how the level is expected to move to each reading, shape (n, 5), columns as in `Move`.
        moved_by: of the state.
        middles: readings on the model's scale less `moved_by`, filled in place.
        level, noise, bank: of the state, in place; `bank` has two
            halves, shape (2, PARTS rows ROW), the newest onset at the end of each row; the first half is the state's.
        m: onsets in the bank.
        log, usual: of the model.
        constants: see `watch._constants`.
        step_sigmas, per_reading, shapes, weights: of the evidence; `powers` are those of e.

    Returns:
        reading, since_restart, lasting, far, m, moved_by.
    """
    memory, level_wander2, threshold, wander_cost, goes_on = constants[:5]
    largest, stays_away, fewest, nearest = constants[5:9]
    history_n, block, wander_share, at_most = constants[9:13]
    largest_square, largest_mean, least_share, least_step, excess = constants[13:18]
    disturbed2 = constants[18]
    n, onsets = len(x), shapes.shape[1]
    history, width_block = int(history_n), int(block)
    before, now = bank[0], bank[1]
    n_rows = shapes.shape[0]
    wide = n_rows * ROW
    shape, signature, told = np.zeros(wide), np.empty(wide), np.empty(wide)
    for row in range(n_rows):
        shape[row * ROW + onsets - m : row * ROW + onsets] = shapes[row, onsets - m :]
    flipped = False
    while at < n:
        value = x[at]
        if restart[at] or not math.isfinite(value):
            break
        step = steps[at]
        half = step / 2.0
        low, high = value - half, value + half
        if bound[at] < 0:
            low, high = -math.inf, value
        elif bound[at] > 0:
            low, high = value, math.inf
        middle, width = value, step
        below, above = lower[at], upper[at]
        if log:
            size = max(value, half, 1e-12)
            middle = math.log(size / 2.0 if bound[at] < 0 else size)
            low, high = _log(low), _log(max(high, size))
            width = step / size
            below = math.log(below) if below > 0 else math.nan
            above = math.log(above) if above > 0 else math.nan
        # the variances of the noise
        short = noise[SHORT] / noise[N_SHORT]
        smallest = least_share * usual
        exact = max(short - width * width / 12.0, (least_step * width) * (least_step * width), smallest * smallest)
        ratio = max(1.0, noise[RATIO] / noise[N_RATIO])
        slow = (ratio - 1.0) * short / excess
        white = max(exact - (1.0 - memory) * slow, 0.25 * exact) * (1.0 + 2.0 / noise[N_SHORT])
        total = white + slow
        # the level one reading on
        u, lift, p_lift = moves[at, LIFTED], level[LIFT], level[P_LIFT]
        lifted = lift * lift + p_lift
        wider = level_wander2 * total * moves[at, PAUSE] + disturbed2 * total * moves[at, DISTURBED]
        wider += moves[at, LASTING] * lifted
        wider += 2.0 * u * (level[P_MEAN_LIFT] + level[P_AGEING_LIFT]) + u * u * p_lift
        now_moved_by = moved_by + u * lift
        mean = level[MEAN] + level[AGEING] + u * lift
        wander = memory * level[SLOW]
        ageing = level[AGEING]
        p_mean = level[P_MEAN] + 2.0 * level[P_MEAN_AGEING] + level[P_AGEING] + wider
        p_mean_slow = memory * (level[P_MEAN_SLOW] + level[P_SLOW_AGEING] + u * level[P_SLOW_LIFT])
        p_slow = memory * memory * level[P_SLOW] + slow * (1.0 - memory * memory) + moves[at, PASSING] * lifted
        p_mean_ageing = level[P_MEAN_AGEING] + level[P_AGEING] + u * level[P_AGEING_LIFT]
        p_slow_ageing = memory * level[P_SLOW_AGEING]
        p_ageing = level[P_AGEING]
        p_mean_lift = level[P_MEAN_LIFT] + level[P_AGEING_LIFT] + u * p_lift
        p_slow_lift = memory * level[P_SLOW_LIFT]
        p_ageing_lift = level[P_AGEING_LIFT]
        expected = mean + wander
        sd = math.sqrt(max(p_mean + 2.0 * p_mean_slow + p_slow, 0.0) + white)
        g_mean, g_slow, g_ageing = p_mean + p_mean_slow, p_mean_slow + p_slow, p_mean_ageing + p_slow_ageing
        g_lift = p_mean_lift + p_slow_lift
        distance, information = _scored(low, high, width, expected, sd * sd)
        copied = x[at - 1] == value and width * width < white
        now_far, score = far, 0.0
        if copied and not (at > 1 and x[at - 2] == value and abs(distance) > stays_away):
            information = 0.0
        else:
            if abs(distance) <= largest:
                now_far = 0
            else:
                way = 1 if distance > 0 else -1
                now_far = far + way if far * way > 0 else way
            score = max(-largest, min(largest, distance)) * math.sqrt(information)
            mean, wander, ageing = mean + g_mean * score, wander + g_slow * score, ageing + g_ageing * score
            p_mean -= g_mean * g_mean * information
            p_mean_slow -= g_mean * g_slow * information
            p_slow -= g_slow * g_slow * information
            p_mean_ageing -= g_mean * g_ageing * information
            p_slow_ageing -= g_slow * g_ageing * information
            p_ageing -= g_ageing * g_ageing * information
            lift += g_lift * score
            p_mean_lift -= g_mean * g_lift * information
            p_slow_lift -= g_slow * g_lift * information
            p_ageing_lift -= g_ageing * g_lift * information
            p_lift -= g_lift * g_lift * information
        # the signatures of all onsets, from one half of the bank to the other
        m_now = min(m + 1, onsets)
        for j in range(wide * PARTS - 1):
            now[j] = before[j + 1]
        for part in range(n_rows * PARTS):
            now[part * ROW + ROW - 1] = 0.0
        if m_now > m:
            for row in range(n_rows):
                shape[row * ROW + onsets - m_now] = shapes[row, onsets - m_now]
        b_score, b_information, b_mean = now[:wide], now[wide : 2 * wide], now[2 * wide : 3 * wide]
        b_slow, b_ageing, b_lift = now[3 * wide : 4 * wide], now[4 * wide : 5 * wide], now[5 * wide :]
        if u == 0.0:
            for j in range(wide):
                b_mean[j] += b_ageing[j]
        else:
            for j in range(wide):
                b_mean[j] += b_ageing[j] + u * b_lift[j]
        for j in range(wide):
            b_slow[j] *= memory
        if information > 0.0:
            for j in range(wide):
                signature[j] = shape[j] - b_mean[j] - b_slow[j]
            for j in range(wide):
                told[j] = information * signature[j]
            for j in range(wide):
                b_score[j] += score * signature[j]
            for j in range(wide):
                b_information[j] += told[j] * signature[j]
            for j in range(wide):
                b_mean[j] += g_mean * told[j]
            for j in range(wide):
                b_slow[j] += g_slow * told[j]
            for j in range(wide):
                b_ageing[j] += g_ageing * told[j]
            for j in range(wide):
                b_lift[j] += g_lift * told[j]
        if since_restart >= fewest:
            sigma = math.sqrt(white + slow + width * width / 12.0)
            most = threshold + wander_cost * min(2.0, ratio - 1.0) - (goes_on if lasting else 0.0)
            if _might_signal(
                now,
                onsets - m_now,
                onsets,
                sigma,
                below - mean,
                above - mean,
                most,
                step_sigmas,
                per_reading,
                weights[0],
                weights[1],
                nearest,
                powers,
            ):
                break
        # nothing signals: it teaches what the noise is
        moved_by = now_moved_by
        middles[at] = middle - moved_by
        if not copied:
            difference = middles[at] - middles[at - 1]
            summed = noise[SHORT] + min(0.5 * (difference * difference), largest_square * short)
            count = noise[N_SHORT] + 1.0
            keep = min(1.0, at_most / count)
            noise[SHORT], noise[N_SHORT] = keep * summed, keep * count
        if at + 1 - first >= history:
            start = at + 1 - history
            second = _sum_of_eight(middles, start + width_block)
            difference = (second - _sum_of_eight(middles, start)) / block
            excess_now = block * 0.5 * (difference * difference) / (noise[SHORT] / noise[N_SHORT])
            summed = noise[RATIO] + wander_share * min(excess_now, largest_mean * ratio)
            count = noise[N_RATIO] + wander_share
            keep = min(1.0, at_most / count)
            noise[RATIO], noise[N_RATIO] = keep * summed, keep * count
        level[MEAN], level[SLOW], level[AGEING] = mean, wander, ageing
        level[P_MEAN], level[P_MEAN_SLOW], level[P_SLOW] = p_mean, p_mean_slow, p_slow
        level[P_MEAN_AGEING], level[P_SLOW_AGEING], level[P_AGEING] = p_mean_ageing, p_slow_ageing, p_ageing
        level[LIFT], level[P_MEAN_LIFT], level[P_SLOW_LIFT] = lift, p_mean_lift, p_slow_lift
        level[P_AGEING_LIFT], level[P_LIFT] = p_ageing_lift, p_lift
        before, now = now, before
        flipped = not flipped
        m = m_now
        far, lasting = now_far, 0
        since_restart += 1
        at += 1
    if flipped:
        bank[0] = bank[1]
    return at, since_restart, lasting, far, m, moved_by
