"""What is asked about accounts: who may sign in, and the changes that an administrator makes."""

from collections.abc import Mapping
from datetime import datetime
from threading import Lock
from time import monotonic

from dashboard.queries.known import Known
from dashboard.views.accounts import AccountRow, AccountsPage
from spc.accounts import ROLES, Right, may
from spc.errors import InputError
from spc.passwords import password_fits
from spc.store.accounts import (
    KeptAccount,
    account_named,
    accounts_of,
    add_account,
    key_of,
    set_active,
    set_password,
    set_role,
)
from spc.store.store import Store
from spc.wording import time_text

ROLE_RIGHTS = {right: words for right, words in zip(Right, (
    "see every page and reading",
    "write down checks, set-up samples and reactions",
    "correct readings, sign baselines off, keep instruments",
    "decide limits, close failures, sign reviews",
    "manage accounts",
), strict=True)}  # fmt: skip
"""Each right in words."""


LATELY = 0.1
"""Seconds for which a screen that only follows may still see the board after its account was switched off."""


class AccountBook:
    """The accounts of a store as they stand, read again whenever its trail has grown. Any thread may ask."""

    def __init__(self, known: Known) -> None:
        self._known, self._lock = known, Lock()
        self._read: tuple[int, Mapping[str, KeptAccount]] = (-1, {})
        self._looks = Lock()
        self._looked: tuple[float, Mapping[str, KeptAccount]] | None = None

    def accounts(self) -> Mapping[str, KeptAccount]:
        """Return all accounts by the key of their names; none where there is no store."""
        store = self._known.store
        if store is None:
            return {}
        sequence = store.sequence()
        with self._lock:
            if self._read[0] != sequence:
                self._read = (sequence, accounts_of(store))
            return self._read[1]

    def lately(self) -> Mapping[str, KeptAccount]:
        """Return the accounts as they stood at most LATELY ago: for what many screens ask several times a second."""
        now, found = monotonic(), self._looked
        if found is not None and now - found[0] < LATELY:
            return found[1]
        if not self._looks.acquire(blocking=found is None) and found is not None:
            return found[1]  # another screen asks this moment
        try:
            self._looked = (now, self.accounts())
        finally:
            self._looks.release()
        return self._looked[1]

    def standing(self, name: str, sequence: int) -> KeptAccount | None:
        """Return an account that is on and as it was at an entry of the trail; None where it changed since."""
        return standing_in(self.accounts(), name, sequence)

    def number_of(self, name: str) -> int | None:
        """Return the entry that says what an account is; None where nobody has the name."""
        kept = self.accounts().get(key_of(name))
        return kept.sequence if kept is not None else None

    def fitting(self, name: str, password: str) -> KeptAccount | None:
        """Return the account whose name and password these are; None after the same time where there is none."""
        kept = self.accounts().get(key_of(name))
        fits = password_fits(kept.account.password_hash if kept else None, password)
        return kept if kept is not None and fits and kept.account.active else None


def standing_in(accounts: Mapping[str, KeptAccount], name: str, sequence: int) -> KeptAccount | None:
    """Return an account that is on and as it was at an entry of the trail; None where it changed since."""
    kept = accounts.get(key_of(name))
    return kept if kept is not None and kept.account.active and kept.sequence == sequence else None


def holders_of(right: Right) -> str:
    """Return which roles have a right, in words."""
    roles = [role for role in ROLES if may(role, right)]
    return roles[0] if len(roles) == 1 else f"{', '.join(roles[:-1])} or {roles[-1]}"


def accounts_page(known: Known) -> AccountsPage:
    """Return all accounts."""
    store, zone = known.store, known.zone
    kept = accounts_of(store).values() if store is not None else ()
    return AccountsPage(
        rows=tuple(
            AccountRow(
                each.account.name,
                each.account.role,
                each.account.active,
                f"{time_text(each.at, zone)}, by {each.who}",
            )
            for each in kept
        ),
        roles=tuple(
            (role, "; ".join(words for right, words in ROLE_RIGHTS.items() if right in rights))
            for role, rights in ROLES.items()
        ),
        store=store.name if store is not None else "",
    )


def screen_words(known: Known, since: datetime, seen: datetime, *, wall: bool, here: bool) -> tuple[str, str, str]:
    """Return a screen that somebody is signed in at, in words: which, since when, touched when."""
    which = "Wall screen" if wall else "This screen" if here else "Another screen"
    return which, time_text(since, known.zone), time_text(seen, known.zone)


def change_account(known: Known, what: str, name: str, words: str, *, who: str, now: datetime) -> str:
    """Make one change; return what was done.

    Args:
        known: what the board knows.
        what: "role", "password", "off" or "on".
        name: of the account.
        words: the role, or the password; "" where neither is needed.
        who: who makes it.
        now: when.

    Raises:
        InputError: it is refused.
    """
    store = _store(known)
    match what:
        case "role":
            return f"{set_role(store, name, words, who=who, now=now).name} is {words} now."
        case "password":
            set_password(store, name, words, who=who, now=now)
            return f"{name} has a new password."
        case "off" | "on":
            set_active(store, name, what == "on", who=who, now=now)
            return f"{name} is switched {what}."
    raise InputError(f"{what!r} is no change of an account")


def new_account(known: Known, name: str, role: str, password: str, *, who: str, now: datetime) -> str:
    """Make an account; return what was done.

    Raises:
        InputError: it is refused.
    """
    account = add_account(_store(known), name, role, password, who=who, now=now)
    return f"{account.name} ({account.role}) may sign in now."


def change_own_password(known: Known, name: str, before: str, after: str, *, now: datetime) -> str:
    """Give whoever asks a new password.

    Raises:
        InputError: the one before does not fit, or the new one is refused.
    """
    store = _store(known)
    if not password_fits(account_named(store, name).password_hash, before):
        raise InputError("the password so far does not fit; nothing was changed")
    set_password(store, name, after, who=name, now=now)
    return "Your password is changed. Sign in with the new one."


def _store(known: Known) -> Store:
    if known.store is None:
        raise InputError("a bare log keeps no accounts; serve a store: spc serve --store FILE --follow LOG")
    return known.store
