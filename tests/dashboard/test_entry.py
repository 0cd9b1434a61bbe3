"""Writing checks down, through the very routes that a tablet uses."""

import io
import json
from datetime import timedelta

import pytest
from flask import g

from dashboard.app import create_app
from dashboard.auth import Person
from dashboard.pages.entry import LARGEST_BODY
from dashboard.urls import WRITE_CARDS, WRITE_CORRECT, WRITE_KEEP, WRITE_REACT
from spc.records import StreamKey
from spc.store.entries import Calibration, Correction, Instrument, Reaction
from spc.store.store import Store
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, BATH, LAMP, SHIM, asked, write_line

NAME = "0123456789abcdef0123456789abcdef"


@pytest.fixture
def settings(tmp_path):
    return stored_settings(tmp_path)


@pytest.fixture
def queries(settings):
    return stored_queries(settings)


@pytest.fixture
def client(queries):
    return create_app(queries).server.test_client()


def entry(key, value: str, **more: object) -> dict[str, object]:
    told = {"line": key.line, "check": key.check, "position": key.position, "value": value, "technician": "ktl"}
    return {**told, "entry": NAME, "age": 0, **more}


def keep(client, key, value: str, **more: object):
    answer = client.post(WRITE_KEEP, json=entry(key, value, **more))
    return answer.status_code, answer.get_json()


def cards(client):
    told = client.get(WRITE_CARDS).get_json()
    return told, {(card["line"], card["check"], card["position"]): card for card in told["cards"]}


def key_of(key):
    return key.line, key.check, key.position


def test_a_pass_by_confirmed_limits_is_told_with_document_and_distance(client, queries):
    status, told = keep(client, BATH, "0.21", instrument="tube-1")
    reading = told["reading"]

    assert (status, told["state"], reading["word"]) == (200, "kept", "pass")
    assert "Procedure 12, 4.1, revision B" in reading["verdict"]
    assert reading["margin"] == "0.110 above the lower limit 0.1 mL/100 mL"
    assert reading["course"]["course"].startswith("url(")
    kept = queries.store.streams()[BATH]
    assert (kept.value[-1], kept.technician[-1], kept.shift[-1], kept.instrument[-1]) == (0.21, "ktl", "B", "tube-1")
    assert queries.store.since(0)[-1].who == "ktl"


def test_a_failed_check_says_what_it_obliges_and_since_when_parts_may_be_affected(client):
    _, told = keep(client, BATH, "0.05", sure=["far", "point"])
    reading = told["reading"]

    assert reading["word"] == "fail"
    assert any("Hold every part" in step for step in reading["obliges"])
    assert reading["exposed"].startswith("Last good check: ")
    assert "accept" not in reading["verdict"].replace("acceptance", "")


def test_limits_that_are_not_confirmed_give_no_pass_word(client):
    _, told = keep(client, LAMP, "1810")

    assert told["reading"]["word"] == "inside"
    assert "not confirmed for this site" in told["reading"]["verdict"]
    assert "pass" not in told["reading"]["verdict"]


def test_an_unlikely_value_is_asked_about_and_kept_when_it_is_meant(client, queries):
    before = len(queries.store.streams()[LAMP])
    status, told = keep(client, LAMP, "1.8")
    kinds = [one["kind"] for one in told["asks"]]

    assert (status, told["state"], kinds) == (200, "asks", ["unit"])
    assert "read in mW/cm²" in told["asks"][0]["says"]
    assert len(queries.store.streams()[LAMP]) == before
    assert keep(client, LAMP, "1.8", sure=kinds)[1]["state"] == "kept"


def test_a_check_that_no_clock_sets_says_when_it_is_due_all_the_same(client, queries):
    field = StreamKey("Line 1", "residual_field", "after demagnetisation")
    keep(client, field, "0.5")
    _, found = cards(client)

    assert found[key_of(field)]["when"] == "later"
    assert found[key_of(field)]["due"] == "due after every demagnetisation, lot by lot"
    (tile,) = [tile for tile in queries.board().tiles if tile.title == "Residual field"]
    assert tile.due == "due after every demagnetisation"


def test_an_entry_that_arrives_twice_is_kept_once(client, queries):
    before = len(queries.store.streams()[BATH])
    first = keep(client, BATH, "0.21")[1]["reading"]
    again = keep(client, BATH, "0.21", age=40)[1]["reading"]

    assert (first["before"], again["before"]) == (False, True)
    assert (again["value"], again["at"]) == (first["value"], first["at"])
    assert len(queries.store.streams()[BATH]) == before + 1


def test_an_entry_that_waited_carries_the_time_at_which_it_was_written(client):
    _, told = keep(client, BATH, "0.21", age=3600)

    assert told["reading"]["at"] == "Sat 11 Apr 2026 15:00"


