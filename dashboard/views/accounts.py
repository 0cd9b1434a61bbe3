"""What the page of accounts shows."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AccountRow:
    """One account."""

    name: str
    role: str
    active: bool
    changed: str  # when and by whom


@dataclass(frozen=True, slots=True)
class AccountsPage:
    """All accounts."""

    rows: tuple[AccountRow, ...]
    roles: tuple[tuple[str, str], ...]  # role, and what it may do
    store: str  # "": a bare log, which keeps no accounts
