"""The life of a baseline: proposed by the program, reviewed and signed off by persons, one version after the other."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from spc.errors import StoreError
from spc.records import StreamKey
from spc.results import StreamResult, from_reset
from spc.signed_baseline import SignedBaseline
from spc.store.entries import Baseline, Entry
from spc.times import from_microseconds

FOLLOWS = {"reviewed": ("proposed",), "signed off": ("reviewed",), "withdrawn": ("proposed", "reviewed", "signed off")}
"""Which steps of a version each step may follow."""


def proposal(result: StreamResult, standing: Iterable[Baseline]) -> Baseline | None:
    """Return the baseline of the stream's current segment as a proposal; None until it is complete.

    Args:
        result: the stream as monitored.
        standing: the baselines of the stream so far, in the order in which they were written.
    """
    segment = from_reset(result.segments) if result.segments else None
    if segment is None or segment.limits is None or not segment.limits.complete:
        return None
    limits = segment.limits
    times = result.charted.taken_at[segment.first : segment.first + limits.n_baseline]
    return Baseline(
        key=result.key,
        version=1 + max((each.version for each in standing if each.key == result.key), default=0),
        step="proposed",
        first=from_microseconds(int(times[0])),
        last=from_microseconds(int(times[-1])),
        n=limits.n_baseline,
        centre_line=limits.centre_line,
        sigma=limits.sigma,
        lower=limits.lower,
        upper=limits.upper,
        unit=result.check.chart_unit,
    )


def signed_baselines(entries: Iterable[Entry[Baseline]], key: StreamKey) -> tuple[SignedBaseline, ...]:
    """Return the versions of a stream's baseline that a person signed off, as the monitor takes them.

    A version holds from the moment that was named when it was signed off, else from the moment of signing on; one that
    was withdrawn holds until then, so that what the chart said meanwhile stays as it was said.

    Args:
        entries: of baselines, in the order in which they were written.
        key: the stream.
    """
    found: dict[int, SignedBaseline] = {}
    for entry in entries:
        each = entry.record
        if each.key != key:
            continue
        if each.step == "signed off":
            found[each.version] = SignedBaseline(
                version=each.version,
                first=each.first,
                last=each.last,
                n=each.n,
                centre_line=each.centre_line,
                sigma=each.sigma,
                lower=each.lower,
                upper=each.upper,
                valid_from=each.valid_from or entry.at,
                signed_by=each.by,
                signed_at=entry.at,
                unit=each.unit,
                words=each.words,
                left_out=each.left_out,
            )
        elif each.step == "withdrawn" and each.version in found:
            found[each.version] = replace(found[each.version], valid_until=each.valid_from or entry.at)
    return tuple(found.values())


def check_step(new: Baseline, standing: Sequence[Baseline]) -> None:
    """Refuse a step that does not follow from those written before.

    Args:
        new: the step.
        standing: the baselines of the stream so far, in the order in which they were written.

    Raises:
        StoreError: a version is left out, a step is, the numbers are not those proposed, or no person is named.
    """
    mine = [each for each in standing if each.key == new.key]
    where = f"{new.key}: baseline {new.version}"
    if new.step == "proposed":
        due = 1 + max((each.version for each in mine), default=0)
        if new.version != due:
            raise StoreError(f"{where} cannot be proposed: the next version is {due}; propose that one")
        return
    versions = [each for each in mine if each.version == new.version]
    before = versions[-1] if versions else None
    if before is None or before.step not in FOLLOWS[new.step]:
        stands = before.step if before else "not there"
        raise StoreError(f"{where} cannot be {new.step}: it is {stands}; {' or '.join(FOLLOWS[new.step])} comes first")
    if not new.by.strip():
        raise StoreError(f"{where} cannot be {new.step} by nobody; name the person")
    if new.step == "signed off" and new.valid_from is not None and new.valid_from <= new.last:
        raise StoreError(
            f"{where} cannot hold from {new.valid_from.isoformat()}: its last reading was taken at "
            f"{new.last.isoformat()}, and no limit looks ahead; name a later moment"
        )
    if _numbers(new) != _numbers(before):
        raise StoreError(f"{where} cannot be {new.step} with other numbers than proposed; propose a new version")


def _numbers(baseline: Baseline) -> tuple[object, ...]:
    limits = (baseline.centre_line, baseline.sigma, baseline.lower, baseline.upper)
    return (baseline.first, baseline.last, baseline.n, *limits, baseline.left_out, baseline.unit)


def in_use(baselines: Iterable[Baseline], key: StreamKey) -> Baseline | None:
    """Return the newest version of a stream's baseline that is signed off and not withdrawn; None where there is none.

    Args:
        baselines: in the order in which they were written.
        key: the stream.
    """
    last = {each.version: each for each in baselines if each.key == key}
    signed = [version for version, each in last.items() if each.step == "signed off"]
    return last[max(signed)] if signed else None
