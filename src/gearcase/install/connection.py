"""How a bus is reached: a gateway over the network, or a serial line with its parity and stop bits."""

import re
from dataclasses import dataclass
from typing import Literal

from gearcase.errors import OutOfRange

__all__ = ["CHARACTERS", "CONNECTION_FORM", "Connection", "parse_connection"]

Way = Literal["tcp", "rtu-over-tcp", "serial"]
CHARACTERS = ("8E1", "8O1", "8N2", "8N1")  # data bits, parity, stop bits; the first is what the specification asks for
CONNECTION_FORM = (
    'how the bus is reached: "tcp 192.0.2.10:502", "rtu-over-tcp 192.0.2.10:4001", "serial /dev/ttyUSB0" or, where it is not '
    f"{CHARACTERS[0]}, with its {', '.join(CHARACTERS[1:])} behind"
)


@dataclass(frozen=True)
class Connection:
    """Where a bus is found.

    Attributes
    ----------
    way : str
        ``tcp`` (Modbus TCP), ``rtu-over-tcp`` (serial frames through a gateway that passes bytes on), or ``serial``.
    place : str
        Host, or path of the line.
    port : int
        0 for a line.
    character : str
        Of a line: one of `CHARACTERS`.
    """

    way: Way
    place: str
    port: int = 0
    character: str = CHARACTERS[0]

    def __str__(self) -> str:
        if self.way == "serial":
            return f"serial {self.place} {self.character}"
        return f"{self.way} {f'[{self.place}]' if ':' in self.place else self.place}:{self.port}"


def parse_connection(text: object) -> Connection:
    """A connection as people write it.

    Even parity and one stop bit are the default of a serial line; without parity there must be two stop bits (Modbus over Serial
    Line V1.02 section 2.5.1), and 8N1 is what many devices have all the same.

    Raises
    ------
    OutOfRange
        None of the forms.

    Examples
    --------
    >>> parse_connection("tcp 127.0.0.1:5020")
    Connection(way='tcp', place='127.0.0.1', port=5020, character='8E1')
    >>> str(parse_connection("serial /dev/ttyUSB0 8n2"))
    'serial /dev/ttyUSB0 8N2'
    """
    words = text.split() if isinstance(text, str) else []
    if len(words) == 2 and words[0] in ("tcp", "rtu-over-tcp"):
        match = re.fullmatch(r"(?:\[(.+)\]|([^\s:]+)):(\d{1,5})", words[1])
        if match and 0 < int(match[3]) < 65536:
            return Connection("tcp" if words[0] == "tcp" else "rtu-over-tcp", match[1] or match[2], int(match[3]))
    elif words[:1] == ["serial"] and len(words) in (2, 3):
        character = words[2].upper() if len(words) == 3 else CHARACTERS[0]
        if character in CHARACTERS:
            return Connection("serial", words[1], 0, character)
    raise OutOfRange("connection", repr(text), CONNECTION_FORM)
