"""The tables of a store, the same on SQLite and PostgreSQL.

A *series* is one quantity in one unit at one point. Its readings lie in order of time, those of one moment in order of keeping,
so that nothing is lost where the clock was put back; `kept` numbers every reading ever kept. Intervals hold what retention has
left of older ones. What the watch says by itself stands in `events`, what a person said in `entries`: a line in a chain of
hashes (`record.chain`), which the database refuses to change or delete. Both draw their number from one counter.
"""

import sqlalchemy as sa

__all__ = [
    "COUNTERS",
    "ENTRIES",
    "EVENTS",
    "HEAD",
    "INTERVALS",
    "READINGS",
    "RECORDINGS",
    "SCHEMA",
    "SERIES",
    "TABLES",
    "VERSION",
    "guards",
]

HEAD = "2"  # revision of these tables; `migrations` leads to it
TABLES = sa.MetaData()

VERSION = sa.Table("alembic_version", TABLES, sa.Column("version_num", sa.String(32), primary_key=True))
SCHEMA = sa.Table("schema", TABLES, sa.Column("version", sa.Integer, nullable=False))  # a program of version 1 looks here
COUNTERS = sa.Table(  # locked by whoever keeps something, so that numbers become visible in their order
    "counters",
    TABLES,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("last", sa.BigInteger, nullable=False),
)
SERIES = sa.Table(
    "series",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("quantity", sa.Text, nullable=False),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("last_time_s", sa.Double, nullable=False),  # of the reading kept last: the newest is found without a search
    sa.Column("last_kept", sa.BigInteger, nullable=False),
    sa.UniqueConstraint("point", "quantity", "unit"),
)
READINGS = sa.Table(
    "readings",
    TABLES,
    sa.Column("series", sa.Integer, primary_key=True),
    sa.Column("time_s", sa.Double, primary_key=True),
    sa.Column("kept", sa.BigInteger, primary_key=True),
    sa.Column("value", sa.Double),
    sa.Column("quality", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sqlite_with_rowid=False,
)
INTERVALS = sa.Table(
    "intervals",
    TABLES,
    sa.Column("series", sa.Integer, primary_key=True),
    sa.Column("start_s", sa.Double, primary_key=True),
    sa.Column("seconds", sa.Double, nullable=False),
    sa.Column("count", sa.Integer, nullable=False),
    sa.Column("least", sa.Double),
    sa.Column("greatest", sa.Double),
    sa.Column("mean", sa.Double),
    sa.Column("quality", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sqlite_with_rowid=False,
)
EVENTS = sa.Table(
    "events",
    TABLES,
    sa.Column("number", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("time_s", sa.Double, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("says", sa.Text, nullable=False),
    sa.Column("details", sa.Text, nullable=False),  # JSON
    sa.Index("events_by_time", "time_s"),
)
ENTRIES = sa.Table(
    "entries",
    TABLES,
    sa.Column("number", sa.BigInteger, primary_key=True, autoincrement=False),  # in the chain
    sa.Column("event", sa.BigInteger, nullable=False, unique=True),  # among all events
    sa.Column("time_s", sa.Double, nullable=False),
    sa.Column("line", sa.Text, nullable=False),  # canonical JSON with its hash; the columns repeat it, to be found by
)
RECORDINGS = sa.Table(
    "recordings",
    TABLES,
    sa.Column("number", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("time_s", sa.Double, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("file", sa.Text, nullable=False, unique=True),
    sa.Column("sha256", sa.Text, nullable=False),
    sa.Column("size", sa.BigInteger, nullable=False),
    sa.Column("details", sa.Text, nullable=False),  # JSON
)

_REFUSED = "entries are added, never changed or deleted"


def guards(dialect: str) -> tuple[str, ...]:
    """What makes a database, ``sqlite`` or ``postgresql``, refuse to change or delete entries. SQLite's REPLACE deletes without
    asking the guard against deleting, so an entry that is there may not be inserted again either.
    """
    if dialect == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END"
        there = "EXISTS (SELECT 1 FROM entries WHERE number = NEW.number OR event = NEW.event)"
        return (
            f"CREATE TRIGGER entries_not_changed BEFORE UPDATE ON entries {refuse}",
            f"CREATE TRIGGER entries_not_deleted BEFORE DELETE ON entries {refuse}",
            f"CREATE TRIGGER entries_not_replaced BEFORE INSERT ON entries WHEN {there} {refuse}",
        )
    return (
        f"CREATE FUNCTION refuse_entries() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION '{_REFUSED}'; END $$",
        "CREATE TRIGGER entries_not_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON entries "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_entries()",
    )
