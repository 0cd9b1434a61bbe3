"""Who asks, and what they may do. Every callback and route that changes something calls `need`, on the server."""

from dataclasses import dataclass

from flask import g, has_request_context

from dashboard.queries import Right, may


class NoRight(Exception):
    """Whoever asks may not do this."""


@dataclass(frozen=True, slots=True)
class Person:
    """Who asks. Without accounts, on this machine alone, nobody is named and everything is allowed."""

    name: str = ""  # "": not known; a form that writes asks for a name then
    role: str = "administrator"

    def may(self, right: Right) -> bool:
        """Return whether this person may do something."""
        return may(self.role, right)


def person() -> Person:
    """Return who asks."""
    known = g.get("person") if has_request_context() else None
    return known if isinstance(known, Person) else Person()


def need(right: Right) -> Person:
    """Return who asks.

    Raises:
        NoRight: they may not do this.
    """
    who = person()
    if not who.may(right):
        raise NoRight(f"{who.name or 'whoever asks'} ({who.role}) may not {right.value}")
    return who
