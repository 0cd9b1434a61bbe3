"""Who may do what: roles, and the rights each has. Accounts are kept in the store; a password as its hash alone."""

from collections.abc import Mapping
from enum import StrEnum


class Right(StrEnum):
    """One kind of thing that a person may do."""

    SEE = "see"  # every page, every reading
    WRITE = "write down"  # checks, set-up samples, reactions to a signal, the steps of a failure
    REVIEW = "review"  # correct readings, propose and sign baselines, annotate, instruments and calibrations
    DECIDE = "decide"  # acceptance limits, closing a failure, signing a capability review
    MANAGE = "manage accounts"


_LEAD = frozenset({Right.SEE, Right.WRITE})
_ENGINEER = _LEAD | {Right.REVIEW}
_MANAGER = _ENGINEER | {Right.DECIDE}

ROLES: Mapping[str, frozenset[Right]] = {
    "lead": _LEAD,
    "engineer": _ENGINEER,
    "manager": _MANAGER,
    "administrator": _MANAGER | {Right.MANAGE},
}
"""What each role may do."""


def may(role: str, right: Right) -> bool:
    """Return whether people of a role may do something; nobody else may do anything."""
    return right in ROLES.get(role, frozenset())
