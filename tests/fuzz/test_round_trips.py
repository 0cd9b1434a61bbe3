"""What the program writes down and reads back says the same; what anybody else may send is read or refused in words."""

import csv
import io
import json
import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta, timezone
from enum import Enum
from typing import Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from dashboard.queries.entry import LONGEST, sent
from dashboard.sessions import Sessions
from dashboard.urls import FleetView, RecordView, ReviewView, StreamView, WindowView
from spc.cli import app
from spc.store.entries import KINDS, body_of, record_from
from spc.store.trail import canonical
from tests.fuzz.targets import HEADER, POSTS, board, refusals

TEXT = st.text(max_size=12)
ZONES = st.sampled_from([UTC, timezone(timedelta(hours=2)), timezone(timedelta(hours=-9, minutes=-30))])
FAR = 253_402_128_000 + 62_135_510_400
"""Seconds from 3 January of year 1 to 29 December 9999."""

TIMES = st.builds(
    lambda seconds, part, zone: (
        datetime(1, 1, 3, tzinfo=UTC) + timedelta(seconds=seconds, microseconds=part)
    ).astimezone(zone),
    st.integers(0, FAR), st.integers(0, 999_999), ZONES,
)  # fmt: skip
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)
PLAIN: Mapping[Any, st.SearchStrategy[Any]] = {
    str: TEXT,
    bool: st.booleans(),
    int: st.integers(-(2**53), 2**53),
    float: st.floats(allow_nan=False, allow_infinity=False),
    datetime: TIMES,
    type(None): st.none(),
}


def of(hint: Any) -> st.SearchStrategy[Any]:
    """Return values of a type as the records name it."""
    if hint in PLAIN:
        return PLAIN[hint]
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin is Literal:
        return st.sampled_from(inner)
    if origin in (typing.Union, types.UnionType):
        return st.one_of(*map(of, inner))
    if origin is tuple:
        return st.lists(of(inner[0]), max_size=3).map(tuple) if inner[-1] is ... else st.tuples(*map(of, inner))
    if origin is not None and issubclass(origin, Mapping):
        return st.dictionaries(of(inner[0]), of(inner[1]), max_size=3)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return st.sampled_from(list(hint))
    assert is_dataclass(hint), f"{hint}: say here what its values are"
    hints = typing.get_type_hints(hint)
    return st.builds(hint, **{field.name: of(hints[field.name]) for field in fields(hint) if field.init})  # type: ignore[arg-type]


# what the store keeps


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25)
@given(data=st.data())
def test_a_record_of_every_kind_is_read_back_as_it_was_written(kind, data):
    record = data.draw(of(KINDS[kind][0]))

    body = canonical(body_of(record))

    assert record_from(kind, body) == record
    assert canonical(body_of(record_from(kind, body))) == body


@given(st.sampled_from(sorted(KINDS)), JSON.map(json.dumps) | TEXT | st.just("[" * 9000))
def test_what_is_no_record_is_refused_in_one_line(kind, body):
    with refusals():
        assert type(record_from(kind, body)) is KINDS[kind][0]


# who is signed in


@settings(max_examples=40)
@given(st.lists(st.tuples(TEXT, st.integers(1, 2**53), st.booleans()), max_size=5))
def test_sessions_outlive_a_restart_as_they_were(tmp_path_factory, people):
    file = tmp_path_factory.mktemp("sessions") / "sessions.json"
    now = datetime(2026, 4, 11, 14, tzinfo=UTC)
    before = Sessions(file)
    tokens = [before.start(name, account, now, wall=wall) for name, account, wall in people]

    after = Sessions(file)

    assert [after.find(token, now) for token in tokens] == [before.find(token, now) for token in tokens]
    assert [(each.name, each.account, each.wall) for token in tokens if (each := after.find(token, now))] == people


# addresses


@pytest.mark.parametrize("view", [StreamView, RecordView, ReviewView, WindowView, FleetView])
@settings(max_examples=60)
@given(data=st.data())
def test_a_view_read_from_its_own_address_stays_as_it_is(view, data):
    asked = data.draw(of(view))

    read = view.from_search(asked.href.partition("?")[2])

    assert view.from_search(read.href.partition("?")[2]) == read


# what tablets send

VALUES = st.one_of(TEXT, JSON)
BODIES = st.dictionaries(st.sampled_from([*LONGEST, "age", "sure", "other"]), VALUES, max_size=6) | JSON


@given(BODIES)
def test_an_entry_is_taken_as_it_was_sent_or_refused(body):
    with refusals():
        taken = sent(body)

        assert isinstance(body, dict)
        assert taken.texts == {name: " ".join(body[name].split()) for name in body if name not in ("age", "sure")}
        assert set(taken.sure) <= set(body.get("sure", ()))


@settings(max_examples=30)
@given(st.sampled_from(POSTS), BODIES)
def test_every_post_answers_whatever_json_it_gets(path, body):
    _, client, queries = board()
    before = queries.store.sequence()

    answer = client.post(path, data=json.dumps(body), content_type="application/json")

    assert answer.status_code < 500
    assert answer.status_code in (200, 204) or (answer.json["says"] and queries.store.sequence() == before)


# what commands print

CELL = st.sampled_from(
    ["0.21", "0.9", "<0.05", ">5000", "shown", "not run", "x", "", "1e308", "-1", "0", "1e-320", "=1+1"]
)
CHECKS = st.sampled_from(["bath_concentration", "ammeter", "uva_irradiance", "notched_shim", "no_such", ""])
ROWS = st.lists(st.tuples(st.integers(0, 59), CHECKS, CELL, CELL | st.just("1000"), TEXT), max_size=25)


def log_of(rows: list[tuple[int, str, str, str, str]]) -> str:
    """Return rows as a log: minute, check, value, reference and note."""
    out = io.StringIO()
    out.write(HEADER.decode())
    csv.writer(out).writerows(
        [
            f"2026-03-02T06:{minute:02}",
            "Line 1",
            check,
            "tank",
            value,
            reference,
            "",
            "m",
            "k",
            "A",
            note.replace("\0", ""),
        ]
        for minute, check, value, reference, note in rows
    )
    return out.getvalue()


@settings(max_examples=40)
@given(ROWS)
def test_a_scan_prints_json_that_any_reader_reads_or_refuses_in_one_line(tmp_path_factory, rows):
    log = tmp_path_factory.mktemp("logs") / "log.csv"
    log.write_text(log_of(rows), encoding="utf-8", newline="")

    done = CliRunner().invoke(app, ["scan", str(log), "--json", "--zone", "UTC"])

    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    if done.exit_code == 2:
        assert len(done.stderr.strip().splitlines()) == 1
        return
    assert done.exit_code == 0
    said = json.loads(done.stdout, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    count = said["rows"]
    assert count["read"] == count["accepted"] + count["duplicate"] + count["quarantined"]
    assert count["quarantined"] == len(said["quarantine"])
    assert sum(stream["n"] for stream in said["streams"]) <= count["accepted"]
