"""The trail: entries that are only ever added, each hashed together with the digest of the one before it."""

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from sqlalchemy import Connection, Engine, insert, select, update

from spc.errors import StoreError
from spc.store.engine import writing
from spc.store.tables import head, trail
from spc.times import to_microseconds

FIRST = bytes(32)
"""The digest before the first entry."""

_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def canonical(value: object) -> str:
    """Return `value` as JSON in ASCII: keys sorted, no spaces, floats in their shortest exact form."""
    return _ENCODER.encode(value)


def entry_digest(previous: bytes, sequence: int, at: int, who: str, kind: str, subject: str, body: str) -> bytes:
    """Return the digest of an entry after the one with digest `previous`."""
    text = canonical([sequence, at, who, kind, subject, body])
    return hashlib.sha256(previous + text.encode("ascii")).digest()


class Trail:
    """The end of the trail, held by one writer until its transaction ends."""

    def __init__(self, connection: Connection) -> None:
        """Take the head; writers of other processes wait."""
        row = connection.execute(select(head).with_for_update()).one()
        self.connection = connection
        self.sequence: int = row.sequence
        self.digest: bytes = bytes(row.digest)
        self.reading: int = row.reading

    def append(self, kind: str, subject: str, body: object, *, who: str, at: datetime) -> int:
        """Add an entry; return its sequence number."""
        sequence, moment, text = self.sequence + 1, to_microseconds(at), canonical(body)
        who, subject = printable(who, "who makes the change"), printable(subject, "subject")
        digest = entry_digest(self.digest, sequence, moment, who, kind, subject, text)
        values = {"sequence": sequence, "at": moment, "who": who, "kind": kind, "subject": subject, "body": text}
        self.connection.execute(insert(trail).values(**values, digest=digest))
        self.sequence, self.digest = sequence, digest
        return sequence

    def settle(self) -> None:
        """Move the head to the last entry."""
        values = {"sequence": self.sequence, "digest": self.digest, "reading": self.reading}
        self.connection.execute(update(head).where(head.c.id == 1).values(**values))


@contextmanager
def appending(engine: Engine) -> Iterator[Trail]:
    """Give the end of the trail; what is added is kept together with all other changes, or not at all."""
    with writing(engine) as connection:
        end = Trail(connection)
        before = end.sequence
        yield end
        if end.sequence != before:
            end.settle()


def printable(text: str, what: str) -> str:
    """Return `text`; refuse what a database cannot keep.

    Raises:
        StoreError: it holds a NUL character or half of a surrogate pair.
    """
    if "\0" in text or not _encodes(text):
        raise StoreError(f"{what}: {text!a} holds a character that cannot be kept; write it without")
    return text


def _encodes(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
