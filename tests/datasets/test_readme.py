"""datasets/README.md says what the files hold."""

import re

from tests.datasets.truth import DATASETS, FAULTS, SLIPS, TRUTH, events

README = (DATASETS / "README.md").read_text(encoding="utf-8")
TABLE = {line.split("|")[1].strip().strip("`"): line for line in README.splitlines() if line.startswith("| `")}


def test_every_fault_stands_in_the_table_with_its_window_its_story_and_its_end():
    for fault in [*FAULTS.values(), *TRUTH["live_faults"]]:
        line = TABLE[fault["id"]]
        told = [fault["line"], fault["check"], fault["from"][:10], (fault["to"] or "for good")[:10], fault["see"]]

        assert all(part in line for part in [*told, fault["caught_by"], fault["ends"]])


def test_every_slip_stands_in_the_table_with_its_first_row():
    for slip in SLIPS.values():
        assert re.search(rf"\b{slip['rows'][0]}\b", TABLE[slip["id"]])
        assert slip["outcome"] in TABLE[slip["id"]]


def test_the_table_has_nothing_else():
    files = {path.name for path in DATASETS.iterdir()}
    known = files | set(FAULTS) | set(SLIPS) | {fault["id"] for fault in TRUTH["live_faults"]}

    assert set(TABLE) <= known


def test_counts_are_those_of_the_files():
    counts = TRUTH["rows"]

    assert f"{counts['read']:,} rows of 35 streams" in README
    assert (
        f"{counts['accepted']:,} accepted, {counts['duplicate']} duplicates and {counts['quarantined']} quarantined"
        in README
    )
    assert f"what was done to the line: {len(events())} rows" in README
    assert f"seed {TRUTH['seed']}" in README
    assert TRUTH["zone"] in README
