"""Make the demo line's files again from their seed, byte for byte.

python datasets/make.py            writes them beside this file
python datasets/make.py --check    says whether the files that stand here are the same
"""

import argparse
import sys
import tempfile
from pathlib import Path

from spc.demo.history import EVENTS_NAME, LOG_NAME, history
from spc.demo.rows import EVENTS_HEADER, LOG_HEADER, as_csv
from spc.demo.truth import truth

HERE = Path(__file__).parent
NAMES = (LOG_NAME, EVENTS_NAME, "faults.json")


def write(folder: Path) -> list[Path]:
    """Write the log, the events and the truth about them; return their paths."""
    made = history()
    texts = (as_csv(LOG_HEADER, made.log), as_csv(EVENTS_HEADER, made.events), truth(made).encode())
    paths = [folder / name for name in NAMES]
    for path, text in zip(paths, texts, strict=True):
        path.write_bytes(text)
    return paths


def differing(folder: Path) -> list[str]:
    """Return the names of files in `folder` that are not what the seed gives."""
    with tempfile.TemporaryDirectory() as fresh:
        write(Path(fresh))
        return [
            name
            for name in NAMES
            if not (folder / name).is_file() or (folder / name).read_bytes() != (Path(fresh) / name).read_bytes()
        ]


def main(arguments: list[str] | None = None) -> int:
    """Write or check the files; return the exit code."""
    parser = argparse.ArgumentParser(description="Make the demo line's files from their seed.")
    parser.add_argument("--check", action="store_true", help="compare only; exit 1 where a file differs")
    parser.add_argument("--folder", type=Path, default=HERE, help="where the files are (default: beside this program)")
    chosen = parser.parse_args(arguments)
    if not chosen.check:
        sys.stdout.write("".join(f"wrote {path}\n" for path in write(chosen.folder)))
        return 0
    wrong = differing(chosen.folder)
    for name in wrong:
        sys.stderr.write(f"{chosen.folder / name} is not what the seed gives; run python datasets/make.py\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
