"""Who is signed in: a random token in the browser's cookie, and here what it stands for, by the token's digest alone.

The token says nothing and cannot be guessed (256 bits), so there is nothing to sign; signing out ends it everywhere.
With a file, sessions outlive a restart of the board; the file holds no token, and only its owner may read it.
"""

import hashlib
import json
import logging
import os
import secrets
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from threading import Lock

SAVED_EVERY = timedelta(minutes=1)
"""How often the file learns that somebody is still there."""

MOST_KEPT = 5_000

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Lasting:
    """How long a session lasts."""

    idle: timedelta = timedelta(minutes=15)  # nobody touched the screen
    whole: timedelta = timedelta(hours=12)  # since the password was given
    wall: timedelta = timedelta(days=30)  # of a wall screen, which nobody touches and which may see alone


@dataclass(frozen=True, slots=True)
class Session:
    """One person at one browser."""

    name: str
    account: int  # the entry of the trail that said what the account is when the password was given
    since: datetime
    seen: datetime  # when somebody last touched the screen
    wall: bool = False

    def ends(self, lasting: Lasting) -> datetime:
        """Return when it ends if nobody touches the screen any more."""
        return self.since + lasting.wall if self.wall else min(self.since + lasting.whole, self.seen + lasting.idle)


class Sessions:
    """All sessions of a board. Any thread may ask."""

    def __init__(
        self,
        file: Path | None = None,
        *,
        lasting: Lasting | None = None,
        token: Callable[[], str] = lambda: secrets.token_urlsafe(32),
    ) -> None:
        self.lasting = lasting or Lasting()
        self._file, self._token, self._lock = file, token, Lock()
        self._kept = _read(file) if file is not None else {}
        self._saved: datetime | None = None

    def start(self, name: str, account: int, now: datetime, *, wall: bool = False, instead_of: str = "") -> str:
        """Return the token of a new session; the one that `instead_of` stood for ends."""
        token = self._token()
        with self._lock:
            self._kept.pop(_digest(instead_of), None)
            self._kept[_digest(token)] = Session(name, account, now, now, wall)
            self._tidy(now)
            self._save(now)
        return token

    def find(self, token: str, now: datetime) -> Session | None:
        """Return what a token stands for; None where it stands for nothing any more."""
        with self._lock:
            found = self._kept.get(_digest(token))
            if found is not None and now < found.ends(self.lasting):
                return found
        return None

    def touched(self, token: str, now: datetime) -> None:
        """Note that somebody touched the screen; one that has ended stays so."""
        with self._lock:
            found = self._kept.get(_digest(token))
            if found is None or now >= found.ends(self.lasting) or now <= found.seen:
                return
            self._kept[_digest(token)] = replace(found, seen=now)
            if self._saved is None or now - self._saved >= SAVED_EVERY:
                self._save(now)

    def end(self, token: str, now: datetime) -> None:
        """End a session."""
        with self._lock:
            if self._kept.pop(_digest(token), None) is not None:
                self._save(now)

    def of(self, name: str, now: datetime) -> tuple[Session, ...]:
        """Return the sessions of a person that last, oldest first."""
        with self._lock:
            found = [each for each in self._kept.values() if each.name == name and now < each.ends(self.lasting)]
        return tuple(sorted(found, key=lambda each: each.since))

    def end_others(self, name: str, token: str, now: datetime) -> int:
        """End all sessions of a person but the one that `token` stands for; return how many lasted."""
        with self._lock:
            ended = {key for key, each in self._kept.items() if each.name == name and key != _digest(token)}
            lasted = sum(now < self._kept[key].ends(self.lasting) for key in ended)
            if ended:
                self._kept = {key: each for key, each in self._kept.items() if key not in ended}
                self._save(now)
        return lasted

    def _tidy(self, now: datetime) -> None:
        self._kept = {key: each for key, each in self._kept.items() if now < each.ends(self.lasting)}
        for key in list(self._kept)[: max(0, len(self._kept) - MOST_KEPT)]:
            del self._kept[key]

    def _save(self, now: datetime) -> None:
        """Write the file anew, whole; a disk that refuses costs the sessions at the next start, and nothing else."""
        if self._file is None:
            return
        self._saved = now
        bodies = {key: _body(each) for key, each in self._kept.items()}
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._file.parent, prefix=self._file.name)  # for its owner alone
            try:
                with os.fdopen(handle, "w", encoding="utf-8") as file:
                    json.dump(bodies, file)
                os.replace(name, self._file)
            except BaseException:
                os.unlink(name)
                raise
        except OSError as error:
            log.warning("%s: sessions cannot be kept (%s); people sign in again after a restart", self._file, error)


def sessions_file(folder: Path, store: str) -> Path:
    """Return where the sessions of the board on a store are kept."""
    return folder / f"sessions-{hashlib.sha256(store.encode()).hexdigest()[:16]}.json"


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()


def _body(session: Session) -> dict[str, object]:
    return asdict(session) | {"since": session.since.isoformat(), "seen": session.seen.isoformat()}


def _read(file: Path) -> dict[str, Session]:
    """Return what a file holds; nothing where it is not there or not as it should be."""
    try:
        bodies = json.loads(file.read_text(encoding="utf-8"))
        return {
            str(key): Session(
                str(each["name"]),
                int(each["account"]),
                _moment(each["since"]),
                _moment(each["seen"]),
                bool(each["wall"]),
            )
            for key, each in bodies.items()
        }
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError) as error:
        log.warning("%s: no sessions can be read from it (%s); people sign in again", file, error)
        return {}


def _moment(text: str) -> datetime:
    """Return a moment that a file holds.

    Raises:
        ValueError: it is none, says no offset, or lies too far from our days to be counted on from.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None or not 2000 <= moment.year < 9000:
        raise ValueError(f"no moment of a session: {text[:40]!r}")
    return moment
