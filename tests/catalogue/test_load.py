import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import Catalogue
from spc.catalogue.load import ACCEPTANCE_KEYS, CHECK_KEYS, catalogue_from, load_catalogue, starter
from spc.errors import CatalogueError
from spc.records import StreamKey
from spc.rules import RULES, RuleSetting

SOURCE = 'document = "MT-07"\nrevision = "C"\n'
BATH = "[check.bath_concentration]\n"
LIMITS = "[check.bath_concentration.acceptance]\n"
AMMETER = "[check.ammeter.acceptance]\n" + SOURCE
PLACE = '[[check.ring_holes.acceptance_at]]\nline = "Line B"\n'
OWN = '[check.washer]\ntitle = "Washer"\nkind = "measured"\nunit = "degC"\n'

Loader = Callable[[str], Catalogue]


@pytest.fixture
def load(tmp_path: Path) -> Loader:
    def load(text: str) -> Catalogue:
        path = tmp_path / "site.toml"
        path.write_text(text, encoding="utf-8")
        return load_catalogue(path)

    return load


def test_an_empty_file_changes_nothing(load, tmp_path):
    site = load("")

    assert site.checks == starter().checks
    assert site.source == str(tmp_path / "site.toml")


def test_naming_document_and_revision_confirms_the_limits_as_they_are(load):
    acceptance = load(LIMITS + SOURCE).checks["bath_concentration"].acceptance

    before = starter().checks["bath_concentration"].acceptance
    assert (acceptance.lower, acceptance.upper) == (before.lower, before.upper)
    assert (acceptance.document, acceptance.revision, acceptance.confirmed) == ("MT-07", "C", True)


def test_a_limit_overrides_itself_alone_and_leaves_other_checks_unconfirmed(load):
    site = load(LIMITS + "lower = 0.15\n" + SOURCE)

    acceptance = site.checks["bath_concentration"].acceptance
    assert (acceptance.rule, acceptance.lower, acceptance.upper, acceptance.mark) == ("fixed", 0.15, 0.4, "site")
    assert [key for key, check in site.checks.items() if check.acceptance.confirmed] == ["bath_concentration"]


def test_other_keys_of_a_check_do_not_confirm_its_limits(load):
    check = load(BATH + "resolution = 0.01\ndecimals = 2\n").checks["bath_concentration"]

    assert (check.resolution, check.decimals) == (0.01, 2)
    assert check.acceptance == starter().checks["bath_concentration"].acceptance


def test_a_limit_can_be_lifted(load):
    acceptance = load(LIMITS + 'upper = "none"\n' + SOURCE).checks["bath_concentration"].acceptance

    assert (acceptance.lower, acceptance.upper) == (0.1, None)


def test_a_site_chooses_the_ammeter_rule(load):
    text = AMMETER + 'rule = "percent_of_full_scale"\nfull_scale = 6000\n'
    acceptance = load(text).checks["ammeter"].acceptance

    assert (acceptance.rule, acceptance.percent, acceptance.full_scale) == ("percent_of_full_scale", 10.0, 6000.0)
    assert acceptance.amperes is None


def test_a_site_can_say_that_there_is_no_limit(load):
    acceptance = load(LIMITS + 'rule = "none"\n' + SOURCE).checks["bath_concentration"].acceptance

    assert (acceptance.rule, acceptance.lower, acceptance.upper, acceptance.confirmed) == ("none", None, None, True)


def test_rules_are_switched_on_and_off_and_changed(load):
    text = (
        "[check.bath_concentration.rules]\nnear_limit = false\noff_centre = true\none_side = {count = 8, window = 8}\n"
    )
    rules = load(text).checks["bath_concentration"].rules

    assert rules == (RULES["beyond_limits"].default, RULES["off_centre"].default, RuleSetting("one_side", 8, 8, 0))


