"""From the tables of a catalogue file to its checks."""

from collections.abc import Iterable, Mapping
from typing import Literal, cast, get_args

from spc.catalogue.acceptance import Acceptance, LimitRule, Mark, plain_word
from spc.catalogue.check import EXPLAINING_EVENTS, LINE_EVENTS, RESETTING_EVENTS, AcceptanceAt, Check, Interval
from spc.catalogue.table import ON_CONDITION, Table, nearest, shown
from spc.errors import InputError
from spc.formats import label
from spc.records import NOT_RUN
from spc.rules import RULES, RuleSetting, rule_of
from spc.units import same_unit

RULE_FIELDS: Mapping[str, tuple[str, ...]] = {
    "none": (),
    "fixed": ("lower", "upper"),
    "percent_or_amperes": ("percent", "amperes"),
    "percent_of_full_scale": ("percent", "full_scale"),
    "minimum_at_reference": ("table",),
    "words": ("good", "bad"),
}
"""What each limit rule is made of."""

SIDES = ("low", "high", "any")
MEASURED_ALONE = (
    "unit", "unit_label", "chart", "decimals", "resolution", "possible", "baseline", "rules", "moving_range",
    "early_warning", "rules_signal",
)  # fmt: skip
"""Keys that say nothing of a judged check."""

ONCE = ("1 shift", "1 day", "1 week", "1 month", "1 year")
"""Intervals that are said without their number."""

_PERCENT_RULES = ("percent_or_amperes", "percent_of_full_scale")


def check_from(key: str, table: Table, defaults: Table) -> Check:
    """Return the check that `table` describes, with `defaults` where it says nothing.

    Raises:
        CatalogueError: a mistake, with file, key, value and remedy.
    """
    judged = table.one_of("kind", ("measured", "judged")) == "judged"
    if judged:
        _refuse_measured_keys(table)
    unit = "" if judged else table.text("unit")
    in_words = label(unit) if "unit_label" not in table.values else table.text("unit_label")
    charted = "none" if judged else table.one_of("chart", ("value", "magnitude", "deviation", "none"), default="value")
    on_chart = charted != "none"
    possible = table.named("possible")
    possible.only(("lower", "upper"))
    whole = Table(table.file, table.where, {**defaults.values, **table.values})
    check = Check(
        key=key,
        title=table.text("title"),
        kind="judged" if judged else "measured",
        unit=unit,
        unit_label=in_words,
        chart_unit="%" if charted == "deviation" else in_words,
        charted=cast(Literal["value", "magnitude", "deviation", "none"], charted),
        decimals=table.whole("decimals", least=0, most=9) if "decimals" in table.values else 0 if judged else 2,
        resolution=table.above_zero("resolution"),
        possible=_in_order(possible),
        acceptance=acceptance_from(table.named("acceptance"), judged=judged),
        interval=interval_from(table.named("interval")),
        baseline=whole.whole("baseline", least=2, most=1000),
        rules=rules_from(defaults.named("rules"), table.named("rules")) if on_chart else (),
        moving_range=whole.flag("moving_range") if on_chart else False,
        early_warning=whole.flag("early_warning") if on_chart else False,
        rules_signal=whole.flag("rules_signal") if on_chart else False,
        new_segment_on=_events(table, "new_segment_on", RESETTING_EVENTS),
        explained_by=_events(table, "explained_by", RESETTING_EVENTS | EXPLAINING_EVENTS),
        look_first=look_first_from(table.named("look_first")),
        obliges=whole.texts("obliges"),
        cautions=table.texts("cautions"),
        acceptance_at=acceptance_at_from(table, judged=judged),
    )
    _refuse_contradictions(check, table)
    return check


def _refuse_measured_keys(table: Table) -> None:
    for key in MEASURED_ALONE:
        if key in table.values:
            raise table.refused(key, f"{shown(table.values[key])} says nothing of a judged check; take it out")


def _in_order(table: Table) -> tuple[float | None, float | None]:
    lower, upper = table.number("lower"), table.number("upper")
    if lower is not None and upper is not None and lower > upper:
        raise table.refused("", f"lower {lower:g} is above upper {upper:g}; swap or correct them")
    return lower, upper


