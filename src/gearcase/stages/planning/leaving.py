"""Before leaving home: what is unknown, what to pack for either answer, which answer stops the job, what must be agreed and done.

A fork is an unknown whose two answers both leave work to do, each with its own kit; both kits are packed. What has no second way
stops the job, and is asked before anybody travels.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from gearcase.install.bonding import COLDEST, HOTTEST, WARMEST_TO_APPLY
from gearcase.install.housing import PROBED
from gearcase.job.build import Job
from gearcase.stages.planning.draft import mm
from gearcase.stages.planning.lists import materials
from gearcase.worked import Origin

__all__ = ["before_leaving"]

_ADHESIVE_KIT = "two-part adhesive, abrasive, solvent, wipes, surface thermometer"
_BENCH = (  # the bench stage between plan and fit; common practice, no source
    "every address, baud and parity set; both ends of every cable labelled",
    "the whole bus run with the actual cables, its register map loaded",
    "a soak of 4 h without a lost reply",
    "serial numbers written down",
)
_CELSIUS = 273.15
_SITE = "site"  # where the survey's questions to every site stand


def before_leaving(job: Job, plan: Mapping[str, Any], unknown: list[dict[str, Any]]) -> dict[str, Any]:
    """The page of one job.

    Parameters
    ----------
    job : Job
    plan : mapping
        Its ``plan/1`` document so far.
    unknown : list of dict
        As the survey asks them.

    Returns
    -------
    dict
        ``forks`` (unknown, where, one, pack_one, other, pack_other, stops), ``stops`` (what, where), ``open`` (questions that
        stop nothing), ``permissions`` (what, owner, lead, granted), ``isolation`` (points, agreed, by; None where nobody has
        said), ``bench``, ``conditions``.
    """
    given = [start for start, there in _given(job) if there]
    asked = [row for row in unknown if row["where"] != _SITE or not row["what"].startswith(tuple(given))]
    return {
        "forks": list(_forks(job, plan)),
        "stops": [
            *({"what": row["says"], "where": row["where"]} for row in plan["findings"] if row["level"] == "blocker"),
            *({"what": row["what"], "where": row["where"]} for row in asked if row["blocks_ordering"]),
        ],
        "open": [row["what"] for row in asked if not row["blocks_ordering"]],
        "permissions": list(_permissions(job, plan)),
        "isolation": plan["outage"]["isolation"],
        "bench": list(_bench(job, plan)),
        "conditions": list(_conditions(job, plan)),
    }


def _given(job: Job) -> Iterator[tuple[str, bool]]:
    """The survey's questions to every site, by how they begin, and whether this job holds the whole answer already."""
    place, held, sheet = job.conditions, job.outage.isolation, job.network
    yield "who owns the drive", bool(place.drilling_consent in ("given", "refused") and place.area and job.site.get("owner"))
    ports = job.housing.ports
    yield "bearing caps, and each plug", bool(ports) and all(port.pitch is not None and port.angle is not None for port in ports)
    known = None not in (place.backstop, place.counterweight, place.incline)
    yield "backstop, counterweight or incline", known
    yield "outage window, permits", bool(job.outage.windows and held and held.points and held.agreed and job.outage.asks)
    asked = bool(sheet and sheet.network.connections and all(one.owner for one in sheet.network.connections))
    yield "nearest panel, socket and network point", asked and job.power.branch is not None


def _fork(unknown: str, where: str, one: tuple[str, str], other: tuple[str, str], stops: str) -> dict[str, str]:
    return {
        "unknown": unknown,
        "where": where,
        "one": one[0],
        "pack_one": one[1],
        "other": other[0],
        "pack_other": other[1],
        "stops": stops,
    }