def test_defaults_of_the_site_reach_every_charted_check(load):
    site = load("[defaults]\nbaseline = 25\nmoving_range = false\n[defaults.rules]\nsteady_trend = true\n")

    charted = [check for check in site.checks.values() if check.charted != "none"]
    assert {"bath_concentration", "viscosity", "ring_holes"} < {check.key for check in charted}
    assert all(check.baseline == 25 and not check.moving_range for check in charted)
    assert all(c.rules[-1].key == "steady_trend" for c in charted)
    assert [r.key for r in site.checks["viscosity"].rules] == [
        "beyond_limits",
        "near_limit",
        "one_side",
        "steady_trend",
    ]
    assert [r.key for r in site.checks["ring_holes"].rules] == ["beyond_limits", "steady_trend"]  # its own choice stays


def test_what_a_check_says_itself_counts_more_than_the_defaults(load):
    site = load(
        "[defaults]\nbaseline = 25\n" + BATH + "baseline = 30\n[check.bath_concentration.rules]\none_side = false\n"
    )

    assert site.checks["bath_concentration"].baseline == 30
    assert site.checks["viscosity"].baseline == 25
    assert "one_side" not in [rule.key for rule in site.checks["bath_concentration"].rules]


def test_obligations_of_the_site_reach_the_checks_that_name_none(load):
    site = load('[defaults]\nobliges = ["Call the Level 3."]\n')

    assert site.checks["timer"].obliges == ("Call the Level 3.",)
    assert site.checks["ammeter"].obliges == starter().checks["ammeter"].obliges


def test_one_direction_of_look_first_is_replaced_alone(load):
    look = load('[check.timer.look_first]\nlow = ["Relay K3"]\n').checks["timer"].look_first

    assert look["low"] == ("Relay K3",)
    assert look["high"] == starter().checks["timer"].look_first["high"]


@pytest.mark.parametrize(
    ("every", "length", "months", "words"),
    [
        ("4 h", timedelta(hours=4), 0, "every 4 h"),
        ("1 day", timedelta(days=1), 0, "every day"),
        ("2 weeks", timedelta(weeks=2), 0, "every 2 weeks"),
        ("3 months", timedelta(days=91.3125), 3, "every 3 months"),
        ("1 year", timedelta(days=365.25), 12, "every year"),
        ("1 shift", timedelta(hours=8), 0, "every shift"),
        ("2 shifts", timedelta(hours=16), 0, "every 2 shifts"),
        ("40 operating hours", timedelta(hours=40), 0, "every 40 operating hours"),
        ("on condition", None, 0, "on condition"),
    ],
)
def test_an_interval_of_the_site(load, every, length, months, words):
    interval = load(f'[check.ammeter.interval]\nevery = "{every}"\ndocument = "MT-07, 5"\n').checks["ammeter"].interval

    assert (interval.every, interval.months, interval.words) == (length, months, words)
    assert (interval.document, interval.mark) == ("MT-07, 5", "site")


@pytest.mark.parametrize(
    ("every", "counted", "shifts"),
    [
        ("8 h", "hours", 0),
        ("24 hours", "hours", 0),
        ("1 day", "dates", 0),
        ("6 months", "dates", 0),
        ("3 shifts", "shifts", 3),
        ("1 operating hour", "operating hours", 0),
    ],
)
def test_what_an_interval_is_counted_in(load, every, counted, shifts):
    interval = load(f'[check.ammeter.interval]\nevery = "{every}"\ndocument = "MT-07, 5"\n').checks["ammeter"].interval

    assert (interval.counted, interval.shifts) == (counted, shifts)


def test_what_is_counted_in_operation_has_no_moment_without_a_calendar(load):
    text = '[check.ammeter.interval]\nevery = "40 operating hours"\ndocument = "MT-07, 5"\n'

    assert load(text).checks["ammeter"].interval.due(datetime(2025, 3, 3, tzinfo=UTC)) is None


def test_a_check_of_the_sites_own(load):
    check = load(OWN).checks["washer"]

    assert (check.unit, check.unit_label, check.charted, check.baseline) == ("degC", "°C", "value", 20)
    assert check.acceptance == Acceptance()
    assert check.interval.every is None
    assert check.obliges
    assert list(load(OWN).checks) == [*starter().checks, "washer"]


