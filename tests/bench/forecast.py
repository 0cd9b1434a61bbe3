"""How well forecasts are calibrated, on simulated lines with known truth: what would happen if nothing were done.

Quiet readings are sampled one in 40, those under a drift or a step one in 6, and weighed accordingly. Printed for each
method: Brier and log score of the risk that the next reading, or one of the next five, is written outside (smaller is
better), how often the interval from p10 to p90 holds the readings really left, where a p90 is given, and for the model
the reliability curve: risk foretold against share that failed, with the error of drawing whole lines.
"""

import argparse
import itertools
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray
from spc.drift import start, update
from spc.early_warning import stream_model
from spc.forecast import AheadForecast, model_forecast, straight_line_forecast
from tests.bench.early_warning import HALVES
from tests.bench.lines.model import CHECKS, drift_readings
from tests.bench.lines.simulate import simulate_line
from tests.bench.lines.truth import AHEAD, SimulatedStream, State

EVERY_QUIET, EVERY_OTHER = 40, 6
LAST_READINGS = 20
LEAST_RISK = 1e-4  # no method is charged more than this for what it held impossible
EDGES = (0.0, 0.005, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)
METHODS = ("last value", "straight line", "model of the stream")


@dataclass(frozen=True, slots=True)
class Foretold:
    """Forecasts of one method at sampled readings, with what came; every array has shape (n,)."""

    weight: FloatArray
    risk: FloatArray  # shape (n, 2): of the next reading, of the next five
    quantiles: FloatArray  # shape (n, 3): p10, p50, p90; inf where beyond the horizon
    fails_in: FloatArray
    between: FloatArray  # where between two readings the limit is taken to be passed: uniform, drawn once


def last_value_forecast(x: FloatArray, lower: float, upper: float) -> AheadForecast:
    """Return the forecast that every reading is the one before it, give or take the usual difference of two."""
    sd = max(float(np.sqrt(np.mean(np.diff(x) ** 2))), 1e-9)
    inside = 1.0
    failed = []
    for ahead in range(1, AHEAD + 1):
        spread = sd * math.sqrt(ahead)
        low = 0.0 if math.isnan(lower) else _normal((lower - x[-1]) / spread)
        high = 1.0 if math.isnan(upper) else _normal((upper - x[-1]) / spread)
        inside = min(inside, 1.0) * (1.0 - (1.0 - (high - low)) / ahead)
        failed.append(1.0 - inside)
    first = [next((k + 1.0 for k, f in enumerate(failed) if f >= share), None) for share in (0.1, 0.5, 0.9)]
    return AheadForecast("last value", failed[0], failed[4], *first)


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def foretold(streams: Sequence[SimulatedStream]) -> dict[str, Foretold]:
    """Return what every method foretells of the streams of a line at the sampled readings."""
    rows: dict[str, list[tuple[float, ...]]] = {name: [] for name in METHODS}
    for number, stream in enumerate(streams):
        if not (math.isnan(stream.lower) and math.isnan(stream.upper)):
            _follow(stream, number, rows)
    return {name: _columns(np.array(found)) for name, found in rows.items()}


def _follow(stream: SimulatedStream, number: int, rows: dict[str, list[tuple[float, ...]]]) -> None:
    state = start(stream_model(CHECKS[stream.check]))
    first = 0
    for t, reading in enumerate(drift_readings(stream)):
        state, _ = update(state, reading)
        first = t if reading.restart else first
        every = EVERY_QUIET if stream.state[t] in (State.QUIET, State.SLIP) else EVERY_OTHER
        if (t + number) % every or t - first < 5:
            continue
        x = stream.value[max(first, t + 1 - LAST_READINGS) : t + 1]
        forecasts = (
            last_value_forecast(x, stream.lower, stream.upper),
            straight_line_forecast(x, lower=stream.lower, upper=stream.upper),
            model_forecast(state),
        )
        for name, forecast in zip(METHODS, forecasts, strict=True):
            rows[name].append((every, *_numbers(forecast), float(stream.fails_in[t])))


def _numbers(forecast: AheadForecast) -> tuple[float, ...]:
    risks = (forecast.risk_next, forecast.risk_next_5)
    quantiles = (forecast.readings_p10, forecast.readings_p50, forecast.readings_p90)
    return (*(0.0 if r is None else r for r in risks), *(math.inf if q is None else q for q in quantiles))


def _columns(table: FloatArray) -> Foretold:
    between = np.random.default_rng(20250304).random(len(table))
    return Foretold(table[:, 0], table[:, 1:3], table[:, 3:6], table[:, 6], between)


