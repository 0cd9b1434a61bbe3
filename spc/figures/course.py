"""The recent course of a stream as a small picture, for a list of many streams."""

from dataclasses import dataclass
from urllib.parse import quote

import numpy as np

from spc.charted import was_running
from spc.results import StreamResult
from spc.wording import reading_text

READINGS = 40
WIDTH, HEIGHT = 160, 44
EDGE = 5  # room for the marks


@dataclass(frozen=True, slots=True)
class Course:
    """Three masks of the same size, as data URLs: to be filled with the colours of the page."""

    course: str  # readings and centre line
    limits: str  # acceptance limits that lie near
    marks: str  # readings outside the acceptance limits
    words: str  # the same for who cannot see it


def course(result: StreamResult) -> Course | None:
    """Return the last 40 readings of a stream as pictures; None with fewer than 2."""
    if len(result.charted.x):
        return _measured(result) if len(result.charted.x) > 1 else None
    return _judged(result)


def _measured(result: StreamResult) -> Course:
    charted = result.charted
    first = max(0, len(charted.x) - READINGS)
    x = charted.x[first:]
    limits = result.segments[-1].limits if result.segments else None
    known = [*x.tolist(), *((limits.lower, limits.upper) if limits else ())]
    low, high = min(known), max(known)
    tall = (high - low) or 1.0
    near = [
        level
        for level in (float(charted.lower[-1]), float(charted.upper[-1]))
        if np.isfinite(level) and low - tall / 2 <= level <= high + tall / 2
    ]
    low, high = min(low, *near, high), max(high, *near, low)
    tall = (high - low) or 1.0

    def down(level: float) -> float:
        return round(EDGE + (HEIGHT - 2 * EDGE) * (1 - (level - low) / tall), 1) if high > low else HEIGHT / 2

    across = np.round(np.linspace(EDGE, WIDTH - EDGE, len(x)), 1).tolist()
    line = " ".join(f"{a:g},{down(v):g}" for a, v in zip(across, x.tolist(), strict=True))
    parts = [f"<polyline points='{line}' fill='none' stroke='#000' stroke-width='1.6' stroke-linejoin='round'/>"]
    parts.append(f"<circle cx='{across[-1]:g}' cy='{down(float(x[-1])):g}' r='3.2'/>")
    if limits is not None:
        y = down(limits.centre_line)
        parts.append(f"<path d='M0 {y:g}H{WIDTH}' stroke='#000' stroke-opacity='.35' stroke-width='1'/>")
    failed = {failure.index for failure in result.failures}
    out = [i for i in range(len(x)) if int(charted.index[first + i]) in failed]
    marks = "".join(f"<path d='M{across[i] - 3.5:g} {down(float(x[i])) - 3.5:g}h7v7h-7z'/>" for i in out)
    heavy = "".join(f"<path d='M0 {down(level):g}H{WIDTH}' stroke='#000' stroke-width='2'/>" for level in near)
    lowest, highest = (reading_text(float(v), result.check) for v in (x.min(), x.max()))
    words = f"last {len(x)} readings, from {lowest} to {highest}"
    return Course(_picture("".join(parts)), _picture(heavy), _picture(marks), words)


def _judged(result: StreamResult) -> Course | None:
    judged = np.flatnonzero(was_running(result.readings) & (result.readings.word != ""))[-READINGS:]
    if len(judged) < 2:
        return None
    failed = {failure.index for failure in result.failures}
    across = np.linspace(EDGE, WIDTH - EDGE, len(judged)).tolist()
    middle = HEIGHT / 2
    strokes, squares = [], []
    for at, place in zip(across, judged.tolist(), strict=True):
        if place in failed:
            squares.append(f"<path d='M{at - 3.5:.1f} {middle - 3.5:g}h7v7h-7z'/>")
        else:
            strokes.append(f"<path d='M{at:.1f} {middle - 6:g}v12' stroke='#000' stroke-width='1.6'/>")
    words = f"last {len(judged)} verdicts, {len(squares) or 'none'} not acceptable"
    return Course(_picture("".join(strokes)), _picture(""), _picture("".join(squares)), words)


def _picture(body: str) -> str:
    box = f"viewBox='0 0 {WIDTH} {HEIGHT}' preserveAspectRatio='xMaxYMid meet'"
    svg = f"<svg xmlns='http://www.w3.org/2000/svg' {box}>{body}</svg>"
    return f'url("data:image/svg+xml,{quote(svg, safe="")}")'
