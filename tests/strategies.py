"""What the property tests draw their readings from."""

import numpy as np
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from spc.rules import RULES, RuleSetting

MEASURED = st.floats(-1e6, 1e6, allow_nan=False)
"""One reading of any stream."""

READINGS = st.lists(MEASURED, min_size=2, max_size=60)
"""Readings of a stream, none missing."""

READINGS_WITH_GAPS = st.lists(MEASURED | st.just(np.nan), min_size=0, max_size=60)
"""Readings of a stream, some not taken."""

SIGMAS = st.integers(-40, 40).map(lambda tenths: tenths / 10)
"""Distances from the centre line: often on a line, often tied."""


@st.composite
def intervals(draw: st.DrawFn, *, max_size: int = 60):
    """Return (z_low, z_high) of readings: most exact, some known to lie between two distances, some missing."""
    n = draw(st.integers(0, max_size))
    low = draw(hnp.arrays(np.float64, n, elements=SIGMAS))
    kind = draw(hnp.arrays(np.int64, n, elements=st.sampled_from([0, 0, 0, 0, 1, 2, 3, 4])))
    wide = draw(hnp.arrays(np.float64, n, elements=st.sampled_from([0.1, 0.5, 3.0])))
    high = np.where(kind == 1, low + wide, low)
    high = np.where(kind == 2, np.inf, high)
    low = np.where(kind == 3, -np.inf, low)
    return np.where(kind == 4, np.nan, low), np.where(kind == 4, np.nan, high)


@st.composite
def rule_settings(draw: st.DrawFn):
    """Return one rule with parameters that can be: short enough to fire often."""
    rule = RULES[draw(st.sampled_from(list(RULES)))]
    count = draw(st.integers(rule.lead + 1, 5))
    window = count if rule.in_a_row else draw(st.integers(count, 7))
    width = draw(st.sampled_from([0.5, 1.0, 2.0, 3.0])) if rule.needs_width else 0.0
    return RuleSetting(rule.key, count, window, width)
