"""Files that readers of CSV stumble over, each read right; as check logs all are refused with the reason."""

import json
from datetime import UTC
from pathlib import Path

import pytest

from spc.catalogue.load import starter
from spc.errors import LogError
from spc.ingest.csv_log import read_log
from spc.ingest.decoder import Decoder
from spc.ingest.table import TableReader

# csv-spectrum 2.0.0 (npm registry, BSD-2-Clause): file, its rows, and what in the expected JSON we say otherwise.
ACID = Path(__file__).with_name("acid")
FILES = {
    "comma_in_quotes": 1,
    "empty": 2,
    "empty_crlf": 2,
    "escaped_quotes": 2,
    "json": 1,
    "location_coordinates": 1,
    "newlines": 3,
    "newlines_crlf": 3,
    "quotes_and_newlines": 2,
    "simple": 1,
    "simple_crlf": 1,
    "utf8": 2,
}
OTHERWISE = {"Contact Phone Number": "2095257564"}


def cells_of(name: str, *, piece: int) -> list[dict[str, str]]:
    """Return the rows of a file by column, fed in pieces of `piece` bytes."""
    data = (ACID / f"{name}.csv").read_bytes()
    first = data.split(b",")[0].decode()
    decoder, table = Decoder(name), TableReader(name, known=(), required=(first,))
    columns: dict[str, list[str]] = {}
    for at in range(0, len(data), piece):
        final = at + piece >= len(data)
        rows = table.feed(decoder.feed(data[at : at + piece], final=final), final=final)
        if rows is None:
            continue
        assert rows.faults == []
        columns.setdefault(first, []).extend(rows.times)
        for column, cells in rows.columns.items():
            columns.setdefault(column, []).extend(cells.texts[code] for code in cells.codes)
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def test_every_file_of_the_collection_is_read():
    assert sorted(FILES) == sorted(path.stem for path in ACID.glob("*.csv"))


@pytest.mark.parametrize("piece", [10_000, 7, 1])
@pytest.mark.parametrize("name", FILES)
def test_cells_are_what_the_collection_says(name, piece):
    said = json.loads((ACID / f"{name}.json").read_text(encoding="utf-8"))
    wanted = [
        {key: OTHERWISE.get(key, text.replace("\r\n", "\n")) for key, text in row.items()}
        for row in (said if isinstance(said, list) else [said])
    ]

    read = cells_of(name, piece=piece)

    assert len(read) == FILES[name]
    assert read == wanted


@pytest.mark.parametrize("name", FILES)
def test_no_such_file_passes_for_a_check_log(name):
    with pytest.raises(LogError, match=r"line 1 lacks the columns taken_at, .*; the first line must name the columns"):
        read_log(ACID / f"{name}.csv", starter(), zone=UTC)
