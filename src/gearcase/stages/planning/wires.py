"""How fast the bus is read."""

from dataclasses import asdict
from typing import Any

from gearcase.install.bus import transaction_time
from gearcase.install.profile import profile_names
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.worked import Given, Origin, work

__all__ = ["bus"]


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
    for device in devices:
        draft.step(
            device.name,
            "On the bench, alone on the line: set its address, baud and parity; write down its serial number; label both ends.",
            "address and label",
            value=f"unit {device.address}, {job.bus.baud} baud",
        )
    brought = {device.profile: device.form for device in devices if device.profile and device.profile not in profile_names()}
    return {
        "baud": job.bus.baud,
        "profiles": {name: [asdict(one) for one in form.rows] for name, form in brought.items()},
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
