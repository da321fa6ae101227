"""Modbus frames as bytes, without any port: what is asked, and what can be told of bytes that come back.

A serial frame has no mark where it begins and no number that says which question it answers: it is known by its own shape and its
checksum alone, so the reader looks for one at every byte that came. A frame over TCP has both. Only registers are read and written:
functions 3, 4 and 16 (MODBUS Application Protocol V1.1b3; Modbus over Serial Line V1.02; MODBUS Messaging on TCP/IP V1.0b).
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

__all__ = [
    "LONGEST_FRAME",
    "TCP_HEADER",
    "Frame",
    "Lost",
    "Question",
    "SerialReader",
    "TcpReader",
    "crc",
    "serial_frame",
    "tcp_frame",
]

LONGEST_FRAME = 260  # bytes, of a frame over TCP; a serial one has 256 at most
TCP_HEADER = 7  # bytes before the PDU: number, protocol, length, unit
READ_HOLDING, READ_INPUT, WRITE = 3, 4, 16
_REFUSED = 0x80  # set in the function of a reply that is an exception
_MOST_HELD = 4 * LONGEST_FRAME  # bytes of one answer; beyond it somebody babbles
_READS = (READ_HOLDING, READ_INPUT)


def _crc_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
        table.append(value)
    return tuple(table)


_CRC = _crc_table()


def crc(frame: bytes) -> bytes:
    """CRC-16 of a serial frame, low byte first: polynomial 0x8005 reflected, start 0xFFFF.

    Examples
    --------
    Row MB90 of ``modbus_frames.csv``, the catalogue's check string:

    >>> crc(b"123456789").hex()
    '374b'
    """
    value = 0xFFFF
    for byte in frame:
        value = value >> 8 ^ _CRC[(value ^ byte) & 0xFF]
    return value.to_bytes(2, "little")


@dataclass(frozen=True)
class Question:
    """What one device is asked: function and what follows it; `registers` it reads, 0 where it writes."""

    unit: int
    function: int
    body: bytes
    registers: int

    @classmethod
    def read(cls, unit: int, function: int, start: int, count: int) -> "Question":
        """Read holding (3) or input (4) registers."""
        return cls(unit, function, struct.pack(">HH", start, count), count)

    @classmethod
    def write(cls, unit: int, start: int, words: Sequence[int]) -> "Question":
        """Write holding registers."""
        return cls(unit, WRITE, struct.pack(f">HHB{len(words)}H", start, len(words), 2 * len(words), *words), 0)

    @property
    def pdu(self) -> bytes:
        """Function and body."""
        return bytes([self.function]) + self.body

    @property
    def answer_bytes(self) -> int:
        """Of the PDU that answers it."""
        return 2 + 2 * self.registers if self.registers else 5

    def is_answered_by(self, pdu: bytes) -> bool:
        """Whether a PDU has the shape of its answer; what was written must be said back."""
        if len(pdu) != self.answer_bytes or pdu[0] != self.function:
            return False
        return pdu[1] == 2 * self.registers if self.registers else pdu[1:] == self.body[:4]

    def words(self, pdu: bytes) -> tuple[int, ...]:
        """The registers in the PDU that answers it."""
        return struct.unpack(f">{self.registers}H", pdu[2:])

    def refusal(self, pdu: bytes) -> int:
        """The exception code where a PDU refuses it, 0 where it does not."""
        return pdu[1] if len(pdu) == 2 and pdu[0] == self.function | _REFUSED else 0


class Frame(NamedTuple):
    """A whole frame that came: which question it numbers (None on a serial line), who answers, function and body."""

    number: int | None
    unit: int
    pdu: bytes


class Lost(Exception):
    """Bytes came among which no frame can be found again: the stream has to be begun anew."""


def serial_frame(unit: int, pdu: bytes) -> bytes:
    """Address, PDU and checksum.

    Examples
    --------
    Row MB15 of ``modbus_frames.csv``:

    >>> serial_frame(1, Question.read(1, 3, 0, 10).pdu).hex(" ").upper()
    '01 03 00 00 00 0A C5 CD'
    """
    frame = bytes([unit]) + pdu
    return frame + crc(frame)


def tcp_frame(number: int, unit: int, pdu: bytes) -> bytes:
    """Header of seven bytes and PDU."""
    return struct.pack(">HHHB", number, 0, len(pdu) + 1, unit) + pdu


class SerialReader:
    """Finds frames in the bytes that come: each place where one may begin is looked at until it is settled, once."""

    def __init__(self) -> None:
        self._held = bytearray()
        self._open: list[int] = []

    def take(self, data: bytes) -> list[Frame]:
        """Frames that these bytes complete.

        Raises
        ------
        Lost
            More bytes than any answer has.
        """
        first = len(self._held)
        self._held += data[: _MOST_HELD + 1 - first]
        if len(self._held) > _MOST_HELD:
            raise Lost
        found, left, end = [], [], 0
        for start in (*self._open, *range(first, len(self._held))):
            if start < end:  # inside a frame that was found
                continue
            length = self._length(start)
            if length is None or start + length > len(self._held):
                left.append(start)
            elif length and crc(frame := bytes(self._held[start : start + length - 2])) == self._held[start + length - 2 :][:2]:
                found.append(Frame(None, frame[0], frame[1:]))
                end, left = start + length, []
        self._open = left
        return found

    def _length(self, start: int) -> int | None:
        """Of the answer that would begin here; 0 where none can, None where too little has come to say."""
        head = self._held[start : start + 3]
        if len(head) < 3:
            return None
        unit, function, third = head
        if not 1 <= unit <= 247:
            return 0
        if function in _READS:
            return 5 + third if 0 < third <= 250 and third % 2 == 0 else 0
        if function == WRITE:
            return 8
        return 5 if function & _REFUSED and function & ~_REFUSED in (*_READS, WRITE) else 0


class TcpReader:
    """Finds frames by the length in their header."""

    def __init__(self) -> None:
        self._held = bytearray()

    def take(self, data: bytes) -> list[Frame]:
        """Frames that these bytes complete.

        Raises
        ------
        Lost
            A header that no frame has.
        """
        self._held += data
        found: list[Frame] = []
        while len(self._held) >= TCP_HEADER:
            number, protocol, length, unit = struct.unpack(">HHHB", self._held[:TCP_HEADER])
            if protocol or not 2 <= length <= LONGEST_FRAME - 6 or len(found) > 16:
                raise Lost
            if len(self._held) < 6 + length:
                break
            found.append(Frame(number, unit, bytes(self._held[TCP_HEADER : 6 + length])))
            del self._held[: 6 + length]
        return found
