"""A board in the units and formats of its site: shown in them, typed in them, kept as the catalogue says."""

from datetime import date

import pytest

from dashboard.app import create_app
from dashboard.queries import record_look_back, setup_sample, study
from dashboard.queries.audited import audited
from dashboard.queries.record import record_page
from dashboard.queries.record_look_back import look_back_asked
from dashboard.queries.record_windows import window_href, window_page, write_window_step
from dashboard.queries.review import days_typed, review_page
from dashboard.urls import (
    FAILED,
    LEDGER,
    LIMITS,
    METERS,
    WRITE_CARDS,
    WRITE_CORRECT,
    WRITE_KEEP,
    RecordView,
    ReviewView,
    StreamView,
    WindowView,
)
from spc.errors import InputError
from spc.failures import FailureRecord
from spc.formats import Formats, formats_of
from spc.store.entries import Correction
from tests.dashboard.made_entry import CATALOGUE, stored_queries, stored_settings
from tests.dashboard.made_line import AMBIENT, BATH, LAMP, ZONE

NAME = "0123456789abcdef0123456789abcdef"
SITES = {
    "comma": '[site]\nunits = "SI"\ndecimal = "comma"\ndates = "dd.mm.yyyy"\n',
    "customary": '[site]\nunits = "customary"\ndates = "mm/dd/yyyy"\nclock = "12 h"\n'
    '[site.shown]\nilluminance = "lx"\n',
}


def queries_of(folder, site: str):
    settings = stored_settings(folder)
    assert settings.catalogue is not None
    settings.catalogue.write_text(SITES[site] + CATALOGUE, encoding="utf-8")
    return stored_queries(settings)


@pytest.fixture
def queries(tmp_path):
    return queries_of(tmp_path, "comma")


@pytest.fixture
def client(queries):
    return create_app(queries).server.test_client()


def card_of(client, key):
    told = client.get(WRITE_CARDS).get_json()
    found = {(card["line"], card["check"], card["position"]): card for card in told["cards"]}
    return told, found[key.line, key.check, key.position]


def keep(client, key, value: str, **more: object):
    told = {"line": key.line, "check": key.check, "position": key.position, "value": value, "technician": "ktl"}
    answer = client.post(WRITE_KEEP, json={**told, "entry": NAME, "age": 0, **more})
    return answer.status_code, answer.get_json()


def test_the_cards_are_in_the_units_and_the_sign_of_the_site(client):
    told, card = card_of(client, LAMP)

    assert told["decimal"] == ","
    assert (card["unit"], card["unit_code"]) == ("W/m²", "W/m2")
    assert card["asked"] == "at least 10 W/m²"
    assert card["possible"][0] == 0.0


def test_a_reading_typed_in_the_units_of_the_site_is_kept_in_those_of_the_catalogue(client, queries):
    status, told = keep(client, LAMP, "20,5", unit="W/m2", sure=["far", "unit", "point"])
    reading = told["reading"]

    assert (status, told["state"]) == (200, "kept")
    assert reading["value"] == "20,50 W/m² (kept as 2050 µW/cm²)"
    assert "W/m²" in reading["margin"]
    assert "," in reading["margin"]
    kept = queries.store.streams()[LAMP]
    assert kept.value[-1] == 2050.0
    assert kept.other["typed"][-1] == "20,5 W/m2"


def test_what_is_typed_in_the_unit_of_the_catalogue_is_not_converted(client, queries):
    status, _ = keep(client, LAMP, "2050", sure=["far", "unit", "point"])

    assert status == 200
    assert queries.store.streams()[LAMP].value[-1] == 2050.0


def test_a_number_of_two_readings_is_asked_about_and_not_kept(client, queries):
    before = len(queries.store.streams()[LAMP])
    status, told = keep(client, LAMP, "1.234", unit="W/m2")

    assert status == 422
    assert told["says"] == "“1.234” can be read in two ways; write 1234 or 1,234."
    assert len(queries.store.streams()[LAMP]) == before


def test_a_unit_of_another_quantity_is_refused(client):
    status, told = keep(client, LAMP, "20", unit="lx")

    assert status == 422
    assert "is not read in lx" in told["says"]


def test_an_unlikely_reading_is_asked_about_in_the_unit_it_was_typed_in(client):
    status, told = keep(client, LAMP, "900", unit="W/m2")

    assert (status, told["state"]) == (200, "asks")
    assert "W/m²" in " ".join(each["says"] for each in told["asks"])


