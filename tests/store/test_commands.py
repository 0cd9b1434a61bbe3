"""The commands of the store: what they say, what they refuse, and that none ends in a traceback."""

import json
import sys

import pytest

from spc.cli import main
from spc.store.store import Store
from tests.store.made_store import LOG, long_log

EVENTS = (
    "at,line,kind,check,position,amount,unit,note\n2025-03-04T05:30Z,Line A,bath_changed,bath_concentration,tank,,,\n"
)
SITE = """\
[check.bath_concentration.acceptance]
rule = "fixed"
lower = 0.10
upper = 0.40
document = "WP-1"
revision = "B"
"""


@pytest.fixture
def spc(tmp_path, monkeypatch, capsys):
    """Return what runs a command in a folder with a log, its store named by the environment."""
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "events.csv").write_text(EVENTS)
    (tmp_path / "site.toml").write_text(SITE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SPC_STORE", str(tmp_path / "store.db"))

    def run(*words: str, code: int = 0) -> str:
        monkeypatch.setattr(sys, "argv", ["spc", *words])
        with pytest.raises(SystemExit) as end:
            main()
        printed = capsys.readouterr()
        assert end.value.code == code, printed.err
        assert (printed.err == "") == (code == 0)
        assert printed.err.count("\n") <= 1
        return str(printed.out if code == 0 else printed.err)

    return run


def test_the_way_of_a_log_through_all_commands(spc, tmp_path):
    first = json.loads(spc("import", "log.csv", "--events", "events.csv", "--zone", "UTC", "--by", "anna", "--json"))
    second = json.loads(spc("import", "log.csv", "--events", "events.csv", "--zone", "UTC", "--by", "bert", "--json"))
    before = json.loads(spc("verify", "--json"))
    spc("backup", "kept.db")
    spc("restore", "kept.db", "--store", "other.db")
    spc("export", "out", "--store", "other.db", "--parquet")
    third = spc("import", "out", "--store", "third.db")

    assert [each["rows"]["accepted"] for each in first["files"]] == [6, 1]
    assert [each["rows"]["accepted"] for each in second["files"]] == [0, 0]
    assert first["files"][0]["quarantine"][0]["text"] == "1.2.3"
    assert before["fits"]
    assert (
        json.loads(spc("verify", "--store", "other.db", "--digest", before["digest"], "--json"))["digest"]
        == before["digest"]
    )
    stands = f"The digest noted earlier still stands: it is that of entry {before['entries']}."
    assert stands in spc("verify", "--store", "other.db", "--digest", before["digest"])
    assert stands not in spc("verify", "--store", "other.db")
    assert "6 rows read = 6 added" in third
    with Store.open(tmp_path / "store.db") as store:
        assert {entry.who for entry in store.since(0)} == {"anna"}


def test_limits_become_decisions_once(spc):
    words = ("limits", "--catalogue", "site.toml", "--valid-from", "2025-03-04T00:00Z", "--confirmed-by", "the Level 3")
    spc(*words)
    spc(*words)

    (decision,) = json.loads(spc("limits", "--json"))

    assert decision["acceptance"]["document"] == "WP-1"
    assert decision["valid_from"] == "2025-03-04T00:00:00+00:00"


def test_a_long_import_is_counted_in_words(spc, tmp_path):
    (tmp_path / "long.csv").write_text(long_log(500))

    assert "500 rows read = 500 added + 0 in the store before" in spc("import", "long.csv")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("import",), "nothing to import"),
        (("import", "none.csv"), "no such file"),
        (("import", "."), "a folder without an export"),
        (("import", "log.csv", "--by", " "), "--by is empty"),
        (("import", "log.csv", "--store", "mysql://x/y"), "no store"),
        (("verify",), "there is no such store"),
        (("backup", "kept.db"), "there is no such store"),
        (("restore", "none.db"), "there is no such file"),
        (("restore", "log.csv"), "log.csv: the database refuses"),
        (("export", "out"), "there is no such store"),
        (("limits", "--catalogue", "site.toml"), "give --valid-from and --confirmed-by"),
        (
            ("limits", "--catalogue", "site.toml", "--valid-from", "soon", "--confirmed-by", "x"),
            "no ISO 8601 date",
        ),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(spc, words, says):
    assert says in spc(*words, code=2)


def test_a_changed_record_ends_with_exit_code_2(spc, tmp_path):
    spc("import", "log.csv", "--zone", "UTC")
    with Store.open(tmp_path / "store.db") as store, store.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER readings_only_grows_update")
        connection.exec_driver_sql("UPDATE readings SET value = 0.25 WHERE id = 2")

    said = spc("verify", code=2)

    assert "entry 2 of the trail does not fit: reading 2" in said


def test_a_digest_that_no_longer_stands_ends_with_exit_code_2(spc):
    spc("import", "log.csv", "--zone", "UTC")

    assert "no entry has the digest 00ff" in spc("verify", "--digest", "00ff", code=2)
