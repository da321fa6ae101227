"""The outage as the job describes it: when, who, what must be asked before, what is isolated, how long work takes.

Model: `Outage`, `Ask`, `Isolation`. `kinds_of_work`: every kind of work, its words on the work card, how long it takes as a rule.
"""

import functools
from dataclasses import dataclass

from gearcase.install.cautions import Step
from gearcase.install.schedule import Person, State, Window
from gearcase.tables import load

__all__ = ["KINDS", "SKILLS", "Ask", "Isolation", "Outage", "Work", "kinds_of_work"]

SKILLS = ("fitter", "licensed electrician", "controls")
KINDS = tuple(row["kind"] for row in load("outage_tasks"))
_MINUTE = 60.0


@dataclass(frozen=True)
class Work:
    """A kind of work: how a task of it is called, how long it takes from shortest to longest [s], who it takes, in which state of
    the machine; whether it can be done before the outage, or dropped; of which part of the work it is, None on the bench; what the
    work card says where a plan knows no better. ``{where}`` in `name` stands for where the task is.
    """

    kind: str
    name: str
    shortest: float
    longest: float
    crew: tuple[str, ...]
    state: State
    beforehand: bool
    optional: bool
    part: Step | None
    does: str
    source: str


@dataclass(frozen=True)
class Ask:
    """What must be settled before: who owns it, how many days it takes, what it waits for, whether it is granted; empty and None
    where nobody has said.
    """

    name: str
    owner: str = ""
    days: float | None = None
    after: tuple[str, ...] = ()
    granted: bool = False


@dataclass(frozen=True)
class Isolation:
    """What is isolated or blocked, whether that is agreed with the owner, and who holds the lock."""

    points: tuple[str, ...] = ()
    agreed: bool = False
    by: str = ""


@dataclass(frozen=True)
class Outage:
    """The outage.

    Attributes
    ----------
    start : str
        When the first window opens, ISO 8601, or only its day; empty while nobody has said.
    day : float or None
        The same as a count of days. [d]
    windows : tuple of Window
        From the opening of the first. [s]
    crew : tuple of Person
    asks : tuple of Ask
    isolation : Isolation or None
    stated : tuple of (kind, (shortest, longest))
        Durations that the job gives. [s]
    """

    start: str = ""
    day: float | None = None
    windows: tuple[Window, ...] = ()
    crew: tuple[Person, ...] = ()
    asks: tuple[Ask, ...] = ()
    isolation: Isolation | None = None
    stated: tuple[tuple[str, tuple[float, float]], ...] = ()


@functools.cache
def kinds_of_work() -> dict[str, Work]:
    """Every kind of work with its usual range.

    Examples
    --------
    >>> kinds_of_work()["soak"].longest / 3600
    4.0
    """
    return {
        row["kind"]: Work(
            row["kind"],
            row["name"],
            _MINUTE * float(row["shortest_min"]),
            _MINUTE * float(row["longest_min"]),
            tuple(skill for skill in row["crew"].split(";") if skill),
            State(row["state"]),
            row["beforehand"] == "yes",
            row["optional"] == "yes",
            Step(row["part"]) if row["part"] else None,
            row["does"],
            row["source"],
        )
        for row in load("outage_tasks")
    }
