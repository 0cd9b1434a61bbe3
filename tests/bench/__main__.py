"""`python -m tests.bench [NAME ...] [OPTIONS]`: run all measurements here, or those named, each in its own process.

Options, from the first word that begins with a dash on, go to the one measurement named.
"""

import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).parent


def main(words: list[str]) -> int:
    """Run the measurements; return 1 if one of them failed, 2 for a name that is none or options of no one."""
    split = next((i for i, word in enumerate(words) if word.startswith("-")), len(words))
    names, options = words[:split], words[split:]
    there = sorted(path.stem for path in FOLDER.glob("*.py") if not path.stem.startswith("_"))
    unknown = [name for name in names if name not in there]
    if unknown:
        sys.stdout.write(f"no measurement {', '.join(unknown)}; there is {', '.join(there)}\n")
        return 2
    if options and len(names) != 1:
        sys.stdout.write(f"options ({' '.join(options)}) go to one measurement: name it before them\n")
        return 2
    failed = 0
    for name in names or there:
        sys.stdout.write(f"-- {name}\n")
        sys.stdout.flush()
        command = [sys.executable, "-m", f"tests.bench.{name}", *options]
        failed |= subprocess.call(command, cwd=FOLDER.parent.parent) != 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
