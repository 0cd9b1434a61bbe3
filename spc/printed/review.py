"""A review as a person reads it in a terminal: what its first page says."""

from rich.console import Group, RenderableType
from rich.text import Text

from spc.printed.table import heading, note, plain_table
from spc.review import Review
from spc.signals import subject
from spc.wording import in_figures


def review_printed(found: Review) -> Group:
    """Return the review of a period: what to do first, what changed, all streams."""
    parts: list[RenderableType] = [heading(f"Review of {found.period.words}"), Text("")]
    parts.append(heading("What to do first"))
    parts += [Text(f"{place}. {each.words}") for place, each in enumerate(found.findings, start=1)]
    if not found.findings:
        parts.append(Text("Nothing asks for a person."))
    parts += [Text(""), heading(f"Since {found.before.words}")]
    parts += [Text(f"- {words}") for words in found.changes] or [Text("Nothing notable changed.")]
    rows = []
    for stream in found.streams:
        ppk = stream.indices.ppk if stream.indices is not None else None
        word = stream.indices.word if stream.indices is not None else ""
        rows.append(
            (
                stream.key.line,
                subject(stream.result),
                stream.movement,
                word,
                str(stream.read),
                "" if ppk is None else f"{in_figures(ppk.value)} ({in_figures(ppk.lower)} to {in_figures(ppk.upper)})",
                str(len(stream.failures) or ""),
                str(stream.schedule.missed or ""),
            )
        )
    columns = ("line", "stream", "movement", "capability", "n", "Ppk", "failed", "missed")
    parts += [Text(""), plain_table(columns, rows, words=4), Text("")]
    said = f"Capable: the lower {100 * found.confidence:g} % limit of Ppk reaches {found.mark:g}."
    return Group(*parts, note(said), *map(note, found.notes))
