"""What goes out is small, whole, and kept as long as it may be."""

import gzip
import re
from dataclasses import replace
from typing import Any

import brotli  # type: ignore[import-untyped]  # it comes without types
import plotly.graph_objects as go  # type: ignore[import-untyped]  # it comes without types
import pytest
from plotly.offline import get_plotlyjs_version  # type: ignore[import-untyped]  # it comes without types

from dashboard.app import create_app
from dashboard.delivery import BUNDLE, BUNDLE_TRACES, DASHS_OWN, bundle_address
from spc.figures import Screen
from tests.dashboard.made_line import KEYS, asked, write_line
from tests.made_results import figures


@pytest.fixture(scope="module")
def queries(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


@pytest.fixture
def client(queries):
    return create_app(queries).server.test_client()


def test_the_chart_library_is_of_the_version_that_figures_are_made_for():
    said = gzip.decompress(BUNDLE.read_bytes())[:200].decode()

    assert f"v{get_plotlyjs_version()}\n" in said
    assert get_plotlyjs_version() in BUNDLE.name


def test_the_chart_library_knows_every_kind_of_trace_there_is(queries):
    from dashboard.urls import StreamView

    made: list[Any] = [make(Screen()) for make in figures().values()]
    made += [go.Figure(queries.figure(StreamView(key.line, key.check, key.position, show="all"), {})) for key in KEYS]
    kinds = {trace.type for figure in made if figure is not None for trace in figure.data}

    assert kinds >= {"scatter", "bar"}
    assert kinds <= BUNDLE_TRACES


@pytest.mark.parametrize("address", [bundle_address(), DASHS_OWN])
def test_the_chart_library_is_sent_in_place_of_dashs_own(client, address):
    packed = client.get(address, headers={"Accept-Encoding": "gzip, br"})
    plain = client.get(address)

    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert b"basic" in plain.data[:100]
    assert len(packed.data) < 420_000


def scripts(client) -> list[str]:
    return re.findall(r'(?:src|href)="(/[^"]+)"', client.get("/").text)


@pytest.mark.parametrize(("accepts", "unpack"), [("br", brotli.decompress), ("gzip", gzip.decompress)])
def test_compressed_files_are_the_same_files_and_twice_as_well(client, accepts, unpack):
    for address in scripts(client):
        with client.get(address) as one:
            plain = one.data
        for _ in range(2):  # the second comes from what is kept
            with client.get(address, headers={"Accept-Encoding": accepts}) as one:
                packed = one.headers.get("Content-Encoding") == accepts
                assert (unpack(one.data) if packed else one.data) == plain, address
                assert packed or len(plain) < 1_000 or not address.endswith(("js", "css")), address


def test_all_that_a_first_page_loads_stays_under_a_megabyte(client):
    for accepts in ("br", "gzip"):
        total = 0
        for address in [*scripts(client), bundle_address(), "/_dash-layout", "/_dash-dependencies"]:
            with client.get(address, headers={"Accept-Encoding": accepts}) as answer:
                total += len(answer.data)

        assert total < 850_000, accepts  # a page and its chart come on top


def test_files_whose_address_tells_their_version_are_kept_for_a_year(client):
    for address in [*scripts(client), bundle_address()]:
        with client.get(address) as answer:
            assert "immutable" in answer.headers["Cache-Control"], address
            assert "max-age=31536000" in answer.headers["Cache-Control"]


@pytest.mark.parametrize("address", ["/", "/live", "/_dash-layout"])
def test_what_says_something_of_the_line_is_never_kept(client, address):
    assert client.get(address, headers={"Accept-Encoding": "br"}).headers["Cache-Control"] == "no-store"


def test_answers_about_the_line_are_compressed_anew_each_time(client, queries, monkeypatch):
    headers = {"Accept-Encoding": "br"}
    first = client.get("/_dash-layout", headers=headers)
    another = replace(queries.header(), title="Hall 5")
    monkeypatch.setattr(queries, "header", lambda: another)
    second = client.get("/_dash-layout", headers=headers)

    assert (first.headers["Content-Encoding"], second.headers["Content-Encoding"]) == ("br", "br")
    assert b"Hall 4" in brotli.decompress(first.data)
    assert b"Hall 5" in brotli.decompress(second.data)
