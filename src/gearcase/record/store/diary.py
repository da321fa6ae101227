"""Events in the store: what the watch says by itself, and what people said, each of those a link in a chain of hashes."""

import json
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from gearcase.errors import BadInput, Problem
from gearcase.record import chain
from gearcase.record.store.tables import COUNTERS, ENTRIES, EVENTS
from gearcase.record.store.values import Event

__all__ = ["add", "advance", "find", "insert", "verified"]


def add(connection: sa.Connection, event: Event) -> None:
    """Keep an event under the next number."""
    number = advance(connection, "events", 1)
    insert(connection, Event(event.time_s, event.kind, event.point, event.says, event.who, event.details, number))


def insert(connection: sa.Connection, event: Event) -> None:
    """Keep an event under its own number.

    Raises
    ------
    BadInput
        A person's entry of anything but plain, finite data.
    """
    row = {"time_s": event.time_s, "kind": _text(event.kind), "point": _text(event.point), "says": _text(event.says)}
    if not event.who:
        connection.execute(EVENTS.insert(), {**row, "number": event.number, "details": json.dumps(event.details)})
        return
    number = advance(connection, "entries", 1)
    before = connection.scalar(sa.select(ENTRIES.c.line).where(ENTRIES.c.number == number - 1))
    record = chain.linked(
        "the entry",
        {**row, "event": event.number, "details": event.details},
        number=number,
        previous=json.loads(before)["sha256"] if before else chain.FIRST,
        who=event.who,
        when=datetime.fromtimestamp(event.time_s, UTC).isoformat(),
    )
    line = chain.line(record).decode()
    connection.execute(ENTRIES.insert(), {"number": number, "event": event.number, "time_s": event.time_s, "line": line})


def find(connection: sa.Connection, *, since: float | None, after: int) -> tuple[Event, ...]:
    """Events of both kinds in the order of their numbers."""
    said, entered = sa.select(EVENTS).where(EVENTS.c.number > after), sa.select(ENTRIES).where(ENTRIES.c.event > after)
    if since is not None:
        said, entered = said.where(EVENTS.c.time_s >= since), entered.where(ENTRIES.c.time_s >= since)
    found = [
        Event(row.time_s, row.kind, row.point, row.says, "", json.loads(row.details), row.number)
        for row in connection.execute(said)
    ]
    found += [_event(json.loads(row.line)) for row in connection.execute(entered)]
    return tuple(sorted(found, key=lambda event: event.number))


def verified(connection: sa.Connection, where: str) -> tuple[dict[str, Any], ...]:
    """The records of people's entries, every one as it was written.

    Raises
    ------
    BadInput
        One was changed, or is missing.
    """
    rows = connection.execute(sa.select(ENTRIES).order_by(ENTRIES.c.number)).all()
    where = f"{where}, entries"
    records = chain.verified(where, (row.line.encode() for row in rows))
    for row, record in zip(rows, records, strict=True):
        if (row.number, row.event, row.time_s) != (record["number"], record["entry"]["event"], record["entry"]["time_s"]):
            raise BadInput(Problem(f"{where}:{record['number']}", "", "a row that says another thing than its line", _AS_WRITTEN))
    counted = connection.scalar(sa.select(COUNTERS.c.last).where(COUNTERS.c.name == "entries"))
    if counted != len(records):
        raise BadInput(Problem(f"{where}:{len(records) + 1}", "", f"{len(records)} entries where {counted} were made", _AS_WRITTEN))
    return records


def advance(connection: sa.Connection, name: str, by: int) -> int:
    """The last of so many new numbers of a kind. Until the transaction ends nobody else gets one."""
    query = COUNTERS.update().where(COUNTERS.c.name == name).values(last=COUNTERS.c.last + by).returning(COUNTERS.c.last)
    return int(connection.execute(query).scalar_one())


_AS_WRITTEN = "the entries as they were written: restore the backup; entries are added, never edited"


def _event(record: dict[str, Any]) -> Event:
    entry = record["entry"]
    return Event(entry["time_s"], entry["kind"], entry["point"], entry["says"], record["who"], entry["details"], entry["event"])


def _text(words: str) -> str:
    """Words as every database takes them: a device's nonsense must not keep an event from being kept."""
    return words.encode("utf-8", "replace").decode().replace("\0", "\ufffd")
