"""Accounts: who may sign in, what each may do; for whoever manages them, and for each person their own password."""

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from flask import current_app

from dashboard.auth import OwnSession, gate_of, need, person
from dashboard.ids import Accounts
from dashboard.parts import page_name, table
from dashboard.queries import Queries, Right, SpcError
from dashboard.queries.accounts import (
    accounts_page,
    change_account,
    change_own_password,
    holders_of,
    new_account,
    screen_words,
)
from dashboard.views.accounts import AccountsPage


def at(queries: Queries, search: str) -> html.Div:
    """Return the page, with what this person may see of it."""
    who = person()
    parts: list[Any] = [page_name("Accounts")]
    if queries.store is None:
        parts.append(html.P("This board shows a bare log, which keeps no accounts; it opens on this machine alone."))
        parts.append(html.P(["Serve a store instead: ", html.Code("spc serve --store FILE --follow LOG")]))
        return html.Div(parts, className="accounts")
    if who.may(Right.MANAGE):
        parts.extend(managed(accounts_page(queries)))
    if who.name and not who.wall:
        parts.append(own_password(who.name))
        parts.append(own_screens(queries, gate_of(current_app).own_sessions()))
    if not who.may(Right.MANAGE):
        parts.append(html.P(f"Accounts are managed by whoever is {holders_of(Right.MANAGE)}.", className="nothing"))
    return html.Div(parts, className="accounts")


def managed(page: AccountsPage) -> list[Any]:
    """Return all accounts with the forms that change them."""
    return [
        html.Datalist([html.Option(value=role) for role, _ in page.roles], id="account-roles"),
        html.Datalist([html.Option(value=row.name) for row in page.rows], id="account-names"),
        html.Section(
            [
                html.H2("People"),
                html.Div(listed(page), id=Accounts.TABLE, className="account-table"),
                html.P("", id=Accounts.SAID, className="account-said", role="status"),
            ]
        ),
        html.Section(
            [
                html.H2("New account"),
                html.Div(
                    [
                        labelled(
                            "Name", dcc.Input(id=Accounts.NEW_NAME, autoComplete="off", className="account-field")
                        ),
                        labelled("Role, one of those below", listed_field(Accounts.NEW_ROLE, "account-roles")),
                        labelled("Password, 12 characters or more", hidden(Accounts.NEW_PASSWORD)),
                        html.Button("Make the account", id=Accounts.ADD, className="button go", n_clicks=0),
                    ],
                    className="account-form",
                ),
            ]
        ),
        html.Section(
            [
                html.H2("Change an account"),
                html.P("Whoever is signed in with it is signed out."),
                html.Div(
                    [
                        together(labelled("Whose account", listed_field(Accounts.NAME, "account-names"))),
                        together(
                            labelled("New role", listed_field(Accounts.ROLE, "account-roles")),
                            html.Button("Give the role", id=Accounts.change("role"), className="button", n_clicks=0),
                        ),
                        together(
                            labelled("New password", hidden(Accounts.PASSWORD)),
                            html.Button(
                                "Set the password", id=Accounts.change("password"), className="button", n_clicks=0
                            ),
                        ),
                        together(
                            html.Button("Switch off", id=Accounts.change("off"), className="button", n_clicks=0),
                            html.Button("Switch on", id=Accounts.change("on"), className="button", n_clicks=0),
                        ),
                    ],
                    className="account-form account-changes",
                ),
            ],
            hidden=not page.rows,
        ),
        html.Section(
            table(
                "What each role may do",
                ("Role", "May"),
                [html.Tr([html.Th(role, scope="row"), html.Td(words)]) for role, words in page.roles],
            )
        ),
    ]


def listed(page: AccountsPage) -> Any:
    """Return all accounts as a table."""
    if not page.rows:
        return html.P(
            "None yet: the board is open to whoever sits at this machine. With the first account everyone signs in; "
            "let it be an administrator's.",
            className="nothing",
        )
    return table(
        "Accounts",
        ("Name", "Role", "State", "Changed"),
        [
            html.Tr(
                [
                    html.Th(row.name, scope="row"),
                    html.Td(row.role),
                    html.Td("on" if row.active else "switched off"),
                    html.Td(row.changed),
                ]
            )
            for row in page.rows
        ],
    )


def own_password(name: str) -> html.Section:
    """Return the form for one's own password."""
    return html.Section(
        [
            html.H2(f"Your password, {name}"),
            html.Div(
                [
                    labelled("Password so far", hidden(Accounts.BEFORE, "current-password")),
                    labelled("New one, 12 characters or more", hidden(Accounts.AFTER)),
                    html.Button("Change my password", id=Accounts.OWN, className="button go", n_clicks=0),
                ],
                className="account-form",
            ),
            html.P("", id=Accounts.OWN_SAID, className="account-said", role="status"),
        ]
    )