def figures(found: Foretold) -> FloatArray:
    """Return Brier score x 1000 and log score x 1000 of both risks, and the coverage in %, shape (5,)."""
    result: list[float] = []
    for column, within in ((0, 1), (1, 5)):
        came = (found.fails_in <= within).astype(np.float64)
        risk = np.clip(found.risk[:, column], LEAST_RISK, 1.0 - LEAST_RISK)
        result.append(1000.0 * float(np.average((risk - came) ** 2, weights=found.weight)))
        logs = -(came * np.log(risk) + (1.0 - came) * np.log1p(-risk))
        result.append(1000.0 * float(np.average(logs, weights=found.weight)))
    given = np.isfinite(found.quantiles[:, 2])
    p10, p90 = found.quantiles[given, 0], found.quantiles[given, 2]
    passed = found.fails_in[given] - found.between[given]
    held = (p10 <= passed) & (passed <= p90)
    result.append(100.0 * float(np.average(held, weights=found.weight[given])) if given.any() else math.nan)
    return np.array(result)


def reliability(found: Foretold) -> FloatArray:
    """Return for each bin of EDGES: risk of the next five foretold, share that failed, weight; shape (bins, 3)."""
    came = found.fails_in <= 5
    rows = []
    for low, high in itertools.pairwise(EDGES):
        inside = (found.risk[:, 1] >= low) & (found.risk[:, 1] < high + (high == 1.0))
        weight = found.weight[inside]
        if weight.sum() == 0:
            rows.append((math.nan, math.nan, 0.0))
            continue
        rows.append(
            (
                float(np.average(found.risk[inside, 1], weights=weight)),
                float(np.average(came[inside], weights=weight)),
                float(weight.sum()),
            )
        )
    return np.array(rows)


def together(lines: Sequence[Foretold]) -> Foretold:
    """Return the forecasts of several lines as one."""
    return Foretold(
        np.concatenate([line.weight for line in lines]),
        np.concatenate([line.risk for line in lines]),
        np.concatenate([line.quantiles for line in lines]),
        np.concatenate([line.fails_in for line in lines]),
        np.concatenate([line.between for line in lines]),
    )


def main(words: Sequence[str] | None = None) -> None:
    """Print scores, coverage and the reliability curve."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench forecast", description=__doc__)
    parser.add_argument("--half", choices=sorted(HALVES), default="report")
    parser.add_argument("--lines", type=int, default=6, help="tidy and rough lines each")
    given = parser.parse_args(words)
    seeds = HALVES[given.half][: given.lines]
    sys.stdout.write(f"{given.half} half, seeds {seeds[0]} to {seeds[-1]}: {len(seeds)} tidy and rough lines each\n")
    for rough in (False, True):
        lines = [foretold(simulate_line(seed, rough=rough)) for seed in seeds]
        print_kind({name: [line[name] for line in lines] for name in METHODS}, "rough" if rough else "tidy")


def print_kind(found: dict[str, list[Foretold]], kind: str) -> None:
    """Print the figures of tidy or rough lines."""
    rng = np.random.default_rng(20250304)
    heads = ("Brier 1 /1000", "log 1 /1000", "Brier 5 /1000", "log 5 /1000", "coverage %")
    sys.stdout.write(f"{kind + ' lines':<20} " + " ".join(f"{head:>15}" for head in heads) + "\n")
    for name, lines in found.items():
        values, errors = figures(together(lines)), _error(lines, rng, figures)
        cells = " ".join(f"{value:8.2f} ±{error:5.2f}" for value, error in zip(values, errors, strict=True))
        sys.stdout.write(f"{name:<20} {cells}\n")
    model = found[METHODS[-1]]
    curve, errors = reliability(together(model)), _error(model, rng, reliability)
    sys.stdout.write("risk of the next five: foretold %, failed %, share of readings %\n")
    for (risk, failed, weight), (_, error, _) in zip(curve, errors, strict=True):
        sys.stdout.write(
            f"  {100 * risk:6.2f}  {100 * failed:6.2f} ±{100 * error:5.2f}  {100 * weight / curve[:, 2].sum():6.2f}\n"
        )
    sys.stdout.flush()


def _error(lines: Sequence[Foretold], rng: np.random.Generator, figure: Callable[[Foretold], FloatArray]) -> FloatArray:
    """Return the standard error of each figure by drawing whole lines with replacement."""
    picks = rng.integers(0, len(lines), (200, len(lines)))
    drawn = np.array([figure(together([lines[i] for i in pick])) for pick in picks])
    return np.asarray(np.nanstd(drawn, axis=0), dtype=np.float64)


if __name__ == "__main__":
    main()