def test_a_correction_is_read_in_the_unit_of_its_entry(client, queries):
    keep(client, LAMP, "20,5", unit="W/m2", sure=["far", "unit", "point"])
    body = {"line": LAMP.line, "check": LAMP.check, "position": LAMP.position, "technician": "ktl", "entry": NAME}
    answer = client.post(WRITE_CORRECT, json={**body, "value": "21,0", "unit": "W/m2", "why": "typed wrong"})

    assert answer.status_code == 200
    assert [entry.record.said.value for entry in queries.store.records(Correction)] == [2100.0]


@pytest.mark.parametrize("later", ["", CATALOGUE])
def test_a_correction_of_the_drift_room_is_read_in_the_unit_that_its_form_shows(queries, later):
    row = str(int(queries.store.streams()[LAMP].row[-1]))
    view = StreamView(LAMP.line, LAMP.check, LAMP.position, part="readings", row=row)
    fields = {each.label: each.name for form in queries.forms(view, "ktl", lambda right: True) for each in form.fields}
    name = fields["What it should say, in W/m²"]
    if later:  # the site changes its units while the form is filled in
        queries.settings.catalogue.write_text(later, encoding="utf-8")
        assert queries.reload() is None
    else:
        with pytest.raises(InputError, match="two ways"):
            queries.write(view, "corrected", {name: "1.234", "why": "typed wrong"}, "ktl")
    said = queries.write(view, "corrected", {name: "20,5", "why": "typed wrong"}, "ktl")

    assert "20,5 W/m²" in said
    assert [entry.record.said.value for entry in queries.store.records(Correction)] == [2050.0]


def test_a_correction_of_the_drift_room_in_a_unit_of_another_quantity_is_refused(queries):
    row = str(int(queries.store.streams()[LAMP].row[-1]))
    view = StreamView(LAMP.line, LAMP.check, LAMP.position, part="readings", row=row)

    with pytest.raises(InputError, match="is not read in lx"):
        queries.write(view, "corrected", {"value in lx": "20", "why": "typed wrong"}, "ktl")


def test_the_page_of_a_stream_is_in_the_units_and_formats_of_the_site(queries):
    view = StreamView(LAMP.line, LAMP.check, LAMP.position)
    with queries.in_formats():
        page, figure = queries.stream(view), queries.figure(view, {})

    kept, shown = queries.result(view), queries.shown(view)
    assert page.unit == "W/m²"
    assert "," in page.value
    assert page.taken.count(".") == 2
    assert "W/m²" in figure["layout"]["yaxis"]["title"]["text"]
    assert figure["layout"]["template"]["layout"]["separators"] == ",\N{NARROW NO-BREAK SPACE}"
    assert [each.index for each in shown.failures] == [each.index for each in kept.failures]
    assert [each.position for each in shown.signals] == [each.position for each in kept.signals]
    assert shown.charted.x[0] == kept.charted.x[0] / 100


def test_the_file_of_a_stream_stays_as_it_was_written(queries):
    text = queries.csv(StreamView(LAMP.line, LAMP.check, LAMP.position))

    assert "uW/cm2" in text
    assert "W/m2" not in text


def test_every_page_says_which_convention_holds(queries):
    assert queries.header().formats == "SI units, decimal comma, dates dd.mm.yyyy, 24 h clock"


def test_customary_units_with_one_quantity_of_its_own(tmp_path):
    queries = queries_of(tmp_path, "customary")
    client = create_app(queries).server.test_client()
    told, card = card_of(client, AMBIENT)
    view = StreamView(BATH.line, BATH.check, BATH.position)
    with queries.in_formats():
        page = queries.stream(view)

    assert (told["decimal"], card["unit"]) == (".", "lx")
    assert card["asked"] == "at most 21.5278 lx"
    assert page.unit == "mL/100 mL"
    assert page.taken.endswith(("am", "pm"))


def window_of(found, key):
    return next(each for each in found.shown if each.key == key)


