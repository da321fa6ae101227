"""Verbs for a bus of one's own, on the bench: who answers on it, and giving a device its address."""

import argparse
import sys
from typing import TYPE_CHECKING

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, keep, load, quantity
from gearcase.errors import BadInput, Problem

if TYPE_CHECKING:
    from gearcase.job.build import Job
    from gearcase.stages.result import StageResult
    from gearcase.stages.scan import Found

__all__ = ["address", "links", "scan"]


def scan(given: argparse.Namespace) -> int:
    """Who answers on a bus that nobody else uses."""
    import asyncio
    from pathlib import Path

    from gearcase.device.modbus import connected
    from gearcase.install.connection import parse_connection
    from gearcase.record import results
    from gearcase.stages import scan
    from gearcase.stages.fit import built_serials

    job, connection, addresses = _bus_of_ones_own(given)
    listen = quantity("--listen", given.listen, "time") or 0.0
    way, patience = parse_connection(connection), _patience(given, job)
    built = results.latest(Path(given.job), "fit")

    def tell(one: "Found") -> None:
        if not given.json:
            what = ", ".join(part for part in (one.profile, one.serial and f"serial {one.serial}", one.says) if part)
            print(f"{one.address:3}  {one.outcome:8} {what}", file=sys.stderr, flush=True)

    async def over_the_wire() -> "StageResult":
        async with connected(connection, baud=job.bus.baud, timeout=patience, tries=1) as bus:
            return await scan.run(
                job,
                bus,
                confirmed_by=given.by,
                addresses=addresses,
                listen=listen,
                at=(lambda baud, character: connected(f"serial {way.place} {character}", baud=baud, timeout=patience, tries=1))
                if way.way == "serial"
                else None,
                serials=built_serials(built.document) if built else {},
                tell=tell,
            )

    result = asyncio.run(over_the_wire())
    path = keep(given, job, result, {})
    words = [result.document["statement"], *(f"  {one}" for one in result.document["findings"]), f"kept in {path}"]
    done(given, result.document, "\n".join(words))
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def address(given: argparse.Namespace) -> int:
    """Give one device, alone on the line, its planned address."""
    import asyncio

    from gearcase.device.modbus import connected
    from gearcase.stages import address

    job, connection, addresses = _bus_of_ones_own(given)
    device = next((one for one in job.bus.devices if one.name == given.device), None)
    if device is None:
        raise BadInput(Problem("--device", "", repr(given.device), f"one of: {'; '.join(one.name for one in job.bus.devices)}"))
    if not given.serial:
        raise BadInput(Problem("--serial", "", "none", "the serial number as it stands on the device in your hand"))

    async def over_the_wire() -> "StageResult":
        async with connected(connection, baud=job.bus.baud, timeout=_patience(given, job), tries=1) as bus:
            return await address.run(job, bus, device, serial=given.serial, addresses=addresses)

    result = asyncio.run(over_the_wire())
    path = keep(given, job, result, {})
    done(given, result.document, f"{result.document['statement']}\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def links(given: argparse.Namespace) -> int:
    """How good each device's link was, lately and before."""
    from pathlib import Path

    from gearcase.device.link_quality import LinkQuality
    from gearcase.record.clock import unix_now
    from gearcase.record.links import spells

    job, lately = load(given), quantity("--lately", given.lately, "time") or 0.0
    since, rows, wrong = unix_now() - lately, [], False
    kept = spells(Path(given.job))
    for device in job.bus.devices:
        late, before = LinkQuality(), LinkQuality()
        for one in kept:
            if one.device == device.name:
                (late if one.ended >= since else before).add(LinkQuality.from_dict(one.counts))
        worse = late.is_worse_than(before)
        wrong |= worse
        rows.append({"device": device.name, "lately": late.words(), "before": before.words(), "worse": worse})
    words = [
        f"{row['device']}: {row['lately']}{'; WORSE than before' if row['worse'] else ''}\n  before: {row['before']}"
        for row in rows
    ]
    done(given, {"schema": "links/1", "since": since, "devices": rows}, "\n".join(words) or "no devices: job.yaml, bus.devices")
    return SOMETHING_WRONG if wrong else NOTHING_WRONG


def _patience(given: argparse.Namespace, job: "Job") -> float:
    """How long to wait for one answer: as said, and no less than three times what the job says a device takes. [s]"""
    return max(quantity("--wait", given.wait, "time") or 0.0, 3 * job.bus.device_delay)


def _bus_of_ones_own(given: argparse.Namespace) -> "tuple[Job, str, range]":
    """Job, connection and addresses to ask, once a person has said by name that nobody else is on the bus."""
    from gearcase.stages.scan import CONFIRMED

    job = load(given)
    connection = given.connection or job.bus.connection
    problems = []
    if not connection:
        problems.append(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here or as --connection"))
    if not given.by.strip():
        problems.append(Problem("--by", "", "nobody", f"who says that {CONFIRMED}"))
    if not given.master_off:
        problems.append(Problem("--master-off", "", "not said", f"see to it, then say so: {CONFIRMED}; else both collide"))
    first, _, last = given.addresses.partition("-")
    numbers = [int(part) if part.isascii() and part.isdecimal() else 0 for part in (first, last or first)]
    if not 1 <= numbers[0] <= numbers[1] <= 247:
        problems.append(Problem("--addresses", "", repr(given.addresses), "addresses from 1 to 247, e.g. 1-247 or 11-20"))
    if problems:
        raise BadInput(problems)
    return job, connection, range(numbers[0], numbers[1] + 1)
