"""What the master adds to a transaction on a serial line: its cycle over the time the frames need on the wire.

A device in a process of its own answers over a pseudo-terminal: it waits as long as the question's characters and the silence
behind them take, then sends its answer character by character. The wire time is that of ``tests/reference/modbus_timing.csv``: 8
characters out, 5 + 2 N back, 11 bits each, and a silence of 3.5 characters (1.75 ms above 19,200 baud) after each frame. A bare
blocking loop on the same line says what the machine and the pseudo-terminal add by themselves, its pacing included. Medians
of single cycles, both ways in turns; and the processor time of one of ours. Run it by `make bench`.
"""

import asyncio
import csv
import os
import pty
import select
import struct
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from statistics import median

from gearcase.device.frames import Question, serial_frame
from gearcase.device.modbus import connected

TIMING = Path(__file__).parents[1] / "tests" / "reference" / "modbus_timing.csv"
REGISTERS = (2, 10, 48, 125)
ROUNDS, CYCLES = 7, 40


def main() -> None:
    """Measure and print."""
    if len(sys.argv) == 4:
        answer_for_ever(int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3]))
    with TIMING.open(encoding="utf-8", newline="") as stream:
        timing = {int(row["baud"]): (float(row["char_ms"]) / 1e3, float(row["t3_5_ms"]) / 1e3) for row in csv.DictReader(stream)}
    for baud in (19200, 115200):
        character, silence = timing[baud]
        with device(character, silence) as (path, line):
            for registers in REGISTERS:
                wire = (13 + 2 * registers) * character + 2 * silence
                ours, bare, used = [], [], 0.0
                for _ in range(ROUNDS):
                    before = time.process_time()
                    ours += asyncio.run(cycles_of_ours(path, baud, registers))
                    used += time.process_time() - before
                    bare += cycles_of_a_bare_loop(line, silence, registers)
                print(
                    f"{baud:6} baud, {registers:3} registers: {1e3 * wire:6.2f} ms on the wire, cycle {median(ours) / wire:.3f} x "
                    f"(goal at most 1.10), bare loop {median(bare) / wire:.3f} x; "
                    f"{1e3 * used / ROUNDS / CYCLES:.2f} ms of processor",
                    flush=True,
                )


async def cycles_of_ours(path: str, baud: int, registers: int) -> list[float]:
    """Times from one read to the next."""
    async with connected(f"serial {path}", baud=baud) as bus:
        ended = []
        for _ in range(CYCLES):
            await bus.read(unit=11, function=4, start=0, count=registers)
            ended.append(time.perf_counter())
        return [b - a for a, b in pairwise(ended)]


def cycles_of_a_bare_loop(line: int, silence: float, registers: int) -> list[float]:
    """The same by the least a program can do."""
    frame = serial_frame(11, Question.read(11, 4, 0, registers).pdu)
    ended = []
    for _ in range(CYCLES):
        time.sleep(silence)
        os.write(line, frame)
        left = 5 + 2 * registers
        while left:
            left -= len(os.read(line, left))
        ended.append(time.perf_counter())
    return [b - a for a, b in pairwise(ended)]


@contextmanager
def device(character: float, silence: float) -> Iterator[tuple[str, int]]:
    """A paced device: the path of its line, and the line itself."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    process = subprocess.Popen([sys.executable, __file__, str(ours), str(character), str(silence)], pass_fds=[ours])
    try:
        time.sleep(1.0)  # until its interpreter runs
        yield os.ttyname(theirs), theirs
    finally:
        process.terminate()
        process.wait()
        os.close(ours)
        os.close(theirs)


def answer_for_ever(line: int, character: float, silence: float) -> None:
    """Answer reads of any length, each character when a wire would have brought it."""
    while True:
        select.select([line], [], [])
        due = time.perf_counter()
        question = b""
        while len(question) < 8:
            question += os.read(line, 8 - len(question))
        count = struct.unpack(">H", question[4:6])[0]
        answer = serial_frame(question[0], struct.pack(f">BB{count}H", question[1], 2 * count, *range(count)))
        due += 8 * character + silence
        for byte in answer:
            due += character
            wait_until(due)
            os.write(line, bytes([byte]))


def wait_until(due: float) -> None:
    """To some microseconds: asleep for most of it."""
    while (left := due - time.perf_counter()) > 0:
        if left > 4e-4:
            time.sleep(left - 3e-4)


if __name__ == "__main__":
    main()
