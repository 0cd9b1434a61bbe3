"""Set-up samples: what a reference shows, what is refused, and the counts of many runs."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from spc.catalogue.load import starter
from spc.charts.attributes import fraction_limits, fraction_plot
from spc.errors import InputError
from spc.run_start import (
    Circuit,
    KnownDefectPart,
    NotchedShim,
    RingHoles,
    SetupSample,
    Technique,
    checked,
    counts_by_month,
    ring_minimum,
    runs_between_failures,
    runs_failed,
)
from tests.schedule.made_site import LINE, VIENNA, local

HEAD = Technique("direct contact", (Circuit("head", 1500.0),), continuous=True)
BOTH = Technique("multidirectional", (Circuit("head", 1500.0), Circuit("coil", 800.0)), continuous=True)
SPIN = Technique("spin", HEAD.circuits, continuous=True)  # type: ignore[arg-type]  # the refusal is the test
SHIM = NotchedShim("CX-230", "bracket, inside", "shown")


def sample(**parts: Any) -> SetupSample:
    given: dict[str, Any] = {
        "at": local("2025-03-03T06:30"),
        "line": LINE,
        "part_shape": "bracket",
        "technique": HEAD,
        "reference": SHIM,
        "by": "T1",
    }
    return SetupSample(**(given | parts))


@pytest.mark.parametrize(
    ("reference", "shown"),
    [
        (SHIM, "shown"),
        (replace(SHIM, seen="partly"), "weak"),
        (replace(SHIM, seen="not shown"), "missing"),
        (RingHoles("AS5282", 1000, 5, 5), "shown"),
        (RingHoles("AS5282", 1000, 7, 5), "shown"),
        (RingHoles("AS5282", 1000, 4, 5), "weak"),
        (RingHoles("AS5282", 1000, 0, 5), "missing"),
        (KnownDefectPart("gear 3", 4, 4), "shown"),
        (KnownDefectPart("gear 3", 3, 4), "weak"),
        (KnownDefectPart("gear 3", 0, 4), "missing"),
    ],
)
def test_what_a_reference_shows(reference, shown):
    assert checked(sample(reference=reference)).result == shown


def test_a_reference_is_named_once():
    assert NotchedShim("notched shim 2", "flange", "shown").words() == "notched shim 2 at flange: shown"
    assert NotchedShim("3C2-234", "flange", "shown").words() == "shim 3C2-234 at flange: shown"
    assert RingHoles("ring 1", 1500.0, 7, 6).words() == "ring 1 at 1500 A: 7 holes, at least 6 asked"
    assert KnownDefectPart("gear 3", 4, 4).words() == "part gear 3: 4 of 4 indications"


def test_the_minimum_of_a_ring_stands_in_the_catalogue():
    # AS5282 ring, wet, full-wave DC (memory; the catalogue says so too)
    assert [ring_minimum(starter(), amperes) for amperes in (500, 1000, 1500, 2500, 3500)] == [3, 5, 6, 7, 9]
    assert ring_minimum(starter(), 1200) is None


REFUSED = [
    ({"at": datetime(2025, 3, 3)}, "has no zone"),  # noqa: DTZ001 - the refusal is the test
    ({"line": " "}, "line is empty"),
    ({"part_shape": ""}, "part_shape is empty"),
    ({"by": ""}, "by is empty"),
    ({"technique": SPIN}, "there is no technique 'spin'; there is direct contact"),
    ({"technique": replace(HEAD, circuits=())}, "no circuit is named"),
    ({"technique": replace(BOTH, kind="coil")}, "coil takes one circuit, and 2 is given"),
    ({"technique": replace(HEAD, kind="multidirectional")}, "takes at least two circuits, and 1 is given"),
    ({"technique": replace(BOTH, circuits=2 * (Circuit("head", 10),))}, "a circuit stands there twice"),
    ({"technique": replace(HEAD, circuits=(Circuit("", 10),))}, "circuit is empty"),
    ({"technique": replace(HEAD, circuits=(Circuit("head", 0),))}, "write amperes above 0"),
    ({"technique": replace(HEAD, circuits=(Circuit("head", float("nan")),))}, "write amperes above 0"),
    ({"reference": replace(SHIM, seen="good")}, "'good' is none of these"),
    ({"reference": replace(SHIM, where="")}, "where the shim sits is empty"),
    ({"reference": RingHoles("AS5282", 1000, 13, 5)}, "0 to 12 holes"),
    ({"reference": RingHoles("AS5282", 0, 5, 5)}, "give amperes above 0"),
    ({"reference": KnownDefectPart("gear 3", 5, 4)}, "no more seen than that"),
    ({"reference": KnownDefectPart("gear 3", 0, 0)}, "at least 1 expected"),
    ({"reference": KnownDefectPart("", 1, 4)}, "name of the part is empty"),
]


@pytest.mark.parametrize(("parts", "says"), REFUSED)
def test_a_sample_that_cannot_be_is_refused(parts, says):
    with pytest.raises(InputError, match=says):
        checked(sample(**parts))


def runs(words: str, *, line: str = LINE) -> list[SetupSample]:
    """Return a run a day: "." shown, "p" partly, "n" not shown."""
    seen = {".": "shown", "p": "partly", "n": "not shown"}
    return [
        sample(at=local("2025-01-01T06:30") + timedelta(days=i), line=line, reference=replace(SHIM, seen=seen[word]))
        for i, word in enumerate(words)
    ]


def test_runs_are_counted_by_month_for_a_chart_of_the_fraction_failed():
    months, counts = counts_by_month(runs("." * 30 + "p" + "." * 27 + "n"), line=LINE, zone=VIENNA)

    assert months == ("2025-01", "2025-02")
    assert counts == ((1, 31), (1, 28))


def test_more_failures_than_before_pass_the_limit_of_the_chart():
    _, counts = counts_by_month(runs(("." * 30 + "p") * 2 + "n" * 12 + "." * 16), line=LINE, zone=VIENNA)
    assert [inspected for _, inspected in counts] == [31, 28, 31]

    # NIST/SEMATECH e-Handbook 6.3.3.2: p-bar + 3 sqrt(p-bar (1 - p-bar) / n)
    limits = fraction_limits(counts[:1] * 2)
    plotted = fraction_plot(counts, limits)

    p = 1 / 31
    assert plotted.upper[2] == pytest.approx(p + 3 * (p * (1 - p) / 31) ** 0.5)
    assert plotted.side.tolist() == [0, 0, 1]


def test_good_runs_between_two_that_failed():
    gaps, limits = runs_between_failures(runs("..p....n..p"), line=LINE)

    assert gaps == (4, 2)
    assert limits is not None
    assert limits.fraction == pytest.approx(2 / 8)  # two failures in the eight runs after the first
    assert runs_between_failures(runs("..p....n"), line=LINE) == ((4,), None)


def test_runs_of_another_line_and_their_order_do_not_matter():
    mixed = [*reversed(runs("..p")), *runs("nnn", line="Line B")]

    assert runs_failed(mixed, line=LINE) == (False, False, True)
