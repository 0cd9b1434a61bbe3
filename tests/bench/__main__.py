"""`python -m tests.bench [NAME ...]`: run all measurements of this folder, or those named, each in its own process."""

import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).parent


def main(names: list[str]) -> int:
    """Run the measurements; return 1 if one of them failed, 2 for a name that is none."""
    there = sorted(path.stem for path in FOLDER.glob("*.py") if not path.stem.startswith("_"))
    unknown = [name for name in names if name not in there]
    if unknown:
        sys.stdout.write(f"no measurement {', '.join(unknown)}; there is {', '.join(there)}\n")
        return 2
    failed = 0
    for name in names or there:
        sys.stdout.write(f"-- {name}\n")
        sys.stdout.flush()
        failed |= subprocess.call([sys.executable, "-m", f"tests.bench.{name}"], cwd=FOLDER.parent.parent) != 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
