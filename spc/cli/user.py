"""The commands of accounts: `spc user add|list|role|password|off|on`."""

import sys
from datetime import UTC, datetime
from typing import Annotated

import typer

from spc.cli.given import person
from spc.cli.options import AsJson, By, StoreAddress
from spc.cli.store import opened
from spc.cli.terminal import echo_json
from spc.errors import InputError

Name = Annotated[str, typer.Argument(help="Name of the person, as others know it.", show_default=False)]
RoleName = Annotated[str, typer.Argument(help="lead, engineer, manager or administrator.", show_default=False)]


def add_commands(app: typer.Typer) -> None:
    """Add the commands of accounts to `app`."""
    user = typer.Typer(help="Accounts: who may open the dashboard from another machine, and what each may do.")
    user.command("add")(add)
    user.command("list")(list_accounts)
    user.command("role")(role)
    user.command("password")(password)
    user.command("off")(off)
    user.command("on")(on)
    app.add_typer(user, name="user", no_args_is_help=True)


def add(
    name: Name,
    role: Annotated[str, typer.Option(help="lead, engineer, manager or administrator.", show_default=False)],
    store: StoreAddress = None,
    by: By = None,
) -> None:
    """Make an account; its password is asked for, or is the first line of standard input."""
    from spc.store.accounts import add_account, checked_name, checked_role

    checked_role(role)
    checked_name(name)
    who = person(by)
    with opened(store) as kept:
        account = add_account(kept, name, role, new_password(name), who=who, now=datetime.now(UTC))
        where = kept.name
    typer.echo(f"{account.name} ({account.role}) may sign in to the dashboard on {where}.")


def list_accounts(store: StoreAddress = None, as_json: AsJson = False) -> None:
    """List all accounts: role, whether it is on, who changed it last and when."""
    from spc.store.accounts import accounts_of

    with opened(store, must_exist=True) as kept:
        found = list(accounts_of(kept).values())
    if as_json:
        echo_json(
            [
                {
                    "name": each.account.name,
                    "role": each.account.role,
                    "active": each.account.active,
                    "changed_at": each.at.isoformat(),
                    "changed_by": each.who,
                }
                for each in found
            ]
        )
        return
    for each in found:
        state = "" if each.account.active else ", switched off"
        typer.echo(f"{each.account.name}: {each.account.role}{state}; changed {each.at:%Y-%m-%d %H:%M}Z by {each.who}")
    if not found:
        typer.echo("No accounts: the dashboard opens on this machine alone, for whoever sits at it.")


def role(name: Name, role: RoleName, store: StoreAddress = None, by: By = None) -> None:
    """Give an account another role; whoever is signed in with it signs in again."""
    from spc.store.accounts import set_role

    who = person(by)
    with opened(store, must_exist=True) as kept:
        account = set_role(kept, name, role, who=who, now=datetime.now(UTC))
    typer.echo(f"{account.name} is {account.role} now.")


def password(name: Name, store: StoreAddress = None, by: By = None) -> None:
    """Give an account another password, asked for or read as the first line of standard input."""
    from spc.store.accounts import account_named, set_password

    who = person(by)
    with opened(store, must_exist=True) as kept:
        known = account_named(kept, name)
        account = set_password(kept, known.name, new_password(known.name), who=who, now=datetime.now(UTC))
    typer.echo(f"{account.name} has a new password; whoever was signed in with the old one is signed out.")


def off(name: Name, store: StoreAddress = None, by: By = None) -> None:
    """Switch an account off; whoever is signed in with it is signed out."""
    _switch(name, False, store, by)


def on(name: Name, store: StoreAddress = None, by: By = None) -> None:
    """Switch an account on again."""
    _switch(name, True, store, by)


def _switch(name: str, active: bool, store: str | None, by: str | None) -> None:
    from spc.store.accounts import set_active

    who = person(by)
    with opened(store, must_exist=True) as kept:
        account = set_active(kept, name, active, who=who, now=datetime.now(UTC))
    typer.echo(f"{account.name} is switched {'on' if active else 'off'}.")


def new_password(name: str) -> str:
    """Return a new password: typed twice on a terminal, else the first line of standard input.

    Raises:
        InputError: the two differ, or there is none, or it is too easily tried.
    """
    from spc.passwords import check_password

    if sys.stdin.isatty():
        first = typer.prompt(f"New password of {name}", hide_input=True)
        check_password(first, name)
        if typer.prompt("The same again", hide_input=True) != first:
            raise InputError("the two passwords differ; nothing was changed")
        return str(first)
    given = sys.stdin.readline().rstrip("\r\n")
    if not given:
        raise InputError("there is no password; type it on a terminal, or give it as the first line of standard input")
    check_password(given, name)
    return given
