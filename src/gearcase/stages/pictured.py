"""What the plots of a recording need, kept small: a stretch of its waveform, its kurtogram, its orders over time, average turns.

Nothing is judged by these. Each is a table of columns of one length:

* ``waveform``: time_s, value, clipped (1 where a sample stands on a limit of the sensor), around the largest peak;
* ``kurtogram``: lowest_hz, highest_hz, level, kurtosis, standard_error of each band (`signal.kurtogram`);
* ``order-map`` (`order_map`): order, then ``at T`` for each of a few stretches of the record, T being the middle of each [s]: the
  largest amplitude in each step of order;
* ``average``: gear (2 n the pinion, 2 n + 1 the wheel of the drive's n-th mesh), turn, value, residual, turns, fm4, of each gear
  whose mesh line tells how its shaft turned;
* ``orders`` (`OrderHistory`): as ``order-map``, with ``recording N`` for each recording of a point.
"""

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.judge.heard import Speed
from gearcase.signal.kurtogram import kurtogram
from gearcase.signal.order_frames import order_frames
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import Transform, amplitude_spectrum, transform
from gearcase.signal.synchronous import Turning
from gearcase.stages.gear_average import average_of, gears_on_shafts

__all__ = ["OrderHistory", "highest_order", "order_map", "pictured", "waveform"]

Columns = dict[str, NDArray[np.floating]]

_TURNS = 10  # of the reference shaft, of the waveform
_SHORTEST_S, _MOST_SAMPLES = 0.1, 16384  # of it
_STEPS, _STEPS_OF_FRAME, _FRAMES = 616, 308, 48  # of order, as many px as a plot is wide or half of them; stretches of a record
_MOST_RECORDINGS = 128  # of a history; beyond them every second is left out
_ABOVE_MESH, _LEAST_ORDERS = 1.15, 20.0
_IMPACTS = 3.0  # bands at least so many times the fastest rate of impacts; `signal.kurtogram`


def pictured(recording: Recording, spectrum: Transform, speed: Speed, *, drive: Drive, fastest_order: float) -> dict[str, Columns]:
    """Kurtogram and average of one recording fit to be judged; what cannot be made of it is left out.

    Parameters
    ----------
    recording : Recording
    spectrum : Transform
        Of it.
    speed : Speed
        Of the reference shaft.
    drive : Drive
    fastest_order : float
        Of the impacts looked for, in turns of the reference shaft. [-]
    """
    made = {
        "kurtogram": _kurtogram(spectrum, _IMPACTS * fastest_order * speed.hz),
        "average": _averages(recording, spectrum, speed, drive),
    }
    return {name: columns for name, columns in made.items() if columns}


def highest_order(lines: tuple[Line, ...]) -> float:
    """As far as plots over orders reach: a little beyond the highest mesh line. [-]"""
    return max(_ABOVE_MESH * max((abs(line.order) for line in lines if line.kind == "mesh"), default=0.0), _LEAST_ORDERS)


def order_map(recording: Recording, turning: Turning, highest: float) -> Columns:
    """Orders over the time of a record, as far as its reference shaft's turning is told; nothing of one too short.

    Parameters
    ----------
    recording : Recording
    turning : Turning
        Of the reference shaft.
    highest : float
        Order. [-]

    Raises
    ------
    OutOfRange
        A turning that runs backward.
    """
    turns = int(np.ceil(_STEPS_OF_FRAME / highest))  # a bin is as narrow as a step
    if turning.turns[-1] - turning.turns[0] < 2 * turns:
        return {}
    rate = recording.sample_rate_hz
    frames = order_frames(recording.samples, turning, sample_rate_hz=rate, turns=turns, highest_order=highest, most=_FRAMES)
    orders = _middles(highest, _STEPS_OF_FRAME)
    spectra = transform(frames.values, sample_rate_hz=float(frames.per_turn))  # per turn, so that bins are orders
    rows = _by_order(amplitude_spectrum(spectra), spectra.bin_hz, highest, _STEPS_OF_FRAME)
    rows[orders * frames.speed_hz[:, None] > rate / 2] = 0
    return {"order": orders, **{f"at {middle:.4f}": row for middle, row in zip(frames.middle_s, rows, strict=True)}}


