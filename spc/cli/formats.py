"""Commands that print in the formats of the site's catalogue; what goes to other programs stays as it is."""

from collections.abc import Callable
from functools import wraps
from typing import Any


def as_the_site_writes(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command whose words follow the table [site] of the catalogue it is given, but for `--json`
    and `--tables`, which other programs read.
    """

    @wraps(command)
    def run(*args: Any, **given: Any) -> None:
        if given.get("as_json") or given.get("tables") is not None or given.get("catalogue") is None:
            command(*args, **given)
            return
        from spc.catalogue.load import load_catalogue
        from spc.formats import formats_of

        with formats_of(load_catalogue(given["catalogue"]).formats):
            command(*args, **given)

    return run
