"""Run length where the last value matters: moving-range limit, trends, alternation, readings that depend on the last.

What the rules remember is then a state and a value, and the average run length solves a set of integral equations, one
a state, in the value of the last reading. Each is solved on panels of Gauss-Legendre nodes: between nodes the solution
is the polynomial through them, and its product with the density of the next reading is integrated exactly where that
reading rises, falls, or keeps within the moving-range limit (product integration).

Sources: Crowder, S. V. (1987), Computation of ARL for combined individual measurement and moving range charts, Journal
of Quality Technology 19, 98-102 (the equation for two limits); Atkinson, K. E. (1997), The Numerical Solution of
Integral Equations of the Second Kind, section 4.2 (product integration).
"""

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from spc.arl.histories import FALLING, RISING, Machine, TooManyStates
from spc.arl.readings import NormalReadings
from spc.arl.run_length import Chain, steady_weights
from spc.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

NODES_A_PANEL = 6
REACH = 8.5
"""Sigmas from the level beyond which no reading is expected: a chance of 2e-17."""

MOST_ENTRIES = 10_000_000
"""Of the matrix: more take too long and too much memory."""


class Panel(NamedTuple):
    """A stretch of values within one cell, and its nodes."""

    low: float
    high: float
    cell: int
    first: int  # place of its first node among all


class Grid(NamedTuple):
    """All panels of the cells that a last reading can lie in without a signal."""

    panels: tuple[Panel, ...]
    nodes: FloatArray  # (n,) in sigmas, ascending
    bounds: IntArray  # (cells + 1,): the nodes of cell c are bounds[c] up to bounds[c + 1]


def zero_state_chain(machine: Machine, readings: NormalReadings, moving_range_limit: float) -> Chain:
    """Return the chain from the first reading on, nothing being remembered before it."""
    equation = _Equation(machine, _grid(machine, readings, moving_range_limit), moving_range_limit)
    return Chain(equation.step(readings, readings.shift), equation.first(readings), (1.0,), _memory(machine, readings))


def steady_state_chain(machine: Machine, readings: NormalReadings, moving_range_limit: float) -> Chain:
    """Return the chain from a long stretch in control without a signal, after which the level shifts."""
    equation = _Equation(machine, _grid(machine, readings, moving_range_limit), moving_range_limit)
    in_control = steady_weights(equation.step(readings.in_control, 0.0))
    step = equation.step(readings, readings.shift)
    over_the_shift = equation.step(readings, 0.0) if readings.lag_correlation else step
    weights = np.asarray(over_the_shift.T @ in_control, dtype=np.float64)
    return Chain(step, weights, (1.0,), _memory(machine, readings))


def _memory(machine: Machine, readings: NormalReadings) -> int:
    return machine.memory + round(3 / (1 - abs(readings.lag_correlation)))


def _grid(machine: Machine, readings: NormalReadings, moving_range_limit: float) -> Grid:
    """Lay panels over the cells; no panel is crossed by a line of the chart, nor by one the moving range away."""
    low = min(0.0, readings.shift) - REACH * readings.spread
    high = max(0.0, readings.shift) + REACH * readings.spread
    panels: list[Panel] = []
    bounds = [0]
    for cell, (start, stop) in enumerate(pairwise(machine.borders)):
        if (machine.cell == cell).any():
            edges = _edges(max(start, low), min(stop, high), machine.borders, readings, moving_range_limit)
            for a, b in pairwise(edges):
                panels.append(Panel(a, b, cell, len(panels) * NODES_A_PANEL))
        bounds.append(len(panels) * NODES_A_PANEL)
    points, _ = np.polynomial.legendre.leggauss(NODES_A_PANEL)
    nodes = [(p.low + p.high) / 2 + (p.high - p.low) / 2 * points for p in panels]
    return Grid(tuple(panels), np.concatenate([np.empty(0), *nodes]), np.array(bounds))


def _edges(
    low: float, high: float, lines: tuple[float, ...], readings: NormalReadings, moving_range_limit: float
) -> list[float]:
    """Return the edges of the panels from `low` to `high`, close where readings are expected."""
    if low >= high:
        return []
    kinks = {line + side * moving_range_limit for line in lines if np.isfinite(line) for side in (-1, 1)}
    kinks |= {level + side * REACH * readings.spread for level in (0.0, readings.shift) for side in (-1, 1)}
    corners = [low, *sorted(kink for kink in kinks if low < kink < high), high]
    edges = [low]
    for a, b in pairwise(corners):
        near = any(abs((a + b) / 2 - level) < REACH * readings.spread for level in (0.0, readings.shift))
        pieces = max(1, int(np.ceil((b - a) / readings.step_sigma - 1e-9))) if near else 1
        edges += [a + (b - a) * piece / pieces for piece in range(1, pieces + 1)]
    return edges


