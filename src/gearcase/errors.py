"""What can go wrong, and whose fault it is.

`BadInput` is the person's file or call, `OutOfRange` is the caller of a calculator; `NoReply`, `BadReply` and `BadRequest` are a
device's silence, its nonsense and ours. Each carries its facts as
attributes; words for a person are made once, by the face that shows them.
"""

from collections.abc import Iterable
from typing import NamedTuple

__all__ = ["BadInput", "BadReply", "BadRequest", "Garbled", "GearcaseError", "NoReply", "OutOfRange", "Problem", "above_zero"]


class GearcaseError(Exception):
    """Root of everything gearcase raises on purpose."""


class Problem(NamedTuple):  # not a dataclass: `gearcase --help` loads this module, and dataclasses are slow to import
    """One thing wrong with what a person gave.

    Attributes
    ----------
    where : str
        File, with its line where there is one (``job.yaml:14``), or the option of the command (``--rate``).
    key : str
        The key or part concerned, e.g. ``drive.meshes[0].pinion.teeth``; empty when the whole thing is meant.
    given : str
        What was given, as a person would recognise it; empty when nothing was.
    accepted : str
        What would be right.
    """

    where: str
    key: str
    given: str
    accepted: str

    def __str__(self) -> str:
        parts = [self.where, self.key, f"given {self.given}" if self.given else "", self.accepted]
        return "   ".join(part for part in parts if part)


class BadInput(GearcaseError):
    """The person's file or call is wrong. Holds every problem found, not only the first."""

    def __init__(self, problems: Iterable[Problem] | Problem) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type["BadInput"], tuple[tuple[Problem, ...]]]:
        return type(self), (self.problems,)  # an exception is rebuilt from its message, unless told; workers must get it whole

    def as_dicts(self) -> list[dict[str, str]]:
        """The problems as plain data, for `--json`."""
        return [problem._asdict() for problem in self.problems]


class OutOfRange(GearcaseError, ValueError):
    """A calculator was called outside the range in which its formula holds."""

    def __init__(self, name: str, value: object, rule: str) -> None:
        self.name, self.value, self.rule = name, value, rule
        super().__init__(f"{name}={value}: {rule}")

    def __reduce__(self) -> tuple[type["OutOfRange"], tuple[str, object, str]]:
        return type(self), (self.name, self.value, self.rule)


class _OnTheBus(GearcaseError):
    """Something between us and one device."""

    def __init__(self, unit: int, asked: str, says: str) -> None:
        self.unit, self.asked, self.says = unit, asked, says
        super().__init__(f"unit {unit}, {asked}: {says}")

    def __reduce__(self) -> tuple[type["_OnTheBus"], tuple[int, str, str]]:
        return type(self), (self.unit, self.asked, self.says)


class NoReply(_OnTheBus):
    """A device did not answer: look at its address, its supply, its stub and the termination."""


class BadReply(_OnTheBus):
    """A device answered nonsense."""


class Garbled(BadReply):
    """Bytes came that are no frame: noise, another baud or parity, or two devices that speak at once."""


class BadRequest(_OnTheBus):
    """A device refused what we asked: it has no such register or does not let it be written."""


def above_zero(**values: float) -> None:
    """What a calculator refuses of a length, mass, time or rate: one that is nothing or less.

    Raises
    ------
    OutOfRange
        The first that is not above 0, by its name.

    Examples
    --------
    >>> above_zero(mass=0.0)
    Traceback (most recent call last):
    gearcase.errors.OutOfRange: mass=0.0: above 0
    """
    for name, value in values.items():
        if not value > 0:
            raise OutOfRange(name, value, "above 0")
