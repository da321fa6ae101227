"""Random gear trains and what would be recorded on them; levels and noises were fixed before the method judged by them first ran.

Shares no code and no beliefs with `judge`: counts come from an invented catalogue (fixed centre distance, so a fixed sum of
teeth a frame, ratios from the preferred numbers of ISO 3), records are made in the time domain, tone by tone. Every case is a
function of its number and noise alone.

Noise is stated by the mesh fundamentals in the spectrum of the whole record under a Hann window: their median stands 40 dB over
the mean noise (low), 30 dB (moderate) or 20 dB (high). All else follows from typical levels below the mesh, each with its own
log-normal spread, so that in moderate noise a good part of sidebands and shaft lines is lost.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

NOISES = {"low": 40.0, "moderate": 30.0, "high": 20.0}  # dB
RATE_HZ = 12_800.0
SAMPLES = 2**18
_PREFERRED = (1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3)  # ISO 3, R20
_SUMS = (64, 72, 80, 86, 92, 98, 104, 112, 120)  # teeth of both gears, one for each frame of the catalogue
_FEWEST, _MOST = 14, 150
_SPEEDS_RPM = (2970, 1485, 1480, 985, 740, 1780, 1185)
_SHARES = (0.2, 0.45, 0.35)  # of one, two and three stages
_SPREAD_DB = 6.0  # of every line's level
_MISSING = 0.1  # of meshes' harmonics and shaft lines absent altogether; of mesh fundamentals a third of that
_UNMODULATED = 0.25  # of mesh and shaft pairs without sidebands


@dataclass(frozen=True)
class Case:
    """True counts from the input, what the nameplate says, and a record."""

    teeth: tuple[tuple[int, int], ...]
    stages: int
    speed_hz: float
    stated_hz: float
    ratio: float
    rounding: float
    samples: NDArray[np.float32]


def catalogue() -> list[tuple[int, int]]:
    """All pairs on sale: for each frame and preferred ratio the split of its sum nearest the ratio."""
    pairs = set()
    for total in _SUMS:
        for ratio in _PREFERRED:
            pinion = round(total / (1 + ratio))
            if pinion >= _FEWEST and total - pinion <= _MOST:
                pairs.add((pinion, total - pinion))
    return sorted(pairs)


CATALOGUE = catalogue()


def case(number: int, noise: str, *, wander: float = 0.0) -> Case:
    """One drive; `wander` is the relative standard deviation of a slow change of speed within the record."""
    rng = np.random.default_rng([4, number, list(NOISES).index(noise)])
    count = 1 + int(rng.choice(3, p=_SHARES))
    teeth = tuple(CATALOGUE[int(n)] for n in rng.integers(0, len(CATALOGUE), count))
    stated = float(rng.choice(_SPEEDS_RPM)) / 60
    speed = stated * (1 + float(rng.uniform(-0.01, 0.01)))
    exact = float(np.prod([wheel / pinion for pinion, wheel in teeth]))
    digits = (1 if exact >= 10 else 2) - int(rng.random() < 0.3)
    samples = _record(teeth, speed, NOISES[noise], wander, rng)
    return Case(teeth, count, speed, stated, round(exact, digits), 0.5 * 10.0**-digits, samples)


def _record(
    teeth: tuple[tuple[int, int], ...], speed: float, level: float, wander: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """All lines with their levels, then the waveform."""
    own: list[tuple[float, float]] = []  # frequency, dB over noise in the spectrum
    strange: list[tuple[float, float]] = []

    def add(hz: float, db: float, missing: float, tones: list[tuple[float, float]] = own) -> None:
        drawn = db + float(rng.normal(0, _SPREAD_DB))
        if rng.random() >= missing and hz < 0.45 * RATE_HZ:
            tones.append((hz, drawn))

    shaft = speed
    shafts = [speed]
    for pinion, wheel in teeth:
        shaft *= pinion / wheel
        shafts.append(shaft)
    for hz in shafts:
        for n in (1, 2, 3):
            add(n * hz, level - 12 - 5 * (n - 1), _MISSING)
    for (pinion, _), fast, slow in zip(teeth, shafts[:-1], shafts[1:], strict=True):
        mesh = pinion * fast
        modulated = [(side, float(rng.normal(-14, 4))) for side in (fast, slow) if rng.random() >= _UNMODULATED]
        for n in (1, 2, 3, 4):
            db = level - 6 * (n - 1)
            add(n * mesh, db, _MISSING / 3 if n == 1 else _MISSING)
            for side, below in modulated:
                for k in (1, 2):
                    for sign in (-1, 1):
                        add(n * mesh + sign * k * side, db + below - 7 * (k - 1), _MISSING)
    for hz in (100.0, 200.0):
        add(hz, level - 5, 0.3, strange)  # twice mains frequency
    for hz in np.exp(rng.uniform(np.log(5), np.log(3000), int(rng.integers(3, 9)))):
        add(float(hz), level - 8, 0.0, strange)  # strangers
    base = float(rng.uniform(8, 55))
    for n in range(1, 7):
        add(n * base, level - 8 - 3 * (n - 1), 0.2, strange)  # a machine nearby
    return _waveform(own, strange, wander, rng)


def _waveform(
    own: list[tuple[float, float]], strange: list[tuple[float, float]], wander: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Tones in noise whose level slopes and swells; a tone's amplitude is set against the noise at its own frequency."""
    hz = scipy.fft.rfftfreq(SAMPLES, 1 / RATE_HZ)
    resonance = float(rng.uniform(400, 3000))
    shape = 1 / np.sqrt(1 + hz / 800) + 1 / np.abs(1 - (hz / resonance) ** 2 + 1j * hz / resonance / 6) / 6
    samples = scipy.fft.irfft(scipy.fft.rfft(rng.standard_normal(SAMPLES)) * shape, SAMPLES)
    time = np.arange(SAMPLES) / RATE_HZ
    knots = rng.normal(0, wander, 2 + int(time[-1]))  # one a second
    turned = np.cumsum(1 + np.interp(time, np.linspace(0, time[-1], knots.size), knots)) / RATE_HZ
    for clock, tones in ((turned, own), (time, strange)):
        for at, db in tones:
            # power of a tone over the mean noise of its bin: amplitude^2 samples / 6 for white noise of RMS 1 under a Hann window
            amplitude = np.sqrt(6 / SAMPLES * 10 ** (db / 10)) * float(np.interp(at, hz, shape))
            samples += amplitude * np.cos(2 * np.pi * (at * clock + rng.uniform()))
    return samples.astype(np.float32)