def acceptance_from(table: Table, *, judged: bool) -> Acceptance:
    """Return the acceptance limits that `table` gives; none at all where it is empty."""
    allowed = ("words",) if judged else tuple(rule for rule in RULE_FIELDS if rule != "words")
    rule = table.one_of("rule", allowed, default="words" if judged else "none")
    _refuse_other_fields(table, rule)
    lower, upper = _in_order(table)
    limits = Acceptance(
        rule=cast(LimitRule, rule),
        lower=lower,
        upper=upper,
        percent=table.above_zero("percent"),
        amperes=table.number("amperes"),
        full_scale=table.above_zero("full_scale"),
        table=_minimum_table(table),
        good=_words(table, "good"),
        bad=_words(table, "bad"),
        document=table.text("document") if "document" in table.values else None,
        revision=table.text("revision") if "revision" in table.values else None,
        mark=_mark(table),
        conflict=table.text("conflict", default=""),
    )
    _refuse_missing_fields(limits, table)
    return limits


def _refuse_other_fields(table: Table, rule: str) -> None:
    others = {field for fields in RULE_FIELDS.values() for field in fields} - set(RULE_FIELDS[rule])
    for field in table.values:
        if field in others:
            takes = " and ".join(RULE_FIELDS[rule]) or "nothing"
            raise table.refused(
                field, f"rule '{rule}' has no {field}, it takes {takes}; take it out or change the rule"
            )


def _refuse_missing_fields(limits: Acceptance, table: Table) -> None:
    fields = RULE_FIELDS[limits.rule]
    missing = [field for field in fields if getattr(limits, field) in (None, ())]
    if missing and (limits.rule != "fixed" or len(missing) == 2):
        raise table.refused("", f"rule '{limits.rule}' lacks {' and '.join(missing)}; add it, or choose rule \"none\"")
    if limits.amperes is not None and limits.amperes < 0:
        raise table.refused("amperes", f"{limits.amperes:g} is below 0; correct it")
    both = [word for word in limits.good if word in limits.bad]
    if both:
        raise table.refused("bad", f"'{both[0]}' stands under good too; keep it in one of them")


def _minimum_table(table: Table) -> tuple[tuple[float, float], ...]:
    rows = table.values.get("table", [])
    if not isinstance(rows, list) or not all(isinstance(row, list) and len(row) == 2 for row in rows):
        raise table.refused("table", f"{shown(rows)} is no list of pairs; write [[reference, minimum], ...]")
    pairs = tuple((table.finite("table", at), table.finite("table", least)) for at, least in rows)
    for place, (at, _) in enumerate(pairs):
        if at <= 0:
            raise table.refused("table", f"reference {at:g} is not above 0; correct it")
        if at in (earlier for earlier, _ in pairs[:place]):
            raise table.refused("table", f"reference {at:g} stands there twice; keep one minimum for it")
    return tuple(sorted(pairs))


def _words(table: Table, key: str) -> tuple[str, ...]:
    words = tuple(plain_word(word) for word in table.texts(key))
    if NOT_RUN in words:
        raise table.refused(key, f"'{NOT_RUN}' says that the line was not in operation; it is no verdict, take it out")
    return words


def _mark(table: Table) -> Mark:
    return cast(Mark, table.one_of("mark", get_args(Mark), default="none"))


def acceptance_at_from(table: Table, *, judged: bool) -> tuple[AcceptanceAt, ...]:
    """Return the limits of single lines and positions."""
    found: dict[tuple[str, str], AcceptanceAt] = {}
    for each in table.tables("acceptance_at"):
        line, position = each.text("line"), each.text("position", default="")
        if (line, position) in found:
            raise each.refused("", f"line '{line}', position '{position}' stands there twice; keep one of them")
        limits = {key: value for key, value in each.values.items() if key not in ("line", "position")}
        found[line, position] = AcceptanceAt(
            line, position, acceptance_from(Table(each.file, each.where, limits), judged=judged)
        )
    return tuple(found.values())


