"""Frames of a serial line as a device makes them, without any port: checksum, where a request ends, and how one is asked.

Written apart from what our own master sends and reads, so that one cannot prove the other. Modbus over Serial Line V1.02: unit,
PDU, CRC-16 low byte first.
"""

import struct

from gearcase.device.requests import READS, WRITE, WRITE_ONE, Request

__all__ = [
    "LONGEST",
    "asking",
    "crc",
    "read_reply",
    "serial",
    "serial_length",
    "unwrap_serial",
]

LONGEST = 256  # bytes of a serial frame
_POLYNOMIAL = 0xA001


def _table() -> tuple[int, ...]:
    found = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
        found.append(value)
    return tuple(found)


_TABLE = _table()


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


def serial_length(data: bytes) -> int | None:
    """How long the serial request that begins `data` is; None where it cannot be told (yet).

    Examples
    --------
    >>> serial_length(bytes.fromhex("01 03 00 00")), serial_length(bytes.fromhex("01 10 00 14 00 02 04")), serial_length(b"\x01+")
    (8, 13, None)
    """
    if len(data) < 2:
        return None
    if 1 <= data[1] <= WRITE_ONE:
        return 8
    if data[1] in (15, WRITE):
        return 9 + data[6] if len(data) > 6 else None
    return None


def asking(asked: Request) -> bytes:
    """The PDU of a request."""
    if asked.function in READS:
        return struct.pack(">BHH", asked.function, asked.start, asked.count)
    if asked.function == WRITE_ONE:
        return struct.pack(">BHH", asked.function, asked.start, asked.words[0])
    return struct.pack(f">BHHB{asked.count}H", asked.function, asked.start, asked.count, 2 * asked.count, *asked.words)


def read_reply(pdu: bytes) -> tuple[int, ...]:
    """The words of a reply to a read; none where its length is not what it says."""
    if len(pdu) < 2 or pdu[1] != len(pdu) - 2 or pdu[1] % 2:
        return ()
    return struct.unpack(f">{pdu[1] // 2}H", pdu[2:])
