"""A plan in the making, and how its sections write lengths."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.install.cautions import Step
from gearcase.worked import Given, Origin, Worked

__all__ = ["CardStep", "Draft", "as_dict", "given", "mm"]

T = TypeVar("T")


@dataclass
class CardStep:
    """A step of the work card: where, what to do, which part of the work it is, who alone may do it, and its cautions."""

    where: str
    does: str
    at: Step | None = None
    only_by: str = ""
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

    def take(self, what: str, why: str) -> None:
        if (what, why) not in self.pick:
            self.pick.append((what, why))

    def step(self, where: str, does: str, at: Step | None = None, *, only_by: str = "") -> None:
        self.steps.append(CardStep(where, does, at, only_by))


def given(name: str, metres: float) -> Given:
    """A length as the job gives it. [m]"""
    return Given(name, metres, "m", Origin.NAMEPLATE)


def as_dict(part: Given | Worked) -> dict[str, Any]:
    """An input or a result for the document."""
    return part.as_dict() if isinstance(part, Worked) else {"name": part.name, "value": part.value, "unit": part.unit}


def mm(metres: float) -> str:
    """``12.5 mm``."""
    return f"{1000 * metres:.4g} mm"
