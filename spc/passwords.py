"""Passwords: what is asked of a new one, its hash, and whether one fits.

Only the hash is ever kept: argon2id with the second set of parameters of RFC 9106, section 4 (3 passes over 64 MiB,
4 lanes, a salt of 128 bits, a tag of 256). They stand in each hash, so that they may change without breaking old ones.
"""

import unicodedata
from functools import cache
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from spc.errors import InputError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST, LONGEST = 12, 256
"""Characters of a password. Length is asked for, no mixture of signs: NIST SP 800-63B, section 5.1.1.2 and its appendix
on strength (from memory); 12 is more than its 8, as a shop's tablet stands where others can try."""

FEWEST_DIFFERENT = 5

COMMON = (
    "password", "passwort", "passw0rd", "qwerty", "qwertz", "azerty", "admin", "administrator", "welcome", "letmein",
    "iloveyou", "monkey", "dragon", "football", "baseball", "sunshine", "princess", "master", "superman", "starwars",
    "trustno", "changeme", "default", "secret", "login", "summer", "winter", "spring", "autumn", "company", "magnetic",
    "inspection", "particle", "testing",
)  # fmt: skip
"""Words that lead the published lists of passwords (from memory), and the trade's own. With figures and signs around
them and nothing else they are tried first."""

ROWS = (
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890123456789",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
)
"""Alphabet, figures and keyboards, as fingers walk over them."""

LONGEST_WALK = 8

_AT_ONCE = BoundedSemaphore(2)
"""Each hash takes 64 MiB: no crowd of tries may take the memory."""


def check_password(password: str, name: str) -> None:
    """Refuse a new password that is too easily tried.

    Raises:
        InputError: it is too short, too long, too uniform, or holds the name of its account.
    """
    text = _normal(password)
    if len(text) < SHORTEST:
        raise InputError(f"the password has {len(text)} characters; take {SHORTEST} or more, such as four plain words")
    if len(text) > LONGEST:
        raise InputError(f"the password has {len(text)} characters; take {LONGEST} or fewer")
    if len(set(text)) < FEWEST_DIFFERENT:
        raise InputError("the password is nearly all one character; take one that is harder to try")
    if _is_common(text.casefold()):
        raise InputError("the password is one that everyone tries first; take another, such as four plain words")
    if name.strip() and name.strip().casefold() in text.casefold():
        raise InputError("the password holds the name of the account; take another")


def _is_common(text: str) -> bool:
    """Return whether a password is a common word in figures and signs, figures alone, or a walk along a row of keys."""
    letters = "".join(letter for letter in text if letter.isalpha())
    if not letters or any(letters in (word, word + word) for word in COMMON):
        return True
    walks = (row for either in ROWS for row in (either, either[::-1]))
    return any(text[at : at + LONGEST_WALK] in row for row in walks for at in range(len(text) - LONGEST_WALK + 1))


def hash_password(password: str) -> str:
    """Return the hash of a password, with its salt and parameters (PHC string)."""
    with _AT_ONCE:
        return _hasher().hash(_normal(password))


def password_fits(password_hash: str | None, password: str) -> bool:
    """Return whether a password has this hash; without a hash no, after the same time."""
    from argon2.exceptions import InvalidHashError, VerificationError

    if len(password) > 4 * LONGEST:
        password = ""  # nosec B105
        # nobody's: what is too long is not hashed
    with _AT_ONCE:
        try:
            return _hasher().verify(password_hash or _nobodys(), _normal(password)) and password_hash is not None
        except (InvalidHashError, VerificationError):
            return False


def _normal(password: str) -> str:
    """Return a password in one form, however a keyboard composed its letters."""
    return unicodedata.normalize("NFKC", password)


@cache
def _hasher() -> "PasswordHasher":
    from argon2 import PasswordHasher
    from argon2.profiles import RFC_9106_LOW_MEMORY

    return PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)


@cache
def _nobodys() -> str:
    """Return a hash that no password is known for: a name without an account is tried against it, as long as others."""
    import secrets

    return _hasher().hash(secrets.token_hex(32))
