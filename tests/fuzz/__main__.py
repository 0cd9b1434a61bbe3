"""`python -m tests.fuzz [--executions N] [--target NAME] [--keep FOLDER]`: feed every target, and print what was found.

Each target runs in a process of its own, guided by coverage where atheris is installed (Linux on x86-64) and by chance
elsewhere, within a limit of memory and of seconds for one input. What breaks one is kept in FOLDER under the name of
its target: repaired, it becomes a seed in tests/fuzz/seeds.
"""

import argparse
import json
import random
import re
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path

from tests.fuzz.targets import TARGETS

SEEDS = Path(__file__).with_name("seeds")
SECONDS_OF_ONE = 20
MEGABYTES = 3_000


@dataclass(frozen=True, slots=True)
class Outcome:
    """What feeding one target came to."""

    target: str
    executions: int
    seconds: int
    edges: int  # of the program's flow of control that were taken; 0 where nothing guided
    findings: int


def starts(name: str) -> list[bytes]:
    """Return the inputs that a target begins with: its own, and everything that ever broke it."""
    return [*TARGETS[name].starts, *(path.read_bytes() for path in sorted((SEEDS / name).glob("*")))]


def guided(name: str, executions: int, seed: int, kept: Path) -> Outcome:
    """Feed one target under atheris."""
    target = TARGETS[name]
    corpus, findings = kept / "corpus" / name, kept / "findings" / name
    for place in (corpus, findings):
        place.mkdir(parents=True, exist_ok=True)
    for at, data in enumerate(starts(name)):
        (corpus / f"start-{at}").write_bytes(data)
    words = kept / f"{name}.words"
    quoted = ("".join(f"\\x{byte:02x}" for byte in word) for word in target.words)
    words.write_text("".join(f'"{word}"\n' for word in quoted), encoding="ascii")
    settings = {
        "runs": executions, "seed": seed, "timeout": SECONDS_OF_ONE, "rss_limit_mb": MEGABYTES,
        "max_len": target.longest, "artifact_prefix": f"{findings}/", "print_final_stats": 1, "close_fd_mask": 1,
    }  # fmt: skip
    settings |= {"dict": str(words)} if target.words else {}
    before, began = len(list(findings.iterdir())), time.monotonic()
    command = [sys.executable, "-m", "tests.fuzz.guided", name, *(f"-{key}={value}" for key, value in settings.items())]
    done = subprocess.run([*command, str(corpus)], stderr=subprocess.PIPE, check=False)
    said = done.stderr.decode("utf-8", "replace")
    (kept / f"{name}.log").write_text(said[-20_000:], encoding="utf-8")
    counted = re.findall(r"stat::number_of_executed_units:\s+(\d+)", said) or re.findall(r"^#(\d+)", said, re.MULTILINE)
    covered = re.findall(r"cov: (\d+)", said)
    broken = done.returncode != 0 and "run interrupted" not in said  # stopped from outside is no finding
    found = max(len(list(findings.iterdir())) - before, int(broken))
    edges = int(covered[-1]) if covered else 0
    return Outcome(name, int(counted[-1]) if counted else 0, round(time.monotonic() - began), edges, found)


def by_chance(name: str, executions: int, seed: int, kept: Path) -> Outcome:
    """Feed one target inputs that are drawn from those before: the way where nothing guides."""
    target, generator, began = TARGETS[name], random.Random(seed), time.monotonic()
    feed, pool, findings = target.make(), [b"", *starts(name)], 0
    for _ in range(executions):
        data = mutated(generator.choice(pool), target.words, generator)[: target.longest]
        try:
            feed(data)
        except Exception as error:  # whatever it is, it is a finding
            findings += 1
            place = kept / "findings" / name
            place.mkdir(parents=True, exist_ok=True)
            (place / f"seed-{seed}-{findings}").write_bytes(data)
            sys.stderr.write(f"{name}: {type(error).__name__}: {error}\n")
    return Outcome(name, executions, round(time.monotonic() - began), 0, findings)


def mutated(data: bytes, words: tuple[bytes, ...], generator: random.Random) -> bytes:
    """Return `data` with up to six places changed: a byte, a stretch left out, or one of `words` put in."""
    changed = bytearray(data)
    for _ in range(generator.randint(1, 6)):
        at = generator.randint(0, len(changed))
        put = generator.choice(words) if words and generator.random() < 0.5 else generator.randbytes(1)
        changed[at : at + generator.randint(0, 3)] = put
    return bytes(changed)


def main() -> int:
    """Feed the targets that were asked for; return 1 where one broke."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=(__doc__ or "").split("\n\n")[1])
    parser.add_argument("--executions", type=int, default=100_000, help="of all targets together, or of the one named")
    parser.add_argument(
        "--target", choices=sorted(TARGETS), action="append", help="feed this one alone; may be given again"
    )
    parser.add_argument("--seed", type=int, default=1, help="what chance begins with")
    parser.add_argument("--keep", type=Path, default=Path(".fuzz"), help="folder of what is found")
    asked = parser.parse_args()
    names, whole = asked.target or list(TARGETS), sum(target.share for target in TARGETS.values())
    way = guided if find_spec("atheris") else by_chance
    findings = 0
    for name in names:
        part = asked.executions // len(names) if asked.target else asked.executions * TARGETS[name].share // whole
        outcome = way(name, max(part, 100), asked.seed, asked.keep)
        findings += outcome.findings
        sys.stdout.write(json.dumps(asdict(outcome)) + "\n")
        sys.stdout.flush()
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
