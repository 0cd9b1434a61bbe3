"""What the browser sends to a callback, held to the form that a page of this board sends, before any callback sees it.

A callback then trusts the kinds of its arguments; whoever sends another form is refused in words, and nothing runs.
"""

import json
from collections.abc import Mapping
from itertools import chain
from typing import Any

from dash import Dash
from flask import Response, request

from dashboard.auth import refused
from dashboard.ids import Board, Drift, Reviewed, Shell, Study
from dashboard.requests import CALLBACK, LARGEST_BODY

DEEPEST = 32  # lists and objects within one another
REFUSED = "This is not what a page of this board sends; load the page again."

KINDS: Mapping[str, type | tuple[type, ...]] = {
    "pathname": str,
    "search": str,
    "value": str,
    "contents": str,
    "filename": str,
    "children": (str, list, dict),
    "n_clicks": int,
    "n_submit": int,
    "relayoutData": dict,
    "id": (str, dict),
}
"""What a property of a component may be, beside nothing."""

DATA: Mapping[str, type | tuple[type, ...]] = {
    Board.TOLD: dict,
    Drift.WROTE: int,
    Reviewed.ASKED: str,
    Shell.SCREEN: dict,
    Study.ASKED: dict,
}
"""What a store may hold, beside nothing; what is not named here is only compared or looked up."""


def hold_to_form(app: Dash) -> None:
    """Refuse the body of a callback that no page sends; called when every callback is registered."""

    def before() -> Response | None:
        if request.method != "POST" or request.path != CALLBACK:
            return None
        request.max_content_length = LARGEST_BODY
        try:
            body = request.get_json(silent=True)
        except RecursionError:
            body = None
        return None if is_of_form(body, known_by_output(app)) else refused(REFUSED, 400)

    app.server.before_request(before)


def known_by_output(app: Dash) -> Mapping[str, Mapping[str, Any]]:
    """Return the callbacks that run here by the name of their output, with their inputs and states."""
    return app.callback_map


def is_of_form(body: Any, known: Mapping[str, Mapping[str, Any]]) -> bool:
    """Return whether a body names a callback of this board, with every input and state of it, each of its kind."""
    if not isinstance(body, dict) or not isinstance(body.get("output"), str) or body["output"] not in known:
        return False
    if not is_shallow(body):
        return False
    callback, sent = known[body["output"]], {}
    for part, wanted in (("inputs", callback["inputs"]), ("state", callback["state"])):
        places = body.get(part, [])
        if not isinstance(places, list) or len(places) != len(wanted):
            return False
        if not all(map(is_place, places, wanted)):
            return False
        sent[part] = list(chain.from_iterable(each if isinstance(each, list) else [each] for each in places))
    moved = body.get("changedPropIds", [])
    names = {f"{name_of(place['id'])}.{place['property']}" for place in sent["inputs"]}
    return (
        isinstance(moved, list) and all(isinstance(name, str) and name in names for name in moved) and has_outputs(body)
    )


def has_outputs(body: Mapping[str, Any]) -> bool:
    """Return whether the outputs of a body are as many, and of the names, as its output says."""
    wanted = body["output"].strip(".").split("...")
    outputs = body.get("outputs")
    given = outputs if isinstance(outputs, list) else [outputs]
    many = body["output"].startswith("..")
    return many == isinstance(outputs, list) and [
        f"{each.get('id')}.{each.get('property')}".partition("@")[0] if isinstance(each, dict) else "" for each in given
    ] == [name.partition("@")[0] for name in wanted]


def is_place(sent: Any, wanted: Mapping[str, Any]) -> bool:
    """Return whether what was sent is the component and property that are wanted, or all of those of a pattern."""
    pattern = wanted["id"] if isinstance(wanted["id"], str) and wanted["id"].startswith("{") else None
    if pattern is None:
        return is_value(sent, wanted["property"]) and sent["id"] == wanted["id"]
    fields = json.loads(pattern)
    many = any(value == ["ALL"] for value in fields.values())
    if many != isinstance(sent, list):
        return False
    return all(is_value(each, wanted["property"]) and fits(each["id"], fields) for each in (sent if many else [sent]))


def fits(name: Any, fields: Mapping[str, Any]) -> bool:
    """Return whether the name of a component is one of a pattern."""
    return (
        isinstance(name, dict)
        and name.keys() == fields.keys()
        and all(isinstance(name[key], str) and value in (["ALL"], name[key]) for key, value in fields.items())
    )


def is_value(sent: Any, wanted: str) -> bool:
    """Return whether what was sent names the property that is wanted, with a value of its kind or none."""
    if not isinstance(sent, dict) or sent.get("property") != wanted or "id" not in sent:
        return False
    value, name = sent.get("value"), sent["id"]
    kind = KINDS.get(wanted) if wanted != "data" else DATA.get(name_of(name))
    return value is None or kind is None or (isinstance(value, kind) and not isinstance(value, bool))


def name_of(component: Any) -> str:
    """Return the name of a component as the browser writes it."""
    return component if isinstance(component, str) else json.dumps(component, sort_keys=True, separators=(",", ":"))


def is_shallow(value: Any) -> bool:
    """Return whether lists and objects lie within one another no deeper than any page sends them."""
    level = [value]
    for _ in range(DEEPEST):
        nested = [each for each in level if isinstance(each, dict | list)]
        if not nested:
            return True
        level = [inner for each in nested for inner in (each.values() if isinstance(each, dict) else each)]
    return False
