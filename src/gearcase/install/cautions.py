"""Site conditions: which cautions a plan needs and where, and which parts do not suit the place.

A caution is a row of ``cautions.csv``: what must be true of the plan (all of its conditions), the step it stands at, its words
and its source. `cautions` gives each once. None replaces the local code or licensed practice, see `DEFERS`.
`unsuitable` holds a part's ingress code, temperature range and area certificates against the site.
"""

import re
from collections.abc import Iterator, Set
from dataclasses import dataclass
from enum import StrEnum

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "DEFERS",
    "UNCLASSIFIED",
    "Area",
    "Caution",
    "Condition",
    "Part",
    "Site",
    "Step",
    "burn_threshold",
    "cautions",
    "ingress_suits",
    "parse_area",
    "unsuitable",
    "why_not_in",
]

DEFERS = "Local code, the site's own rules and permits, and licensed practice come before anything written here."
UNCLASSIFIED = "unclassified"


class Condition(StrEnum):
    """What may be true of a plan or its site."""

    DRILLING = "drilling"
    BRACKET = "bracket"
    STAND = "stand"
    BONDING = "bonding"
    METHACRYLATE = "methacrylate"
    EPOXY = "epoxy"
    CYANOACRYLATE = "cyanoacrylate"
    HOT_WORK = "hot work"
    PAINT_CUT = "paint cut"
    PAINTED = "painted"
    OIL_OPENED = "oil opened"
    MAINS = "mains"
    BACKSTOP = "backstop"
    INCLINE = "incline"
    COUNTERWEIGHT = "counterweight"
    CONVERTER = "converter"
    FAN = "fan"
    ROTATING_PARTS = "rotating parts"
    HEIGHT = "height"
    CLASSIFIED_AREA = "classified area"
    WASH_DOWN = "wash-down"
    HOT_SURFACE = "hot surface"
    HOT_AMBIENT = "hot ambient"
    COLD = "cold"
    MAGNET = "magnet"


class Step(StrEnum):
    """Where in the work a caution stands, in order."""

    BEFORE = "before"
    ISOLATE = "isolate"
    PREPARE = "prepare"
    DRILL = "drill"
    BOND = "bond"
    OIL = "oil"
    FIT = "fit"
    WIRE = "wire"
    POWER = "power"
    START = "start"
    RUN = "run"


@dataclass(frozen=True)
class Caution:
    """One caution: its name, the step it stands at, what made it apply, its words and their source."""

    id: str
    step: Step
    when: frozenset[Condition]
    says: str
    source: str


def cautions(conditions: Set[Condition]) -> tuple[Caution, ...]:
    """The cautions of a plan, each once, in the order of the work; some stand in every plan.

    Examples
    --------
    >>> [caution.id for caution in cautions({Condition.CONVERTER}) if caution.when]
    ['converter']
    """
    order = list(Step)
    found = [caution for caution in _all() if caution.when <= conditions]
    return tuple(sorted(found, key=lambda caution: order.index(caution.step)))


def _all() -> Iterator[Caution]:
    for row in load("cautions"):
        when = frozenset(Condition(word) for word in row["when"].split(" & ") if word)
        yield Caution(row["id"], Step(row["step"]), when, row["text"], row["source"])


@worked_by(
    formula="burn threshold of bare metal at the next longer contact of the table",
    unit="K",
    source="ISO 13732-1:2006, lower bounds (from memory)",
)
def burn_threshold(*, contact: float) -> float:
    """Temperature of bare metal from which touching it for so long burns; coatings and gloves raise it. [K]

    Parameters
    ----------
    contact : float
        1 s for a touch by chance, 600 s for work by hand. [s]

    Raises
    ------
    OutOfRange
        Contact not above 0.

    Examples
    --------
    >>> burn_threshold(contact=1.0) - 273.15
    65.0
    """
    if not contact > 0:
        raise OutOfRange("contact", contact, "above 0 s")
    rows = load("burn_thresholds")
    longer = [row for row in rows if float(row["contact_s"]) >= contact]
    return float((longer or rows[-1:])[0]["celsius"]) + 273.15


@dataclass(frozen=True)
class Site:
    """What a part must bear: air around it [K], running surface of the housing [K], ingress code wanted and area class as stated
    (`UNCLASSIFIED` where there is none); None and empty while unknown.
    """

    coldest: float | None
    hottest: float | None
    surface: float | None
    ingress: str
    area: str


@dataclass(frozen=True)
class Part:
    """A part, tool or tablet: ingress code, temperature range [K], certificates as printed, whether it sits on the housing; empty
    and None while unknown. The range is the narrower one of data sheet and certificate.
    """

    name: str
    ingress: str
    coldest: float | None
    hottest: float | None
    certificates: tuple[str, ...] = ()
    on_housing: bool = False


