"""Every input that ever broke a target, and every one that a target begins with: fed again, nothing breaks."""

import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.__main__ import SEEDS, mutated, starts
from tests.fuzz.targets import TARGETS

ROOT = Path(__file__).parents[2]
CHANGED = 60
"""Inputs drawn for each target beside its seeds: few, since `make fuzz` draws millions."""

SLOW = {"backup_file": 20, "page": 20, "posted": 40, "callback": 15, "large_log": 30}


def test_every_folder_of_seeds_belongs_to_a_target():
    assert {place.name for place in SEEDS.iterdir() if place.is_dir()} <= set(TARGETS)


@pytest.mark.parametrize("name", TARGETS)
def test_no_seed_breaks_its_target(name):
    feed, generator = TARGETS[name].make(), random.Random(7)
    seeds = [b"", *starts(name)]
    drawn = [mutated(generator.choice(seeds), TARGETS[name].words, generator) for _ in range(SLOW.get(name, CHANGED))]

    broken = []
    for data in (*seeds, *drawn):
        try:
            feed(data)
        except Exception as error:  # any is a finding; which input it was has to be told
            broken.append((data[:200], repr(error)))

    assert broken == []


def test_the_command_feeds_a_target_and_tells_of_it(tmp_path):
    command = [sys.executable, "-m", "tests.fuzz", "--target", "number", "--executions", "500", "--keep", str(tmp_path)]

    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)

    assert done.returncode == 0, done.stderr
    assert '"target": "number", "executions": 50' in done.stdout
    assert '"findings": 0' in done.stdout