def test_taken_earlier_is_local_time_and_never_ahead(client):
    assert keep(client, BATH, "0.21", taken="2026-04-11T13:30")[1]["reading"]["at"] == "Sat 11 Apr 2026 13:30"
    status, told = keep(client, BATH, "0.22", taken="2026-04-11T16:01", entry="f" * 32)

    assert (status, told["state"]) == (422, "refused")
    assert "has not come yet" in told["says"]


def test_not_in_operation_is_kept_as_such(client, queries):
    _, told = keep(client, BATH, "not run")

    assert told["reading"]["word"] == "not run"
    assert queries.store.streams()[BATH].word[-1] == "not run"


def test_a_reference_of_three_decimals_is_read_as_the_reading_is(client, queries):
    status, _ = keep(client, AMMETER, "999.250", reference="999.125")

    assert status == 200
    assert queries.store.streams()[AMMETER].reference[-1] == 999.125


def test_an_ammeter_is_kept_with_its_reference_and_told_as_a_deviation(client, queries):
    _, told = keep(client, AMMETER, "1040", reference="1000")

    assert told["reading"]["word"] == "pass"
    assert told["reading"]["margin"].startswith("Ammeter deviation 4.0 %: ")
    assert queries.store.streams()[AMMETER].reference[-1] == 1000.0


def test_words_are_kept_as_the_catalogue_spells_them(client):
    assert keep(client, SHIM, "Partly")[1]["reading"]["value"] == "partly"
    assert keep(client, SHIM, "0.5", entry="f" * 32)[0] == 422


@pytest.mark.parametrize(
    ("key", "value", "more", "says"),
    [
        (BATH, "", {}, "Write what was read"),
        (BATH, "1.2.3", {}, "nothing that Bath concentration can say"),
        (BATH, "-0.1", {}, "cannot be below 0"),
        (BATH, "nan", {}, "no finite number"),
        (BATH, "0.2", {"technician": ""}, "Write your name"),
        (BATH, "0.2", {"line": ""}, "which line"),
        (BATH, "0.2", {"check": "bath_colour"}, "there is no check"),
        (BATH, "0.2", {"entry": "x"}, "no name of its own"),
        (BATH, "0.2", {"age": -5}, "clock that runs wrong"),
        (BATH, "0.2", {"age": 1e12}, "clock that runs wrong"),
        (BATH, "0.2", {"age": "now"}, "not part of an entry"),
        (BATH, "0.2", {"note": "x" * 501}, "longer than 500"),
        (BATH, "0.2", {"note": "a\x00b"}, "cannot be kept"),
        (BATH, "0.2", {"colour": "red"}, "not part of an entry"),
        (BATH, "0.2", {"taken": "yesterday"}, "The time is none"),
        (BATH, "0.2", {"taken": "2020-01-01T06:00"}, "more than 30 days ago"),
        (AMMETER, "1000", {}, "without its reference"),
        (AMMETER, "1000", {"reference": "<1000"}, "is no reference"),
    ],
)
def test_what_is_refused_says_why_and_keeps_nothing(client, queries, key, value, more, says):
    before = queries.store.sequence()
    status, told = keep(client, key, value, **more)

    assert (status, told["state"]) == (422, "refused")
    assert says in told["says"]
    assert queries.store.sequence() == before


@pytest.mark.parametrize("body", [b"", b"[]", b"null", b"{", b'{"line": 1}', b'{"sure": [1]}', b'"text"'])
def test_a_body_of_another_form_is_refused_in_words(client, body):
    answer = client.post(WRITE_KEEP, data=body, content_type="application/json")

    assert answer.status_code == 422
    assert "open the page again" in answer.get_json()["says"]


def test_what_is_too_large_or_no_json_is_not_read(client):
    assert client.post(WRITE_KEEP, json={"note": "x" * 9000}).status_code == 413
    assert client.post(WRITE_KEEP, data={"line": "Line 1"}).status_code == 413


def test_a_body_that_tells_no_length_is_read_no_further_than_an_entry_is_long(client, queries):
    before, body = queries.store.sequence(), io.BytesIO(json.dumps(entry(BATH, "0.21") | {"pad": "x" * 9000}).encode())
    environ = {"wsgi.input_terminated": True, "HTTP_TRANSFER_ENCODING": "chunked"}
    answer = client.post(WRITE_KEEP, input_stream=body, content_type="application/json", environ_overrides=environ)

    assert (answer.status_code, answer.get_json()["state"]) == (422, "refused")
    assert body.tell() <= LARGEST_BODY + 1
    assert queries.store.sequence() == before


