"""Numbers that show their working.

A calculator stays a plain function; `worked_by` only marks it with its formula, unit and source. A stage calls `work`
with `Given` or earlier `Worked` inputs and gets a `Worked`: the value, its spread (each input moved both ways by its
own spread, the larger effects added in squares as for independent inputs) and everything needed to do the sum again by hand.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

__all__ = ["Given", "Origin", "Worked", "Working", "work", "worked_by"]


Calculator = TypeVar("Calculator", bound=Callable[..., Any])


class Origin(StrEnum):
    """How a number is known: measured at the machine, on its nameplate, stated by the job or a data sheet, from a published table,
    estimated, assumed where nobody has said, or calculated.
    """

    MEASURED = "measured"
    NAMEPLATE = "nameplate"
    STATED = "stated"
    TABLE = "table"
    ESTIMATED = "estimated"
    ASSUMED = "assumed"
    CALCULATED = "calculated"


@dataclass(frozen=True)
class Given:
    """An input as it was given.

    Attributes
    ----------
    name : str
        What it is, in the trade's words.
    value : float
        In `unit`.
    unit : str
        SI unit, or ``-`` for a plain number.
    origin : Origin
    spread : float
        Half-width in which the true value is believed to lie, in `unit`; 0 for a count.
    where : str
        File and line it came from; empty when it has none.
    """

    name: str
    value: float
    unit: str
    origin: Origin
    spread: float = 0.0
    where: str = ""


@dataclass(frozen=True)
class Working:
    """What `worked_by` notes on a calculator."""

    formula: str
    unit: str
    source: str


@dataclass(frozen=True)
class Worked:
    """A number somebody will act on, with its working.

    `spread` is a half-width in `unit`. `inputs` maps the calculator's parameter names to what was put in.
    """

    name: str
    value: float
    unit: str
    spread: float
    formula: str
    source: str
    inputs: dict[str, "Given | Worked"]
    calculator: Callable[..., Any]
    origin: Origin = Origin.CALCULATED

    def recalculate(self) -> float:
        """The value again, from the inputs alone, all the way down."""
        values = {key: part.recalculate() if isinstance(part, Worked) else part.value for key, part in self.inputs.items()}
        return float(self.calculator(**values))

    def as_dict(self) -> dict[str, Any]:
        """Plain data for `result.json`: everything but the calculator itself, which goes by its name."""
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "spread": self.spread,
            "origin": str(self.origin),
            "formula": self.formula,
            "source": self.source,
            "calculator": self.calculator.__name__,
            "inputs": {
                key: part.as_dict()
                if isinstance(part, Worked)
                else {
                    "name": part.name,
                    "value": part.value,
                    "unit": part.unit,
                    "origin": str(part.origin),
                    "spread": part.spread,
                    "where": part.where,
                }
                for key, part in self.inputs.items()
            },
        }


def worked_by(*, formula: str, unit: str, source: str) -> Callable[[Calculator], Calculator]:
    """Mark a calculator with its formula text, the unit of its result and its source."""

    def mark(calculator: Calculator) -> Calculator:
        calculator.working = Working(formula, unit, source)  # type: ignore[attr-defined]
        return calculator

    return mark


def work(name: str, calculator: Callable[..., Any], **inputs: Given | Worked) -> Worked:
    """Call a marked calculator and keep the working.

    Parameters
    ----------
    name : str
        What the result is, in the trade's words.
    calculator : callable
        Marked with `worked_by`; takes the inputs by keyword and returns one number.
    **inputs : Given or Worked
        By the calculator's parameter names.

    Returns
    -------
    Worked

    Examples
    --------
    >>> @worked_by(formula="f = n / 60", unit="Hz", source="definition")
    ... def turns_per_second(speed_rpm): return speed_rpm / 60
    >>> speed = Given("input speed", 1485.0, "1/min", Origin.NAMEPLATE, spread=15.0)
    >>> result = work("input shaft", turns_per_second, speed_rpm=speed)
    >>> result.value, result.spread, result.recalculate()
    (24.75, 0.25, 24.75)
    """
    note: Working = calculator.working  # type: ignore[attr-defined]
    values: dict[str, float] = {key: part.value for key, part in inputs.items()}
    value = float(calculator(**values))
    squares = 0.0
    for key, part in inputs.items():
        if part.spread:
            moved = (float(calculator(**{**values, key: part.value + step})) for step in (part.spread, -part.spread))
            squares += max(abs(there - value) for there in moved) ** 2  # their mean is nothing where the curve is flat
    return Worked(
        name=name,
        value=value,
        unit=note.unit,
        spread=math.sqrt(squares),
        formula=note.formula,
        source=note.source,
        inputs=dict(inputs),
        calculator=calculator,
    )
