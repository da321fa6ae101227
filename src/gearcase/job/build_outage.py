"""From the document to the outage."""

from datetime import datetime

from gearcase.install.outage import Ask, Isolation, Outage
from gearcase.install.schedule import Person, Window
from gearcase.job.outage_schema import OutageModel, outage_window

__all__ = ["build_outage"]

_DAY = 86400.0


def build_outage(model: OutageModel) -> Outage:
    """The outage, its windows counted from the opening of the first."""
    start = model.windows[0].start if model.windows else model.date or ""
    windows = [outage_window(window) for window in model.windows]
    held = model.isolation
    return Outage(
        start=start,
        day=float(datetime.fromisoformat(start).toordinal()) if start else None,
        windows=tuple(Window(one.start - windows[0].start, one.end - windows[0].start) for one in windows),
        crew=tuple(Person(person.name, frozenset(person.skills)) for person in model.crew),
        asks=tuple(
            Ask(one.name, one.owner, None if one.lead_time is None else one.lead_time / _DAY, tuple(one.after), one.granted)
            for one in model.ask
        ),
        isolation=Isolation(tuple(held.points), held.agreed, held.by) if held else None,
        stated=tuple((one.work, (one.shortest, one.longest)) for one in model.durations),
    )