@pytest.mark.parametrize(
    "headers", [{"Origin": "http://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Origin": "null"}]
)
@pytest.mark.parametrize("path", [WRITE_KEEP, WRITE_REACT, WRITE_CORRECT])
def test_another_sites_page_may_not_write(client, queries, path, headers):
    before = queries.store.sequence()
    answer = client.post(path, json=entry(BATH, "0.21"), headers=headers)

    assert answer.status_code == 403
    assert queries.store.sequence() == before


@pytest.mark.parametrize("path", [WRITE_KEEP, WRITE_REACT, WRITE_CORRECT])
def test_who_has_no_right_may_not_write(queries, path):
    server = create_app(queries).server
    server.before_request_funcs.setdefault(None, []).append(lambda: setattr(g, "person", Person("eve", "visitor")))
    before = queries.store.sequence()
    answer = server.test_client().post(path, json=entry(BATH, "0.21"))

    assert answer.status_code == 403
    assert answer.get_json()["state"] == "no right"
    assert queries.store.sequence() == before


def test_who_is_signed_in_stands_in_the_trail_whoever_took_the_reading(queries):
    server = create_app(queries).server
    server.before_request_funcs.setdefault(None, []).append(lambda: setattr(g, "person", Person("ruth", "lead")))
    keep(server.test_client(), BATH, "0.21")

    assert queries.store.since(0)[-1].who == "ruth"
    assert queries.store.streams()[BATH].technician[-1] == "ktl"


def test_a_bare_log_is_not_written_into(tmp_path):
    client = create_app(asked(write_line(tmp_path))).server.test_client()

    assert "spc serve --store FILE --follow LOG" in client.get(WRITE_CARDS).get_json()["why_not"]
    status, told = keep(client, BATH, "0.21")
    assert status == 422
    assert "bare log" in told["says"]


# what is offered


def test_cards_stand_in_the_order_in_which_they_are_to_be_done(client):
    told, _ = cards(client)
    order = ("overdue", "due now", "this shift", "later", "resting")
    places = [order.index(card["when"]) for card in told["cards"]]

    assert places == sorted(places)
    assert told["lines"] == ["Line 1", "Line 2"]
    assert told["people"][0] in ("m1", "m2", "m3")
    assert told["why_not"] == ""


def test_the_page_says_which_check_is_due_next_and_when(client):
    told, _ = cards(client)
    later = [card for card in told["cards"] if card["when"] == "later"]

    assert any(f"{card['title']}, {card['position']} on {card['line']}, " in told["following"] for card in later)
    assert told["following"].endswith("(Europe/Vienna).")


def test_a_card_knows_unit_step_tube_references_and_words(client):
    _, found = cards(client)
    bath, ammeter, shim = found[key_of(BATH)], found[key_of(AMMETER)], found[key_of(SHIM)]

    assert (bath["unit"], bath["step"], bath["places"], bath["tube"]) == ("mL/100 mL", 0.01, 2, True)
    assert (ammeter["deviation"], ammeter["references"]) == (True, [1000.0])
    assert shim["words"] == ["shown", "partly", "not shown"]
    assert (bath["confirmed"], found[key_of(LAMP)]["confirmed"]) == (True, False)
    assert bath["instruments"] == [{"name": "tube-1", "warning": ""}]
    assert found[("Line 2", "timer", "head")]["signed"]


def test_the_last_value_is_not_offered_for_copying(client):
    _, found = cards(client)

    assert "last" not in found[key_of(BATH)]


def test_a_check_that_the_calendar_asks_for_is_offered_before_its_first_reading(client):
    _, found = cards(client)
    card = found[("Line 2", "water_break", "tank 2")]

    assert (card["when"], card["words"]) == ("due now", ["pass", "fail"])
    assert ("Line 2", "yoke_lift", "yoke 1") not in found
    key = type(BATH)("Line 2", "water_break", "tank 2")
    assert keep(client, key, "pass")[1]["reading"]["word"] == "inside"


def test_a_check_that_was_kept_is_no_longer_first(client):
    before = [card["when"] for card in cards(client)[0]["cards"] if card["check"] == BATH.check]
    keep(client, BATH, "0.21")

    assert before == ["overdue"]
    assert [card["when"] for card in cards(client)[0]["cards"] if card["check"] == BATH.check] == ["later"]


def test_an_instrument_whose_calibration_ran_out_is_told(settings):
    with Store.open(settings.store) as store:
        store.append(
            Instrument("tube-1", calibrated_every_days=30),
            Calibration("tube-1", TODAY - timedelta(days=40), "in tolerance"),
            Calibration("rad-1", TODAY - timedelta(days=2), "out of tolerance"),
            Instrument("lux-1", in_use=False),
            who="q",
            now=TODAY,
        )
    _, found = cards(create_app(stored_queries(settings)).server.test_client())
    said = {one["name"]: one["warning"] for card in found.values() for one in card["instruments"]}

    assert said["tube-1"] == "calibration overdue since Wed 1 Apr 2026"
    assert said["rad-1"].startswith("out of tolerance at its calibration")
    assert said["lux-1"] == "taken out of use"
    assert said["shunt-1"] == ""


