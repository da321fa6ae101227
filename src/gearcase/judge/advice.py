"""From a claimed comb to what a person should do: maturity, urgency, rivals, advice.

Housing vibration says how a fault has developed, never its size. Maturity: 1 a high-frequency comb only; 2 the defect
lines clear (three harmonics and more); 3 lines with sidebands and four harmonics and more, well out of the noise; 4
needs the floor risen and harmonics smeared over a baseline, so one recording never gives it. One witness (one sensor,
no temperature, no oil) caps the urgency.
"""

from dataclasses import dataclass

from gearcase.drive.speeds import carried_orders, shaft_orders
from gearcase.drive.train import Drive
from gearcase.judge.combs import SLIP_BAND
from gearcase.judge.faults import Comb
from gearcase.tables import load

__all__ = [
    "Rival",
    "advice",
    "at_limit_urgency",
    "breaking_urgency",
    "inspect_within_days",
    "maturity",
    "measurement_urgency",
    "pressing",
    "rivals",
    "running_urgency",
    "urgency",
]

CLEAR_DB = 9.0  # a line e^-8 rare stands 9 dB over the mean noise
WELL_OUT_DB = 20.0
_SHAFT_MULTIPLES = 10  # looseness shows 1x to 10x: table fault_patterns

_WATCH = "watch: record again in two weeks"
_LOOK = "look: record again within days at the same speed and load, and find what changed"
_PLAN = "plan and verify: order parts, act within 1 to 3 months"
_SOON = "plan and verify: act within 1 to 4 weeks, check weekly"
_NOW = "plan and verify: act within 4 days"
_STOP = "stop and inspect at the first safe stop"
_NEXT_STOP = "put it right at the next planned stop; record again in two weeks"
_REPAIR = "repair the measurement before anything is judged by it"
_URGENCY = (_REPAIR, _WATCH, _NEXT_STOP, _LOOK, _PLAN, _SOON, _NOW, _STOP)  # from the least to the most pressing
# the latest that each allows; "within days": a week
_DAYS = {_STOP: 0, _NOW: 4, _LOOK: 7, _WATCH: 14, _NEXT_STOP: 14, _REPAIR: 14, _SOON: 28, _PLAN: 90}
_BY_STAGE = {1: _WATCH, 2: _PLAN, 3: _SOON, 4: _NOW}
# growth over a baseline [dB] from which it is worth a look, a plan, an act; handbooks of vibration diagnosis, from memory
_BY_GROWTH = ((20.0, _SOON), (10.0, _PLAN), (6.0, _LOOK))


@dataclass(frozen=True)
class Rival:
    """What else it could be, and what would tell."""

    name: str
    why: str
    separated_by: str


def maturity(comb: Comb) -> int:
    """1 to 3, from the lines of one recording."""
    heights = [line.snr_db for line in comb.evidence if line.snr_db is not None]
    clear = sum(height >= CLEAR_DB for height in heights)
    well_out = sum(height >= WELL_OUT_DB for height in heights)
    if clear >= 4 and comb.sidebands >= 2 and well_out >= 1:
        return 3
    return 2 if clear >= 3 else 1


def urgency(stage: int, growth_db: float | None = None) -> str:
    """When to act: the more pressing of what the maturity says and what growth says.

    From 6 dB growth is worth a look, from 10 dB a plan, from 20 dB an act. All is capped at "plan and verify", since one sensor
    is one witness. A fall never makes it less pressing: falling after a rise is not recovery.

    Parameters
    ----------
    stage : int
        Maturity, 1 to 4.
    growth_db : float or None
        Growth of the fault's lines over a baseline, or over the first recording of the point; None when unknown. [dB]

    Examples
    --------
    >>> urgency(1), urgency(1, 7.0).partition(":")[0], urgency(3, -12.0) == urgency(3)
    ('watch: record again in two weeks', 'look', True)
    """
    grown = next((says for least, says in _BY_GROWTH if growth_db is not None and growth_db >= least), _WATCH)
    return max(_BY_STAGE[stage], grown, key=_URGENCY.index)


def at_limit_urgency(otherwise: str) -> str:
    """When to act on a level that has reached the limit it goes towards, from an urgency that nobody has asked the limit for.

    >>> at_limit_urgency(urgency(1)), at_limit_urgency(breaking_urgency(2)) == breaking_urgency(2)
    ('plan and verify: act within 4 days', True)
    """
    return max(otherwise, _NOW, key=_URGENCY.index)


def breaking_urgency(witnesses: int) -> str:
    """When to act on a tooth that may break: one witness is verified first, two that agree stop the drive.

    >>> breaking_urgency(2)
    'stop and inspect at the first safe stop'
    """
    return _STOP if witnesses >= 2 else _NOW


