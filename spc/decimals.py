"""Readings taken as the decimals they were written in, so that no offset costs digits.

A reading is written in decimals: 1000000000000.4 in a log means just that, and the nearest double misses it by
0.00002. The shortest decimal that gives the double is what was written (up to 15 figures, always). Sums over those
decimals are whole-number sums, exact; each result is rounded once, at the end.
"""

import math

import numpy as np

from spc.arrays import FloatArray, frozen
from spc.errors import InputError

LARGEST = 1e70
"""No quantity in any unit is as large, nor, but for 0, smaller than its inverse; beyond, fourth powers overflow."""


def whole_numbers(x: FloatArray) -> tuple[list[int], int]:
    """Return whole numbers k and a power p with x = k * 10**p, exactly as written.

    Raises:
        InputError: a reading of more than 1e70 or, but for 0, less than 1e-70 in size.
    """
    parts = []
    for where, value in enumerate(x.tolist()):
        if not (value == 0 or 1 / LARGEST <= abs(value) <= LARGEST):
            size = "large" if abs(value) > 1 else "small"
            raise InputError(f"reading {where} is {value}; no quantity is that {size}, look for a slip in its unit")
        mantissa, _, exponent = repr(value).partition("e")
        whole, _, fraction = mantissa.partition(".")
        parts.append((int(whole + fraction), int(exponent or 0) - len(fraction)))
    power = min(exponent for _, exponent in parts)
    return [digits * 10 ** (exponent - power) for digits, exponent in parts], power


def scaled(numerator: int, denominator: int, power: int) -> float:
    """Return numerator / denominator * 10**power, rounded once."""
    up: int = 10 ** max(power, 0)
    down: int = 10 ** max(-power, 0)
    return numerator * up / (denominator * down)


def mean(x: FloatArray) -> float:
    """Return the mean of `x`, shape (n,), n >= 1."""
    k, power = whole_numbers(x)
    return scaled(sum(k), len(k), power)


def deviations(x: FloatArray) -> FloatArray:
    """Return `x` less its mean, shape (n,): each deviation correct to its last bit, whatever the offset."""
    k, power = whole_numbers(x)
    n, total = len(k), sum(k)
    return frozen(np.array([scaled(n * value - total, n, power) for value in k]))


def standard_deviation(x: FloatArray) -> float:
    """Return the sample standard deviation of `x`, shape (n,), n >= 2: divisor n - 1."""
    k, power = whole_numbers(x)
    n, total = len(k), sum(k)
    squares = n * sum(value * value for value in k) - total * total
    return _root(squares, n * (n - 1), power)


def _root(numerator: int, denominator: int, power: int) -> float:
    """Return sqrt(numerator / denominator) * 10**power to the last bits, without overflow."""
    shift = max(0, 64 - (numerator.bit_length() - denominator.bit_length()) // 2)
    return scaled(math.isqrt((numerator << (2 * shift)) // denominator), 1 << shift, power)
