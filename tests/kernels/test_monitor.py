"""A stream monitored by compiled loops: the same result as by the plain ones."""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.monitor import monitor_stream
from spc.rules import ALL_EIGHT, RuleSetting
from tests.made import START, made_check, made_event, made_readings


@settings(max_examples=20)
@given(st.integers(0, 2**32), st.integers(0, 300), st.booleans())
def test_compiled_loops_change_nothing(seed, n, early):
    rng = np.random.default_rng(seed)
    values = np.round(0.2 + rng.normal(0, 0.02, n) + 0.05 * (rng.random() < 0.5) * (np.arange(n) > n / 2), 2)
    bounds = rng.choice([-1, 0, 1], n, p=[0.02, 0.97, 0.01])
    words = ["not run" if idle else "" for idle in rng.random(n) < 0.03]
    readings = made_readings(values.tolist(), bounds=bounds.tolist(), words=words)
    changed = [made_event("bath_changed", START + timedelta(hours=8 * int(at))) for at in rng.integers(0, 300, 2)]
    check = made_check(rules=ALL_EIGHT, early_warning=early, resolution=0.01)

    plain, compiled = (monitor_stream(readings, changed, check, compiled=way) for way in (False, True))

    same = {name: getattr(plain, name) for name in ("segments", "failures", "signals", "rule_signals", "events")}
    assert {name: getattr(compiled, name) for name in same} == same
    assert compiled.changes.keys() == plain.changes.keys()
    assert risks(compiled) == pytest.approx(risks(plain), rel=1e-9)


def risks(result):
    forecast = result.forecast
    said = (forecast.risk_next, forecast.risk_next_5, forecast.readings_p50)
    return [-1.0 if risk is None else risk for risk in said]


def test_a_rule_that_looks_back_too_far_goes_the_plain_way():
    far = RuleSetting("one_side", count=70, window=70, width=0)
    readings = made_readings([0.19, 0.21] * 10 + [0.23] * 90)

    plain, compiled = (monitor_stream(readings, (), made_check(rules=(far,)), compiled=way) for way in (False, True))

    assert len(plain.rule_signals) > 0
    assert compiled.rule_signals == plain.rule_signals
