"""Run rules of a control chart."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RuleSetting:
    """One run rule switched on, with its parameters."""

    key: str  # a key of RULES
    count: int  # readings that must show it ...
    window: int  # ... among this many in a row, the signalling one included
    width: float  # distance from the centre line in sigmas; 0 where the rule has none