def interval_from(table: Table) -> Interval:
    """Return how often the check is due; on condition where `table` is empty."""
    if "every" not in table.values:
        return Interval(every=None, words=ON_CONDITION)
    length = table.interval("every")
    return Interval(
        every=length.every,
        words=table.text("words", default=_in_words(str(table.values["every"]))),
        document=table.text("document", default=""),
        mark=_mark(table),
        conflict=table.text("conflict", default=""),
        months=length.months,
        counted=length.counted,
        shifts=length.shifts,
    )


def _in_words(every: str) -> str:
    if every == ON_CONDITION:
        return every
    return f"every {every.removeprefix('1 ')}" if every in ONCE else f"every {every}"


def rules_from(*tables: Table) -> tuple[RuleSetting, ...]:
    """Return the run rules switched on, in table order; of two tables that name a rule, the later one counts."""
    settings: dict[str, RuleSetting | None] = {}
    for table in tables:
        table.only(RULES)
        settings |= {key: _rule(key, table) for key in table.values}
    return tuple(setting for key in RULES if (setting := settings.get(key)) is not None)


def _rule(key: str, table: Table) -> RuleSetting | None:
    if not isinstance(table.values[key], dict):
        return RULES[key].default if table.flag(key) else None
    own, default = table.named(key), RULES[key].default
    own.only(("count", "window", "width"))
    setting = RuleSetting(
        key,
        count=own.whole("count", least=1, most=1000) if "count" in own.values else default.count,
        window=own.whole("window", least=1, most=1000) if "window" in own.values else default.window,
        width=own.finite("width", own.values.get("width", default.width)),
    )
    try:
        rule_of(setting)
    except InputError as error:
        raise own.refused("", str(error)) from None
    return setting


def _events(table: Table, key: str, allowed: Iterable[str]) -> tuple[str, ...]:
    kinds = table.texts(key)
    for kind in kinds:
        if kind in LINE_EVENTS:
            raise table.refused(key, f"'{kind}' belongs to the line, not to a check; take it out")
        if kind not in allowed:
            raise table.refused(key, f"there is no event kind '{kind}' here; {nearest(kind, sorted(allowed))}")
    return kinds


def look_first_from(table: Table) -> Mapping[str, tuple[str, ...]]:
    """Return what to look at, in order, for readings that move low, high, or any way."""
    table.only(SIDES)
    return {side: table.texts(side) for side in SIDES if side in table.values}


def _refuse_contradictions(check: Check, table: Table) -> None:
    _refuse_limits_that_do_not_fit(check, check.acceptance, table.named("acceptance"))
    for at, each in zip(check.acceptance_at, table.tables("acceptance_at"), strict=True):
        _refuse_limits_that_do_not_fit(check, at.acceptance, each)
    twice = [kind for kind in check.explained_by if kind in check.new_segment_on]
    if twice:
        raise table.refused("explained_by", f"'{twice[0]}' stands under new_segment_on too; keep it in one of them")


def _refuse_limits_that_do_not_fit(check: Check, limits: Acceptance, table: Table) -> None:
    minima = (("table", least) for _, least in limits.table)
    for key, limit in (("lower", limits.lower), ("upper", limits.upper), *minima):
        if limit is not None and not _is_possible(check, limit):
            raise table.refused(key, f"{limit:g} lies outside 'possible' of the check; correct one of them")
    if limits.rule in _PERCENT_RULES and not (same_unit(check.unit, "A") and check.charted == "deviation"):
        raise table.refused("rule", f"rule '{limits.rule}' is for unit 'A' and chart 'deviation'; choose 'fixed'")
    if limits.rule in ("fixed", "minimum_at_reference") and check.charted == "deviation":
        choice = " or ".join(_PERCENT_RULES)
        raise table.refused("rule", f"rule '{limits.rule}' cannot be drawn in percent; choose {choice}")


def _is_possible(check: Check, value: float) -> bool:
    """Return whether the quantity can have this value at all."""
    lowest, highest = check.possible
    return (lowest is None or value >= lowest) and (highest is None or value <= highest)
