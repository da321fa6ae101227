"""All that anybody may ask of a serial bus, whatever carries it."""

from collections.abc import Sequence
from typing import Protocol

__all__ = ["LONGEST_READ", "RegisterBus"]

LONGEST_READ = 125  # registers in one read, MODBUS Application Protocol V1.1b3


class RegisterBus(Protocol):
    """Registers of the devices of one bus."""

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """Registers of one device, as words of 16 bits; more than `LONGEST_READ` are read in several goes.

        Raises
        ------
        NoReply, BadReply, BadRequest
            The device is silent, answers nonsense, or has no such registers.
        """

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """Write holding registers of one device.

        Raises
        ------
        NoReply, BadReply, BadRequest
        """
