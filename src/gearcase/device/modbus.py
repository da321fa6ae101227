"""The master of one Modbus bus, over TCP, over a serial line, or in serial frames through a gateway.

One question at a time, each within a bounded time. What makes an answer that of this question: over TCP its number; on a serial
line only unit, function and length. So a serial answer that may still come late is remembered, and nothing that it could be taken
for is asked of that device before its time is over; and the parts of a block differ in length. A device that answers twice of its
own accord is heard in the silence that must follow its first answer, and waited out. What nobody can tell: one whose second answer
begins only after that silence, while it is asked for as many registers elsewhere.

A device that stays silent is asked less and less often, once a minute at least, so that it does not keep the others waiting; any
answer of it ends that.
"""

import asyncio
import os
import termios
import time
from collections import defaultdict
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from typing import Any

from pymodbus.transport.serialtransport import create_serial_connection

from gearcase.device.bus import LONGEST_READ
from gearcase.device.frames import TCP_HEADER, Frame, Lost, Question, SerialReader, TcpReader, serial_frame, tcp_frame
from gearcase.device.link_quality import LinkQuality
from gearcase.errors import BadInput, BadReply, BadRequest, Garbled, NoReply, Problem
from gearcase.install.bus import character_time, silence_after_frame
from gearcase.install.connection import Connection, parse_connection

__all__ = ["ModbusBus", "connected"]

_REFUSALS = {1: "it knows no such function", 2: "it has no such register", 3: "it refuses the value", 4: "it failed inside"}
_BUSY, _GATEWAY = (5, 6), (10, 11)  # exceptions that say: not now; and a gateway's words for a device that does not answer
_GAP = 0.1  # s without a byte inside an answer: the rest does not come; adapters hold bytes back for up to 16 ms
_REST_AFTER, _LONGEST_REST = 3, 60.0  # questions in a row without an answer; s
_DEAF = 10.0  # s without a byte from anybody: the connection itself may be dead, so the next question begins a new one
_TICK = 2e-3  # s; an event loop's own waits are longer than asked by up to this
_LAST_UNIT = 247
_TURNS = 2  # of the event loop: bytes that came while it slept are seen at the next, and handed on at the one after
_LONGEST_ANSWER = 256  # characters of a serial frame
_MOST_HEARD = 65536  # bytes kept while listening
_LOOK = "look at its address, its supply and its stub"
_LINE_ADVICE = "look at the gateway or the adapter"


class _Line(asyncio.Protocol):
    """The bytes of an open connection: frames while a question is open, counted as strays otherwise."""

    def __init__(self, reader: Callable[[], SerialReader | TcpReader], stray: Callable[[bytes], None]) -> None:
        self._reader, self._stray = reader, stray
        self._frames: SerialReader | TcpReader | None = None
        self._waiting: asyncio.Future[None] | None = None
        self.loop = asyncio.get_running_loop()
        self.transport: asyncio.Transport | None = None
        self.came: list[Frame] = []
        self.last_heard = self.loop.time()
        self.bytes_heard = 0
        self.lost = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport = transport  # type: ignore[assignment]

    def connection_lost(self, error: Exception | None) -> None:
        self.lost = True
        self.wake()

    def data_received(self, data: bytes) -> None:
        self.last_heard = self.loop.time()
        if self._frames is None:
            self._stray(data)
            self.wake()
            return
        self.bytes_heard += len(data)
        try:
            self.came += self._frames.take(data)
        except Lost:
            self.close()
        self.wake()

    def begin(self, frame: bytes) -> None:
        """Send a question, which is open from now on."""
        self._frames, self.came, self.bytes_heard = self._reader(), [], 0
        if self.transport is not None:
            self.transport.write(frame)

    def end(self) -> None:
        """None is open any more."""
        self._frames = None

    def wake(self) -> None:
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_result(None)

    async def more(self, until: float) -> None:
        """Wait until something comes, or until then."""
        self._waiting = self.loop.create_future()
        timer = self.loop.call_at(until, self.wake)
        try:
            await self._waiting
        finally:
            timer.cancel()
            self._waiting = None

    def close(self) -> None:
        self.lost = True
        if self.transport is not None:
            self.transport.abort()


