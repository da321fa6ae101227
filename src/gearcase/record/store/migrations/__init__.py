"""Brings a store made by an earlier version up to date: all of it in one transaction, so that one cut short changed nothing."""

import sqlalchemy as sa

from gearcase.errors import BadInput, Problem
from gearcase.record.store.database import Database
from gearcase.record.store.tables import COUNTERS, HEAD, SCHEMA, TABLES, VERSION, guards

__all__ = ["make", "upgrade"]


def make(connection: sa.Connection) -> None:
    """The tables of an empty store, as the last migration leaves them."""
    TABLES.create_all(connection)
    for statement in guards(connection.dialect.name):
        connection.exec_driver_sql(statement)
    connection.execute(COUNTERS.insert(), [{"name": name, "last": 0} for name in ("readings", "events", "entries", "recordings")])
    connection.execute(SCHEMA.insert(), {"version": int(HEAD)})
    connection.execute(VERSION.insert(), {"version_num": HEAD})


def upgrade(database: Database, *, to: str = HEAD) -> None:
    """Make the tables of a store, or bring those of an earlier version up to date.

    Raises
    ------
    BadInput
        It was made by a later version, or cannot be written.
    """
    if database.read(_version) == to:
        return

    def work(connection: sa.Connection) -> None:
        version = _version(connection)  # again: another program may have done it while this one waited
        if version == to:
            return
        if version == "" and to == HEAD:
            make(connection)
        elif version in ("", "1"):
            _by_alembic(connection, version, to)
        else:
            accepted = f"a store of version {HEAD}; open it with the gearcase that made it, or move it away"
            raise BadInput(Problem(database.where, "", f"version {version}", accepted))

    database.migrate(work)


def _version(connection: sa.Connection) -> str:
    """Revision of the tables; version 1 had its own way to say so; empty where there are none."""
    names = sa.inspect(connection).get_table_names()
    if VERSION.name in names:
        return str(connection.scalar(sa.select(VERSION.c.version_num)) or "")
    if SCHEMA.name in names:
        return str(connection.scalar(sa.select(SCHEMA.c.version)) or "1")
    return ""


def _by_alembic(connection: sa.Connection, version: str, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", __name__.replace(".migrations", ":migrations"))
    if version:
        command.stamp(config, version)
    command.upgrade(config, to)
