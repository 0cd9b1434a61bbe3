"""When it started: the likeliest reading, those not ruled out, and the levels."""

from rich.console import Group

from spc.changepoint import DriftOnset, LevelChanges, Onset, StepChange
from spc.printed.table import facts, heading, note, plain_table, value
from spc.wording import in_figures


def step_change_printed(found: StepChange, unit: str = "") -> Group:
    """Return when the level moved."""
    rows = [("level before", value(found.before, unit)), ("level after", value(found.after, unit))]
    return Group(
        heading("One move of the level"), facts([*rows, *_when(found.when, unit)]), note(_coverage(found.when))
    )


def drift_onset_printed(found: DriftOnset, unit: str = "") -> Group:
    """Return when a drift began."""
    rows = [("level before", value(found.before, unit)), ("drift", f"{value(found.slope, unit)} a reading")]
    return Group(heading("Onset of a drift"), facts([*rows, *_when(found.when, unit)]), note(_coverage(found.when)))


def _when(when: Onset, unit: str) -> list[tuple[str, str]]:
    return [
        ("first reading off the old level", f"{when.index + 1} of {when.n}, the likeliest"),
        (f"{100 * when.confidence:g} % sure", f"reading {_numbers(when.index_set)}"),
        ("if nothing had moved, as likely as", in_figures(when.p_value, 2)),
        ("sigma", value(when.sigma, unit)),
    ]


def _coverage(when: Onset) -> str:
    error = in_figures(100 * when.coverage_error, 2)
    return (
        f"On readings like these the set holds the true one in {100 * when.coverage:.1f} % \N{PLUS-MINUS SIGN} {error}."
    )


def _numbers(indices: tuple[int, ...]) -> str:
    """Return readings by their numbers from 1, runs in a row joined: "24 to 28, 30"."""
    runs: list[list[int]] = []
    for index in sorted(indices):
        if runs and index == runs[-1][1] + 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    return ", ".join(f"{a + 1}" if a == b else f"{a + 1} to {b + 1}" for a, b in runs)


def level_changes_printed(found: LevelChanges, unit: str = "") -> Group:
    """Return every level of a long history."""
    many = len(found.indices)
    ends = [0, *found.indices, found.n]
    rows = [
        (str(first + 1), str(stop - first), value(level, unit))
        for first, stop, level in zip(ends[:-1], ends[1:], found.levels, strict=True)
    ]
    return Group(
        heading(f"{many} move{'s' * (many != 1)} of the level in {found.n} readings"),
        plain_table(("from reading", "readings", "level"), rows, words=0),
        note(f"{found.method}; sigma {value(found.sigma, unit)}, penalty {in_figures(found.penalty)} a move."),
    )
