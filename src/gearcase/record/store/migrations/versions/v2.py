"""Version 2: readings in series and in order of keeping, people's entries in a chain, recordings, what retention leaves.

Until a later version is written, its tables are those of `tables`; that version freezes them here.
"""

import sqlalchemy as sa
from alembic import op

from gearcase.record.store import diary
from gearcase.record.store.tables import COUNTERS, SCHEMA, TABLES, guards
from gearcase.record.store.values import Event

revision = "2"
down_revision = "1"

_OLD_EVENTS = sa.table(
    "events_1", *(sa.column(name) for name in ("id", "time_s", "kind", "point", "says", "who")), sa.column("details", sa.JSON)
)
_READINGS = (
    "INSERT INTO series SELECT row_number() OVER (ORDER BY point, quantity, unit), point, quantity, unit, 0, 0 "
    "FROM (SELECT DISTINCT point, quantity, unit FROM readings_1) AS named",
    "INSERT INTO readings SELECT s.id, r.time_s, row_number() OVER (ORDER BY r.time_s, r.point, r.quantity), r.value, r.quality, "
    "r.state FROM readings_1 AS r JOIN series AS s ON s.point = r.point AND s.quantity = r.quantity AND s.unit = r.unit",
    "UPDATE series SET last_kept = (SELECT max(kept) FROM readings WHERE series = id), "
    "last_time_s = (SELECT max(time_s) FROM readings WHERE series = id)",
)
_LAST = {
    "readings": "SELECT coalesce(max(kept), 0) FROM readings",
    "events": "SELECT coalesce(max(id), 0) FROM events_1",
    "entries": "SELECT 0",
    "recordings": "SELECT 0",
}


def upgrade() -> None:
    """Take over every reading and event. The order of keeping was not kept: that of time stands for it."""
    connection = op.get_bind()
    op.drop_index("readings_by_time", "readings")
    op.drop_index("ix_events_time_s", "events")
    op.rename_table("readings", "readings_1")
    op.rename_table("events", "events_1")
    if connection.dialect.name != "sqlite":  # a renamed table keeps the names of its keys there
        op.execute("ALTER TABLE readings_1 DROP CONSTRAINT readings_pkey")
        op.execute("ALTER TABLE events_1 DROP CONSTRAINT events_pkey")
    TABLES.create_all(connection)
    for statement in (*guards(connection.dialect.name), *_READINGS):
        op.execute(statement)
    for name, last in _LAST.items():
        connection.execute(COUNTERS.insert(), {"name": name, "last": connection.scalar(sa.text(last))})
    for row in connection.execute(sa.select(_OLD_EVENTS).order_by(_OLD_EVENTS.c.id)).all():
        diary.insert(connection, Event(row.time_s, row.kind, row.point, row.says, row.who, row.details, row.id))
    op.drop_table("readings_1")
    op.drop_table("events_1")
    connection.execute(SCHEMA.update().values(version=int(revision)))
