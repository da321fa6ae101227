"""Modbus frames as a device makes them, without any socket: checksum, requests and replies, and where a serial request ends.

Written apart from what our own master sends and reads, so that one cannot prove the other.

MODBUS Application Protocol V1.1b3 (functions 3, 4, 6 and 16), Modbus over Serial Line V1.02 (unit, PDU, CRC-16 low byte first),
MODBUS Messaging on TCP/IP V1.0b (transaction, protocol 0, length, unit, PDU).
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "LONGEST",
    "Malformed",
    "Request",
    "asking",
    "crc",
    "exception",
    "read_reply",
    "reply",
    "request",
    "serial",
    "serial_length",
    "tcp",
    "unwrap_serial",
]

LONGEST = 256  # bytes of a serial frame
_READS, _WRITE_ONE, _WRITE = (3, 4), 6, 16
_MOST_READ, _MOST_WRITTEN = 125, 123
_POLYNOMIAL = 0xA001


def _table() -> tuple[int, ...]:
    found = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
        found.append(value)
    return tuple(found)


_TABLE = _table()


class Malformed(Exception):
    """A request that must be answered by an exception: 1 illegal function, 3 illegal value."""

    def __init__(self, function: int, code: int) -> None:
        self.function, self.code = function, code
        super().__init__(f"function {function}: exception {code}")


@dataclass(frozen=True)
class Request:
    """What is asked of a device: `count` registers from `start`, or that `words` be written there."""

    function: int
    start: int
    count: int
    words: tuple[int, ...] = ()


def crc(frame: bytes) -> bytes:
    """Checksum of a serial frame, low byte first.

    Examples
    --------
    Row MB15 of ``modbus_frames.csv``:

    >>> crc(bytes.fromhex("01 03 00 00 00 0A")).hex(" ")
    'c5 cd'
    """
    value = 0xFFFF
    for byte in frame:
        value = value >> 8 ^ _TABLE[(value ^ byte) & 0xFF]
    return value.to_bytes(2, "little")


def serial(unit: int, pdu: bytes) -> bytes:
    """A frame of a serial line."""
    body = bytes([unit]) + pdu
    return body + crc(body)


def unwrap_serial(frame: bytes) -> tuple[int, bytes] | None:
    """Unit and PDU of a serial frame; None where it is too short or its checksum wrong."""
    if len(frame) < 4 or crc(frame[:-2]) != frame[-2:]:
        return None
    return frame[0], frame[1:-2]


def tcp(transaction: int, unit: int, pdu: bytes) -> bytes:
    """A frame of Modbus TCP."""
    return struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


def serial_length(data: bytes) -> int | None:
    """How long the serial request that begins `data` is; None where it cannot be told (yet).

    Examples
    --------
    >>> serial_length(bytes.fromhex("01 03 00 00")), serial_length(bytes.fromhex("01 10 00 14 00 02 04")), serial_length(b"\x01+")
    (8, 13, None)
    """
    if len(data) < 2:
        return None
    if 1 <= data[1] <= _WRITE_ONE:
        return 8
    if data[1] in (15, _WRITE):
        return 9 + data[6] if len(data) > 6 else None
    return None


def request(pdu: bytes) -> Request:
    """What a PDU asks.

    Raises
    ------
    Malformed
    """
    function = pdu[0]
    if function in _READS and len(pdu) == 5:
        start, count = struct.unpack(">HH", pdu[1:])
        if 1 <= count <= _MOST_READ:
            return Request(function, start, count)
    elif function == _WRITE_ONE and len(pdu) == 5:
        start, word = struct.unpack(">HH", pdu[1:])
        return Request(function, start, 1, (word,))
    elif function == _WRITE and len(pdu) >= 6:
        start, count, size = struct.unpack(">HHB", pdu[1:6])
        if 1 <= count <= _MOST_WRITTEN and size == 2 * count and len(pdu) == 6 + size:
            return Request(function, start, count, struct.unpack(f">{count}H", pdu[6:]))
    else:
        raise Malformed(function, 3 if function in (*_READS, _WRITE_ONE, _WRITE) else 1)
    raise Malformed(function, 3)


def asking(asked: Request) -> bytes:
    """The PDU of a request."""
    if asked.function in _READS:
        return struct.pack(">BHH", asked.function, asked.start, asked.count)
    if asked.function == _WRITE_ONE:
        return struct.pack(">BHH", asked.function, asked.start, asked.words[0])
    return struct.pack(f">BHHB{asked.count}H", asked.function, asked.start, asked.count, 2 * asked.count, *asked.words)


def reply(asked: Request, words: Sequence[int]) -> bytes:
    """The PDU that answers a request; `words` are those read."""
    if asked.function in _READS:
        return struct.pack(f">BB{len(words)}H", asked.function, 2 * len(words), *words)
    second = asked.words[0] if asked.function == _WRITE_ONE else asked.count
    return struct.pack(">BHH", asked.function, asked.start, second)


def exception(function: int, code: int) -> bytes:
    """The PDU of a refusal."""
    return bytes([function | 0x80, code])


def read_reply(pdu: bytes) -> tuple[int, ...]:
    """The words of a reply to a read; none where its length is not what it says."""
    if len(pdu) < 2 or pdu[1] != len(pdu) - 2 or pdu[1] % 2:
        return ()
    return struct.unpack(f">{pdu[1] // 2}H", pdu[2:])
