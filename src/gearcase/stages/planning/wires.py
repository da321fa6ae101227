"""How fast the bus is read, and the cables that run to it."""

from typing import Any

from gearcase.findings import Level
from gearcase.install.assignment import SPARE, assign_cables
from gearcase.install.bus import transaction_time
from gearcase.install.cautions import Step
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.worked import Given, Origin, work

__all__ = ["bus", "cables"]

_ROUTE = (  # common practice, no source
    "first clip within 150 mm of the sensor, then every 300 to 450 mm, a drip loop of 75 mm, 100 to 300 mm from power and crossing "
    "it square, no tight coils"
)


def bus(job: Job, draft: Draft) -> dict[str, Any]:
    """What is read of each device, and how long a round of all takes."""
    devices = job.bus.devices
    times = [
        work(
            f"reading of {device.name}",
            transaction_time,
            baud=Given("baud", float(job.bus.baud), "1/s", Origin.ASSUMED),
            registers=Given("registers", float(device.registers), "-", Origin.ASSUMED, 0.0, device.where),
            device_delay=Given("device delay", job.bus.device_delay, "s", Origin.ASSUMED),
        )
        for device in devices
    ]
    if devices:
        draft.step("bench", "Set and label every address, baud and parity at both ends; run the whole bus with the actual cables.")
    return {
        "baud": job.bus.baud,
        "devices": [
            {
                "name": device.name,
                "address": device.address,
                "profile": device.profile,
                "point": device.point,
                "registers": device.registers,
                "reading_s": time.as_dict(),
            }
            for device, time in zip(devices, times, strict=True)
        ],
        "round_s": sum(time.value for time in times),
    }


def cables(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The kit's cable for each device's run."""
    devices = job.bus.devices
    rows = []
    for device, cable in zip(devices, assign_cables([device.run for device in devices], job.kit.cables).cables, strict=True):
        if cable is None:
            long_enough = [one.name for one in job.kit.cables if one.length >= device.run + SPARE]
            others = f"{', '.join(long_enough)} would do but serve longer runs" if long_enough else "none of the kit is so long"
            says = f"no cable left for a run of {device.run:.1f} m with {SPARE:.1f} m to spare: {others}"
            draft.find(Level.BLOCKER, "cable", device.name, says)
        else:
            draft.step(
                device.name,
                f"Run cable {cable.name}: {_ROUTE}; label both ends.",
                Step.WIRE,
            )
            wire = f", {cable.wire}" if cable.wire else ""
            draft.take(f"cable {cable.name}, {cable.length:.1f} m{wire}", device.name)
        rows.append({"device": device.name, "run_m": device.run, "cable": cable.name if cable else None})
    return rows
