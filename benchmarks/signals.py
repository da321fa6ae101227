"""What the deeper signal analysis costs against one transform of the same record, and many records at once against one by one.

Processor time: what else a shared machine does interrupts long work more often than one transform. Run it by `make bench`. Not
named after its room: a script called signal.py would stand before Python's own module of that name.
"""

import time
from collections.abc import Callable

import numpy as np
import scipy.fft

from gearcase.signal.averaging import averaged_spectrum
from gearcase.signal.cepstrum import edited, real_cepstrum, without_family
from gearcase.signal.gear_indicators import gear_indicators
from gearcase.signal.kurtogram import kurtogram
from gearcase.signal.separation import separate
from gearcase.signal.spectrum import transform
from gearcase.signal.synchronous import Turning, synchronous_average, turning_from_mesh
from run import NOT_STATED, RATE_HZ, SAMPLES, ratio, recording, show

BATCH, BATCH_ROUNDS, ROUNDS = 64, 3, 21
SPEED_HZ, TEETH = 24.75, 17
MARKS = np.arange(0, int(SAMPLES / RATE_HZ * SPEED_HZ) + 1.0)
SHAFT = Turning(MARKS / SPEED_HZ, MARKS)


def main() -> None:
    """Measure and print."""
    samples = recording()
    for what, work, goal in (
        ("fast kurtogram", fast_kurtogram, "at most 40"),
        ("synchronous average with marks", average, NOT_STATED),
        ("synchronous average by the mesh's phase", average_by_phase, NOT_STATED),
        ("cepstrum, a family taken out, and back", cepstrum, NOT_STATED),
        ("discrete/random separation", separation, NOT_STATED),
        ("averaged spectrum, 4096 samples, flat top", welch, NOT_STATED),
    ):
        show(f"{what} / one transform", against(work, samples, lambda: scipy.fft.rfft(samples), ROUNDS), goal)
    batch = np.stack([np.roll(samples, 1000 * n) for n in range(BATCH)])
    for what, work in (
        ("fast kurtogram", fast_kurtogram),
        ("cepstrum", cepstrum),
        ("averaged spectrum", welch),
        ("average", average),
    ):
        at_once = against(work, batch, one_by_one(work, batch), BATCH_ROUNDS)
        show(f"{BATCH} records at once / one by one: {what}", at_once, "1: alike")


def against(work: Callable[[np.ndarray], object], samples: np.ndarray, other: Callable[[], object], rounds: int) -> float:
    """Processor time of work on samples over that of other work."""
    return ratio(lambda: work(samples), other, rounds, time.process_time)


def one_by_one(work: Callable[[np.ndarray], object], batch: np.ndarray) -> Callable[[], object]:
    """The same work on each record alone."""
    return lambda: [work(record) for record in batch]


def fast_kurtogram(samples: np.ndarray) -> None:
    """With its transform, down to bands of 300 Hz."""
    kurtogram(transform(samples, sample_rate_hz=RATE_HZ), narrowest_hz=300.0)


def average(samples: np.ndarray) -> None:
    """Over the turns of a shaft with a tachometer, and its gear's figures."""
    turn = synchronous_average(samples, SHAFT, sample_rate_hz=RATE_HZ, per_turn=512)
    gear_indicators(turn.values, teeth=TEETH, harmonics=3)


def average_by_phase(samples: np.ndarray) -> None:
    """The same without a tachometer."""
    mesh_hz = TEETH * SPEED_HZ
    told = turning_from_mesh(transform(samples, sample_rate_hz=RATE_HZ), line_hz=mesh_hz, cycles_per_turn=TEETH, half_width_hz=10.0)
    synchronous_average(samples, told.turning, sample_rate_hz=RATE_HZ, per_turn=512)


def cepstrum(samples: np.ndarray) -> None:
    """There, edited, and back to a waveform."""
    whole = transform(samples, sample_rate_hz=RATE_HZ)
    edited(whole, without_family(real_cepstrum(whole), spacing_hz=SPEED_HZ, half_width_s=1e-4))


def separation(samples: np.ndarray) -> None:
    """Blocks of 8192 samples."""
    separate(samples, block=8192, delay=8192)


def welch(samples: np.ndarray) -> None:
    """Half-overlapping segments."""
    averaged_spectrum(samples, sample_rate_hz=RATE_HZ, segment=4096, window="flattop")


if __name__ == "__main__":
    main()
