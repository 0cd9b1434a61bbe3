"""The baselines of a store: proposed with the readings they leave out, reviewed, signed off, withdrawn, read back."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np

from spc.arrays import IntArray
from spc.baseline import FEWEST, BaselineReview, review_baseline
from spc.charts.individuals import individuals_limits
from spc.errors import InputError
from spc.records import StreamKey
from spc.results import StreamResult, from_reset
from spc.signed_baseline import SignedBaseline
from spc.store.baselines import proposal, signed_baselines
from spc.store.entries import Baseline, Entry
from spc.store.store import Store
from spc.times import from_microseconds, to_microseconds

Step = Literal["reviewed", "signed off", "withdrawn"]
STEPS: tuple[Step, ...] = ("reviewed", "signed off", "withdrawn")


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a stream's baseline, with every step of its life."""

    steps: tuple[Entry[Baseline], ...]  # at least one, in order of time
    signed: SignedBaseline | None  # how the chart takes it, once it was signed off

    @property
    def stands(self) -> Baseline:
        """The version after its last step."""
        return self.steps[-1].record


def versions(store: Store, key: StreamKey | None = None) -> Mapping[StreamKey, tuple[Version, ...]]:
    """Return the versions of each stream's baseline, or of one stream's, the first ones first."""
    entries = store.records(Baseline, None if key is None else str(key))
    found: dict[StreamKey, dict[int, list[Entry[Baseline]]]] = {}
    for entry in entries:
        if key is None or entry.record.key == key:
            found.setdefault(entry.record.key, {}).setdefault(entry.record.version, []).append(entry)
    made = {}
    for each, numbered in found.items():
        signed = {version.version: version for version in signed_baselines(entries, each)}
        made[each] = tuple(Version(tuple(steps), signed.get(number)) for number, steps in sorted(numbered.items()))
    return made


@dataclass(frozen=True, slots=True)
class ReviewedReadings:
    """The readings that a baseline would be drawn from, and what speaks against them."""

    first: datetime
    last: datetime
    review: BaselineReview
    times: tuple[tuple[datetime, ...], ...]  # of the readings that each of `review.proposals` is about


def readings_reviewed(
    result: StreamResult,
    *,
    generator: np.random.Generator,
    first: datetime | None = None,
    last: datetime | None = None,
) -> ReviewedReadings:
    """Return what speaks against the readings of a baseline: which might be left out, and why.

    Args:
        result: the stream, as monitored.
        generator: for the p values of a step and a drift.
        first: of the readings; None: of the current segment.
        last: likewise; None: as many readings as the catalogue asks for.

    Raises:
        InputError: too few readings.
    """
    places = _places(result, first, last)
    charted = result.charted
    at = charted.taken_at[places]
    found = review_baseline(charted.x[places], generator=generator, resolution=_resolution(result, places))
    times = tuple(tuple(from_microseconds(int(at[i])) for i in each.indices) for each in found.proposals)
    return ReviewedReadings(from_microseconds(int(at[0])), from_microseconds(int(at[-1])), found, times)


def propose(
    store: Store,
    result: StreamResult,
    *,
    words: str = "",
    left_out: Mapping[datetime, str] | None = None,
    first: datetime | None = None,
    last: datetime | None = None,
    who: str,
    now: datetime,
) -> Baseline:
    """Keep a new version, proposed; return it. It sets no limit until a person has reviewed it and signed it off.

    Args:
        store: where it is kept.
        result: the stream, as monitored; the readings are those of its current segment.
        words: why these readings stand for the process as it should be.
        left_out: the cause by the time of each reading that is left out; a cause has to be given.
        first, last: as `readings_reviewed`.
        who: who proposes it.
        now: when.

    Raises:
        InputError: too few readings, a reading to leave out that is not among them, or no cause for it.
        StoreError: another version is proposed at the same moment.
    """
    standing = [entry.record for entry in store.records(Baseline, str(result.key))]
    record = _drawn(result, standing, dict(left_out or {}), first, last)
    causes = "; ".join(f"left out {at.isoformat()}: {cause.strip()}" for at, cause in sorted((left_out or {}).items()))
    record = replace(record, by=who, words="; ".join(filter(None, (words.strip(), causes))))
    store.append(record, who=who, now=now)
    return record


