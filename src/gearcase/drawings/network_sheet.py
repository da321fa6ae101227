"""The network sheet as CSV, for the people who grant what it asks: hosts, connections with port, owner and approval, bus units."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

__all__ = ["network_csv"]

_DAY = 86400.0
_HEAD = ("kind", "name", "towards", "service", "address", "port", "owner", "approval", "lead_time_d")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet would take for a formula


def network_csv(document: Mapping[str, Any]) -> str:
    """The sheet of a ``plan/1`` document that has one: RFC 4180, a row for each subnet, host, connection and unit of the bus.

    Examples
    --------
    >>> sheet = {"subnet": "192.0.2.0/24", "gateway": "192.0.2.1", "hosts": [], "connections": []}
    >>> print(network_csv({"network": sheet, "bus": {"devices": []}}), end="")
    kind,name,towards,service,address,port,owner,approval,lead_time_d
    subnet,192.0.2.0/24,192.0.2.1,,,,,,
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_HEAD)
    writer.writerows([_plain(cell) for cell in row] for row in _rows(document))
    return out.getvalue()


def _rows(document: Mapping[str, Any]) -> Iterator[tuple[Any, ...]]:
    sheet = document["network"]
    yield "subnet", sheet["subnet"], sheet["gateway"], "", "", "", "", "", ""
    for host in sheet["hosts"]:
        yield "host", host["name"], "", "", host["address"], "", host["owner"], "", ""
    for one in sheet["connections"]:
        days = "" if one["lead_time_s"] is None else f"{one['lead_time_s'] / _DAY:g}"
        yield (
            "connection",
            one["opened_by"],
            one["towards"],
            one["service"],
            "",
            one["port"],
            one["owner"],
            one["approval"],
            days,
        )
    for device in document["bus"]["devices"]:
        yield "bus unit", device["name"], "", device["profile"], device["address"], "", "", "", ""


def _plain(cell: Any) -> str:
    """A cell that no spreadsheet runs."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.startswith(_FORMULA) else text
