"""The capability review: a period of several streams, judged and held against the period before.

`review()` in `whole.py` is the door; its result, `Review`, is what the report prints and the manager's page shows.
"""

from spc.review.capable import CAPABLE, CapabilityWord, Indices, Refusal
from spc.review.findings import Finding
from spc.review.period import Period, period_before
from spc.review.stream import ScheduleCount, SignalStep, StreamReview
from spc.review.whole import Review, review

__all__ = [
    "CAPABLE",
    "CapabilityWord",
    "Finding",
    "Indices",
    "Period",
    "Refusal",
    "Review",
    "ScheduleCount",
    "SignalStep",
    "StreamReview",
    "period_before",
    "review",
]
