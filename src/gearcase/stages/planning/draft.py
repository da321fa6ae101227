"""A plan in the making, and how its sections write lengths."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.install.cautions import Step
from gearcase.install.outage import kinds_of_work
from gearcase.install.rulings import Ruling
from gearcase.units import read
from gearcase.worked import Given, Origin, Worked

__all__ = ["CardStep", "Draft", "Pick", "as_dict", "mm", "ruling_document", "stated", "tabled"]

T = TypeVar("T")


@dataclass
class CardStep:
    """A step of the work card: where, what to do, of which kind of work it is (empty for what comes before any task), which part of
    the work, who alone may do it, with which tool, the value to reach and its tolerance, its cautions, and the task it is part of.
    """

    where: str
    does: str
    kind: str = ""
    at: Step | None = None
    only_by: str = ""
    tool: str = ""
    value: str = ""
    tolerance: str = ""
    cautions: list[str] = field(default_factory=list)
    task: str = ""


@dataclass(frozen=True)
class Pick:
    """What to bring and for what: how many, or how much of what comes in tubes. [ml]"""

    what: str
    why: str
    quantity: int
    millilitres: float


@dataclass
class Draft:
    """A plan in the making: findings, what to pick and the steps of the work card, in the order they come up; `card` puts these
    into the order of the work.
    """

    findings: list[Finding] = field(default_factory=list)
    pick: list[Pick] = field(default_factory=list)
    steps: list[CardStep] = field(default_factory=list)

    def find(self, level: Level, rule: str, where: str, says: str, worked: Worked | None = None) -> None:
        self.findings.append(Finding(level, f"plan.{rule}", where, says, worked))

    def found(self, findings: Iterable[Finding]) -> None:
        """Findings of a calculator, under its own rules."""
        self.findings.extend(findings)

    def tried(self, rule: str, where: str, calculate: Callable[[], T]) -> T | None:
        """What a calculator gives; None, and a blocker with what would be right, where the job's numbers allow nothing."""
        try:
            return calculate()
        except OutOfRange as error:
            self.find(Level.BLOCKER, rule, where, f"{error.name.replace('_', ' ')} {error.value}: {error.rule}")
            return None

    def rule(self, level: Level, rule: str, where: str, ruling: Ruling, worked: Worked | None = None) -> bool:
        """A ruling that does not hold becomes a finding with its number, limit and cure; returns whether it holds."""
        if not ruling.holds:
            says = f"{ruling.what} is {read(ruling.value, ruling.unit, digits=3)}, {_limits(ruling)}: {ruling.cure}"
            self.find(level, rule, where, says, worked)
        return ruling.holds

    def take(self, what: str, why: str, quantity: int = 1, *, millilitres: float = 0.0) -> None:
        """Something to bring; the same for the same part is brought once."""
        if not any((one.what, one.why) == (what, why) for one in self.pick):
            self.pick.append(Pick(what, why, quantity, millilitres))

    def step(
        self,
        where: str,
        does: str,
        kind: str = "",
        *,
        at: Step | None = None,
        only_by: str = "",
        tool: str = "",
        value: str = "",
        tolerance: str = "",
    ) -> None:
        """A step of a kind of work, in that kind's part of the work unless another is said. Cautions come from their table."""
        part = kinds_of_work()[kind].part if kind and at is None else at
        self.steps.append(CardStep(where, does, kind, part, only_by, tool, value, tolerance))


def stated(name: str, value: float, unit: str = "m") -> Given:
    """A number as the job gives it, itself or from a data sheet."""
    return Given(name, value, unit, Origin.STATED)


def tabled(name: str, value: float, unit: str = "m") -> Given:
    """A number of a published table."""
    return Given(name, value, unit, Origin.TABLE)


def as_dict(part: Given | Worked) -> dict[str, Any]:
    """An input or a result for the document."""
    return part.as_dict() if isinstance(part, Worked) else {"name": part.name, "value": part.value, "unit": part.unit}


def mm(metres: float) -> str:
    """``12.5 mm``."""
    return f"{1000 * metres:.4g} mm"


def ruling_document(ruling: Ruling) -> dict[str, Any]:
    """A ruling as plain data."""
    return {
        "what": ruling.what,
        "value": ruling.value,
        "unit": ruling.unit,
        "least": ruling.least,
        "most": ruling.most,
        "holds": ruling.holds,
        "cure": ruling.cure,
        "source": ruling.source,
    }


def _limits(ruling: Ruling) -> str:
    sides = (("at least", ruling.least), ("at most", ruling.most))
    return " and ".join(f"{side} {read(limit, ruling.unit, digits=3)}" for side, limit in sides if limit is not None) + " is wanted"