def unsuitable(part: Part, site: Site) -> tuple[Finding, ...]:
    """Why a part may not go on this site, each with its number and its cure; unknowns are cautions that ask.

    Rules: ``part.ingress``, ``part.temperature``, ``part.area``.

    Examples
    --------
    >>> sensor = Part("sensor", "IP54", 253.15, 358.15, on_housing=True)
    >>> [finding.says for finding in unsuitable(sensor, Site(263.15, 313.15, 353.15, "IP66", UNCLASSIFIED))]
    ['IP54, the site wants IP66: another part, or a housing of IP66 around it']
    """
    return (*_ingress(part, site), *_temperature(part, site), *_area(part, site))


def _ingress(part: Part, site: Site) -> Iterator[Finding]:
    if not site.ingress:
        yield Finding(
            Level.CAUTION, "part.ingress", part.name, "nobody has said how the place is cleaned: ask for its ingress code"
        )
    elif not part.ingress:
        says = f"ingress code unknown, the site wants {site.ingress}: from its data sheet"
        yield Finding(Level.CAUTION, "part.ingress", part.name, says)
    else:
        try:
            suits = ingress_suits(part.ingress, site.ingress)
        except OutOfRange as error:
            yield Finding(Level.BLOCKER, "part.ingress", part.name, f"{error.value} cannot be read: {error.rule}")
            return
        if not suits:
            says = f"{part.ingress}, the site wants {site.ingress}: another part, or a housing of {site.ingress} around it"
            yield Finding(Level.BLOCKER, "part.ingress", part.name, says)


def _temperature(part: Part, site: Site) -> Iterator[Finding]:
    if part.coldest is None or part.hottest is None:
        says = "temperature range unknown: the narrower one of its data sheet and certificate"
        yield Finding(Level.CAUTION, "part.temperature", part.name, says)
        return
    if site.coldest is None or site.hottest is None:
        says = "nobody has said how cold and hot the place gets: ask for the coldest and the hottest air of the year"
        yield Finding(Level.CAUTION, "part.temperature", part.name, says)
    if part.on_housing and site.surface is None:
        says = "sits on the housing, whose running temperature nobody has measured: measure it"
        yield Finding(Level.CAUTION, "part.temperature", part.name, says)
    surface = site.surface if part.on_housing else None
    hottest = max((air for air in (site.hottest, surface) if air is not None), default=None)
    if hottest is not None and hottest > part.hottest:
        says = f"{_celsius(hottest)} there, it bears {_celsius(part.hottest)}: a part for more heat, a cooler place, or a stand-off"
        yield Finding(Level.BLOCKER, "part.temperature", part.name, says)
    if site.coldest is not None and site.coldest < part.coldest:
        says = f"{_celsius(site.coldest)} there, it bears {_celsius(part.coldest)}: a part for more cold, or a heated enclosure"
        yield Finding(Level.BLOCKER, "part.temperature", part.name, says)


def _area(part: Part, site: Site) -> Iterator[Finding]:
    if site.area == UNCLASSIFIED:
        return
    if not site.area:
        says = f'area class unknown: ask the owner, write it as stated or "{UNCLASSIFIED}"'
        yield Finding(Level.BLOCKER, "part.area", part.name, says)
        return
    try:
        area = parse_area(site.area)
    except OutOfRange as error:
        yield Finding(Level.BLOCKER, "part.area", part.name, f"area {error.value} cannot be read: {error.rule}")
        return
    reasons = []
    for text in part.certificates:
        try:
            reason = why_not_in(parse_area(text), area)
        except OutOfRange as error:
            reason = f"cannot be read: {error.rule}"
        if not reason:
            return
        reasons.append(f"{text} {reason}")
    why = "; ".join(reasons) or "no certificate"
    says = f"{why}; the site is {site.area}: a part certified for it, or a place outside the area"
    yield Finding(Level.BLOCKER, "part.area", part.name, says)


def ingress_suits(code: str, wanted: str) -> bool:
    """Whether an ingress code, ``IP67`` or several as ``IP66/IP67``, covers one that is wanted (IEC 60529, from memory).

    Water digits to 6 include the lower ones. 7 and 8, immersion, and 9, hot jets, do not include jets: that takes a second code.
    A digit left open, ``X``, promises nothing and asks for nothing.

    Raises
    ------
    OutOfRange
        Not an ingress code.

    Examples
    --------
    >>> ingress_suits("IP67", "IP66"), ingress_suits("IP66/IP67", "IP66")
    (False, True)
    """
    marked = [_digits(part) for part in code.split("/")]
    solids, water = _digits(wanted)
    if not any(_at_least(found, solids) for found, _ in marked):
        return False
    return water == "X" or any(
        _at_least(found, water) and (found <= "6" or found == water or (found, water) == ("8", "7")) for _, found in marked
    )