def test_failed_checks_are_shown_in_the_units_of_the_site_and_kept_in_those_of_the_catalogue(queries, client):
    store = queries.store
    keep(client, LAMP, "9,0", unit="W/m2", sure=["far", "unit", "point"])
    with queries.in_formats():
        found = audited(queries, queries.memory)
        view = WindowView.from_search(window_href(LAMP, window_of(found, LAMP).failed_at, ZONE).partition("?")[2])
        page = window_page(queries, queries.memory, view)
        listed = record_page(queries, queries.memory, RecordView(FAILED, LAMP.line, LAMP.check, LAMP.position))
        limits = record_page(queries, queries.memory, RecordView(LIMITS, LAMP.line, LAMP.check, LAMP.position))
        write_window_step(queries, queries.memory, view, "told", "Level 3", "kim", None)
        review = review_page(queries, queries.memory, ReviewView())
    facts = dict(page.facts)
    (written,) = store.records(FailureRecord)

    assert facts["Read"].startswith("9,00 W/m², row ")
    assert facts["Asked"].startswith("at least 10 W/m²")
    assert listed.tables[0].rows[0][2][0] == "9,00 W/m²"
    assert limits.tables[0].rows[0][1][0] == "at least 10 W/m²"
    assert next(each.failed for each in review.windows if "UV-A" in each.name) == "9,00 W/m²"
    assert (written.record.failed, written.record.asked[:21]) == ("900 µW/cm²", "at least 1000 µW/cm²:")


def test_days_are_shown_and_typed_as_the_site_writes_them(queries):
    with queries.in_formats():
        review = review_page(queries, queries.memory, ReviewView())
        typed = days_typed(ReviewView(line="Line 2"), " 20.03.2026", "2026-04-10")
        none = review_page(queries, queries.memory, days_typed(ReviewView(), "03/20/2026", "10.04.2026"))
        ledger = record_page(queries, queries.memory, RecordView(LEDGER, end="2026-04-10"))

    assert (review.period, review.start, review.end) == ("10.01.2026 to 10.04.2026", "10.01.2026", "10.04.2026")
    assert typed == ReviewView("2026-03-20", "2026-04-10", "Line 2")
    assert "“03/20/2026” is none; write it as 31.03.2026" in none.notice
    assert ledger.tables[0].caption.startswith("10.01.2026 to 10.04.2026: ")


@pytest.mark.parametrize(
    ("dates", "text"),
    [("words", "4 Mar 2025"), ("dd.mm.yyyy", "04.03.2025"), ("dd/mm/yyyy", "04/03/2025"), ("mm/dd/yyyy", "03/04/2025")],
)
def test_a_typed_day_is_read_back_and_iso_always_is(dates, text):
    formats = Formats(dates=dates)
    day = date(2025, 3, 4)

    assert formats.day(day) == text
    assert [formats.read_day(each) for each in (text, formats.day_typed(day), "2025-03-04")] == [day] * 3
    for bad in ("", "31.31.2025", "2025", "\N{ARABIC-INDIC DIGIT FOUR}"):
        with pytest.raises(InputError, match="is no day; write one such as"):
            formats.read_day(bad)


def test_an_error_in_the_unit_of_the_site_corrects_as_much_as_in_that_of_the_catalogue(tmp_path):
    def answer(site, offset):
        (tmp_path / site).mkdir()
        queries = (
            queries_of(tmp_path / site, site) if site in SITES else stored_queries(stored_settings(tmp_path / site))
        )
        view = RecordView(METERS, instrument="rad-1", offset=offset, found="2026-04-10T15:00")
        with queries.in_formats():
            form, (table,) = look_back_asked(audited(queries, queries.memory), ZONE, view)
        assert form.refused == ""
        return form.unit, table.caption, [cell for row in table.rows for cell, _ in row[2:6]]

    ours, theirs = answer("comma", "12,5"), answer("as it came", "1250")

    assert ours[0] == "W/m²"
    assert ours[1].endswith("corrected by 12,5 W/m²")
    assert theirs[0] == "µW/cm²"
    assert ours[2] == theirs[2]
    assert "0" not in ours[2][1]


def test_one_board_does_not_write_as_another(tmp_path, client):
    (tmp_path / "other").mkdir()
    other = create_app(stored_queries(stored_settings(tmp_path / "other"))).server.test_client()

    assert card_of(client, LAMP)[1]["unit"] == "W/m²"
    assert card_of(other, LAMP)[1]["unit"] == "µW/cm²"
    assert card_of(other, LAMP)[0]["decimal"] == "."


@pytest.mark.parametrize(("decimal", "text", "read"), [("comma", "1,234", 1.234), ("point", "1.234", 1.234)])
def test_every_form_reads_a_number_as_the_site_writes_it(decimal, text, read):
    other = text.translate(str.maketrans(",.", ".,"))
    ways = (
        lambda given: setup_sample._number({"amperes": given}, "amperes", "the amperes"),
        lambda given: study._number({"lower": given}, "lower", "lower limit"),
        lambda given: record_look_back._number(given, "The error"),
    )
    with formats_of(Formats(decimal=decimal)):
        for way in ways:
            assert way(text) == read
            with pytest.raises(InputError, match="two ways"):
                way(other)