def _forks(job: Job, plan: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    parts = {part["name"]: part for part in plan["parts"]}
    allowed = job.conditions.drilling_consent == "given"
    for point in job.points:
        hole = parts[point.name]["hole"]
        if point.mount == "stud" and hole is not None:
            measured = point.wall is not None and point.wall.origin is Origin.MEASURED
            if not (measured and allowed):
                yield _about_the_hole(point.name, hole, measured=measured, allowed=allowed)
        if not point.mount:
            stud, bond = (
                ("the metal is thick enough and may be drilled", "drill, tap, collar, wall gauge"),
                ("it is not", _ADHESIVE_KIT),
            )
            yield _fork("how the sensor is mounted", point.name, stud, bond, "neither may be done there")
        if point.at is None:
            near, far = (
                ("the best spot of the plan is free", "the cable as planned"),
                ("only one farther off is", "the spare cable"),
            )
            yield _fork("where the sensor stands", point.name, near, far, "no spot is clear of guards and of what turns")
    bonded = [name for name, part in parts.items() if part["bond"]]
    if bonded:
        yield _about_the_bond(job, ", ".join(bonded))
    for port in job.housing.ports:
        if port.kind in PROBED and (port.pitch is None or port.angle is None):
            one = "60 degree taper (gauge the angle)", "fitting of the 60 degree taper thread and its sealant"
            other = "55 degree taper", "fitting of the 55 degree taper thread and its sealant"
            yield _fork("thread of the port", port.name, one, other, "neither gauge fits: leave its plug in")


def _about_the_hole(where: str, hole: Mapping[str, Any], *, measured: bool, allowed: bool) -> dict[str, str]:
    """Of a hole, what is still unknown: its wall, the owner's consent, or both."""
    least = mm(hole["wall_needed"]["value"])
    kit = f"drill {hole['drill']}, {hole['tap']} tap {hole['thread']}, collar, gauge pin, wall gauge, vacuum"
    unknown = ([] if measured else ["the wall at the spot"]) + ([] if allowed else ["whether it may be drilled"])
    holds = ([] if measured else [f"three readings give {least} or more"]) + ([] if allowed else ["the owner agrees"])
    fails = ([] if measured else ["less, or no reading"]) + ([] if allowed else ["no leave to drill"])
    stops = "the spot is not fit for a bond either" if allowed else "the owner allows neither drilling nor bonding"
    return _fork("; ".join(unknown), where, (", and ".join(holds), kit), ("; or ".join(fails), _ADHESIVE_KIT), stops)


def _about_the_bond(job: Job, where: str) -> dict[str, str]:
    low, high = f"{COLDEST - _CELSIUS:.0f}", f"{WARMEST_TO_APPLY - _CELSIUS:.0f}"
    one = f"{low} to {high} °C and 3 K above dew point", "adhesive kit as planned"
    other = f"under {low} °C or damp", "heat pad or lamp, insulation, thermometer that logs; more time"
    stops = "it cannot be warmed and held warm until cured"
    hot = job.housing.surface_temperature
    if hot is None:
        stops += f"; or the surface runs above {HOTTEST - _CELSIUS:.0f} °C (never measured yet)"
    return _fork("metal temperature on the day", where, one, other, stops)


def _permissions(job: Job, plan: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """What is to be agreed and by whom: as the job lists it, else as any such visit needs it; and what the plan itself wants."""
    owner = str(job.site.get("owner") or "")
    for row in plan["outage"]["lead"]:
        lead = f"{row['days']:.3g} days" if row["days"] else "five working days before"
        yield {"what": row["what"], "owner": row["owner"], "lead": lead, "granted": row["granted"]}
    if job.outage.asks:
        return
    mounts = {part["mount"] for part in plan["parts"]}
    does = [*(("drilled",) if "stud" in mounts else ()), *(("bonded to",) if any("adhesive" in one for one in mounts) else ())]
    yield {
        "what": f"the drive may be {', '.join([*does, 'wired'])}: warranty, certificate, area class",
        "owner": owner,
        "lead": "",
        "granted": False,
    }
    if any("adhesive" in one for one in mounts):
        permit = "hot work permit for grinding paint, after a test for lead and chromate"
        yield {"what": permit, "owner": "", "lead": "", "granted": False}
    yield {"what": "outage window and access", "owner": owner, "lead": "", "granted": False}
    if job.bus.connection.startswith("tcp") and job.network is None:
        yield {"what": "network address, port and approval", "owner": "", "lead": "weeks, as a rule", "granted": False}


def _bench(job: Job, plan: Mapping[str, Any]) -> Iterator[str]:
    if job.bus.devices:
        yield from _BENCH
    for name, _ in materials(job.kit):
        yield f"{name} cut by the cut list, deburred, marked"
    if any(part["mount"] == "stud" and part["hole"] and part["at_m"] for part in plan["parts"]):
        yield "drill template printed at 100 %; both bars measured with a steel rule: 100.0 mm"


def _conditions(job: Job, plan: Mapping[str, Any]) -> Iterator[str]:
    hot, metal = job.housing.surface_temperature, job.kit.metal_temperature
    running = "not known: measure it" if hot is None else f"{hot - _CELSIUS:.0f} °C"
    yield f"surface while running: {running}; let it cool, check before touching"
    cures = [part["bond"]["cure"]["value"] for part in plan["parts"] if part["bond"] and part["bond"].get("cure")]
    if any(part["bond"] for part in plan["parts"]):
        planned = "not known" if metal is None else f"planned {metal - _CELSIUS:.0f} °C"
        wait = f"; full cure {max(cures) / 3600:.0f} h at that" if cures else "; cure by the data sheet"
        yield f"metal while bonding: {planned}{wait}"
    yield "weather: rain or spray on an open port or a bond stops that work; look at the forecast for the whole window"