def running_urgency(growth_db: float | None) -> str:
    """When to act on how a drive runs (balance, alignment, feet): at the next stop, or as its growth [dB] says, if sooner.

    >>> running_urgency(21.0) == urgency(3)
    True
    """
    return max(_NEXT_STOP, urgency(1, growth_db), key=_URGENCY.index)


def measurement_urgency() -> str:
    """What to do about a sensor that does not tell the truth."""
    return _REPAIR


def pressing(says: str) -> int:
    """How pressing an urgency is, to sort by. [-]

    >>> pressing(breaking_urgency(2)) > pressing(urgency(4)) > pressing(urgency(1))
    True
    """
    return _URGENCY.index(says)


def inspect_within_days(says: str, growth_db: float = 0.0) -> int:
    """The latest day of an urgency, counted from the reading; of a level that has grown [dB] never later than of a lower one. [day]

    Six decibels want a look within a week, so that twelve do not leave it until parts are there.

    >>> inspect_within_days(urgency(3)), inspect_within_days(urgency(4)), inspect_within_days(urgency(1, 12.0), 12.0)
    (28, 4, 7)
    """
    return min([_DAYS[says], *(_DAYS[then] for least, then in _BY_GROWTH if growth_db >= least)])


def rivals(comb: Comb, drive: Drive, *, speed_hz: float) -> tuple[Rival, ...]:
    """Every named alternative of a claim that this drive can have, the nearest first.

    An integer line of a shaft is a rival only where the comb stands within the slip band of one, a chipped tooth only where a
    mesh is on the bearing's shaft.

    Parameters
    ----------
    comb : Comb
    drive : Drive
    speed_hz : float
        Of the reference shaft, as the comb was found at. [Hz]
    """
    if comb.hypothesis is None:
        return ()
    fault = comb.hypothesis.fault
    known = [row for row in load("confusions") if row["first"] in (fault, "any")]
    way = {row["second"]: row["separated_by"] for row in known}
    stranger_way = way["a source not on this drive"]
    twins = tuple(
        Rival(
            f"{rival.component}: {rival.fault.replace('_', ' ')}",
            f"its rate is within 2 % of this one (order {rival.order:.4g} against {comb.hypothesis.order:.4g})",
            stranger_way if rival.fault != fault else way["same rate in another bearing"],
        )
        for rival in comb.rivals
    )
    integer = _integer_of_a_shaft(comb.base_hz / speed_hz, drive)
    why = {
        "always": "gives lines of the same shape",
        "integer line": f"this comb stands within the slip band of it: {integer}" if integer else "",
        "mesh on the shaft": "gives lines of the same shape" if _has_mesh(comb.hypothesis.component, drive) else "",
    }
    named = tuple(
        Rival(row["second"], why[row["when"]], row["separated_by"])
        for row in known
        if row["first"] == fault and why.get(row["when"])
    )
    stranger = Rival(
        "a source not on this drive",
        f"a chance of {comb.attribution_false_alarm:.2g} that a stranger pulses at this rate",
        stranger_way,
    )
    return (*twins, *named, stranger)


def advice(comb: Comb, stage: int) -> tuple[str, ...]:
    """What to do next, in order."""
    first = "record again at the same point, speed and load: a fault stays, a chance find does not"
    second = "look for a second witness: housing temperature, oil sample with particle count, a second sensor"
    if stage == 1:
        return (first, second)
    part = f"find the designation of {comb.hypothesis.component} and its delivery time" if comb.hypothesis else ""
    return tuple(
        filter(None, (first, second, part, "on opening, note what was found: confirmed, other, nothing, or not inspected"))
    )


def _integer_of_a_shaft(order: float, drive: Drive) -> str:
    """The shaft multiple within the slip band of an order of the reference shaft, the nearest; empty where there is none.

    A planet turns as its carrier sees it; what stands has none.
    """
    turns = {name: abs(shaft.order) for name, shaft in carried_orders(drive, shaft_orders(drive)).items()}
    multiples = range(1, _SHAFT_MULTIPLES + 1)
    near = [(abs(order / (n * turn) - 1), f"{n}x {name}") for name, turn in turns.items() if turn for n in multiples]
    off, name = min(near)
    return name if off <= SLIP_BAND else ""


def _has_mesh(component: str, drive: Drive) -> bool:
    shafts = {shaft for b in drive.bearings if b.name == component for shaft in (b.inner_shaft, b.outer_shaft) if shaft}
    return any(shafts & {mesh.pinion_shaft, mesh.wheel_shaft} for mesh in drive.meshes)
