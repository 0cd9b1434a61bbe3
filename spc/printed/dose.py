"""A suggestion for a bath, as a person reads it."""

from datetime import tzinfo

from rich.console import Group
from rich.padding import Padding
from rich.text import Text

from spc.dose import Dose
from spc.dose_words import STANDING, dose_headline, dose_sentences
from spc.printed.table import heading, note, unread_rows


def dose_printed(dose: Dose, zone: tzinfo, *, unread: tuple[int, int] = (0, 0)) -> Group:
    """Return what to do, and below it what that rests on.

    Args:
        dose: a suggestion.
        zone: of the times shown.
        unread: rows of the log and of the event file that could not be read.
    """
    sentences = [sentence for sentence in dose_sentences(dose, zone) if sentence != STANDING]
    return Group(
        heading(str(dose.key)),
        Text(dose_headline(dose), style="bold"),
        *(Padding(Text(sentence), (0, 0, 0, 2)) for sentence in sentences),
        *(Padding(Text(sentence), (0, 0, 0, 2)) for sentence in unread_rows(*unread)),
        Text(""),
        note(STANDING),
    )
