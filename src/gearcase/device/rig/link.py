"""What happens to a frame between a device of the rig and whoever asks: `Line`, at the level of bytes; and `RigBus`, in process.

A request finds the devices that take its address for theirs; each answers, and what goes wrong with the link befalls the bytes of
the reply. On a serial line two answers at once run into each other and come out as neither; over TCP a gateway stands between,
which throws away what has a wrong checksum, so that nothing comes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from gearcase.device import requests
from gearcase.device.bus import LONGEST_READ
from gearcase.device.rig import frames
from gearcase.device.rig.devices import Rig
from gearcase.device.rig.faults import BEFALLS_SHARE
from gearcase.errors import BadReply, BadRequest, Garbled, NoReply

__all__ = ["Framing", "Gateway", "Line", "RigBus", "Sent", "SerialLine"]

_FAILED, _NO_SUCH_REGISTER = 4, 2  # exception codes, MODBUS Application Protocol V1.1b3
_HEADER = 9  # bytes of a TCP reply up to its data: what a client can hold against what it asked
_REFUSALS = {1: "it knows no such function", 2: "it has no such register", 3: "it refuses the value", 4: "it failed inside"}


@dataclass(frozen=True)
class Sent:
    """Bytes on their way, so long after the request [s]."""

    after: float
    frame: bytes


class Framing(Protocol):
    """How replies are wrapped, and what faults make of the bytes."""

    def wrap(self, unit: int, pdu: bytes) -> bytes:
        """A reply as it is sent."""

    def corrupted(self, frame: bytes, rig: Rig) -> bytes:
        """A bit of it turned."""

    def with_wrong_crc(self, frame: bytes) -> bytes:
        """Its checksum wrong."""

    def clashing(self, sent: Sequence[bytes], rig: Rig) -> bytes:
        """Several at once."""


class SerialLine:
    """Frames of a serial line."""

    def wrap(self, unit: int, pdu: bytes) -> bytes:
        """As `Framing.wrap`."""
        return frames.serial(unit, pdu)

    def corrupted(self, frame: bytes, rig: Rig) -> bytes:
        """As `Framing.corrupted`; the checksum no longer fits."""
        return _turned(frame, int(rig.chance.integers(8 * len(frame))))

    def with_wrong_crc(self, frame: bytes) -> bytes:
        """As `Framing.with_wrong_crc`."""
        return frame[:-2] + bytes(byte ^ 0xFF for byte in frame[-2:])

    def clashing(self, sent: Sequence[bytes], rig: Rig) -> bytes:
        """As `Framing.clashing`: where two drivers differ, either may win a bit; where they say the same, nobody notices."""
        longest = max(map(len, sent))
        rest = [frame.ljust(longest, b"\xff") for frame in sent]
        found = bytearray(rest[0])
        for other in rest[1:]:
            mask = rig.chance.integers(256, size=longest)
            found = bytearray(a ^ ((a ^ b) & int(m)) for a, b, m in zip(found, other, mask, strict=True))
        return bytes(found)


@dataclass(frozen=True)
class Gateway:
    """Frames of Modbus TCP with the serial line behind it."""

    transaction: int

    def wrap(self, unit: int, pdu: bytes) -> bytes:
        """As `Framing.wrap`."""
        return requests.tcp(self.transaction, unit, pdu)

    def corrupted(self, frame: bytes, rig: Rig) -> bytes:
        """As `Framing.corrupted`: in header, function or count; in its data nobody could see it."""
        return _turned(frame, int(rig.chance.integers(8 * _HEADER)))

    def with_wrong_crc(self, frame: bytes) -> bytes:
        """As `Framing.with_wrong_crc`: the gateway throws it away."""
        return b""

    def clashing(self, sent: Sequence[bytes], rig: Rig) -> bytes:
        """As `Framing.clashing`: the gateway throws away what is neither."""
        return sent[0] if len(set(sent)) == 1 else b""


class Line:
    """All that hangs on the rig's bus, as seen by whoever asks over it."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    def answer(self, address: int, pdu: bytes, framing: Framing) -> list[Sent]:
        """What comes back to a request, in its order; nothing where nobody answers.

        Parameters
        ----------
        address : int
        pdu : bytes
        framing : Framing
        """
        replies = [(unit, sent) for unit in self._rig.at_address(address) for sent in self._one(unit, address, pdu, framing)]
        if len({unit for unit, _ in replies}) < 2:
            return [sent for _, sent in replies]
        together = framing.clashing([sent.frame for _, sent in replies], self._rig)
        return [Sent(max(sent.after for _, sent in replies), together)] if together else []

    def _one(self, unit: int, address: int, pdu: bytes, framing: Framing) -> list[Sent]:
        """What one device sends, after what its link does to it."""
        rig = self._rig
        if self._befalls("brown-out", unit):
            rig.restart(unit, rig.size("brown-out", unit) or 0.0)
            return []
        lost = self._befalls("lost", unit)
        if lost and rig.chance.random() < 0.5:  # on its way out: a write is never done
            return []
        answer = requests.exception(pdu[0], _FAILED) if self._befalls("refused", unit) else self._reply(unit, pdu)
        if lost or not answer:
            return []
        frame = framing.wrap(address, answer)
        if self._befalls("wrong crc", unit):
            frame = framing.with_wrong_crc(frame)
        if frame and self._befalls("corrupted", unit):
            frame = framing.corrupted(frame, rig)
        after = rig.size("late", unit) or 0.0 if self._befalls("late", unit) else 0.0
        twice = 2 if self._befalls("duplicated", unit) else 1
        return [Sent(after, frame)] * twice if frame else []

    def _reply(self, unit: int, pdu: bytes) -> bytes:
        try:
            asked = requests.request(pdu)
            if asked.words:
                self._rig.write(unit, asked.start, asked.words)
                return requests.reply(asked, ())
            return requests.reply(asked, self._rig.read(unit, asked.start, asked.count))
        except requests.Malformed as error:
            return requests.exception(error.function, error.code)
        except BadRequest:
            return requests.exception(pdu[0], _NO_SUCH_REGISTER)
        except NoReply:
            return b""

    def _befalls(self, kind: str, unit: int) -> bool:
        """Whether a fault befalls this frame, by its size where that is a share, else by its share."""
        size = self._rig.size(kind, unit)
        if size is None:
            return False
        chance = size if kind not in BEFALLS_SHARE else self._rig.share(kind, unit)
        return chance >= 1.0 or bool(self._rig.chance.random() < chance)


