"""The commands of accounts."""

import json
from pathlib import Path
from typing import Any, ClassVar

import pytest
from typer.testing import CliRunner

from spc.cli import app
from spc.cli.user import new_password
from spc.errors import InputError, StoreError
from spc.store.store import Store

GOOD = "four plain words here\n"


def run(*words: str, typed: str = "") -> str:
    result = CliRunner().invoke(app, ["user", *words], input=typed, env={"COLUMNS": "200"})
    if result.exception is not None:
        raise result.exception
    return result.stdout


@pytest.fixture
def store(tmp_path: Path) -> list[str]:
    where = ["--store", str(tmp_path / "spc.db"), "--by", "setup"]
    run("add", "Anna", "--role", "administrator", *where, typed=GOOD)
    return where


def listed(store: list[str]) -> list[dict[str, object]]:
    return list(json.loads(run("list", "--json", *store[:2])))


def test_accounts_are_made_changed_and_switched_off(store):
    run("add", "Karl", "--role", "lead", *store, typed=GOOD)
    run("role", "karl", "engineer", *store)
    run("off", "Karl", *store)

    assert [(each["name"], each["role"], each["active"]) for each in listed(store)] == [
        ("Anna", "administrator", True),
        ("Karl", "engineer", False),
    ]
    assert "switched off" in run("list", *store[:2])
    run("on", "Karl", *store)
    assert listed(store)[1]["active"]


def test_the_list_shows_no_hash(store):
    assert "argon2" not in run("list", "--json", *store[:2])


def test_a_password_comes_from_standard_input(store):
    assert "new password" in run("password", "Anna", *store, typed="five other words by far\n")
    with pytest.raises(InputError, match="there is no password"):
        run("password", "Anna", *store)
    with pytest.raises(InputError, match="12 or more"):
        run("password", "Anna", *store, typed="short\n")


@pytest.mark.parametrize(
    ("second", "says"), [("five other words by far", None), ("five other words by near", "the two passwords differ")]
)
def test_a_password_is_typed_twice_on_a_terminal(store, monkeypatch, second, says):
    typed = iter(["five other words by far", second])
    monkeypatch.setattr("typer.prompt", lambda words, hide_input: next(typed))
    monkeypatch.setattr("spc.cli.user.sys", Terminal())
    if says is None:
        assert new_password("Anna") == "five other words by far"
        return
    with pytest.raises(InputError, match=says):
        new_password("Anna")


class Terminal:
    """A standard input that a person types into."""

    stdin: ClassVar[Any] = type("Stdin", (), {"isatty": staticmethod(lambda: True)})


def test_a_store_without_accounts_says_who_may_use_the_board(tmp_path):
    with Store.open(tmp_path / "spc.db"):
        pass

    assert "No accounts: the dashboard opens on this machine alone" in run("list", "--store", str(tmp_path / "spc.db"))


def test_a_role_that_is_none_is_refused_before_a_password_is_asked(store):
    with pytest.raises(InputError, match="'chief' is no role"):
        run("add", "Karl", "--role", "chief", *store)


def test_a_store_that_is_not_there_is_not_made_by_looking(tmp_path):
    with pytest.raises(StoreError, match="there is no such store"):
        run("list", "--store", str(tmp_path / "none.db"))
    assert not (tmp_path / "none.db").exists()
