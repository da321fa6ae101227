"""The network sheet of a plan: hosts with address and owner, connections with port, owner and approval; what to ask for first."""

from datetime import datetime
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.install.network import Approval, Connection, check_network, longest_lead
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft

__all__ = ["network"]

_DAY = 86400.0


def network(job: Job, draft: Draft, *, today: str) -> dict[str, Any] | None:
    """The sheet, and everything on it that would not work or is not yet allowed; None where the job has none.

    The time left is that until the outage where its day and today's are known: a figure stated once would never run down.
    """
    if job.network is None:
        return None
    sheet, left = job.network.network, job.network.until_fitting
    if today and job.outage.day is not None:
        left = _DAY * (job.outage.day - datetime.fromisoformat(today).toordinal())
    draft.found(check_network(sheet, until_fitting=left))
    first = longest_lead(sheet)
    if first is not None:
        asked = "Ask" if first.approval is Approval.NOT_ASKED else "Follow up"
        takes = "nobody knows how long it takes" if first.lead_time is None else f"it takes {first.lead_time / _DAY:.0f} days"
        who = first.owner or "its owner"
        draft.step("network", f"{asked} first: {who}, for {_named(first)}: {takes}. Then all others that are not approved.")
    return {
        "subnet": sheet.subnet,
        "gateway": sheet.gateway,
        "until_fitting_s": left,
        "hosts": [{"name": host.name, "address": host.address, "owner": host.owner} for host in sheet.hosts],
        "connections": [
            {
                "opened_by": one.opened_by,
                "towards": one.towards,
                "service": one.service,
                "port": _port(one),
                "owner": one.owner,
                "approval": str(one.approval),
                "lead_time_s": one.lead_time,
            }
            for one in sheet.connections
        ],
        "ask_first": _named(first) if first else "",
    }


def _named(connection: Connection) -> str:
    return f"{connection.opened_by} to {connection.towards}, {connection.service}"


def _port(connection: Connection) -> int | None:
    """The port it uses, None for a service that is not registered and has none stated, which is a finding."""
    try:
        return connection.number
    except OutOfRange:
        return None
