"""A scan by compiled loops on several threads: the same results, in the same order, as by the plain ones."""

import sys
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from spc import early_warning, monitor
from spc.as_of import as_of
from spc.early_warning import early_warning_compiled as compiled_warning
from spc.monitor import pays_to_compile
from spc.scan import monitor_streams, scan
from spc.times import from_microseconds

DATASETS = Path(__file__).parents[2] / "datasets"
DEMO_LOG, DEMO_EVENTS = DATASETS / "demo-log.csv", DATASETS / "demo-events.csv"


def test_the_demo_line_gives_the_same_either_way(monkeypatch):
    plain = scan(DEMO_LOG, events=DEMO_EVENTS, zone=UTC)
    monkeypatch.setattr(monitor, "COMPILED_FROM", 1)

    compiled = monitor_streams(plain.log.streams, plain.events, plain.catalogue)

    assert [result.key for result in compiled] == [result.key for result in plain.streams]
    for ours, theirs in zip(compiled, plain.streams, strict=True):
        assert ours.signals == theirs.signals
        assert ours.rule_signals == theirs.rule_signals
        assert (ours.forecast.risk_next or 0.0) == pytest.approx(theirs.forecast.risk_next or 0.0, rel=1e-9)


def test_small_logs_and_machines_without_the_compiler_go_the_plain_way(monkeypatch):
    monkeypatch.delitem(sys.modules, "spc.kernels.drift", raising=False)
    assert not pays_to_compile(99_999)
    assert pays_to_compile(100_000)
    monkeypatch.setattr(monitor, "find_spec", lambda name: None)

    assert not pays_to_compile(100_000)


def test_loops_that_are_loaded_pay_early(monkeypatch):
    monkeypatch.setitem(sys.modules, "spc.kernels.drift", monitor)

    assert not pays_to_compile(999)
    assert pays_to_compile(1_000)


def test_a_stream_with_rows_ahead_of_the_clock_is_cut_by_compiled_loops_too(monkeypatch):
    result = max(scan(DEMO_LOG, events=DEMO_EVENTS, zone=UTC).streams, key=lambda each: len(each.signals))
    halfway = from_microseconds(int(result.readings.taken_at[len(result.readings) // 2]))
    monkeypatch.delitem(sys.modules, "spc.kernels.drift", raising=False)
    plain = as_of(result, halfway)
    monkeypatch.setattr(monitor, "COMPILED_FROM", 1)
    monkeypatch.setattr(monitor, "LOADED_FROM", 1)
    loops = []

    def counted(*given):
        loops.append(given)
        return compiled_warning(*given)

    monkeypatch.setattr(early_warning, "early_warning_compiled", counted)

    cut = as_of(replace(result), halfway)  # another one: what was cut before is kept

    assert len(loops) == 1
    assert plain.signals
    assert cut.signals == plain.signals
    assert cut.rule_signals == plain.rule_signals
