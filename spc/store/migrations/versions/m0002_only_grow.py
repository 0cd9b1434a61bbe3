"""Triggers that keep the record from being changed or deleted, and the head from going back."""

from alembic import op

revision = "m0002"
down_revision = "m0001"

GROWING = ("trail", "streams", "readings")


def upgrade() -> None:
    """Make the triggers."""
    if op.get_bind().dialect.name == "sqlite":
        _sqlite()
    else:
        _postgresql()


def _sqlite() -> None:
    for table in GROWING:
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_only_grows_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'the table {table} only grows'); END"
            )
    op.execute(
        "CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head "
        "WHEN NEW.id <> OLD.id OR NEW.sequence <= OLD.sequence OR NEW.reading < OLD.reading "
        "BEGIN SELECT RAISE(ABORT, 'the head only goes forward'); END"
    )
    op.execute(
        "CREATE TRIGGER head_stays BEFORE DELETE ON head BEGIN SELECT RAISE(ABORT, 'the head is not deleted'); END"
    )


def _postgresql() -> None:
    op.execute(
        "CREATE FUNCTION spc_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the table % only grows', TG_TABLE_NAME; END $$"
    )
    op.execute(
        "CREATE FUNCTION spc_goes_forward() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN IF NEW.id <> OLD.id OR NEW.sequence <= OLD.sequence OR NEW.reading < OLD.reading THEN "
        "RAISE EXCEPTION 'the head only goes forward'; END IF; RETURN NEW; END $$"
    )
    for table in GROWING:
        op.execute(
            f"CREATE TRIGGER {table}_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION spc_only_grows()"
        )
    op.execute(
        "CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head FOR EACH ROW EXECUTE FUNCTION spc_goes_forward()"
    )
    op.execute(
        "CREATE TRIGGER head_stays BEFORE DELETE OR TRUNCATE ON head "
        "FOR EACH STATEMENT EXECUTE FUNCTION spc_only_grows()"
    )
