"""The shape of the outage in job.yaml: when, who, what must be asked before, what is isolated, how long work takes."""

from datetime import datetime
from typing import Literal

from pydantic import Field

from gearcase.install.outage import KINDS, SKILLS
from gearcase.install.schedule import Window
from gearcase.job.fields import Name, Section, Start, Time

__all__ = ["AskModel", "CrewModel", "DurationModel", "IsolationModel", "OutageModel", "WindowModel", "outage_window"]


class WindowModel(Section):
    """A window in which the machine may be locked out."""

    start: Start = Field(description="when it opens, e.g. 2026-09-10T06:00")
    length: Time = Field(description="how long it is, e.g. 10 h")


class CrewModel(Section):
    """One of the crew."""

    name: Name = Field(description="name of the person")
    skills: list[Literal[SKILLS]] = Field(description=f"a list of: {', '.join(SKILLS)}")  # type: ignore[valid-type]


class AskModel(Section):
    """What must be asked, approved or ordered before."""

    name: Name = Field(description="what it is, e.g. network approval")
    owner: Name = Field("", description="who grants it")
    lead_time: Time | None = Field(None, description="from being asked to being there, e.g. 42 d")
    after: list[Name] = Field(default_factory=list, description="a list of items that must be granted before it can be asked")
    granted: bool = Field(False, description="true once it is there")


class IsolationModel(Section):
    """How the machine is made safe."""

    points: list[Name] = Field(default_factory=list, description="a list of what is isolated or blocked, e.g. motor feeder")
    agreed: bool = Field(False, description="true where the owner has agreed to it in writing")
    by: Name = Field("", description="who holds the lock")


class DurationModel(Section):
    """How long a kind of work takes here."""

    work: Literal[KINDS] = Field(description=f"one of: {', '.join(KINDS)}")  # type: ignore[valid-type]
    shortest: Time = Field(description="at the quickest, e.g. 30 min")
    longest: Time = Field(description="at the slowest, e.g. 60 min")


class OutageModel(Section):
    """The outage."""

    date: Start | None = Field(None, description="its day, where no window says it, e.g. 2026-09-10")
    windows: list[WindowModel] = Field(default_factory=list, description="a list of windows, each with start and length")
    crew: list[CrewModel] = Field(default_factory=list, description="a list of people, each with name and skills")
    ask: list[AskModel] = Field(default_factory=list, description="a list of what must be granted before, each with name and owner")
    isolation: IsolationModel | None = Field(None, description="points, agreed, by")
    durations: list[DurationModel] = Field(
        default_factory=list, description="a list of how long work takes here, each with work, shortest and longest"
    )


def outage_window(model: WindowModel) -> Window:
    """A window by the clock of the place, whatever zone its start names. [s]"""
    start = datetime.fromisoformat(model.start).replace(tzinfo=None)
    opens = (start - datetime(1970, 1, 1)).total_seconds()
    return Window(opens, opens + model.length)
