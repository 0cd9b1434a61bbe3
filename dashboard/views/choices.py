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


@dataclass(frozen=True, slots=True)
class Setting:
    """A number that a chart is drawn with."""

    name: str  # in the address
    label: str
    value: str
    hint: str


@dataclass(frozen=True, slots=True)
class Settings:
    """The numbers that a chart is drawn with, and what follows from them."""

    fields: tuple[Setting, ...] = ()  # none where the chart has none
    says: str = ""
    usual: str = ""  # address of the chart with the usual ones; "" where it is drawn with them
    refused: str = ""  # why numbers of the address are not used


NO_SETTINGS = Settings()
"""Of a chart that is drawn one way."""