def own_screens(queries: Queries, screens: Sequence[OwnSession]) -> html.Section:
    """Return where one is signed in, and the way to end all of it but this."""
    return html.Section(
        [
            html.H2("Where you are signed in"),
            html.Div(screens_listed(queries, screens), id=Accounts.SCREENS, className="account-table"),
            html.Button("Sign out everywhere else", id=Accounts.ELSEWHERE, className="button", n_clicks=0),
            html.P("", id=Accounts.ELSEWHERE_SAID, className="account-said", role="status"),
        ]
    )


def screens_listed(queries: Queries, screens: Sequence[OwnSession]) -> Any:
    """Return the screens that one is signed in at as a table."""
    rows = [screen_words(queries, each.since, each.seen, wall=each.wall, here=each.here) for each in screens]
    return table(
        "Screens, oldest first",
        ("Screen", "Since", "Last touched"),
        [html.Tr([html.Th(which, scope="row"), html.Td(since), html.Td(seen)]) for which, since, seen in rows],
    )


def listed_field(name: str, offers: str) -> dcc.Input:
    """Return a field that offers what may stand in it."""
    return dcc.Input(id=name, list=offers, autoComplete="off", className="account-field")


def hidden(name: str, kind: str = "new-password") -> dcc.Input:
    """Return a field whose letters nobody sees."""
    return dcc.Input(id=name, type="password", autoComplete=kind, className="account-field")


def together(*parts: Any) -> html.Div:
    """Return a field beside the button that it goes with."""
    return html.Div(list(parts), className="account-pair")


def labelled(words: str, field: Any) -> Any:
    """Return a field under its name."""
    return html.Label([words, field])


def register(app: Dash, queries: Queries) -> None:
    """Make the changes. Each asks for its right first."""

    def told(do: Any) -> tuple[Any, Any]:
        try:
            said = do()
        except SpcError as error:
            return no_update, f"{str(error)[:1].upper()}{str(error)[1:]}."
        queries.source.poll()
        return listed(accounts_page(queries)), said

    @app.callback(
        Output(Accounts.TABLE, "children"),
        Output(Accounts.SAID, "children"),
        Output(Accounts.NEW_PASSWORD, "value"),
        Output("account-names", "children"),
        Input(Accounts.ADD, "n_clicks"),
        State(Accounts.NEW_NAME, "value"),
        State(Accounts.NEW_ROLE, "value"),
        State(Accounts.NEW_PASSWORD, "value"),
        prevent_initial_call=True,
    )
    def add(clicks: int, name: str | None, role: str | None, password: str | None) -> tuple[Any, ...]:
        who = need(Right.MANAGE)
        shown, said = told(
            lambda: new_account(
                queries, name or "", role or "", password or "", who=who.name or "this machine", now=queries.clock()
            )
        )
        names = [html.Option(value=row.name) for row in accounts_page(queries).rows]
        return shown, said, no_update if shown is no_update else "", names

    @app.callback(
        Output(Accounts.TABLE, "children", allow_duplicate=True),
        Output(Accounts.SAID, "children", allow_duplicate=True),
        Output(Accounts.PASSWORD, "value"),
        Input({"part": "accounts-change", "what": ALL}, "n_clicks"),
        State(Accounts.NAME, "value"),
        State(Accounts.ROLE, "value"),
        State(Accounts.PASSWORD, "value"),
        prevent_initial_call=True,
    )
    def change(clicks: list[int], name: str | None, role: str | None, password: str | None) -> tuple[Any, ...]:
        who = need(Right.MANAGE)
        what = ctx.triggered_id["what"] if any(clicks or ()) and isinstance(ctx.triggered_id, dict) else ""
        if not what:
            return no_update, no_update, no_update
        words = {"role": role, "password": password}.get(what) or ""
        shown, said = told(
            lambda: change_account(
                queries, what, name or "", words, who=who.name or "this machine", now=queries.clock()
            )
        )
        return shown, said, ""

    @app.callback(
        Output(Accounts.SCREENS, "children"),
        Output(Accounts.ELSEWHERE_SAID, "children"),
        Input(Accounts.ELSEWHERE, "n_clicks"),
        prevent_initial_call=True,
    )
    def elsewhere(clicks: int | None) -> tuple[Any, Any]:
        need(Right.WRITE)
        if not clicks:
            return no_update, no_update
        gate = gate_of(app.server)
        ended = gate.end_others()
        said = f"Signed out at {ended} other screen{'' if ended == 1 else 's'}."
        return screens_listed(queries, gate.own_sessions()), said

    @app.callback(
        Output(Accounts.OWN_SAID, "children"),
        Output(Accounts.BEFORE, "value"),
        Output(Accounts.AFTER, "value"),
        Input(Accounts.OWN, "n_clicks"),
        State(Accounts.BEFORE, "value"),
        State(Accounts.AFTER, "value"),
        prevent_initial_call=True,
    )
    def own(clicks: int, before: str | None, after: str | None) -> tuple[Any, ...]:
        who = need(Right.WRITE)
        _, said = told(lambda: change_own_password(queries, who.name, before or "", after or "", now=queries.clock()))
        return said, "", ""