class _Rest:
    """A device that did not answer: how often in a row, and until when it is left alone."""

    def __init__(self) -> None:
        self.silent = 0
        self.until = 0.0

    def note(self, now: float) -> None:
        self.silent += 1
        if self.silent >= _REST_AFTER:
            self.until = now + min(2.0 ** (self.silent - _REST_AFTER), _LONGEST_REST)


class ModbusBus:
    """A `RegisterBus` over one connection, opened again whenever it is lost.

    Attributes
    ----------
    connection : Connection
    links : dict
        Unit -> `LinkQuality` so far; whoever keeps it elsewhere may empty it.
    """

    def __init__(self, connection: Connection, *, baud: int, timeout: float, tries: int, resting: bool) -> None:
        self.connection = connection
        self.links: defaultdict[int, LinkQuality] = defaultdict(LinkQuality)
        self._baud, self._timeout, self._tries, self._resting = baud, timeout, tries, resting
        self._numbered = connection.way == "tcp"
        self._character = character_time(baud=baud)
        self._silence = silence_after_frame(baud=baud) if connection.way == "serial" else 0.0
        self._lock = asyncio.Lock()
        self._line: _Line | None = None
        self._was_lost = False
        self._sent_until = 0.0
        self._number = 0
        self._owed: defaultdict[int, list[tuple[Question, float]]] = defaultdict(list)  # sent, and until when an answer may come
        self._rests: defaultdict[int, _Rest] = defaultdict(_Rest)
        self._heard: bytearray | None = None

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`."""
        found: list[int] = []
        longest = LONGEST_READ
        while len(found) < count:
            first = start + len(found)
            wanted = min(longest, count - len(found))
            if not self._numbered:  # of another length than the answer before, which may come late or twice
                longest = 2 * LONGEST_READ - 1 - longest
            question = Question.read(unit, function, first, wanted)
            found += question.words(await self._ask(question, f"registers {first} to {first + wanted - 1}"))
        return tuple(found)

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`."""
        await self._ask(Question.write(unit, start, words), f"writing registers {start} to {start + len(words) - 1}")

    async def listen(self, seconds: float) -> bytes:
        """Ask nothing for so long, and say what was heard: on a bus of one's own, nothing. [s]

        Raises
        ------
        NoReply
            The bus cannot be opened.
        """
        async with self._lock:
            await self._opened(0, "listening")
            self._heard = bytearray()
            await asyncio.sleep(seconds)
            heard, self._heard = bytes(self._heard), None
            return heard

    def longest_question(self, registers: int) -> float:
        """No question for so many registers takes longer, whatever devices do: late answers waited for, opening, tries. [s]"""
        patience = self._patience(registers)
        return patience + self._tries * (self._timeout + patience + self._silence + self._longest_babble)

    def close(self) -> None:
        """Close the connection; the next question opens it again."""
        if self._line is not None:
            self._line.close()
            self._line = None

    async def open(self) -> bool:
        """Open the connection unless it is; whether it is open then."""
        if self._line is not None and not self._line.lost:
            return True
        self._was_lost |= self._line is not None
        self.close()
        with suppress(OSError, TimeoutError, termios.error, ValueError):  # the last two: settings the adapter does not know
            self._line = await asyncio.wait_for(self._new_line(), self._timeout)
        if self._line is None:
            self._was_lost = True
            return False
        self._owed.clear()  # what is late comes to the old connection
        if self._was_lost:  # silence was the gateway's
            self._rests.clear()
        self._was_lost = False
        return True

    async def _new_line(self) -> _Line:
        where = self.connection
        line = _Line(TcpReader if self._numbered else SerialReader, self._stray)
        if where.way == "serial":
            simulated = os.path.realpath(where.place).startswith("/dev/pts/")  # a pseudo-terminal refuses parity
            parity, stop_bits = "N" if simulated else where.character[1], int(where.character[2])
            opening: Any = create_serial_connection(line.loop, lambda: line, where.place, self._baud, 8, parity, stop_bits, 0)
            await opening
            while line.transport is None:
                await asyncio.sleep(0)
        else:
            await line.loop.create_connection(lambda: line, where.place, where.port)
        return line

    async def _opened(self, unit: int, asked: str) -> _Line:
        if not await self.open() or self._line is None:
            raise NoReply(unit, asked, f"the bus cannot be opened any more; {_LINE_ADVICE}")
        return self._line

    async def _ask(self, question: Question, asked: str) -> bytes:
        """The answer's PDU, after as many tries as there are."""
        unit = question.unit
        if not 1 <= unit <= _LAST_UNIT:  # 0 would be heard by all of them
            raise BadRequest(unit, asked, f"addresses are 1 to {_LAST_UNIT}")
        async with self._lock:
            rest, loop = self._rests[unit], asyncio.get_running_loop()
            if self._resting and loop.time() < rest.until:
                again = f"asked again in {rest.until - loop.time():.0f} s"
                raise NoReply(unit, asked, f"no reply to {rest.silent} questions in a row, {again}; {_LOOK}")
            tries = 1 if self._resting and rest.silent >= _REST_AFTER else self._tries
            for left in reversed(range(tries)):
                line = await self._opened(unit, asked)
                try:
                    pdu = await self._once(line, question, asked)
                except (NoReply, BadReply):
                    if left:
                        continue
                    if not line.lost:
                        self._rests[unit].note(loop.time())
                    raise
                self._rests.pop(unit, None)
                if code := question.refusal(pdu):
                    raise BadRequest(unit, asked, _REFUSALS.get(code, f"exception {code}"))
                return pdu
        raise NoReply(unit, asked, f"no reply; {_LOOK}")

    async def _once(self, line: _Line, question: Question, asked: str) -> bytes:
        """One try: wait for the line's silence, send, and take the answer that is this question's."""
        unit, link = question.unit, self.links[question.unit]
        while (until := self._debt(question)) and not line.lost:
            await line.more(until)
        await self._quiet(line)
        self._number = self._number % 0xFFFF + 1
        frame = tcp_frame(self._number, unit, question.pdu) if self._numbered else serial_frame(unit, question.pdu)
        patience, sent = self._patience(question.registers), line.loop.time()
        self._owed[unit] = [one for one in self._owed[unit] if one[1] > sent] + [(question, sent + 2 * patience)]
        self._sent_until = sent + (len(frame) * self._character if self._silence else 0.0)
        line.begin(frame)
        try:
            pdu, how, says = await self._answer(line, question, sent + patience)
        finally:
            line.end()
        now = line.loop.time()
        if pdu is not None:
            link.answered(now - sent)
            link.strays += bool(line.came or (not self._numbered and line.bytes_heard > len(pdu) + 3))
            owed = self._owed[unit]  # it answers in the order it was asked: what stands before this will not come any more
            self._owed[unit] = owed[next(n for n, (one, _) in enumerate(owed) if one is question) + 1 :]
            return pdu
        link.went_wrong(how)
        if line.lost or now - line.last_heard > _DEAF:
            line.close()
            self._line = line if line.lost and now - line.last_heard <= _DEAF else None
        if how == "silent":
            raise NoReply(unit, asked, says)
        raise (Garbled if how == "garbled" else BadReply)(unit, asked, says)

    async def _answer(self, line: _Line, question: Question, deadline: float) -> tuple[bytes | None, str, str]:
        """The PDU of the answer; or None, how it went wrong, and that in words."""
        how, says = "silent", f"no reply; {_LOOK}"
        late = 0  # bytes of whole answers to earlier questions
        while not line.lost:
            while line.came:
                number, unit, pdu = line.came.pop(0)
                code = question.refusal(pdu)
                if self._numbered and number != self._number:
                    self.links[question.unit].strays += 1
                    late += TCP_HEADER + len(pdu)
                elif unit != question.unit:
                    how, says = "another answered", f"unit {unit} answered in its place: is its address given twice?"
                elif code in _GATEWAY:
                    return None, "silent", "the gateway got no reply from it"
                elif code in _BUSY:
                    how, says = "wrong answer", "it is busy with something else"
                elif code or question.is_answered_by(pdu):
                    return pdu, "", ""
                else:
                    how, says = "wrong answer", f"{len(pdu)} bytes of function {pdu[0]} came, which was not what was asked"
            broken_off = line.bytes_heard and not self._numbered
            until = min(deadline, line.last_heard + _GAP) if broken_off else deadline
            if line.loop.time() >= until:
                break
            await line.more(until)
        if line.lost:
            return None, "silent", f"the connection broke or was flooded; {_LINE_ADVICE}"
        if line.bytes_heard > late and how == "silent":
            how, says = "garbled", f"{line.bytes_heard} bytes came that are no frame: noise, another baud or parity, or two at once"
        return None, how, says

    def _patience(self, registers: int) -> float:
        """How long an answer may take: the wait agreed, and the time that the longest frames of its kind are on a wire. [s]"""
        return self._timeout + (13 + 2 * max(registers, 2)) * self._character

    def _debt(self, question: Question) -> float:
        """Until when an answer to an earlier question may come that would be taken for this one's; 0 where none can."""
        if self._numbered:
            return 0.0
        now, owed = asyncio.get_running_loop().time(), self._owed[question.unit]
        alike = (until for one, until in owed if one is not question and one.answer_bytes == question.answer_bytes)
        return max((until for until in alike if until > now), default=0.0)

    def _stray(self, data: bytes) -> None:
        """Bytes nobody asked for."""
        if self._heard is not None:
            self._heard += data[: _MOST_HEARD - len(self._heard)]
            return
        with suppress(Lost):
            for frame in (TcpReader() if self._numbered else SerialReader()).take(data):
                self.links[frame.unit].strays += 1
                owed = self._owed[frame.unit]
                came = next((n for n, (one, _) in enumerate(owed) if one.is_answered_by(frame.pdu)), -1)
                del owed[: came + 1]

    @property
    def _longest_babble(self) -> float:
        """How long a question waits at most for a line that does not fall silent: as long as the longest answer takes. [s]"""
        return 0.0 if self._numbered else _LONGEST_ANSWER * self._character

    async def _quiet(self, line: _Line) -> None:
        """Wait for the silence between frames. What comes meanwhile, a second answer, is nobody's and begins the silence anew."""
        latest = line.loop.time() + self._silence + self._longest_babble
        while True:
            heard = line.last_heard
            await self._pause(max(heard, self._sent_until) + self._silence)
            if self._numbered:
                return
            for _ in range(_TURNS):
                await asyncio.sleep(0)
            if line.last_heard == heard or line.lost or line.loop.time() >= latest:
                return

    @staticmethod
    async def _pause(until: float) -> None:
        """Wait until then to a tenth of a millisecond: the last two, which the event loop cannot measure, outside of it."""
        loop = asyncio.get_running_loop()
        while (left := until - loop.time()) > _TICK:
            await asyncio.sleep(left - _TICK)
        if left > 0:
            time.sleep(left)


@asynccontextmanager
async def connected(
    connection: str, *, baud: int, timeout: float = 0.5, tries: int = 3, resting: bool = False
) -> AsyncIterator[ModbusBus]:
    """An open bus.

    Parameters
    ----------
    connection : str
        As `parse_connection` takes it.
    baud : int
        Of the serial line, behind a gateway too.
    timeout : float
        For one reply, besides the time its bytes take on the wire. [s]
    tries : int
        Before a device counts as silent.
    resting : bool
        Ask a device that stays silent less and less often; what runs for years wants it, a proof does not.

    Raises
    ------
    OutOfRange, BadInput
        The connection is not of the form, or nothing can be opened there.
    """
    bus = ModbusBus(parse_connection(connection), baud=baud, timeout=timeout, tries=tries, resting=resting)
    if not await bus.open():
        accepted = "a bus that can be opened: is the gateway on, the adapter plugged in and used by nobody else, the path right?"
        raise BadInput(Problem("bus.connection", "", repr(connection), accepted))
    try:
        yield bus
    finally:
        bus.close()
