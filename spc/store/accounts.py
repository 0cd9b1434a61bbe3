"""Accounts in the store: who has one, and the changes of it. Each change is an entry of the trail."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from spc.accounts import ROLES, Right, may
from spc.errors import InputError
from spc.passwords import check_password, hash_password
from spc.store.entries import Account
from spc.store.store import Store

LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class KeptAccount:
    """An account as it stands, and the entry of the trail that says so."""

    account: Account
    sequence: int
    at: datetime
    who: str


def accounts_of(store: Store) -> Mapping[str, KeptAccount]:
    """Return all accounts as they stand, by `key_of` their names, in the order in which they were made."""
    found: dict[str, KeptAccount] = {}
    for entry in store.records(Account):
        found[key_of(entry.record.name)] = KeptAccount(entry.record, entry.sequence, entry.at, entry.who)
    return found


def key_of(name: str) -> str:
    """Return what tells one name from another: case and spaces around do not."""
    return " ".join(name.split()).casefold()


def add_account(store: Store, name: str, role: str, password: str, *, who: str, now: datetime) -> Account:
    """Make an account.

    Raises:
        InputError: the name is taken or no name, the role is none, or the password is too easily tried.
    """
    name = checked_name(name)
    known = accounts_of(store).get(key_of(name))
    if known is not None:
        off = "" if known.account.active else ", which is switched off"
        raise InputError(f"there is an account {known.account.name!r} already{off}; take another name")
    check_password(password, name)
    account = Account(name, checked_role(role), hash_password(password))
    store.append(account, who=who, now=now)
    return account


def set_role(store: Store, name: str, role: str, *, who: str, now: datetime) -> Account:
    """Give an account another role.

    Raises:
        InputError: there is no such account or role, or nobody could manage accounts any more.
    """
    book, account = accounts_of(store), account_named(store, name)
    changed = replace(account, role=checked_role(role))
    _keep_a_manager(book, changed)
    store.append(changed, who=who, now=now)
    return changed


def set_password(store: Store, name: str, password: str, *, who: str, now: datetime) -> Account:
    """Give an account another password.

    Raises:
        InputError: there is no such account, or the password is too easily tried.
    """
    account = account_named(store, name)
    check_password(password, account.name)
    changed = replace(account, password_hash=hash_password(password))
    store.append(changed, who=who, now=now)
    return changed


def set_active(store: Store, name: str, active: bool, *, who: str, now: datetime) -> Account:
    """Switch an account off, or on again.

    Raises:
        InputError: there is no such account, or nobody could manage accounts any more.
    """
    book, account = accounts_of(store), account_named(store, name)
    changed = replace(account, active=active)
    _keep_a_manager(book, changed)
    if changed != account:
        store.append(changed, who=who, now=now)
    return changed


def account_named(store: Store, name: str) -> Account:
    """Return an account as it stands.

    Raises:
        InputError: there is none of that name.
    """
    known = accounts_of(store).get(key_of(name))
    if known is None:
        raise InputError(f"there is no account {name!r}; spc user list names all")
    return known.account


def checked_name(name: str) -> str:
    """Return a name without spaces around it.

    Raises:
        InputError: it is empty, too long, or holds what cannot be read.
    """
    name = " ".join(name.split())
    if not name:
        raise InputError("an account needs a name; give the one that people know the person by")
    if len(name) > LONGEST_NAME:
        raise InputError(f"the name has {len(name)} characters; take {LONGEST_NAME} or fewer")
    if not name.isprintable():
        raise InputError(f"the name {name!a} holds signs that cannot be shown; take a plain one")
    return name


def checked_role(role: str) -> str:
    """Return a role.

    Raises:
        InputError: there is none of that name.
    """
    if role not in ROLES:
        raise InputError(f"{role!r} is no role; name one of {', '.join(ROLES)}")
    return role


def _keep_a_manager(book: Mapping[str, KeptAccount], changed: Account) -> None:
    after = {**{key: kept.account for key, kept in book.items()}, key_of(changed.name): changed}
    if any(each.active and may(each.role, Right.MANAGE) for each in after.values()):
        return
    if not any(kept.account.active and may(kept.account.role, Right.MANAGE) for kept in book.values()):
        return  # nobody could before either
    raise InputError(f"{changed.name} is the last who may manage accounts; give another person that role first")
