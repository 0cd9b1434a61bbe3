"""Passwords: what is asked of a new one, and their hash."""

import pytest
from argon2 import extract_parameters
from argon2.low_level import Type

from spc.errors import InputError
from spc.passwords import check_password, hash_password, password_fits

GOOD = "four plain words here"


def test_the_hash_has_the_parameters_of_rfc_9106_section_4_second_recommended():
    parameters = extract_parameters(hash_password(GOOD))

    assert parameters.type is Type.ID
    assert (parameters.time_cost, parameters.memory_cost, parameters.parallelism) == (3, 64 * 1024, 4)
    assert (parameters.salt_len, parameters.hash_len) == (128 // 8, 256 // 8)


def test_a_password_fits_its_hash_and_no_other():
    kept = hash_password(GOOD)

    assert password_fits(kept, GOOD)
    assert not password_fits(kept, GOOD + " ")
    assert not password_fits(kept, "")
    assert GOOD not in kept
    assert kept != hash_password(GOOD)  # another salt


def test_composed_and_decomposed_letters_are_one_password():
    assert password_fits(
        hash_password("caf\N{LATIN SMALL LETTER E WITH ACUTE} at the corner"), "cafe\u0301 at the corner"
    )


@pytest.mark.parametrize("kept", [None, "", "scrypt$...", "$argon2id$v=19$m=65536,t=3,p=4$broken"])
def test_nothing_fits_where_there_is_no_hash(kept):
    assert not password_fits(kept, GOOD)


def test_a_huge_password_is_refused_and_not_hashed():
    assert not password_fits(hash_password(GOOD), "x" * 10_000_000)


@pytest.mark.parametrize(
    ("password", "says"),
    [
        ("short", "has 5 characters; take 12 or more"),
        ("x" * 300, "take 256 or fewer"),
        ("aaaaaaaaaaab", "nearly all one character"),
        ("my name is ANNA too", "holds the name"),
        ("Password2026!", "everyone tries first"),
        ("!!ADMINadmin99", "everyone tries first"),
        ("03.04.1987-1990", "everyone tries first"),
        ("xx 123456789 yy", "everyone tries first"),
        ("poiuytrewq shop", "everyone tries first"),
    ],
)
def test_a_weak_password_is_refused_with_what_to_do(password, says):
    with pytest.raises(InputError, match=says):
        check_password(password, "Anna")


@pytest.mark.parametrize(
    "password", [GOOD, "my old password is long", "blue kettle admin road", "héron-gris-du-marais"]
)
def test_words_that_merely_hold_a_common_one_are_taken(password):
    check_password(password, "Anna")
