"""What many pages show: a choice among ways to look, and what a person wrote down."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several ways to look at the same thing."""

    words: str
    href: str
    on: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that a person wrote down."""

    what: str  # "seen", "cause", "action", "closed"; "signed off" ...
    words: str
    who: str
    at: str
