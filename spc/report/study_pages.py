"""A measurement study on paper: the plan to fill in, and the result."""

from datetime import datetime, tzinfo

from spc.figures.gauge import gauge_figure
from spc.report.document import Block, Document, Facts, Picture, Section, Signatures, Table, Words, file_name
from spc.report.stream_page import PAPER
from spc.study import StudyPlan, StudyResult
from spc.wording import in_figures, time_text, with_unit

BEFORE_READING = (
    "Readings are made in this order, by the person named, without looking at earlier ones. The usual cautions of the "
    "work apply: UV-A, currents and arcs, strong fields, solvents; the written procedure and local rules decide."
)


def study_section(found: StudyResult) -> Section:
    """Return the page of a study's result."""
    study, unit = found.study, found.unit
    name = file_name("study", found.title)
    share = study.share_of_tolerance
    facts = [
        ("Readings", f"{study.n}: {study.parts} parts by {study.operators} operators"),
        ("Method", study.method),
        ("Interaction", study.interaction),
        ("Distinct categories", "no bound" if study.categories is None else str(study.categories)),
    ]
    if share is not None:
        facts.append(
            ("Six gauge sigmas", f"{in_figures(100 * share)} % of the width between the acceptance limits")
        )  # fmt: skip
    sure = f"{100 * study.confidence:g} %"
    components = Table(
        f"{name}-components",
        ("component", f"standard deviation, {unit}" if unit else "standard deviation", f"{sure} lower", f"{sure} upper",
         "share of the variance, %", "method"),
        tuple(
            (each.name, each.sd, each.lower**0.5, each.upper**0.5, 100 * each.share, each.method)
            for each in study.components
        ),
        "Where the variation comes from",
    )  # fmt: skip
    anova = Table(
        f"{name}-variance",
        ("source", "sum of squares", "df", "mean square", "F", "p value"),
        tuple((a.source, a.sum_of_squares, a.df, a.mean_square, a.f, a.p_value) for a in study.anova),
        "Analysis of variance",
    )
    picture = Picture(
        f"{name}-figure",
        f"{found.title}: components and readings",
        lambda: gauge_figure(
            found.readings.values, found.readings.parts, found.readings.operators, study,
            what=found.what, unit=unit, screen=PAPER,
        ),
    )  # fmt: skip
    said: list[Block] = [Words(words) for words in study.statements]
    if study.divisions is not None and study.divisions.statement not in study.statements:
        said.append(Words(study.divisions.statement))
    said += [Words(note, "note") for note in found.readings.notes]
    title = f"Measurement study: {found.title}" if found.title != "Measurement study" else found.title
    return Section(title, (Facts(tuple(facts)), *said, picture, components, anova))


def study_document(found: StudyResult, *, site: str, now: datetime, zone: tzinfo) -> Document:
    """Return the result of one study as a document."""
    section = study_section(found)
    return Document(
        title="Measurement study",
        site=site,
        period=with_unit(found.what, f"({found.unit})" if found.unit else ""),
        made=time_text(now, zone),
        made_iso=now.astimezone(zone).isoformat(timespec="seconds"),
        opening=Section(found.title, (*section.blocks, Signatures(("Made by", "Reviewed by", "Responsible Level 3")))),
        sections=(),
    )


def plan_document(plan: StudyPlan, *, site: str, what: str, unit: str, now: datetime, zone: tzinfo) -> Document:
    """Return a plan as a sheet to print and fill in."""
    column = f"value, {unit}" if unit else "value"
    table = Table(
        "plan",
        ("order", "round", "part", "operator", column, "remark"),
        tuple((each.order, each.round, each.part, each.operator, "", "") for each in plan.readings),
        wide=(4, 5),
    )
    facts = Facts(
        (
            ("What is read", with_unit(what, f"({unit})" if unit else "")),
            ("Readings", f"{len(plan.readings)}: {len(plan.parts)} parts, {len(plan.operators)} operators, "
                         f"{plan.rounds} rounds"),
            ("Order", f"drawn by lot, seed {plan.seed}; each round holds every pair once"),
        )
    )  # fmt: skip
    return Document(
        title="Measurement study: sheet",
        site=site,
        period=f"{len(plan.readings)} readings",
        made=time_text(now, zone),
        made_iso=now.astimezone(zone).isoformat(timespec="seconds"),
        opening=Section(
            "Readings to be made", (facts, Words(BEFORE_READING, "caution"), table, Signatures(("Read by", "Date")))
        ),
        sections=(),
    )
