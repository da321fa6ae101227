"""The one form in which every check speaks."""

from dataclasses import dataclass
from enum import StrEnum

from gearcase.worked import Worked

__all__ = ["Finding", "Level"]


class Level(StrEnum):
    """How much a finding matters: do not proceed, proceed with care, good to know."""

    BLOCKER = "blocker"
    CAUTION = "caution"
    NOTE = "note"


@dataclass(frozen=True)
class Finding:
    """What a check found.

    Attributes
    ----------
    level : Level
    rule : str
        Short name of the rule that spoke, e.g. ``quality.clipping``.
    where : str
        The part, point, recording or key concerned.
    says : str
        One sentence for the person who must act.
    worked : Worked or None
        The number behind it, where there is one.
    """

    level: Level
    rule: str
    where: str
    says: str
    worked: Worked | None = None
