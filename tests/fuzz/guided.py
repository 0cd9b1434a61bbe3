"""One target, guided by coverage: `python -m tests.fuzz.guided NAME [settings of libFuzzer]`; `tests.fuzz` starts it.

Needs atheris, which there is for Linux on x86-64.
"""

import sys
from importlib import import_module


def main(words: list[str]) -> None:
    """Feed the target that the first word names until libFuzzer says that it is enough."""
    atheris = import_module("atheris")  # by name: it is not on every platform
    with atheris.instrument_imports(include=["spc", "dashboard"]):
        from tests.fuzz.targets import TARGETS

        feed = TARGETS[words[1]].make()

    def once(data: bytes) -> None:
        feed(data)

    atheris.Setup([words[0], *words[2:]], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv)
