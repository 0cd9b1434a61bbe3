"""The tables of the first store."""

import sqlalchemy as sa
from alembic import op

revision = "m0001"
down_revision = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables, and the head before the first entry."""
    head = op.create_table(
        "head",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("sequence", BIG, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        sa.Column("reading", BIG, nullable=False),
    )
    op.create_table(
        "trail",
        sa.Column("sequence", BIG, primary_key=True, autoincrement=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
    )
    op.create_index("trail_by_kind", "trail", ["kind", "subject", "sequence"])
    op.create_table(
        "streams",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("line", sa.Text, nullable=False),
        sa.Column("check", sa.Text, nullable=False),
        sa.Column("position", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.UniqueConstraint("line", "check", "position", name="streams_are_named_once"),
    )
    op.create_table(
        "readings",
        sa.Column("id", BIG, primary_key=True, autoincrement=False),
        sa.Column("stream", sa.Integer, sa.ForeignKey("streams.id"), nullable=False),
        sa.Column("taken_at", BIG, nullable=False),
        sa.Column("offset", sa.SmallInteger, nullable=False),
        sa.Column("file", BIG, sa.ForeignKey("trail.sequence"), nullable=False),
        sa.Column("row", BIG, nullable=False),
        sa.Column("value", sa.Double),
        sa.Column("bound", sa.SmallInteger, nullable=False),
        sa.Column("word", sa.Text, nullable=False),
        sa.Column("reference", sa.Double),
        sa.Column("instrument", sa.Text, nullable=False),
        sa.Column("technician", sa.Text, nullable=False),
        sa.Column("shift", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("other", sa.Text, nullable=False),
        sa.Column(
            "entry",
            BIG,
            sa.ForeignKey("trail.sequence", deferrable=True, initially="DEFERRED"),
            nullable=False,
        ),
        sa.Column("digest", sa.LargeBinary, nullable=False),
    )
    op.create_index(
        "readings_are_kept_once",
        "readings",
        ["stream", "taken_at", sa.func.coalesce(sa.column("value"), 0), "bound", "word"],
        unique=True,
    )
    op.bulk_insert(head, [{"id": 1, "sequence": 0, "digest": bytes(32), "reading": 0}])
