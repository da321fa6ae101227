"""The stack light as the watch keeps it: the colour asked for, its heartbeat, and whether it obeys.

The light is read back after each writing: what it shows, and how old the heartbeat is that it heard. That it is lost, or three
times in a row shows another colour or heard nothing is said once, and once again when it obeys. A watch that hangs writes no
heartbeat; then the light falls back to blue by itself.
"""

import asyncio

from gearcase.device.bus import RegisterBus
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.profile import LAMPS
from gearcase.install.register import decode
from gearcase.job.build import Job
from gearcase.judge.alarm import BAD_POLLS
from gearcase.monitor.alarms import Say

__all__ = ["BEAT", "Light"]

BEAT = 3.0  # s between heartbeats; a light that is left alone falls back after 10
_OLDEST = 10.0  # s of a heartbeat that was just written; more means that the light heard nothing
_READ_BACK = ("lamps lit", "heartbeat age")


class Light:
    """The light of a job, where it has one.

    Attributes
    ----------
    colour : str
        Asked for; empty before the first.
    trouble : str
        How it does not obey; empty where it does, or where there is none.
    """

    def __init__(self, say: Say) -> None:
        self.colour, self.trouble = "", ""
        self._say, self._beat, self._amiss = say, 0, 0
        self._writing = asyncio.Lock()  # a round and a heartbeat that meet would read back each other's colour

    async def show(self, colour: str, job: Job, bus: RegisterBus, now: float) -> None:
        """Ask for a colour, said when it is another than before."""
        if colour != self.colour:
            self._say("light", "", colour, now, {}, "")
        self.colour = colour
        await self.beat(job, bus, now, hangs=False)

    async def beat(self, job: Job, bus: RegisterBus, now: float, *, hangs: bool) -> None:
        """Write lamps and heartbeat, and read back; blue where the rounds hang."""
        async with self._writing:
            await self._beat_once("blue" if hangs else self.colour, job, bus, now)

    async def _beat_once(self, colour: str, job: Job, bus: RegisterBus, now: float) -> None:
        device = next((one for one in job.bus.devices if "lamps wanted" in one.form.registers), None)
        if device is None:
            return
        self._beat = self._beat % 65535 + 1
        registers = device.form.registers
        first, last = (registers[name] for name in _READ_BACK)
        try:
            await bus.write(unit=device.address, start=registers["lamps wanted"].address, words=[LAMPS[colour], self._beat])
            count = last.address + last.words - first.address
            words = await bus.read(unit=device.address, function=first.function, start=first.address, count=count)
            lit, age = (decode(one, words[one.address - first.address :][: one.words]) for one in (first, last))
        except (NoReply, BadReply, BadRequest, OutOfRange) as error:
            self._found("light lost", str(error), now)
        else:
            self._found("light wrong", _disobeys(colour, int(lit), age), now)

    def _found(self, kind: str, trouble: str, now: float) -> None:
        self._amiss = self._amiss + 1 if trouble else 0
        if trouble and self._amiss < BAD_POLLS:
            return  # once may be a slip of the line
        if trouble and not self.trouble:
            self._say(kind, "", trouble, now, {}, "")
        elif self.trouble and not trouble:
            self._say("light back", "", "it shows what it is asked for", now, {}, "")
        self.trouble = trouble


def _disobeys(colour: str, lit: int, age: float) -> str:
    shown = " and ".join(name for name, bit in LAMPS.items() if lit & bit) or "nothing"
    if age > _OLDEST:
        return f"it hears no heartbeat: the last it heard is {age:.0f} s old, and it shows {shown}"
    return "" if lit == LAMPS[colour] else f"asked for {colour}, it shows {shown}"
