"""What a result says of itself: `print` and a notebook tell it in a short table instead of every field.

A result stands below what words it, so it asks for the words by a function that `spc` gives when it is imported.
"""

from collections.abc import Callable
from typing import Protocol


class Teller(Protocol):
    """Words results."""

    def words(self, result: object) -> str:
        """Return a result as lines of text."""
        ...

    def page(self, result: object) -> str:
        """Return a result as HTML, to stand in a page."""
        ...


_found: list[Callable[[], Teller]] = []


def tell_by(find: Callable[[], Teller]) -> None:
    """Have every result tell itself by the teller that `find` returns, which is asked for when it is first needed."""
    _found[:] = [find]


class Told:
    """A result that is told in words; `repr` still gives every field."""

    __slots__ = ()

    def __str__(self) -> str:
        return _found[0]().words(self) if _found else repr(self)

    def _repr_html_(self) -> str:
        return _found[0]().page(self)

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        """Return the words for a shell: it would show the `repr` of a dataclass before what its base says."""
        return {"text/plain": str(self)}
