"""A scan by compiled loops on several threads: the same results, in the same order, as by the plain ones."""

from datetime import UTC
from pathlib import Path

import pytest

from spc import scan as scanning
from spc.scan import monitor_streams, pays_to_compile, scan

DATASETS = Path(__file__).parents[2] / "datasets"
DEMO_LOG, DEMO_EVENTS = DATASETS / "demo-log.csv", DATASETS / "demo-events.csv"


def test_the_demo_line_gives_the_same_either_way(monkeypatch):
    plain = scan(DEMO_LOG, events=DEMO_EVENTS, zone=UTC)
    monkeypatch.setattr(scanning, "COMPILED_FROM", 1)

    compiled = monitor_streams(plain.log.streams, plain.events, plain.catalogue)

    assert [result.key for result in compiled] == [result.key for result in plain.streams]
    for ours, theirs in zip(compiled, plain.streams, strict=True):
        assert ours.signals == theirs.signals
        assert ours.rule_signals == theirs.rule_signals
        assert (ours.forecast.risk_next or 0.0) == pytest.approx(theirs.forecast.risk_next or 0.0, rel=1e-9)


def test_small_logs_and_machines_without_the_compiler_go_the_plain_way(monkeypatch):
    assert not pays_to_compile(99_999)
    assert pays_to_compile(100_000)
    monkeypatch.setattr(scanning, "find_spec", lambda name: None)

    assert not pays_to_compile(100_000)
