"""A plan in the making, and how its sections write lengths."""

from dataclasses import dataclass, field
from typing import Any

from gearcase.findings import Finding, Level
from gearcase.worked import Given, Origin, Worked

__all__ = ["Draft", "as_dict", "given", "mm"]


@dataclass
class Draft:
    """A plan in the making: findings, what to pick and the steps of the work card, in the order they come up."""

    findings: list[Finding] = field(default_factory=list)
    pick: list[tuple[str, str]] = field(default_factory=list)
    steps: list[tuple[str, str, str]] = field(default_factory=list)

    def find(self, level: Level, rule: str, where: str, says: str, worked: Worked | None = None) -> None:
        self.findings.append(Finding(level, f"plan.{rule}", where, says, worked))

    def take(self, what: str, why: str) -> None:
        if (what, why) not in self.pick:
            self.pick.append((what, why))

    def step(self, where: str, does: str, caution: str = "") -> None:
        self.steps.append((where, does, caution))


def given(name: str, metres: float) -> Given:
    """A length as the job gives it. [m]"""
    return Given(name, metres, "m", Origin.NAMEPLATE)


def as_dict(part: Given | Worked) -> dict[str, Any]:
    """An input or a result for the document."""
    return part.as_dict() if isinstance(part, Worked) else {"name": part.name, "value": part.value, "unit": part.unit}


def mm(metres: float) -> str:
    """``12.5 mm``."""
    return f"{1000 * metres:.4g} mm"