def _digits(code: str) -> tuple[str, str]:
    match = re.fullmatch(r"(?:IP)?([0-6X])(?:([0-8X])|(9)K?)[A-DHMSW]*", code.strip().upper())
    if not match:
        raise OutOfRange("ingress code", repr(code), "written like IP66, IP6X or IP66/IP67")
    return match[1], match[2] or match[3]


def _at_least(found: str, wanted: str) -> bool:
    return wanted == "X" or (found != "X" and found >= wanted)


@dataclass(frozen=True)
class Area:
    """A classified area or a certificate for one.

    Attributes
    ----------
    system : str
        ``zone`` (IEC 60079-10) or ``division`` (NEC 500).
    medium : str
        ``gas`` or ``dust``, or the class: ``class I`` to ``class III``.
    number : int
        Zone or division; the lower, the more often the medium is there.
    groups : frozenset of str
        Letters of the group, empty where none is stated.
    hottest : float or None
        Surface limit of the temperature class, None where none is stated. [K]
    """

    system: str
    medium: str
    number: int
    groups: frozenset[str]
    hottest: float | None


_T_CLASS = {"T1": 450, "T2": 300, "T3": 200, "T4": 135, "T5": 100, "T6": 85}  # degC, IEC 60079-0 (from memory)
_ZONE = re.compile(r"ZONE (0|1|2|20|21|22)(?: (II|III)([ABC]))?(?: (T\d{1,3})(?: ?°C)?)?")
_DIVISION = re.compile(r"CLASS (I{1,3}),? DIVISION ([12])(?:,? GROUPS? ([A-G](?:,? ?[A-G])*))?(?:,? (T[1-6]))?")


def parse_area(text: str) -> Area:
    """An area class or certificate as stated.

    Raises
    ------
    OutOfRange
        Not an area class.

    Examples
    --------
    >>> parse_area("zone 1 IIB T4").hottest - 273.15
    135.0
    """
    words = " ".join(text.upper().split())
    if zone := _ZONE.fullmatch(words):
        number = int(zone[1])
        dust = number >= 20
        if zone[2] in (None, "III" if dust else "II"):
            hottest = _surface_limit(zone[4])
            if zone[4] is None or hottest is not None:
                return Area("zone", "dust" if dust else "gas", number % 20, frozenset(zone[3] or ""), hottest)
    elif division := _DIVISION.fullmatch(words):
        groups = frozenset(re.findall("[A-G]", division[3] or ""))
        return Area("division", f"class {division[1]}", int(division[2]), groups, _surface_limit(division[4]))
    raise OutOfRange("area", repr(text), 'written like "zone 1 IIB T4", "zone 22 IIIB T135" or "class I division 2 groups C, D T4"')


def _surface_limit(mark: str | None) -> float | None:
    """Of a temperature class, or of a dust certificate's T and degrees; None where there is none, or it is no class. [K]"""
    if mark is None:
        return None
    if len(mark) > 2:
        return float(mark[1:]) + 273.15
    return _T_CLASS[mark] + 273.15 if mark in _T_CLASS else None


def why_not_in(certificate: Area, area: Area) -> str:
    """Why a certificate does not cover an area; empty when it does. Zones and divisions are never translated into each other.

    Examples
    --------
    >>> why_not_in(parse_area("zone 2 IIC T4"), parse_area("zone 1 IIB T3"))
    'is for zone 2, not zone 1'
    """
    if certificate.system != area.system:
        return f"is for {certificate.system}s, the site is classed in {area.system}s: ask the certifier"
    if certificate.medium != area.medium:
        return f"is for {certificate.medium}, not {area.medium}"
    if certificate.number > area.number:
        return f"is for {_named(certificate)}, not {_named(area)}"
    # Zone groups include the milder ones (C over B over A); groups of a division are listed one by one.
    if area.system == "zone":
        missing = area.groups and max(certificate.groups, default="") < max(area.groups)
    else:
        missing = bool(area.groups - certificate.groups)
    if missing:
        return f"lacks group {', '.join(sorted(area.groups - certificate.groups))}"
    if area.hottest is not None and (certificate.hottest is None or certificate.hottest > area.hottest):
        stated = "states no temperature class" if certificate.hottest is None else f"may reach {_celsius(certificate.hottest)}"
        return f"{stated}, {_celsius(area.hottest)} are allowed"
    return ""


def _named(area: Area) -> str:
    return f"{area.system} {area.number + 20 if area.medium == 'dust' else area.number}"


def _celsius(temperature: float) -> str:
    return f"{temperature - 273.15:.0f} degC"
