"""What evidence of a device rests on: evidence of what the job says no more is none."""

from dataclasses import asdict

from gearcase.checksums import sha256_of_data
from gearcase.install.housing import BusDevice
from gearcase.job.build import Job

__all__ = ["rests_on"]


def rests_on(job: Job, device: BusDevice) -> str:
    """Hash of what evidence of one device rests on: its entry, its point's orientation, and its profile."""
    point = next((point for point in job.points if point.name == device.point), None)
    face = job.housing.face(point.face) if point else None
    registers = [asdict(one) for one in device.form.rows]
    placed = [point.face, point.clock, face.outward if face else ""] if point else []
    return sha256_of_data([device.name, device.address, device.profile, device.point, placed, registers])
