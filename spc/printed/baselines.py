"""Baselines that were signed for, and who changed what, as a person reads it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import tzinfo

from rich.console import Group, RenderableType
from rich.text import Text

from spc.baseline_book import ReviewedReadings, Version
from spc.catalogue.check import Catalogue
from spc.printed.table import heading, note, plain_table
from spc.records import StreamKey
from spc.results import StreamResult
from spc.store.history import Change
from spc.wording import level_text, short, time_text, with_unit

HOLDS = (
    "A baseline that is signed off sets the control limits from the moment it is valid from until a newer one does, it "
    "is withdrawn, or something done to the line starts a new segment. The early warning learns by itself."
)


def baselines_printed(
    found: Mapping[StreamKey, Sequence[Version]],
    reviewed: tuple[StreamResult, ReviewedReadings] | None,
    zone: tzinfo,
) -> Group:
    """Return the versions of each stream's baseline, and what speaks against the readings of a new one."""
    parts: list[RenderableType] = []
    for key, versions in found.items():
        parts.append(heading(str(key)))
        columns = ("version", "step", "by", "when", "centre", "limits", "readings", "valid from", "in words")
        rows = [row for version in versions for row in _rows(version, zone)]
        parts += [plain_table(columns, rows, words=9), Text("")]
    if not found:
        parts.append(Text("No baseline was proposed; every chart uses its segment's own readings."))
    if reviewed is not None:
        parts += _review(*reviewed, zone)
    return Group(*parts, note(HOLDS))


def _rows(version: Version, zone: tzinfo) -> Iterator[tuple[str, ...]]:
    for entry in version.steps:
        each = entry.record
        left_out = f", {len(each.left_out)} left out" if each.left_out else ""
        valid = time_text(each.valid_from or entry.at, zone) if each.step in ("signed off", "withdrawn") else ""
        yield (
            str(each.version),
            each.step,
            each.by,
            time_text(entry.at, zone),
            with_unit(short(each.centre_line), each.unit),
            f"{short(each.lower)} to {short(each.upper)}",
            f"{each.n}{left_out}",
            valid,
            each.words,
        )


def _review(result: StreamResult, reviewed: ReviewedReadings, zone: tzinfo) -> Iterator[RenderableType]:
    review, check = reviewed.review, result.check
    first, last = time_text(reviewed.first, zone), time_text(reviewed.last, zone)
    yield heading(f"Review of {review.n} readings, {first} to {last}")
    limits = review.limits
    yield Text(f"Limits {level_text(limits.lower, check)} to {level_text(limits.upper, check)}, all readings taken.")
    for proposal, times in zip(review.proposals, reviewed.times, strict=True):
        named = ", ".join(time_text(at, zone) for at in times[:3]) + (" ..." if len(times) > 3 else "")
        yield Text(f"- {named}: {proposal.sentence}")
    for concern in review.concerns:
        yield Text(f"- {concern}")
    if review.sound:
        yield Text("Nothing speaks against them.")
    elif review.limits_if_followed is not None and review.proposals:
        without = review.limits_if_followed
        yield Text(
            f"Without those in question: {level_text(without.lower, check)} to {level_text(without.upper, check)}. "
            "Leave a reading out only for a cause that was found."
        )
    yield Text("")


def history_printed(shown: Sequence[Change], in_all: int, zone: tzinfo, catalogue: Catalogue) -> Group:
    """Return who changed what, the latest last."""
    if not shown:
        return Group(Text("Nothing was written about it."))
    return Group(
        *_changes(shown, zone, catalogue),
        *([note(f"The latest {len(shown)} of {in_all}.")] if in_all > len(shown) else []),
    )


def _changes(shown: Iterable[Change], zone: tzinfo, catalogue: Catalogue) -> Iterator[RenderableType]:
    columns = ("entry", "written", "who", "about", "what")
    rows = [
        (str(each.entry), time_text(each.at, zone), each.who, each.about_words(catalogue), each.words) for each in shown
    ]
    yield plain_table(columns, rows, words=5)
