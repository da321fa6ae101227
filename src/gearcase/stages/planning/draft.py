"""A plan in the making, and how its sections write lengths."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.install.cautions import Step
from gearcase.install.rulings import Ruling
from gearcase.worked import Given, Origin, Worked

__all__ = ["CardStep", "Draft", "as_dict", "mm", "quantity", "ruling_document", "stated", "tabled"]

T = TypeVar("T")
_ZERO_C = 273.15
_SHOWN = {"m": (1000.0, " mm"), "m2": (1e6, " mm2"), "Pa": (1e-6, " MPa"), "-": (1.0, "")}


@dataclass
class CardStep:
    """A step of the work card: where, what to do, which part of the work it is, who alone may do it, with which tool, the value to
    reach and its tolerance, and its cautions.
    """

    where: str
    does: str
    at: Step | None = None
    only_by: str = ""
    tool: str = ""
    value: str = ""
    tolerance: str = ""
    cautions: list[str] = field(default_factory=list)


@dataclass
class Draft:
    """A plan in the making: findings, what to pick and the steps of the work card, in the order they come up."""

    findings: list[Finding] = field(default_factory=list)
    pick: list[tuple[str, str]] = field(default_factory=list)
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
            says = f"{ruling.what} is {quantity(ruling.value, ruling.unit)}, {_limits(ruling)}: {ruling.cure}"
            self.find(level, rule, where, says, worked)
        return ruling.holds

    def take(self, what: str, why: str) -> None:
        if (what, why) not in self.pick:
            self.pick.append((what, why))

    def step(
        self,
        where: str,
        does: str,
        at: Step | None = None,
        *,
        caution: str = "",
        only_by: str = "",
        tool: str = "",
        value: str = "",
        tolerance: str = "",
    ) -> None:
        """A step; `caution` is its own, those of the work it is part of come from the table."""
        own = [caution.strip()] if caution.strip() else []
        self.steps.append(CardStep(where, does, at, only_by, tool, value, tolerance, own))


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


def quantity(value: float, unit: str) -> str:
    """A number of a ruling as people read it.

    Examples
    --------
    >>> quantity(0.0095, "m"), quantity(338.15, "K"), quantity(1.2, "-"), quantity(1.2, "m")
    ('9.5 mm', '65 °C', '1.2', '1.2 m')
    """
    if unit == "K":
        return f"{value - _ZERO_C:.3g} °C"
    if unit == "m" and abs(value) >= 1:
        return f"{value:.3g} m"
    factor, shown = _SHOWN.get(unit, (1.0, f" {unit}"))
    return f"{factor * value:.3g}{shown}"


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
    return " and ".join(f"{side} {quantity(limit, ruling.unit)}" for side, limit in sides if limit is not None) + " is wanted"