def test_a_judged_check_of_the_sites_own(load):
    text = '[check.curtain]\ntitle = "Curtain"\nkind = "judged"\n[check.curtain.acceptance]\n'
    check = load(text + 'good = ["OK ", "whole"]\nbad = ["torn"]\n' + SOURCE).checks["curtain"]

    assert (check.unit, check.charted, check.rules) == ("", "none", ())
    assert (check.acceptance.rule, check.acceptance.good, check.acceptance.bad) == ("words", ("ok", "whole"), ("torn",))


def test_limits_of_a_line_and_of_a_position(load):
    text = (
        PLACE + SOURCE + "table = [[1400, 3]]\n"
        + '[[check.ring_holes.acceptance_at]]\nline = "Line B"\nposition = "ring 2"\ntable = [[2500, 5]]\n' + SOURCE
    )  # fmt: skip
    check = load(text).checks["ring_holes"]

    tables = {
        (line, position): check.acceptance_for(StreamKey(line, "ring_holes", position)).table
        for line in ("Line A", "Line B")
        for position in ("ring 1", "ring 2")
    }
    assert tables["Line A", "ring 2"] == starter().checks["ring_holes"].acceptance.table
    assert tables["Line B", "ring 1"] == ((1400.0, 3.0),)
    assert tables["Line B", "ring 2"] == ((2500.0, 5.0),)


def test_limits_of_a_place_build_on_those_of_the_check(load):
    text = LIMITS + "lower = 0.15\n" + SOURCE
    text += (
        '[[check.bath_concentration.acceptance_at]]\nline = "Line B"\nupper = 0.3\ndocument = "Q-12"\nrevision = "2"\n'
    )
    check = load(text).checks["bath_concentration"]

    limits = check.acceptance_for(StreamKey("Line B", "bath_concentration", "tank"))
    assert (limits.lower, limits.upper, limits.document) == (0.15, 0.3, "Q-12")
    assert check.acceptance.upper == 0.4


def test_a_place_without_a_stream_is_named(load):
    site = load(PLACE + 'position = "ring 1"\n' + SOURCE)
    stream = StreamKey("Line B", "ring_holes", "ring 1")

    assert site.places_without_stream([stream]) == ()
    said = site.places_without_stream(
        [StreamKey("Line B", "ring_holes", "ring 2"), StreamKey("Line B", "timer", "ring 1")]
    )
    assert len(said) == 1
    assert "Line B · ring_holes · ring 1" in said[0]


def test_a_changed_unit_takes_its_numbers_with_it(load):
    text = '[check.ambient_light]\nunit = "lx"\nresolution = 1\n[check.ambient_light.acceptance]\nupper = 20\n' + SOURCE
    check = load(text).checks["ambient_light"]

    assert (check.unit, check.unit_label, check.chart_unit, check.acceptance.upper) == ("lx", "lx", "lx", 20.0)


def test_another_spelling_of_the_same_unit_leaves_the_numbers(load):
    check = load('[check.uva_irradiance]\nunit = "µW/cm²"\n').checks["uva_irradiance"]

    assert (check.unit, check.acceptance.lower) == ("µW/cm²", 1000.0)


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
def test_a_file_saved_on_windows_is_read(tmp_path, start):
    path = tmp_path / "site.toml"
    path.write_bytes(start + (LIMITS + SOURCE).replace("\n", "\r\n").encode())

    assert load_catalogue(path).checks["bath_concentration"].acceptance.confirmed