# a reaction, a slip


def test_a_signal_that_is_open_is_told_and_a_reaction_kept(client, queries):
    signal = keep(client, LAMP, "1800")[1]["reading"]["signal"]
    told = {"line": LAMP.line, "check": LAMP.check, "position": LAMP.position, "technician": "ktl"}
    told |= {"at": str(signal["at"]), "rule": signal["rule"]}
    answer = client.post(WRITE_REACT, json={**told, "cause": "filter dirty", "action": "cleaned, read again"})

    assert signal["sentence"].startswith("UV-A irradiance, lamp 1")
    assert signal["look_first"]
    assert signal["reacted"] == ""
    assert (answer.status_code, answer.get_json()["state"]) == (200, "kept")
    steps = [(one.record.step, one.record.words, one.who) for one in queries.store.records(Reaction)]
    assert steps == [
        ("acknowledged", "", "ktl"),
        ("cause", "filter dirty", "ktl"),
        ("action", "cleaned, read again", "ktl"),
    ]
    again = keep(client, LAMP, "1790", entry="f" * 32)[1]["reading"]["signal"]
    assert again["reacted"] == "action: cleaned, read again, by ktl"


def test_a_reaction_that_says_nothing_or_names_no_signal_is_refused(client):
    signal = keep(client, LAMP, "1800")[1]["reading"]["signal"]
    told = {"line": LAMP.line, "check": LAMP.check, "position": LAMP.position, "technician": "ktl"}

    nothing = client.post(WRITE_REACT, json={**told, "at": str(signal["at"]), "rule": signal["rule"]})
    unknown = client.post(WRITE_REACT, json={**told, "at": "1", "rule": "drift", "cause": "x"})
    assert (nothing.status_code, unknown.status_code) == (422, 422)
    assert "no longer there" in unknown.get_json()["says"]


def test_a_slip_is_put_right_by_a_correction_and_what_was_typed_stays(client, queries):
    keep(client, BATH, "0.12", sure=["far"])
    answer = client.post(WRITE_CORRECT, json={**entry(BATH, "0.21"), "why": "typed wrong"})

    assert answer.get_json() == {"state": "kept", "says": "Kept: it now says 0.21 mL/100 mL."}
    assert queries.store.streams()[BATH].value[-1] == 0.21
    assert queries.store.first_written()[BATH].value[-1] == 0.12
    (kept,) = queries.store.records(Correction)
    assert (kept.who, kept.record.why, kept.record.replaces) == ("ktl", "typed wrong", 0)
    twice = client.post(WRITE_CORRECT, json={**entry(BATH, "0.22"), "why": "again"})
    assert twice.status_code == 200
    assert queries.store.streams()[BATH].value[-1] == 0.22


def test_a_slip_can_be_taken_out_and_its_entry_never_comes_back(client, queries):
    before = len(queries.store.streams()[BATH])
    keep(client, BATH, "0.12", sure=["far"])
    assert client.post(WRITE_CORRECT, json={**entry(BATH, ""), "why": "wrong tank"}).status_code == 200

    assert len(queries.store.streams()[BATH]) == before
    assert keep(client, BATH, "0.12", sure=["far"])[1]["reading"]["before"]
    assert len(queries.store.streams()[BATH]) == before


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"why": ""}, "Say why first"),
        ({"technician": "m9"}, "ktl wrote this"),
        ({"entry": "e" * 32}, "no such entry"),
        ({"value": "-1"}, "cannot be below"),
    ],
)
def test_a_correction_is_refused_with_the_reason(client, queries, more, says):
    keep(client, BATH, "0.12", sure=["far"])
    before = queries.store.sequence()
    answer = client.post(WRITE_CORRECT, json={**entry(BATH, "0.21"), "why": "typed wrong", **more})

    assert answer.status_code == 422
    assert says in answer.get_json()["says"]
    assert queries.store.sequence() == before


def test_only_the_last_entry_and_for_half_an_hour(client, settings):
    keep(client, BATH, "0.12", sure=["far"])
    late = create_app(stored_queries(settings, TODAY + timedelta(minutes=31))).server.test_client()
    answer = late.post(WRITE_CORRECT, json={**entry(BATH, "0.21"), "why": "typed wrong"})

    assert "half an hour" in answer.get_json()["says"]
    keep(client, BATH, "0.22", entry="f" * 32)
    older = client.post(WRITE_CORRECT, json={**entry(BATH, "0.21"), "why": "typed wrong"})
    assert "Only the last entry" in older.get_json()["says"]
