"""Run rules of a control chart: which readings show that the process moved.

A rule looks at each reading's distance from the centre line in sigmas, z, and sets or does not set a flag. It signals
at a reading whose flag is set when at least `count` of the last `window` flags are. The published texts leave the
following open; these are our choices:

- *Beyond*, *above*, *below* and *within* are strict. A reading on a line (to 1e-9 sigma, see `in_sigmas`) is neither
  beyond nor within, and one on the centre line is on neither side.
- Two equal readings in a row are a tie. A tie breaks a trend and an alternation.
- A trend or an alternation of n counts n readings, hence n - 1 differences.
- The reading that signals must itself show the pattern (of "2 of 3 beyond", the last one is beyond); it need not wait
  for a full window (two in a row suffice).
- The two sides are never pooled, except by `close_to_centre`, `away_from_centre` and `alternating`, which have no side.
- A missing reading and the first reading of a new segment clear every history.
- Every reading that completes a pattern signals. With `restart`, a rule forgets all readings up to its own signal.
- Of a reading known only to lie in an interval ("<0.05"), a flag is set only when it is certain for the whole interval;
  a difference of uncertain sign is a tie.

The keys are our own.
"""

from spc.rules.batch import Hits, run_rules
from spc.rules.distance import in_sigmas, in_sigmas_one
from spc.rules.sets import RULE_SETS, RuleSet
from spc.rules.step import RuleState, step
from spc.rules.table import (
    ALL_EIGHT,
    DEFAULT_RULES,
    HIGH,
    LOW,
    NO_SIDE,
    RULES,
    Rule,
    RuleSetting,
    describe,
    rule_of,
)

__all__ = [
    "ALL_EIGHT",
    "DEFAULT_RULES",
    "HIGH",
    "LOW",
    "NO_SIDE",
    "RULES",
    "RULE_SETS",
    "Hits",
    "Rule",
    "RuleSet",
    "RuleSetting",
    "RuleState",
    "describe",
    "in_sigmas",
    "in_sigmas_one",
    "rule_of",
    "run_rules",
    "step",
]
