"""How property tests run: the same examples every time, and no stopwatch on a shared machine."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None, print_blob=False)
settings.load_profile("repeatable")
