"""What the stack light shows, from all alarms together; and shelving, which takes one alarm out of it for a while.

Red for danger; blue while anything that should be judged cannot be, or limits are past their date; yellow for an abnormal
condition; green only when the run state is known and every limit that holds here is fresh and judged; white at a stop. A limit that
does not hold at this speed and load is not judged here, but what it has found stays.

A *shelved* alarm (maintenance, a known nuisance) goes on being stepped and is listed, but is out of the light until its time is
over: it takes nothing of the others away, and what they leave green is white, since not everything is judged. A danger is taken
out only by an approver; one that comes up on an alarm shelved by anybody else shows all the same. Ideas of IEC 62682, from memory.

In *maintenance* (people work on the drive) the whole light is white until it is over: nothing is judged for it, all is recorded.
A danger shows red all the same, unless a second person has approved.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gearcase.errors import OutOfRange

__all__ = ["SHELVED_FOR", "Maintenance", "Shelf", "Shown", "shelved", "stack_light"]

SHELVED_FOR = 8 * 3600.0  # unless said otherwise [s]; common practice, no source
LONGEST_SHELF = 7 * 86400.0  # [s]; common practice, no source


@dataclass(frozen=True)
class Shelf:
    """An alarm taken out of the light.

    Attributes
    ----------
    point, quantity : str
        What is shelved; an empty quantity means all of the point. A whole drive is never shelved at once.
    until_s : float
        Unix time. [s]
    who, reason : str
    approver : str
        Who allows a danger to be shelved, another person; empty where none does.

    Raises
    ------
    OutOfRange
        No point, no name, no reason, or an approver who is the same person.
    """

    point: str
    quantity: str
    until_s: float
    who: str
    reason: str
    approver: str = ""

    def __post_init__(self) -> None:
        for name in ("point", "who", "reason"):
            if not getattr(self, name).strip():
                raise OutOfRange(name, "", "said: a point, who shelves it, and why")
        _second_person(self.approver, self.who)


@dataclass(frozen=True)
class Maintenance:
    """The whole drive out of the light while people work on it: until when [s], who, why, and who allows that a danger does not
    show.

    Raises
    ------
    OutOfRange
        No name, no reason, or an approver who is the same person.
    """

    until_s: float
    who: str
    reason: str
    approver: str = ""

    def __post_init__(self) -> None:
        for name in ("who", "reason"):
            if not getattr(self, name).strip():
                raise OutOfRange(name, "", "said: who works on the drive, and why")
        _second_person(self.approver, self.who)


@dataclass(frozen=True)
class Shown:
    """One alarm as the light takes it: `light` and `condition` as `judge.alarm` gives them, whether its limit holds `here`,
    whether it is past its date, and whether it is shelved.
    """

    light: str
    condition: str
    here: bool = True
    expired: bool = False
    shelved: bool = False


def shelved(shelves: Iterable[Shelf], *, point: str, quantity: str, condition: str, now: float) -> Shelf | None:
    """The shelf that takes an alarm out of the light at `now` [s], None where none does.

    >>> shelf = Shelf("input coupling end", "", 3600.0, "A. Fitter", "belt being changed")
    >>> asked = dict(point="input coupling end", quantity="temperature", now=0.0)
    >>> shelved([shelf], condition="yellow", **asked) is shelf, shelved([shelf], condition="danger", **asked)
    (True, None)
    """
    for shelf in shelves:
        meant = shelf.point == point and shelf.quantity in ("", quantity)
        if meant and now < shelf.until_s and (shelf.approver or not condition.startswith("danger")):
            return shelf
    return None


def stack_light(
    alarms: Iterable[Shown], *, run_state: str, fault_named: bool, reachable: bool, maintenance: Maintenance | None
) -> str:
    """``red``, ``blue``, ``yellow``, ``green`` or ``white``.

    Parameters
    ----------
    alarms : iterable of Shown
    run_state : str
        As `judge.steady` labels it.
    fault_named : bool
        Whether a diagnosis has named a fault that nobody has dealt with.
    reachable : bool
        Whether every device that is read has answered of late.
    maintenance : Maintenance or None
        The mode the drive is in.

    Examples
    --------
    >>> calm, loose = Shown("green", "clear"), Shown("yellow", "yellow", shelved=True)
    >>> ask = dict(run_state="steady", fault_named=False, reachable=True, maintenance=None)
    >>> stack_light([calm], **ask), stack_light([calm, loose], **ask), stack_light([], **ask)
    ('green', 'white', 'blue')
    """
    everything = list(alarms)
    counted = [one for one in everything if not one.shelved]
    danger = any(one.condition.startswith("danger") for one in counted)
    if maintenance is not None:
        return "red" if danger and not maintenance.approver else "white"
    if danger:
        return "red"
    if not everything:
        return "blue"
    abnormal = fault_named or any(one.condition.startswith("yellow") for one in counted)
    if run_state == "stopped":
        return "yellow" if abnormal else "white" if reachable else "blue"
    if run_state == "unknown" or any((one.light == "blue" and one.here) or one.expired for one in counted):
        return "blue"
    if abnormal:
        return "yellow"
    return "green" if len(counted) == len(everything) else "white"


def _second_person(approver: str, who: str) -> None:
    if approver and approver.strip().casefold() == who.strip().casefold():
        raise OutOfRange("approver", approver, "a second person: not the one who asks for it")