class RigBus:
    """The rig behind `RegisterBus`, in process: one try a read, and what comes later than `timeout` [s] counts as silence."""

    def __init__(self, rig: Rig, *, timeout: float = 0.5) -> None:
        self._rig, self._line, self._timeout = rig, Line(rig), timeout

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`; both kinds of registers are one block."""
        found: list[int] = []
        for first in range(start, start + count, LONGEST_READ):
            wanted = min(LONGEST_READ, start + count - first)
            asked = f"registers {first} to {first + wanted - 1}"
            words = frames.read_reply(self._ask(unit, asked, requests.Request(function, first, wanted)))
            if len(words) != wanted:
                raise BadReply(unit, asked, f"{len(words)} registers came back")
            found += words
        return tuple(found)

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`."""
        asked = f"writing registers {start} to {start + len(words) - 1}"
        self._ask(unit, asked, requests.Request(16, start, len(words), tuple(words)))

    def _ask(self, unit: int, asked: str, request: requests.Request) -> bytes:
        sent = self._line.answer(unit, frames.asking(request), SerialLine())
        if not sent or sent[0].after > self._timeout:
            raise NoReply(unit, asked, "no reply")
        heard = frames.unwrap_serial(sent[0].frame)
        if heard is None or heard[0] != unit or heard[1][0] & 0x7F != request.function:
            raise Garbled(unit, asked, "what came is no answer")
        if heard[1][0] & 0x80:
            raise BadRequest(unit, asked, _REFUSALS.get(heard[1][1], f"exception {heard[1][1]}"))
        return heard[1]


def _turned(frame: bytes, bit: int) -> bytes:
    turned = bytearray(frame)
    turned[bit // 8 % len(frame)] ^= 1 << bit % 8
    return bytes(turned)