def take_step(
    store: Store,
    key: StreamKey,
    version: int,
    step: Step,
    *,
    words: str = "",
    valid_from: datetime | None = None,
    who: str,
    now: datetime,
) -> Baseline:
    """Keep that a version was reviewed, signed off or withdrawn; return it.

    Args:
        store: where it is kept.
        key: the stream.
        version: its version.
        step: what was done.
        words: why.
        valid_from: of signing off, from when on it sets the limits; of withdrawing, from when on it no longer does.
            None: from `now` on.
        who: the person.
        now: when.

    Raises:
        InputError: there is no such version, or it is withdrawn without a reason.
        StoreError: the step does not follow, or the version would hold for its own readings.
    """
    if step not in STEPS:
        raise InputError(f"there is no step {step!r}; there is {', '.join(STEPS)}")
    own = {each.stands.version: each.stands for each in versions(store, key).get(key, ())}
    if version not in own:
        there = f"there is {', '.join(map(str, own))}" if own else "none was proposed yet"
        raise InputError(f"{key}: there is no baseline version {version}; {there}")
    if step == "withdrawn" and not words.strip():
        raise InputError("withdrawing gives no reason; say why")
    when = None if step == "reviewed" else valid_from or now
    record = replace(own[version], step=step, by=who, words=words.strip(), valid_from=when)
    store.append(record, who=who, now=now)
    return record


def _places(result: StreamResult, first: datetime | None, last: datetime | None) -> IntArray:
    """Return the charted places of the readings that a baseline is drawn from, in time order."""
    if not result.segments:
        raise InputError(f"{result.key}: nothing is on its chart; a baseline needs {FEWEST} readings")
    start = from_reset(result.segments).first
    places = np.arange(start, len(result.charted.x))
    at = result.charted.taken_at[places]
    keep = np.ones(len(places), dtype=np.bool_)
    if first is not None:
        keep &= at >= to_microseconds(first)
    if last is not None:
        keep &= at <= to_microseconds(last)
    found = places[keep]
    if last is None:
        found = found[: result.check.baseline]
    if len(found) < FEWEST:
        since = from_microseconds(int(result.charted.taken_at[start])).isoformat()
        raise InputError(
            f"{result.key}: {len(found)} readings since its limits were started anew ({since}); "
            f"a baseline needs at least {FEWEST}"
        )
    return found


def _resolution(result: StreamResult, places: IntArray) -> float | None:
    step = float(np.mean(result.charted.resolution[places]))
    return None if np.isnan(step) else step


def _drawn(
    result: StreamResult,
    standing: list[Baseline],
    left_out: dict[datetime, str],
    first: datetime | None,
    last: datetime | None,
) -> Baseline:
    own = proposal(result, standing)
    if own is not None and not left_out and first is None and last is None:
        return own
    if own is None:
        raise InputError(f"{result.key}: its segment's own {result.check.baseline} readings are not complete yet")
    places = _places(result, first, last)
    at = result.charted.taken_at[places]
    x = result.charted.x[places].copy()
    for moment, cause in left_out.items():
        which = at == to_microseconds(moment)
        if not which.any():
            raise InputError(f"{result.key}: no reading of the baseline was taken at {moment.isoformat()}")
        if not cause.strip():
            raise InputError(f"the reading at {moment.isoformat()} is left out without a cause; say what was found")
        x[which] = np.nan
    left = int(np.count_nonzero(~np.isnan(x)))
    if left < FEWEST:
        raise InputError(f"{result.key}: {left} readings would be left; a baseline needs at least {FEWEST}")
    limits = individuals_limits(x, resolution=_resolution(result, places))
    return replace(
        own,
        first=from_microseconds(int(at[0])),
        last=from_microseconds(int(at[-1])),
        n=limits.n_baseline,
        centre_line=limits.centre_line,
        sigma=limits.sigma,
        lower=limits.lower,
        upper=limits.upper,
        left_out=tuple(sorted(left_out)),
    )