MISTAKES = [
    # what stands in the file, what the refusal names
    ("[chek.timer]\n", "unknown key 'chek'", "did you mean 'check'?"),
    ("[check.timer]\nresolutoin = 1\n", "check.timer", "'resolutoin'", "did you mean 'resolution'?"),
    ("[check.bath_concentratoin]\nresolution = 0.01\n", "check.bath_concentratoin", "no check", "'bath_concentration'"),
    ("[check.timer.acceptance]\nlowr = 1\n" + SOURCE, "check.timer.acceptance", "'lowr'", "did you mean 'lower'?"),
    ("[check.timer.acceptance]\nmark = 'site'\n" + SOURCE, "check.timer.acceptance", "unknown key 'mark'"),
    ("[check.timer.interval]\nevry = '1 h'\n", "check.timer.interval", "did you mean 'every'?"),
    ("[check.timer.look_first]\nup = ['x']\n", "check.timer.look_first", "'up'", "low, high, any"),
    ("[check.timer.possible]\nleast = 1\n", "check.timer.possible", "'least'", "lower, upper"),
    ("[defaults]\nbasline = 5\n", "defaults", "did you mean 'baseline'?"),
    ("[defaults.rules]\none_sided = true\n", "defaults.rules", "did you mean 'one_side'?"),
    ("[check.timer.rules]\nnine_points = true\n", "check.timer.rules", "'nine_points'", "beyond_limits", "alternating"),
    ("[check.timer.rules]\none_side = 9\n", "check.timer.rules.one_side", "9 is no true or false"),
    (
        "[check.timer.rules]\none_side = {length = 8}\n",
        "check.timer.rules.one_side",
        "'length'",
        "count, window, width",
    ),
    ("[check.timer.rules]\none_side = {count = 0}\n", "check.timer.rules.one_side.count", "0 is no whole number"),
    ("[check.timer.rules]\none_side = {count = 9.5}\n", "check.timer.rules.one_side.count", "9.5 is no whole number"),
    ("[check.timer.rules]\none_side = {count = 10}\n", "one_side", "window 9 is shorter than count 10"),
    ("[check.timer.rules]\none_side = {width = 1}\n", "one_side", "no width"),
    ("[check.timer.rules]\nbeyond_limits = {width = 'wide'}\n", "beyond_limits.width", "'wide' is no number"),
    ("[check.timer]\nrules = ['one_side']\n", "check.timer.rules", "is no table", "[check.timer.rules]"),
    ("check = 3\n", "check", "3 is no table", "[check]"),
    ("[check]\ntimer = 3\n", "check.timer", "3 is no table", "[check.timer]"),
    ("[check.'Own Check']\n", "'Own Check' is no key", "small letters"),
    (BATH + "resolution = '0.05 mL'\n", "bath_concentration.resolution", "'0.05 mL' is no number", "without quotes"),
    (BATH + "resolution = 0\n", "bath_concentration.resolution", "0 is not above 0"),
    (BATH + "resolution = true\n", "bath_concentration.resolution", "true is no number"),
    (BATH + "resolution = nan\n", "bath_concentration.resolution", "nan is no finite number"),
    (BATH + f"resolution = 1{'0' * 400}\n", "bath_concentration.resolution", "is no finite number"),
    (BATH + "decimals = 2.5\n", "bath_concentration.decimals", "2.5", "whole number from 0 to 9"),
    (BATH + "baseline = 1\n", "bath_concentration.baseline", "1 is no", "whole number from 2 to 1000"),
    (BATH + "moving_range = 'yes'\n", "bath_concentration.moving_range", "'yes' is no true or false"),
    (BATH + "title = ''\n", "bath_concentration.title", "text of one line"),
    (BATH + 'title = "a\\nb"\n', "bath_concentration.title", "text of one line"),
    (BATH + "obliges = 'stop'\n", "bath_concentration.obliges", "list of texts"),
    (BATH + "obliges = ['stop', 3]\n", "bath_concentration.obliges", "list of texts"),
    (BATH + "cautions = ['x', 'x']\n", "bath_concentration.cautions", "one thing twice"),
    (BATH + "chart = 'ewm'\n", "bath_concentration.chart", "'ewm'", "value, magnitude, deviation, none"),
    (BATH + "kind = 'measurd'\n", "bath_concentration.kind", "did you mean 'measured'?"),
    (BATH + "possible = {lower = 1, upper = 0}\n", "bath_concentration.possible", "lower 1 is above upper 0"),
    (BATH + "possible = {upper = 0.3}\n", "bath_concentration.acceptance.upper", "0.4", "'possible'"),
    (BATH + "new_segment_on = ['bath_change']\n", "new_segment_on", "'bath_change'", "did you mean 'bath_changed'?"),
    (BATH + "new_segment_on = ['bath_topped_up']\n", "new_segment_on", "'bath_topped_up'", "bath_changed"),
    (BATH + "explained_by = ['line_idle']\n", "explained_by", "'line_idle' belongs to the line"),
    (BATH + "explained_by = ['bath_changed']\n", "explained_by", "'bath_changed' stands under new_segment_on too"),
    (BATH + "unit = 'lx'\n", "bath_concentration.unit", "'lx' cannot replace 'mL/100mL'", "write one of mL/100mL"),
    (BATH + "unit = 5\n", "bath_concentration.unit", "5 is no text"),
    ("[check.ambient_light]\nunit = 'lx'\n", "ambient_light.unit", "'lx' is not 'fc'", "resolution, acceptance.upper"),
    ("[check.ammeter]\nunit = 'kA'\nresolution = 0.01\n", "ammeter.acceptance.rule", "unit 'A'"),
    ("[check.timer]\nchart = 'deviation'\n", "timer.acceptance.rule", "rule 'fixed' cannot be drawn in percent"),
    (LIMITS + "lower = 0.5\n" + SOURCE, "bath_concentration.acceptance", "lower 0.5 is above upper 0.4", "swap"),
    (LIMITS + "lower = -1\n" + SOURCE, "bath_concentration.acceptance.lower", "-1", "'possible'"),
    (LIMITS + "lower = inf\n" + SOURCE, "bath_concentration.acceptance.lower", "inf is no finite number"),
    (LIMITS + "lower = '0.15'\n" + SOURCE, "bath_concentration.acceptance.lower", "'0.15' is no number"),
    (LIMITS + "lower = 0.15\n", "bath_concentration.acceptance", "lower given without document and revision", "both"),
    (LIMITS + "lower = 0.15\ndocument = 'MT-07'\n", "bath_concentration.acceptance", "without revision", "both"),
    (LIMITS + "revision = 'C'\n", "bath_concentration.acceptance", "revision given without document", "both"),
    (LIMITS + "document = ' '\nrevision = 'C'\n", "bath_concentration.acceptance.document", "text of one line"),
    (LIMITS + "document = 'MT-07'\nrevision = 3\n", "bath_concentration.acceptance.revision", "3 is no text"),
    (LIMITS + "lower = 'none'\nupper = 'none'\n" + SOURCE, "bath_concentration.acceptance", "lacks lower and upper"),
    (LIMITS + "rule = 'fixd'\n" + SOURCE, "bath_concentration.acceptance.rule", "'fixd'", "did you mean 'fixed'?"),
    (LIMITS + "rule = 'words'\n" + SOURCE, "bath_concentration.acceptance.rule", "'words'"),
    (LIMITS + "rule = ['fixed']\n" + SOURCE, "bath_concentration.acceptance.rule", "['fixed']"),
    (LIMITS + "amperes = 50\n" + SOURCE, "acceptance.amperes", "rule 'fixed' has no amperes", "lower and upper"),
    (LIMITS + "rule = 'percent_or_amperes'\npercent = 10\namperes = 50\n" + SOURCE, "acceptance.rule", "unit 'A'"),
    (AMMETER + "rule = 'percent_of_full_scale'\n", "ammeter.acceptance", "lacks full_scale"),
    (AMMETER + "full_scale = 6000\n", "ammeter.acceptance.full_scale", "percent and amperes"),
    (AMMETER + "rule = 'percent_of_full_scale'\nfull_scale = 0\n", "ammeter.acceptance.full_scale", "not above 0"),
    (AMMETER + "percent = -10\n", "ammeter.acceptance.percent", "-10 is not above 0"),
    (AMMETER + "amperes = -1\n", "ammeter.acceptance.amperes", "-1 is below 0"),
    (AMMETER + "rule = 'fixed'\nlower = -5\nupper = 5\n", "ammeter.acceptance", "lies outside 'possible'"),
    (AMMETER + "rule = 'fixed'\nupper = 5\n", "ammeter.acceptance.rule", "cannot be drawn in percent"),
    ("[check.ring_holes.acceptance]\ntable = 5\n" + SOURCE, "ring_holes.acceptance.table", "list of pairs"),
    ("[check.ring_holes.acceptance]\ntable = [[1, 2, 3]]\n" + SOURCE, "ring_holes.acceptance.table", "list of pairs"),
    ("[check.ring_holes.acceptance]\ntable = [[1, 'x']]\n" + SOURCE, "ring_holes.acceptance.table", "'x' is no number"),
    ("[check.ring_holes.acceptance]\ntable = [[0, 3]]\n" + SOURCE, "ring_holes.acceptance.table", "0 is not above 0"),
    (
        "[check.ring_holes.acceptance]\ntable = [[5, 3], [5.0, 4]]\n" + SOURCE,
        "acceptance.table",
        "5 stands there twice",
    ),
    ("[check.ring_holes.acceptance]\ntable = [[500, 13]]\n" + SOURCE, "acceptance.table", "13", "'possible'"),
    ("[check.ring_holes.acceptance]\ntable = []\n" + SOURCE, "ring_holes.acceptance", "lacks table"),
    (
        "[check.water_break.acceptance]\ngood = ['fail']\n" + SOURCE,
        "water_break.acceptance.bad",
        "'fail' stands under good",
    ),
    ("[check.water_break.acceptance]\nbad = ['Not Run']\n" + SOURCE, "water_break.acceptance.bad", "'not run'"),
    (
        "[check.water_break.acceptance]\nlower = 1\n" + SOURCE,
        "water_break.acceptance.lower",
        "rule 'words' has no lower",
    ),
    ("[check.water_break.acceptance]\nrule = 'fixed'\n" + SOURCE, "water_break.acceptance.rule", "there is words"),
    ("[check.water_break]\nunit = 'A'\n", "water_break.unit", "judged"),
    ("[check.water_break.rules]\none_side = true\n", "water_break.rules", "judged"),
    ("[check.curtain]\ntitle = 'Curtain'\nkind = 'judged'\n", "check.curtain.acceptance", "lacks good and bad"),
    ("[check.timer.interval]\nevery = '6 moons'\ndocument = 'D'\n", "timer.interval.every", "'6 moons'", "6 months"),
    ("[check.timer.interval]\nevery = '8 operating days'\ndocument = 'D'\n", "'8 operating days'", "40 operating"),
    ("[check.timer.interval]\nevery = 6\ndocument = 'D'\n", "timer.interval.every", "6 is no interval"),
    ("[check.timer.interval]\nevery = '0 h'\ndocument = 'D'\n", "timer.interval.every", "'0 h' is no interval"),
    ("[check.timer.interval]\nevery = '9999999 years'\ndocument = 'D'\n", "timer.interval.every", "is no interval"),
    ("[check.timer.interval]\nevery = '3 months'\n", "check.timer.interval", "every given without document"),
    (OWN + "[check.washer.interval]\nwords = 'often'\ndocument = 'D'\n", "washer.interval", "every is missing"),
    (
        "[check.washer]\nkind = 'measured'\nunit = 'degC'\n",
        "check.washer",
        "no check 'washer' yet",
        "needs title and kind",
    ),
    ("[check.washer]\ntitle = 'Washer'\n", "check.washer", "no check 'washer' yet", "needs title and kind"),
    ("[check.washer]\ntitle = 'Washer'\nkind = ''\n", "check.washer", "kind is missing", "measured, judged"),
    ("[check.washer]\ntitle = 'Washer'\nkind = 'measured'\n", "check.washer", "unit is missing"),
    ("[check.ring_holes]\nacceptance_at = 3\n", "ring_holes.acceptance_at", "[[check.ring_holes.acceptance_at]]"),
    ("[[check.ring_holes.acceptance_at]]\n" + SOURCE, "ring_holes.acceptance_at[1]", "line is missing"),
    (PLACE, "ring_holes.acceptance_at[1]", "no limit is given", "document and revision"),
    (PLACE + "table = [[500, 3]]\n", "ring_holes.acceptance_at[1]", "table given without document and revision"),
    (PLACE + "lnie = 3\n" + SOURCE, "ring_holes.acceptance_at[1]", "unknown key 'lnie'", "did you mean 'line'?"),
    (PLACE + SOURCE + PLACE + SOURCE, "ring_holes.acceptance_at[2]", "line 'Line B', position ''", "twice"),
    (PLACE + "lower = 3\n" + SOURCE, "ring_holes.acceptance_at[1].lower", "has no lower"),
    ("[check.timer\n", "line 1", "correct the TOML"),
    ("[check.timer]\n[check.timer]\n", "line 2", "correct the TOML"),
    ("a = " + "[" * 5000, "a value that TOML cannot hold"),
    ("a = " + "9" * 5000, "a value that TOML cannot hold"),
]


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake[0][:70])
def test_a_mistake_is_refused_in_one_line_with_file_key_value_and_remedy(load, mistake):
    text, *names = mistake

    with pytest.raises(CatalogueError) as refused:
        load(text)

    said = str(refused.value)
    assert "\n" not in said
    assert re.match(r".*site\.toml: ", said)
    assert [name for name in names if name not in said] == []


