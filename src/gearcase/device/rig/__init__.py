"""The simulated drive as devices on a bus, and everything that can go wrong with it while it runs.

`devices` is the rig: what each register reads now; `machine` what the drive lets be heard, `faults` what can be put in and how it
grows, `link` what happens to frames on their way. `serving` puts it on a port, `orders` takes a person's words.
"""

from gearcase.device.rig.devices import Rig, SensorFault
from gearcase.device.rig.link import RigBus

__all__ = ["Rig", "RigBus", "SensorFault"]
