"""Accounts in the store: as they stand, their changes, what is refused."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from spc.errors import InputError
from spc.passwords import password_fits
from spc.store.accounts import accounts_of, add_account, key_of, set_active, set_password, set_role
from spc.store.entries import Account
from spc.store.store import Store

NOW = datetime(2026, 4, 10, 14, 0, tzinfo=UTC)
GOOD = "four plain words here"


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "spc.db") as kept:
        add_account(kept, "Anna Berg", "administrator", GOOD, who="setup", now=NOW)
        yield kept


def test_every_change_is_an_entry_and_the_last_one_stands(store):
    add_account(store, "Karl", "lead", GOOD, who="Anna Berg", now=NOW)
    set_role(store, "karl", "engineer", who="Anna Berg", now=NOW)
    set_active(store, "KARL", False, who="Anna Berg", now=NOW)
    book = accounts_of(store)

    assert [each.account.name for each in book.values()] == ["Anna Berg", "Karl"]
    assert (book["karl"].account.role, book["karl"].account.active) == ("engineer", False)
    assert len(store.records(Account, "Karl")) == 3
    assert store.verify().misfit is None


def test_the_trail_holds_the_hash_and_never_the_password(store):
    bodies = [entry.record for entry in store.since(0)]

    assert any("argon2id" in body for body in bodies)
    assert not any(GOOD in body for body in bodies)


def test_a_new_password_replaces_the_one_before(store):
    set_password(store, "Anna Berg", "five other words by far", who="Anna Berg", now=NOW)
    kept = accounts_of(store)[key_of("Anna Berg")].account.password_hash

    assert password_fits(kept, "five other words by far")
    assert not password_fits(kept, GOOD)


@pytest.mark.parametrize(
    ("name", "role", "says"),
    [
        ("anna  BERG", "lead", "there is an account 'Anna Berg' already"),
        (" ", "lead", "needs a name"),
        ("x" * 61, "lead", "60 or fewer"),
        ("Ka\0rl", "lead", "cannot be shown"),
        ("Karl", "chief", "'chief' is no role; name one of lead, engineer, manager, administrator"),
    ],
)
def test_an_account_that_cannot_be_is_refused(store, name, role, says):
    before = store.sequence()
    with pytest.raises(InputError, match=says):
        add_account(store, name, role, GOOD, who="Anna Berg", now=NOW)

    assert store.sequence() == before


def test_the_last_who_manages_accounts_keeps_that_right(store):
    with pytest.raises(InputError, match="last who may manage accounts"):
        set_role(store, "Anna Berg", "lead", who="Anna Berg", now=NOW)
    with pytest.raises(InputError, match="last who may manage accounts"):
        set_active(store, "Anna Berg", False, who="Anna Berg", now=NOW)
    add_account(store, "Karl", "administrator", GOOD, who="Anna Berg", now=NOW)

    assert not set_active(store, "Anna Berg", False, who="Karl", now=NOW).active


def test_an_account_that_is_not_there_is_said(store):
    with pytest.raises(InputError, match="there is no account 'Eva'"):
        set_role(store, "Eva", "lead", who="Anna Berg", now=NOW)