def waveform(recording: Recording, speed_hz: float, *, clipped: bool) -> Columns:
    """A few turns of the reference shaft about the largest peak.

    Parameters
    ----------
    recording : Recording
    speed_hz : float
        Of the reference shaft. [Hz]
    clipped : bool
        Whether its quality says so: then the samples at its ends are on a limit.
    """
    samples, rate = recording.samples, recording.sample_rate_hz
    length = min(max(round(max(_TURNS / speed_hz, _SHORTEST_S) * rate), 2), _MOST_SAMPLES, samples.size)
    begin = min(max(int(np.argmax(np.abs(samples))) - length // 2, 0), samples.size - length)
    values = samples[begin : begin + length]
    on = (values == samples.max()) | (values == samples.min()) if clipped else np.zeros(length, bool)
    return {
        "time_s": (begin + np.arange(length)) / rate,
        "value": values.astype(np.float32),
        "clipped": on.astype(np.float32),
    }


class OrderHistory:
    """Orders of the recordings of one point, one after the other."""

    def __init__(self, highest: float) -> None:
        self.highest = highest
        self.rows: list[tuple[int, NDArray[np.floating]]] = []

    def add(self, number: int, spectrum: Transform, speed_hz: float) -> None:
        """A recording by its number among all."""
        if len(self.rows) == _MOST_RECORDINGS:
            self.rows = self.rows[::2]
        self.rows.append((number, _by_order(amplitude_spectrum(spectrum), spectrum.bin_hz / speed_hz, self.highest, _STEPS)))

    def columns(self) -> Columns:
        return {"order": _middles(self.highest, _STEPS), **{f"recording {number}": row for number, row in self.rows}}


def _kurtogram(spectrum: Transform, narrowest_hz: float) -> Columns:
    try:
        found = kurtogram(spectrum, narrowest_hz=narrowest_hz)
    except OutOfRange:  # too short for one band
        return {}
    names = ("lowest_hz", "highest_hz", "level", "kurtosis", "standard_error")
    return {name: np.asarray(getattr(found, name), np.float32) for name in names}


def _averages(recording: Recording, spectrum: Transform, speed: Speed, drive: Drive) -> Columns:
    """One gear after the other."""
    parts: list[Columns] = []
    for gear in gears_on_shafts(drive):
        found = average_of(gear, recording, spectrum, speed)
        if isinstance(found, str):
            continue
        steps = found.values.size
        parts.append(
            {
                "gear": np.full(steps, gear.number, np.float32),
                "turn": (np.arange(steps) / steps).astype(np.float32),
                "value": found.values.astype(np.float32),
                "residual": found.residual.astype(np.float32),
                "turns": np.full(steps, found.turns, np.float32),
                "fm4": np.full(steps, found.figures.fm4, np.float32),
            }
        )
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]} if parts else {}


def _by_order(amplitude: NDArray[np.floating], bin_order: float, highest: float, steps: int) -> NDArray[np.float32]:
    """Largest amplitude in each step of order; 0 beyond the record's band, the nearest bin where a step holds none."""
    edges = np.round(np.arange(steps) * (highest / steps) / bin_order).astype(int)
    held = edges < amplitude.shape[-1]
    end = min(round(highest / bin_order), amplitude.shape[-1])
    found = np.zeros((*amplitude.shape[:-1], steps), np.float32)
    found[..., held] = np.maximum.reduceat(amplitude[..., : max(end, int(edges[held][-1]) + 1)], edges[held], axis=-1)
    return found


def _middles(highest: float, steps: int) -> NDArray[np.float32]:
    return ((np.arange(steps) + 0.5) * (highest / steps)).astype(np.float32)
