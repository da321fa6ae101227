"""The plant's publisher as the watch opens it: by the register map that is kept with the job."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from gearcase.device.publish.plant import Plant, open_plant
from gearcase.job.build import Job
from gearcase.record import results
from gearcase.record.clock import now
from gearcase.stages import publish

__all__ = ["open_publisher"]


def open_publisher(folder: Path, job: Job, clock: Callable[[], float], acknowledge: Callable[[str], None]) -> Plant | None:
    """The publisher of a job, None where it names no face. Values that are new to the map are put into it first, and it is kept.

    Parameters
    ----------
    folder, job : Path, Job
    clock, acknowledge : callable
        As `device.publish.plant.open_plant` has them.

    Raises
    ------
    BadInput
        The map cannot be read or kept, or a library is missing.
    """
    if not any((job.publish.modbus, job.publish.opcua, job.publish.mqtt)):
        return None
    stored = results.latest(folder, "publish")
    result = publish.run(job, stored.document["values"] if stored else ())
    if stored is None or stored.document["values"] != result.document["values"]:
        kept: dict[str, Any] = {"document": result.document, "arrays": {}, "pictures": {}, "read": result.read}
        results.write(folder, "publish", **kept, who="the watch", when=now())
    return open_plant(job, folder, result.document["values"], clock=clock, acknowledge=acknowledge)