class _Equation:
    """The integral equations of one machine on one grid."""

    def __init__(self, machine: Machine, grid: Grid, moving_range_limit: float) -> None:
        self.machine, self.grid, self.moving_range_limit = machine, grid, moving_range_limit
        sizes = np.diff(grid.bounds)[machine.cell]
        if int((sizes[machine.source] * sizes[machine.target]).sum()) > MOST_ENTRIES:
            raise TooManyStates
        self.offsets = np.concatenate(([0], np.cumsum(sizes)))  # of the unknowns of each state

    def first(self, readings: NormalReadings) -> FloatArray:
        """Return the weights after the first reading, shape (unknowns,)."""
        everywhere = np.array([-np.inf]), np.array([np.inf])
        over_nodes = _weights(self.grid, np.array([readings.shift]), readings.spread, *everywhere)[0]
        weights = np.zeros(self.offsets[-1])
        for cell, state in enumerate(self.machine.first):
            if state >= 0:
                place = slice(self.offsets[state], self.offsets[state + 1])
                weights[place] += over_nodes[self.grid.bounds[cell] : self.grid.bounds[cell + 1]]
        return weights

    def step(self, readings: NormalReadings, level_before: float) -> "csr_array[np.float64, tuple[int, int]]":
        """Return the matrix of one more reading, `level_before` being the level of the readings before it."""
        from scipy.sparse import coo_array

        blocks = list(self._blocks(readings, level_before))
        rows, columns = (np.concatenate([np.empty(0, np.int64), *(block[i] for block in blocks)]) for i in (0, 1))
        values = np.concatenate([np.empty(0), *(block[2] for block in blocks)])
        n = int(self.offsets[-1])
        kept = values != 0
        return coo_array((values[kept], (rows[kept], columns[kept])), shape=(n, n)).tocsr()

    def _blocks(self, readings: NormalReadings, level_before: float) -> Iterator[tuple[IntArray, IntArray, FloatArray]]:
        """Yield rows, columns and values of the moves that share direction and both cells."""
        machine, bounds = self.machine, self.grid.bounds
        kind = np.column_stack((machine.reading_moved, machine.cell[machine.source], machine.reading_cell))
        kinds, which = np.unique(kind, axis=0, return_inverse=True)
        weights = {moved: self._over_nodes(readings, level_before, moved) for moved in np.unique(kinds[:, 0]).tolist()}
        for number, (moved, before, after) in enumerate(kinds.tolist()):
            block = weights[moved][bounds[before] : bounds[before + 1], bounds[after] : bounds[after + 1]]
            moves = np.flatnonzero(which == number)
            rows = self.offsets[machine.source[moves]][:, None, None] + np.arange(block.shape[0])[:, None]
            columns = self.offsets[machine.target[moves]][:, None, None] + np.arange(block.shape[1])
            shape = (len(moves), *block.shape)
            yield (
                np.broadcast_to(rows, shape).ravel(),
                np.broadcast_to(columns, shape).ravel(),
                np.broadcast_to(block, shape).ravel(),
            )

    def _over_nodes(self, readings: NormalReadings, level_before: float, moved: int) -> FloatArray:
        """Return the weights of the next reading's nodes for each node of the last one, shape (nodes, nodes)."""
        x = self.grid.nodes
        low = x if moved == RISING else x - self.moving_range_limit
        high = x if moved == FALLING else x + self.moving_range_limit
        level = readings.shift + readings.lag_correlation * (x - level_before)
        return _weights(self.grid, level, readings.step_sigma, low, high)


def _weights(grid: Grid, level: FloatArray, sigma: float, low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the weights w such that sum(w f) integrates f over a normal reading from `low` to `high`.

    Args:
        grid: where f is known: at its nodes, and between them as the polynomial through those of a panel.
        level: mean of the reading, shape (k,).
        sigma: its standard deviation.
        low: shape (k,).
        high: shape (k,).

    Returns:
        shape (k, nodes).
    """
    points, point_weights = np.polynomial.legendre.leggauss(2 * NODES_A_PANEL)
    weights = np.empty((len(level), len(grid.nodes)))
    for panel in grid.panels:
        a = np.clip(low, panel.low, panel.high)[:, None]
        b = np.clip(high, panel.low, panel.high)[:, None]
        y = (a + b) / 2 + (b - a) / 2 * points
        density = np.exp(-0.5 * ((y - level[:, None]) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
        mass = density * point_weights * (b - a) / 2
        inside = (2 * y - panel.low - panel.high) / (panel.high - panel.low)
        weights[:, panel.first : panel.first + NODES_A_PANEL] = np.einsum("kq,kqn->kn", mass, _through_nodes(inside))
    return weights


def _through_nodes(at: FloatArray) -> FloatArray:
    """Return, at points from -1 to 1, the polynomials that are 1 at one Gauss-Legendre node and 0 at the others.

    Shape (..., NODES_A_PANEL). By discrete orthogonality of the Legendre polynomials at those nodes.
    """
    nodes, node_weights = np.polynomial.legendre.leggauss(NODES_A_PANEL)
    degree = np.arange(NODES_A_PANEL)
    to_nodes = (degree + 0.5)[:, None] * np.polynomial.legendre.legvander(nodes, NODES_A_PANEL - 1).T * node_weights
    return np.polynomial.legendre.legvander(at, NODES_A_PANEL - 1) @ to_nodes
