"""Make the demo line's files again from their seed, byte for byte.

python datasets/make.py            writes them beside this file
python datasets/make.py --check    says whether the files that stand here are the same
"""

import argparse
import sys
import tempfile
from pathlib import Path

from spc.demo import write_history
from spc.demo.history import FILES

HERE = Path(__file__).parent


def differing(folder: Path) -> list[str]:
    """Return the names of files in `folder` that are not what the seed gives."""
    with tempfile.TemporaryDirectory() as fresh:
        write_history(Path(fresh))
        return [
            name
            for name in FILES
            if not (folder / name).is_file() or (folder / name).read_bytes() != (Path(fresh) / name).read_bytes()
        ]


def main(arguments: list[str] | None = None) -> int:
    """Write or check the files; return the exit code."""
    parser = argparse.ArgumentParser(description="Make the demo line's files from their seed.")
    parser.add_argument("--check", action="store_true", help="compare only; exit 1 where a file differs")
    parser.add_argument("--folder", type=Path, default=HERE, help="where the files are (default: beside this program)")
    chosen = parser.parse_args(arguments)
    if not chosen.check:
        sys.stdout.write("".join(f"wrote {path}\n" for path in write_history(chosen.folder)))
        return 0
    wrong = differing(chosen.folder)
    for name in wrong:
        sys.stderr.write(f"{chosen.folder / name} is not what the seed gives; run python datasets/make.py\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
