import gc
import weakref
from dataclasses import dataclass

import pytest

from spc.by_identity import by_identity


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Numbers:
    held: tuple[int, ...]


def test_the_same_object_is_worked_out_once_and_an_equal_one_again():
    asked = []

    @by_identity
    def length(of: Numbers) -> int:
        asked.append(id(of))
        return len(of.held)

    one, equal = Numbers((1, 2)), Numbers((1, 2))
    assert [length(one), length(one), length(equal)] == [2, 2, 2]
    assert asked == [id(one), id(equal)]


def test_what_was_given_goes_with_its_object():
    @by_identity
    def doubled(of: Numbers) -> Numbers:
        return Numbers(of.held * 2)

    one = Numbers((1,))
    given = weakref.ref(doubled(one))
    gc.collect()
    assert given() is doubled(one)
    del one
    gc.collect()
    assert given() is None


def test_an_object_in_the_place_of_one_that_is_gone_is_not_taken_for_it():
    @by_identity
    def first(of: Numbers) -> int:
        return of.held[0]

    assert [first(Numbers((i,))) for i in range(1000)] == list(range(1000))


def test_an_object_that_takes_no_weak_reference_is_refused():
    with pytest.raises(TypeError, match="weak reference"):
        by_identity(len)((1, 2))