@pytest.mark.parametrize(
    ("content", "says"),
    [(None, "cannot be read"), (b"\xff\xfe[\x00", "byte 0 is no UTF-8 text; save the file as UTF-8")],
)
def test_a_file_that_cannot_be_read_is_refused(tmp_path, content, says):
    path = tmp_path / "site.toml"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(CatalogueError, match=says):
        load_catalogue(path)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(CatalogueError, match="cannot be read"):
        load_catalogue(tmp_path)


WORDS = st.sampled_from(
    ["check", "ammeter", "timer", "acceptance", "acceptance_at", "interval", "rules", "one_side", "lower", "table",
     "words", "fixed", "none", "every", "8 h", "document", "unit", "possible", "line", "", "\n", "x"]
)  # fmt: skip
VALUES = st.recursive(
    WORDS | st.floats() | st.integers() | st.booleans() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=12,
)


SOURCED = {"document": "MT-07", "revision": "C"}
PLACES = st.one_of(
    st.dictionaries(WORDS, VALUES, max_size=3),
    st.builds(lambda key, value: {key: value}, st.sampled_from(CHECK_KEYS), VALUES),
    st.builds(lambda key, value: {"acceptance": {**SOURCED, key: value}}, st.sampled_from(ACCEPTANCE_KEYS), VALUES),
    st.builds(lambda value: {"interval": {"every": value, "document": "MT-07"}}, VALUES),
    st.builds(lambda key, value: {"rules": {"near_limit": {key: value}}}, st.sampled_from(["count", "window"]), VALUES),
    st.builds(lambda value: {"acceptance_at": [{"line": "Line B", **SOURCED, "position": value}]}, VALUES),
)


@settings(max_examples=500)
@given(st.sampled_from(["", "ammeter", "water_break", "ring_holes", "own"]), PLACES)
def test_whatever_stands_in_a_file_is_read_or_refused_in_one_line(check, values):
    said = refusal({"check": {check: values}} if check else values)

    assert said is None or (said.startswith("site.toml: ") and len(said.splitlines()) == 1)


def refusal(values: dict[str, object]) -> str | None:
    try:
        catalogue_from(values, "site.toml")
    except CatalogueError as error:
        return str(error)
    return None


@given(st.sampled_from(sorted(starter().checks)), st.sampled_from(["document", "revision"]))
def test_no_limit_is_confirmed_by_half_a_source(check, given_key):
    with pytest.raises(CatalogueError, match="both"):
        catalogue_from({"check": {check: {"acceptance": {given_key: "MT-07"}}}}, "site.toml")
