"""What a Modbus server hears and says, as PDUs and frames of TCP, without any socket: for the rig and for what the plant reads.

Written apart from what our own master sends and reads, so that one cannot prove the other. MODBUS Application Protocol V1.1b3
(functions 3, 4, 6 and 16), MODBUS Messaging on TCP/IP V1.0b (transaction, protocol 0, length, unit, PDU).
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["READS", "WRITE", "WRITES", "WRITE_ONE", "Malformed", "Request", "exception", "reply", "request", "tcp"]

READS, WRITE_ONE, WRITE = (3, 4), 6, 16
WRITES = (WRITE_ONE, WRITE)
_MOST_READ, _MOST_WRITTEN = 125, 123


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


def request(pdu: bytes) -> Request:
    """What a PDU asks.

    Raises
    ------
    Malformed
    """
    function = pdu[0]
    if function in READS and len(pdu) == 5:
        start, count = struct.unpack(">HH", pdu[1:])
        if 1 <= count <= _MOST_READ:
            return Request(function, start, count)
    elif function == WRITE_ONE and len(pdu) == 5:
        start, word = struct.unpack(">HH", pdu[1:])
        return Request(function, start, 1, (word,))
    elif function == WRITE and len(pdu) >= 6:
        start, count, size = struct.unpack(">HHB", pdu[1:6])
        if 1 <= count <= _MOST_WRITTEN and size == 2 * count and len(pdu) == 6 + size:
            return Request(function, start, count, struct.unpack(f">{count}H", pdu[6:]))
    else:
        raise Malformed(function, 3 if function in (*READS, WRITE_ONE, WRITE) else 1)
    raise Malformed(function, 3)


def reply(asked: Request, words: Sequence[int]) -> bytes:
    """The PDU that answers a request; `words` are those read."""
    if asked.function in READS:
        return struct.pack(f">BB{len(words)}H", asked.function, 2 * len(words), *words)
    second = asked.words[0] if asked.function == WRITE_ONE else asked.count
    return struct.pack(">BHH", asked.function, asked.start, second)


def exception(function: int, code: int) -> bytes:
    """The PDU of a refusal."""
    return bytes([function | 0x80, code])


def tcp(transaction: int, unit: int, pdu: bytes) -> bytes:
    """A frame of Modbus TCP."""
    return struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu
