"""Stores of both kinds, as the tests of the store have them."""

from tests.store.conftest import empty, made, made_postgresql, postgresql

__all__ = ["empty", "made", "made_postgresql", "postgresql"]
