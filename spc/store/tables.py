"""The tables. `head` is one row that moves forward; all others only grow, which triggers in the database hold."""

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    func,
)

metadata = MetaData()

Big = BigInteger().with_variant(Integer(), "sqlite")  # SQLite's INTEGER has 64 bits, and as a key is the row's number

head = Table(
    "head",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),  # always 1
    Column("sequence", Big, nullable=False),  # of the last entry of the trail; 0 before the first
    Column("digest", LargeBinary, nullable=False),  # of that entry
    Column("reading", Big, nullable=False),  # the last number given to a reading
)

trail = Table(
    "trail",
    metadata,
    Column("sequence", Big, primary_key=True, autoincrement=False),  # 1, 2, 3 ... without a gap
    Column("at", Big, nullable=False),  # microseconds since 1970-01-01 UTC
    Column("who", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),  # what it is about: a stream, a file, an instrument ...
    Column("body", Text, nullable=False),  # JSON in ASCII, keys sorted
    Column("digest", LargeBinary, nullable=False),  # SHA-256 over the previous digest and all of this entry
    Index("trail_by_kind", "kind", "subject", "sequence"),
)

streams = Table(
    "streams",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("line", Text, nullable=False),
    Column("check", Text, nullable=False),
    Column("position", Text, nullable=False),
    Column("unit", Text, nullable=False),  # of value, for good
    UniqueConstraint("line", "check", "position", name="streams_are_named_once"),
)

readings = Table(
    "readings",
    metadata,
    Column("id", Big, primary_key=True, autoincrement=False),  # 1, 2, 3 ... without a gap
    Column("stream", Integer, ForeignKey("streams.id"), nullable=False),
    Column("taken_at", Big, nullable=False),  # microseconds since 1970-01-01 UTC
    Column("offset", SmallInteger, nullable=False),  # minutes east of UTC as written, or NO_OFFSET
    Column("file", Big, ForeignKey("trail.sequence"), nullable=False),  # the entry that names the file
    Column("row", Big, nullable=False),  # in that file, the header being 1
    Column("value", Double),  # null where word is given
    Column("bound", SmallInteger, nullable=False),
    Column("word", Text, nullable=False),
    Column("reference", Double),
    Column("instrument", Text, nullable=False),
    Column("technician", Text, nullable=False),
    Column("shift", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("other", Text, nullable=False),  # JSON of the columns that the contract does not name; "" for none
    Column("entry", Big, ForeignKey("trail.sequence", deferrable=True, initially="DEFERRED"), nullable=False),
    Column("digest", LargeBinary, nullable=False),  # SHA-256 over the digest before it and all of this reading
)

Index(
    "readings_are_kept_once",
    readings.c.stream,
    readings.c.taken_at,
    func.coalesce(readings.c.value, 0),
    readings.c.bound,
    readings.c.word,
    unique=True,
)
