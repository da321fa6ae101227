"""A round of the bus, and a record read whole: what is kept of three axes, and what a device that changes under the reader does."""

import asyncio
from collections.abc import Sequence

import numpy as np
import pytest

from gearcase.device.profile import RECORD_REGISTERS, decode, profile
from gearcase.device.rig import Rig, RigBus, SensorFault
from gearcase.errors import BadReply
from gearcase.job.build import load
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.polling import poll, take_record
from test_stages import EXAMPLES


@pytest.fixture
def rig() -> Rig:
    return Rig(load(EXAMPLES / "demo"), lambda: 0.0, 24.75)


def test_of_three_axes_the_largest_is_kept(rig: Rig) -> None:
    """The rig's z axis stands on the bearing and sees most, x least."""
    kept = {(one.point, one.quantity): one.value for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0))}
    form = profile("three-axis vibration").registers
    axes = [decode(form[f"overall velocity {axis}"], rig.read(11, form[f"overall velocity {axis}"].address, 2)) for axis in "xyz"]
    assert kept["input coupling end", "overall velocity"] == axes[2] > axes[1] > axes[0]


def test_a_silent_device_gives_bad_readings_of_each_of_its_quantities(rig: Rig) -> None:
    rig.sensor_faults[12] = SensorFault(silent=True)
    bad = [one for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0)) if one.quality == "bad"]
    assert {one.point for one in bad} == {"intermediate left"} and len(bad) == 3 and all(one.value is None for one in bad)


def test_a_value_outside_its_range_is_bad(rig: Rig) -> None:
    rig.sump = 500.0
    bad = [one for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0)) if one.quality == "bad"]
    assert ("sump", "temperature") in {(one.point, one.quantity) for one in bad}


class Replaced:
    """A sensor whose record is replaced, so many times, while it is being read."""

    def __init__(self, rig: Rig, times: int) -> None:
        self.bus, self.rig, self.times = RigBus(rig), rig, times

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        words = await self.bus.read(unit=unit, function=function, start=start, count=count)
        if start == RECORD_REGISTERS and self.times:
            self.times -= 1
            self.rig._records[unit].number += 1
        return words

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        raise AssertionError("a record is only read")


def test_a_record_is_read_whole_in_its_unit(rig: Rig) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    record = asyncio.run(take_record(RigBus(rig), device, speed_hz=24.75, start=""))
    counts = np.array(rig.read(11, RECORD_REGISTERS, 64000), dtype=np.uint16).view(np.int16)
    step = decode(profile(device.profile).registers["record step"], rig.read(11, 44, 2))
    assert record.samples == pytest.approx(counts * step, rel=1e-6) and record.sample_rate_hz == 12800.0
    assert (record.point, record.unit, record.speed_hz) == ("input coupling end", "m/s2", 24.75)


@pytest.mark.parametrize("times", [1, 2])
def test_a_record_replaced_while_it_is_read_is_read_again(rig: Rig, times: int) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    record = asyncio.run(take_record(Replaced(rig, times), device, speed_hz=None, start=""))
    assert record.name == f"vibration input, record {1 + times}"


def test_a_record_replaced_each_time_is_said(rig: Rig) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    with pytest.raises(BadReply, match="replaced 3 times"):
        asyncio.run(take_record(Replaced(rig, 9), device, speed_hz=None, start=""))
