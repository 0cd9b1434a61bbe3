"""A baseline counts once a person has signed it off; no step and no version is left out."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from spc.catalogue.load import starter
from spc.errors import StoreError
from spc.monitor import monitor_stream
from spc.store.baselines import in_use, proposal
from spc.store.entries import Baseline
from tests.store.made_store import BATH, NOW, long_log, read_text

FIRST = Baseline(
    BATH, 1, "proposed", datetime(2025, 1, 1, tzinfo=UTC), datetime(2025, 1, 9, tzinfo=UTC), 20, 0.2, 0.01, 0.17, 0.23
)


def kept(store):
    return [entry.record for entry in store.records(Baseline)]


def used(store) -> int | None:
    """Return the version that counts."""
    baseline = in_use(kept(store), BATH)
    return baseline.version if baseline is not None else None


def written(store, *steps, version=1):
    for step in steps:
        store.append(replace(FIRST, version=version, step=step, by="anna"), who="anna", now=NOW)


def test_a_baseline_counts_once_it_is_signed_off(store):
    seen = []
    for step in ("proposed", "reviewed", "signed off"):
        written(store, step)
        seen.append(used(store))

    assert seen == [None, None, 1]


def test_the_newest_version_signed_off_counts_until_it_is_withdrawn(store):
    written(store, "proposed", "reviewed", "signed off")
    written(store, "proposed", "reviewed", version=2)
    assert used(store) == 1
    written(store, "signed off", version=2)
    assert used(store) == 2

    written(store, "withdrawn", version=2)

    assert used(store) == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"version": 3}, "the next version is 2"),
        ({"version": 1}, "the next version is 2"),
        ({"step": "signed off", "by": "anna"}, "it is proposed; reviewed comes first"),
        ({"step": "reviewed", "by": "anna", "version": 2}, "it is not there"),
        ({"step": "reviewed"}, "by nobody; name the person"),
        ({"step": "reviewed", "by": "anna", "upper": 0.3}, "with other numbers than proposed"),
    ],
)
def test_a_step_that_does_not_follow_is_refused(store, change, says):
    written(store, "proposed")

    with pytest.raises(StoreError, match=says):
        store.append(replace(FIRST, **change), who="anna", now=NOW)

    assert len(kept(store)) == 1


def test_the_program_proposes_what_the_chart_uses(tmp_path):
    readings = read_text(tmp_path, long_log(90)).streams[BATH]
    result = monitor_stream(readings, (), starter().checks[BATH.check])
    early = monitor_stream(read_text(tmp_path, long_log(30)).streams[BATH], (), starter().checks[BATH.check])

    proposed = proposal(result, [FIRST])

    limits = result.segments[-1].limits
    assert proposed is not None
    assert limits is not None
    assert (proposed.version, proposed.step, proposed.n) == (2, "proposed", limits.n_baseline)
    assert (proposed.lower, proposed.upper) == (limits.lower, limits.upper)
    assert proposal(early, []) is None
