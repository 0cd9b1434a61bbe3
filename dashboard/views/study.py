"""What the page of the measurement study shows: words and numbers ready for people."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class PlanShown:
    """A plan: what the form holds, and the readings in the order in which they are made."""

    parts: str
    operators: str
    rounds: str
    seed: str
    rows: tuple[tuple[str, str, str, str], ...] = ()  # order, round, part, operator
    problem: str = ""  # why there is no plan
    csv_href: str = ""


@dataclass(frozen=True, slots=True)
class StudyTold:
    """What the readings of a study say."""

    headline: str
    facts: tuple[tuple[str, str], ...]
    components: tuple[tuple[str, str, str, str], ...]  # name, standard deviation, its limits, share of the variance
    confidence: str
    anova: tuple[tuple[str, ...], ...]
    statements: tuple[str, ...]
    notes: tuple[str, ...]
    method: str
    asked: dict[str, Any]  # what the figure is drawn from
