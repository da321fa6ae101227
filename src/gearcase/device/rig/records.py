"""Records of the rig's sensors: how many samples of what rate a form has, and what stands of them in registers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase import units
from gearcase.install.record_forms import Block, RecordForm, by_sheet
from gearcase.install.register import Register, encode

__all__ = [
    "RECORD_RATE_HZ",
    "RECORD_SAMPLES",
    "Record",
    "count_of",
    "figures",
    "held",
    "sampled",
    "unit_of_count",
    "word_of",
    "words_of",
]

RECORD_SAMPLES = 64000  # as many as fit below the last register, in whole thousands
RECORD_RATE_HZ = 12800.0
_PAGE_SAMPLES = 2048
_TYPES = {"u16": ">u2", "i16": ">i2", "u32": ">u4", "i32": ">i4", "f32": ">f4", "u64": ">u8", "i64": ">i8", "f64": ">f8"}


@dataclass
class Record:
    """The latest record of one form of a sensor: samples of x, y, z by kind [SI], what a count of each is where the device says it
    [m/s2], their figures, and until when it stays.
    """

    number: int
    kept_until: float
    samples: dict[str, NDArray[np.float64]]
    steps: NDArray[np.float64]
    velocity: NDArray[np.float64]
    high: NDArray[np.float64]


def word_of(select: Register) -> int:
    """What is written to choose a form."""
    return encode(select, select.constant or 0.0)[-1]


def count_of(form: RecordForm) -> int:
    """Samples of each axis of a record."""
    return int(by_sheet(form.samples) or RECORD_SAMPLES)


def held(form: RecordForm, block: Block) -> int:
    """Samples of each axis that stand in a block at a time."""
    return count_of(form) if block.page_samples is None else int(by_sheet(block.page_samples) or _PAGE_SAMPLES)


def unit_of_count(block: Block) -> float:
    """What one count of a sample is by its row alone. [SI]"""
    return block.first.scale * units.convert(1.0, block.first.unit, block.first.kind)


def words_of(counts: NDArray[np.float64], first: Register) -> list[int]:
    """Registers that hold counts one after the other, rounded to the type of the first and kept inside it."""
    if not first.type.startswith("f"):
        info = np.iinfo(_TYPES[first.type])
        counts = np.clip(np.round(counts), info.min, info.max)
    words = np.frombuffer(counts.astype(_TYPES[first.type]).tobytes(), ">u2").reshape(-1, first.words)
    words = words[:, ::-1] if first.order.startswith("low") else words
    words = words.byteswap() if first.order.endswith("swapped") else words
    return [int(word) for word in words.ravel()]


def sampled(rows: NDArray[np.float64], rate_hz: float, times: int, *, integrated: bool) -> NDArray[np.float64]:
    """One in so many samples of each row, filtered so that nothing folds; acceleration integrated to velocity from 2 Hz up."""
    if times == 1 and not integrated:
        return rows
    count = rows.shape[-1]
    hz = np.fft.rfftfreq(count, 1 / rate_hz)
    spectrum = np.fft.rfft(rows)
    spectrum[:, hz > rate_hz / times / 2.56] *= times == 1
    if integrated:
        spectrum[:, hz < 2.0] = 0.0
        spectrum[:, hz >= 2.0] /= 2j * np.pi * hz[hz >= 2.0]
    left = count // times
    return np.asarray(np.fft.irfft(spectrum[:, : left // 2 + 1], left) / times)


def figures(rows: NDArray[np.float64], rate_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """RMS velocity from 10 to 1000 Hz [m/s] and RMS acceleration above 2 kHz [m/s2] of each row, by Parseval."""
    samples = rows.shape[-1]
    hz = np.fft.rfftfreq(samples, 1 / rate_hz)
    amplitude = np.sqrt(2) * np.abs(np.fft.rfft(rows)) / samples
    inside = (hz >= 10) & (hz <= 1000)
    velocity = np.sqrt(np.sum((amplitude[:, inside] / (2 * np.pi * hz[inside])) ** 2, axis=1))
    return velocity, np.sqrt(np.sum(amplitude[:, hz >= 2000] ** 2, axis=1))
