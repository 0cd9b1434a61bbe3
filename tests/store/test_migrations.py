"""The steps lead to the tables that the code speaks of; an older store is taken along, a newer one refused."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from spc.errors import StoreError
from spc.store import migrations
from spc.store.engine import address, open_engine
from spc.store.migrations import KNOWN, LAST, upgrade
from spc.store.store import Store
from spc.store.tables import metadata
from tests.store.made_store import LOG, add, read_text


@pytest.mark.filterwarnings("ignore:Skipped unsupported reflection of expression-based index:sqlalchemy.exc.SAWarning")
@pytest.mark.filterwarnings("ignore:autogenerate skipping metadata-specified expression-based index:UserWarning")
def test_the_steps_lead_to_the_tables_of_the_code(store):
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = [
            each for each in compare_metadata(context, metadata) if "readings_are_kept_once" not in str(each)
        ]

    assert differences == []


def test_every_step_is_known_and_the_last_is_the_last():
    script = ScriptDirectory(migrations.__path__[0])

    assert script.get_current_head() == LAST
    assert sorted(each.revision for each in script.walk_revisions()) == sorted(KNOWN)


def test_a_store_of_an_older_step_is_taken_along(fresh, tmp_path):
    engine = open_engine(address(fresh))
    upgrade(engine, "m0001")
    with Store(engine) as old:
        add(old, read_text(tmp_path, LOG))
        before = old.verify()

    with Store.open(fresh) as store:
        assert store.verify() == before
        with pytest.raises(Exception, match="only grows"), store.engine.begin() as connection:
            connection.execute(text("DELETE FROM readings"))


@pytest.mark.parametrize("step", ["m9999", "m\n\x1b[2J 9"])
def test_a_store_of_a_newer_step_is_refused_in_one_line(fresh, step):
    with Store.open(fresh) as store, store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :step"), {"step": step})

    with pytest.raises(StoreError, match="made by a newer version of this program") as refused:
        Store.open(fresh)
    assert str(refused.value).isprintable()
