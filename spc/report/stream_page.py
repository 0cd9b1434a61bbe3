"""One page of a review: a stream, its chart, its distribution, its indices or why there are none, what comes next."""

from collections.abc import Iterator

from spc.figures.capability import capability_figure, quantile_capability_figure
from spc.figures.frame import Screen
from spc.figures.stream import stream_figure
from spc.figures.window import Window
from spc.report.document import Block, Facts, Picture, Section, Table, Words, file_name
from spc.review import Indices, Period, StreamReview
from spc.signals import subject
from spc.stream_facts import baseline_facts, forecast_words
from spc.wording import bounds_text, chart_name, in_figures, level_text, number, source_text, time_text, with_unit

PAPER = Screen(theme="light", width=840)
"""What the charts are drawn for: the width of the page at a letter size that can be read."""

MOVEMENTS = {
    "stable": "no signal in the period",
    "moved": "moved, and no signal goes on",
    "moving": "moving at the end of the period",
    "learning": "control limits are being learnt",
    "judged": "judged by words; no chart of numbers",
    "no readings": "no readings in the period",
}


def stream_section(stream: StreamReview, period: Period) -> Section:
    """Return the page of one stream."""
    title = f"{stream.key.line}: {subject(stream.result)}"
    return Section(title, tuple(_blocks(stream, period)), level=2)


def _blocks(stream: StreamReview, period: Period) -> Iterator[Block]:
    name = file_name(stream.key.line, stream.key.check, stream.key.position)
    yield Facts(tuple(_facts(stream, period)))
    if stream.read:
        window = Window(period.start, period.stop)
        yield Picture(
            f"{name}-chart",
            f"{subject(stream.result)}, {period.words}: readings and their limits",
            lambda: stream_figure(stream.result, zone=period.zone, window=window, screen=PAPER),
            _chart_caption(stream),
        )
    if stream.indices is not None:
        yield from _capability(stream, stream.indices, period, name)
    for each in stream.episodes:
        steps = "; ".join(f"{step.step}: {step.words} ({step.by})" for step in each.steps)
        yield Words(f"{each.episode.sentence} {steps or 'Nothing is written down about it.'}", "note")
    if stream.result.check.charted != "none":
        yield Words("What comes next if nothing is done", "sub")
        yield Words(" ".join(forecast_words(stream.result.forecast, period.zone)))


def _facts(stream: StreamReview, period: Period) -> Iterator[tuple[str, str]]:
    check = stream.result.check
    asked = bounds_text(check.acceptance, check)
    yield "Asked", "; ".join(filter(None, (asked, source_text(check.acceptance))))
    if len(stream.limits) > 1:
        for each in stream.limits:
            days = f"{time_text(each.first, period.zone)} to {time_text(each.last, period.zone)}"
            yield "In force", f"{each.words}; {each.source}; {days}, {each.n} readings"
    not_run = f", of them {stream.not_run} “not in operation”" if stream.not_run else ""
    yield "Readings", f"{stream.read} in {period.words}{not_run}; {MOVEMENTS[stream.movement]}"
    if stream.mean is not None and stream.least is not None and stream.most is not None:
        low, high = (number(each, check.decimals) for each in (stream.least, stream.most))
        spread = with_unit(f"{low} to {high}", check.chart_unit)
        yield chart_name(check), f"mean {level_text(stream.mean, check)}, from {spread}"
    schedule = stream.schedule
    if schedule.asked or schedule.not_in_operation:
        idle = f", {schedule.not_in_operation} not in operation" if schedule.not_in_operation else ""
        yield "Checks due", f"{schedule.done} in time, {schedule.late} late, {schedule.missed} missed{idle}"
    failing = "; has not passed since" if stream.failing is not None else ""
    yield "Failed checks", f"{len(stream.failures) or 'none'}{failing}"
    if stream.outside is not None:
        found = stream.outside
        sure = f"{100 * found.confidence:g} % limits"
        low, high = in_figures(100 * found.lower), in_figures(100 * found.upper)
        method = "counted, Clopper-Pearson"
        yield (
            "Outside",
            f"{in_figures(100 * found.outside)} % of {found.n} readings; {sure} {low} to {high} % ({method})",
        )
    for what, words in baseline_facts(stream.result, period.zone):
        if what in ("Segment since", "Control limits", "Sigma"):
            yield what, words


def _chart_caption(stream: StreamReview) -> str:
    if not len(stream.result.charted.x):
        return "Verdicts as written down, in order of time."
    return (
        "Individuals over moving ranges. Solid: centre line; dashed: control limits of each segment; heavy: acceptance "
        "limits. Shaded: baseline. Filled diamonds: early warning; open rings: run rules, drawn only; open triangles: "
        "failed checks."
    )


def _capability(stream: StreamReview, found: Indices, period: Period, name: str) -> Iterator[Block]:
    result, check = stream.result, stream.result.check
    yield Words("Capability", "sub")
    if found.refusals:
        heading = "No index is given. " if found.word == "refused" else ""
        yield Words(heading + found.words)
        return
    since = time_text(found.since, period.zone) if found.since else ""
    source = source_text(check.acceptance)
    yield Words(found.words)
    x = result.charted.x[found.first : found.stop]
    what, unit = chart_name(check), check.chart_unit
    if found.normal is not None:
        normal = found.normal
        draw = lambda: capability_figure(x, normal, what=what, unit=unit, screen=PAPER)  # noqa: E731 - of this very result
    else:
        assert found.quantile is not None
        quantile = found.quantile
        draw = lambda: quantile_capability_figure(x, quantile, what=what, unit=unit, screen=PAPER)  # noqa: E731
    yield Picture(
        f"{name}-capability", f"{what}: distribution against the acceptance limits, and indices", draw,
        f"{found.n} readings since {since} ({found.because.replace('_', ' ')}). Method: {found.method}. "
        f"Limits: {source}.", "most",
    )  # fmt: skip
    confidence = f"{100 * found.indices[0].confidence:g} %"
    yield Table(
        f"{name}-indices",
        ("index", "value", f"{confidence} lower", f"{confidence} upper", "n", "method of its limits"),
        tuple((each.name, each.value, each.lower, each.upper, found.n, each.method) for each in found.indices),
        wide=(5,),
    )
    resolution = [found.resolution.statement] if found.resolution is not None else []
    statement = (found.normal or found.quantile).statement  # type: ignore[union-attr]  # one of both is there
    for words in (statement, *resolution, *found.notes):
        yield Words(words, "note")
