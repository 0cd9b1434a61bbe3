"""Acceptance limits as decisions: which limits a reading of a stream is judged by, on its own day."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import Catalogue, Check
from spc.errors import StoreError
from spc.records import StreamKey
from spc.store.entries import LimitDecision

BEGINNING = datetime.min.replace(tzinfo=UTC)
"""Before every reading."""


def decided_for(decisions: Iterable[LimitDecision], key: StreamKey) -> tuple[tuple[datetime, Acceptance], ...]:
    """Return the limits of a stream with the moment each is valid from, in order of time.

    Args:
        decisions: in the order in which they were written; of two for the same place and moment the later one counts.
        key: the stream. A decision for its position counts before one for its line, and that before one for the check.
    """
    places: dict[tuple[str, str], dict[datetime, Acceptance]] = {}
    for each in decisions:
        if each.check == key.check and each.line in ("", key.line) and each.position in ("", key.position):
            places.setdefault((each.line, each.position), {})[each.valid_from] = each.acceptance
    moments = sorted({moment for dated in places.values() for moment in dated})
    found = [(moment, _nearest(places, moment)) for moment in moments]
    return tuple(each for i, each in enumerate(found) if i == 0 or each[1] != found[i - 1][1])


def _nearest(places: dict[tuple[str, str], dict[datetime, Acceptance]], at: datetime) -> Acceptance:
    """Return the limits at `at` of the narrowest place that has any."""
    for place in sorted(places, key=lambda place: (place[1] != "", place[0] != ""), reverse=True):
        valid = [moment for moment in places[place] if moment <= at]
        if valid:
            return places[place][max(valid)]
    raise AssertionError("a moment at which no decision is valid")


def decided_check(decisions: Iterable[LimitDecision], check: Check, key: StreamKey, last: datetime) -> Check:
    """Return `check` as a stream uses it under the decisions: every reading is judged by the limits of its own day.

    Args:
        decisions: in the order in which they were written.
        check: the catalogue's, whose limits hold before the first decision.
        key: the stream.
        last: time of its last reading, whose limits are shown as those that stand.
    """
    decided = decided_for(decisions, key)
    if not decided:
        return check
    since = ((BEGINNING, check.acceptance_for(key)), *decided)
    stands = [acceptance for moment, acceptance in since if moment <= last][-1]
    return replace(check, acceptance=stands, acceptance_at=(), acceptance_since=since)


def decisions_of(
    catalogue: Catalogue,
    standing: Sequence[LimitDecision],
    *,
    valid_from: datetime,
    confirmed_by: str,
    why: str = "",
) -> tuple[LimitDecision, ...]:
    """Return the decisions that a site's catalogue makes: its confirmed limits that do not stand already.

    Raises:
        StoreError: no limit of the catalogue names its document and revision.
    """
    stated = [
        LimitDecision(check.key, line, position, acceptance, valid_from, confirmed_by, why)
        for check in catalogue.checks.values()
        for line, position, acceptance in (
            ("", "", check.acceptance),
            *((at.line, at.position, at.acceptance) for at in check.acceptance_at),
        )
        if acceptance.confirmed
    ]
    if not stated:
        raise StoreError(f"{catalogue.source}: confirms no limit; name document and revision beside the limits first")
    return tuple(each for each in stated if not _stands(each, standing))


def _stands(new: LimitDecision, standing: Sequence[LimitDecision]) -> bool:
    """Return whether the last decision for the place, valid at the moment of `new`, says the same."""
    place = (new.check, new.line, new.position)
    before = [
        each
        for each in standing
        if (each.check, each.line, each.position) == place and each.valid_from <= new.valid_from
    ]
    last = max(enumerate(before), key=lambda pair: (pair[1].valid_from, pair[0]), default=None)
    return last is not None and last[1].acceptance == new.acceptance
