"""The plant as one publisher: every face the job names, each at work beside the others and taken up again when it fails."""

import asyncio
import importlib.util
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self

from gearcase.device.publish.latest import Latest
from gearcase.device.publish.modbus import ModbusServer
from gearcase.device.publish.mqtt import Broker
from gearcase.device.publish.opcua import OpcUaServer
from gearcase.device.publish.registers import assign
from gearcase.device.publish.values import HEARTBEAT, Published, plant_values
from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job

__all__ = ["KEYS", "Face", "Plant", "open_plant"]

KEYS = "keys"  # folder of the job's own keys, and of the certificates it trusts

AGAIN = 5.0  # s until a face that failed is tried again
_LOOK = 1.0  # s between looks for values that have grown stale


class Face(Protocol):
    """One way in which the plant is told."""

    name: str

    async def run(self, say: Callable[[str], None]) -> None:
        """Tell until cancelled; says what it waits for, nothing (``""``) once it works, and raises what keeps it from it."""

    def wake(self) -> None:
        """There may be something new in `Latest`."""


class Plant:
    """A `Publisher` over several faces.

    Parameters
    ----------
    latest : Latest
        What the faces show.
    faces : sequence of Face
    again : float
        Until a face that failed is tried again. [s]
    """

    def __init__(self, latest: Latest, faces: Sequence[Face], *, again: float = AGAIN) -> None:
        self._latest, self._faces, self._again = latest, faces, again
        self._wrong: dict[str, str] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._beat = 0

    async def __aenter__(self) -> Self:
        """As `Publisher`: begins, and waits for nobody."""
        self._wrong = {face.name: "is starting" for face in self._faces}
        self._tasks = [asyncio.create_task(self._keep(face)) for face in self._faces]
        self._tasks.append(asyncio.create_task(self._look()))
        return self

    async def __aexit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Takes leave of the plant."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def publish(self, values: Mapping[str, Published]) -> None:
        """As `Publisher.publish`."""
        self._beat = self._beat % 65535 + 1
        self._latest.take({**values, HEARTBEAT: Published(self._beat, "-", "good", self._latest.clock())})
        self._wake()

    def condition(self) -> str:
        """As `Publisher.condition`."""
        return "; ".join(f"{name}: {says}" for name, says in self._wrong.items() if says)

    async def _keep(self, face: Face) -> None:
        """A face at work for as long as this is; one that fails says why and is tried again."""
        while True:
            try:
                await face.run(lambda says: self._say(face.name, says))
                self._say(face.name, "it has stopped")
            except Exception as error:  # whatever the plant or a library does, the watch goes on
                self._say(face.name, str(error) or type(error).__name__)
            await asyncio.sleep(self._again)

    def _say(self, name: str, says: str) -> None:
        self._wrong[name] = says

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(_LOOK)
            self._wake()

    def _wake(self) -> None:
        for face in self._faces:
            with suppress(Exception):
                face.wake()


def open_plant(
    job: Job,
    folder: Path,
    registers: Sequence[Mapping[str, Any]],
    *,
    clock: Callable[[], float],
    acknowledge: Callable[[str], None],
) -> Plant:
    """The `Publisher` of a job; one that names no face tells nobody.

    Parameters
    ----------
    job, folder : Job, Path
        The job, and where it lies: its keys stand in `KEYS`.
    registers : sequence of mapping
        ``values`` of the latest ``publish/1`` document.
    clock : callable
        Unix time. [s]
    acknowledge : callable
        Takes who acknowledged in the plant, where the job enables it.

    Raises
    ------
    BadInput
        A library that a face needs is not installed.
    """
    latest = Latest(plant_values(job), clock)
    slots = assign(latest.values.values(), registers)
    to = job.publish
    faces: list[Face] = []
    if to.modbus:
        given: dict[str, Any] = {"address": to.modbus.address, "port": to.modbus.port, "acknowledge": acknowledge}
        faces.append(ModbusServer(latest, slots, **given, acknowledge_from=to.modbus.acknowledge_from))
    if to.opcua:
        _needs("publish.opcua", "asyncua", "cryptography")
        faces.append(OpcUaServer(latest, slots, to.opcua, keys=folder / KEYS, device=to.device))
    if to.mqtt:
        _needs("publish.mqtt", "aiomqtt", "google.protobuf")
        faces.append(Broker(latest, slots, to.mqtt))
    return Plant(latest, faces)


def _needs(key: str, *libraries: str) -> None:
    for name in libraries:
        try:
            found = importlib.util.find_spec(name)
        except ModuleNotFoundError:
            found = None
        if found is None:
            raise BadInput(Problem("job.yaml", key, f"{name} is not installed", "the extra of it: pip install 'gearcase[plant]'"))
