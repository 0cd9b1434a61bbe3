"""What a drawn figure is put together from: lines, words, colours and the numbers in them."""

from collections.abc import Mapping, Sequence
from html import escape
from html.parser import HTMLParser
from typing import Any

from spc.report.axes import Scale

DASHES = {"solid": "", "dash": "9,6", "dot": "2,4", "dashdot": "9,4,2,4", "longdash": "14,6"}


def found_in(values: Mapping[str, Any], *path: str) -> Any:
    """Return what stands at the end of a path of names; None where it breaks off."""
    for name in path:
        values = (values or {}).get(name)  # type: ignore[assignment]  # the last one is no mapping
    return values


def most_ticks(axis: Mapping[str, Any], scale: Scale) -> int:
    """Return how many ticks an axis has room for."""
    usual = abs(scale.stop - scale.start) / (60 if scale.kind != "date" else 100)
    return max(2, min(int(axis.get("nticks", 8) or 8), round(usual)))


def one_of(value: Any, i: int) -> Any:
    """Return what holds for point `i`: one of a list, or what holds for all."""
    return value[i] if isinstance(value, (list, tuple)) or hasattr(value, "tolist") else value


def n(number: float) -> str:
    """Return a number with two places at most."""
    return f"{number:.2f}".rstrip("0").rstrip(".")


def inside(a: Any, b: Any, low: float, high: float) -> tuple[float, float] | None:
    """Return both ends drawn into the pane; None where nothing of it is inside."""
    if max(a, b) < low - 0.5 or min(a, b) > high + 0.5:
        return None
    return min(max(a, low), high), min(max(b, low), high)


def _colour(colour: str) -> tuple[str, str]:
    """Return a colour and its opacity: SVG renderers do not all take rgba()."""
    if colour.startswith("rgba("):
        red, green, blue, alpha = (part.strip() for part in colour[5:-1].split(","))
        return f"rgb({red},{green},{blue})", alpha
    return colour, ""


def fill(colour: str) -> str:
    """Return the attributes of a filling."""
    solid, alpha = _colour(colour)
    return f' fill="{solid}"' + (f' fill-opacity="{alpha}"' if alpha else "")


def stroke(colour: str, width: float, dash: str) -> str:
    """Return the attributes of a line."""
    if not width:
        return ' stroke="none"'
    solid, alpha = _colour(colour)
    pattern = DASHES.get(dash, dash.replace("px", ""))
    return (
        f' stroke="{solid}" stroke-width="{n(float(width))}"'
        + (f' stroke-opacity="{alpha}"' if alpha else "")
        + (f' stroke-dasharray="{pattern}"' if pattern else "")
    )


def straight(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    """Return a straight line."""
    ends = f'x1="{n(x1)}" y1="{n(y1)}" x2="{n(x2)}" y2="{n(y2)}"'
    return f"<line {ends}{stroke(colour, width, 'solid')}/>"


def words_at(lines: Sequence[str], x: float, y: float, size: float, colour: str, anchor: str) -> str:
    """Return lines of words, the first on the base line `y`."""
    return "".join(
        f'<text x="{n(x)}" y="{n(y + i * 1.15 * size)}" font-size="{n(size)}" fill="{colour}" '
        f'text-anchor="{anchor}">{escape(plain_words(line))}</text>'
        for i, line in enumerate(lines)
        if line
    )


def wrapped(words: str, letters: int) -> list[str]:
    """Return words on lines of so many letters at most."""
    from textwrap import wrap

    return wrap(plain_words(words), letters) or [""]


class _Plain(HTMLParser):
    """Words without their marks; a break is a line feed."""

    def __init__(self) -> None:
        super().__init__()
        self.words = ""

    def handle_data(self, data: str) -> None:
        self.words += data

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.words += "\n" if tag == "br" else ""


def plain_words(text: str) -> str:
    """Return words without their marks; a break is a line feed."""
    reader = _Plain()
    reader.feed(text)
    reader.close()
    return reader.words
