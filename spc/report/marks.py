"""The marks of a figure as SVG, by the names that plotly gives them."""

import math

from spc.errors import InputError

_SQUARE = [(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)]
_STAR = [
    (reach * math.sin(i * math.pi / 5), -reach * math.cos(i * math.pi / 5))
    for i in range(10)
    for reach in [0.55 if i % 2 else 1.3]
]
_CROSS = [
    (0, -0.35), (0.5, -0.9), (0.9, -0.5), (0.35, 0), (0.9, 0.5), (0.5, 0.9),
    (0, 0.35), (-0.5, 0.9), (-0.9, 0.5), (-0.35, 0), (-0.9, -0.5), (-0.5, -0.9),
]  # fmt: skip
SHAPES: dict[str, list[tuple[float, float]]] = {
    "square": _SQUARE,
    "diamond": [(0, -1.25), (1.25, 0), (0, 1.25), (-1.25, 0)],
    "triangle-up": [(0, -1.15), (1.1, 0.85), (-1.1, 0.85)],
    "triangle-down": [(0, 1.15), (1.1, -0.85), (-1.1, -0.85)],
    "triangle-left": [(-1.15, 0), (0.85, -1.1), (0.85, 1.1)],
    "triangle-right": [(1.15, 0), (-0.85, -1.1), (-0.85, 1.1)],
    "arrow-right": [(1.1, 0), (-0.8, -0.8), (-0.8, 0.8)],
    "arrow-left": [(-1.1, 0), (0.8, -0.8), (0.8, 0.8)],
    "arrow-up": [(0, -1.1), (0.8, 0.8), (-0.8, 0.8)],
    "arrow-down": [(0, 1.1), (0.8, -0.8), (-0.8, -0.8)],
    "x": _CROSS,
    "star": _STAR,
}
"""Corners in half sizes from the middle, y downwards."""

STROKES: dict[str, list[tuple[float, float, float, float]]] = {
    "line-ns": [(0, -1.4, 0, 1.4)],
    "line-ew": [(-1.4, 0, 1.4, 0)],
}


def mark(symbol: str, x: float, y: float, size: float, colour: str, edge: str, edge_width: float) -> str:
    """Return one mark.

    Args:
        symbol: plotly's name; ending in "-open" it is not filled.
        x: of its middle, in pixels.
        y: likewise.
        size: across, in pixels.
        colour: of the filling, or of the edge of an open one.
        edge: of the edge of a filled one.
        edge_width: in pixels; 0 for none.

    Raises:
        InputError: no such mark is drawn.
    """
    open_ = symbol.endswith("-open")
    name = symbol.removesuffix("-open")
    half = size / 2
    width = edge_width or (1.5 if open_ else 0.0)
    filled = f'fill="{colour}" stroke="{edge}" stroke-width="{width:.2f}"'
    look = f'fill="none" stroke="{colour}" stroke-width="{width:.2f}"' if open_ else filled
    if name == "circle":
        return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{half:.2f}" {look}/>'
    if name in STROKES:
        pen = f'stroke="{colour if open_ or edge == "none" else edge}" stroke-width="{max(width, 1.0):.2f}"'
        return "".join(
            f'<line x1="{x + a * half:.2f}" y1="{y + b * half:.2f}" x2="{x + c * half:.2f}" y2="{y + d * half:.2f}" '
            f"{pen}/>"
            for a, b, c, d in STROKES[name]
        )
    crossed = name == "square-x"
    corners = SHAPES.get("square" if crossed else name)
    if corners is None:
        raise InputError(f"the mark {symbol!r} is not drawn on paper")
    points = " ".join(f"{x + a * half:.2f},{y + b * half:.2f}" for a, b in corners)
    drawn = f'<polygon points="{points}" {look}/>'
    if crossed:
        pen = colour if open_ else edge if edge != "none" else "#fff"
        arm = 0.85 * half
        drawn += "".join(
            f'<line x1="{x - arm:.2f}" y1="{y - way * arm:.2f}" x2="{x + arm:.2f}" y2="{y + way * arm:.2f}" '
            f'stroke="{pen}" stroke-width="{max(width, 1.0):.2f}"/>'
            for way in (1, -1)
        )
    return drawn
