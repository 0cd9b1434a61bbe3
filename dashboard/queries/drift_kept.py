"""What every form of the drift room needs to keep what it says."""

from collections.abc import Mapping
from datetime import datetime

from dashboard.queries.drift import Room
from spc.errors import InputError

Fields = Mapping[str, str]
"""What stands in the fields of a form, by name."""


def keep(room: Room, record: object, who: str, now: datetime) -> None:
    """Keep a record in the store."""
    assert room.known.store is not None
    room.known.store.append(record, who=who, now=now)


def words_of(fields: Fields, what: str) -> str:
    """Return the words of a form.

    Raises:
        InputError: there are none.
    """
    if not fields.get("words"):
        raise InputError(f"Write {what} first.")
    return fields["words"]
