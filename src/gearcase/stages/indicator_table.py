"""All figures of many recordings of one drive at once, as labelled arrays for a notebook.

Each recording is transformed once, and everything reads that transform; recordings of one length, rate and unit go through
together; only figures are kept, so that any number of recordings takes the memory of a few. It stands among the stages because the
speed of each recording is first found from its lines, as a diagnosis does (`judge.heard`).

xarray is imported when it is called for: with what it needs it takes longer to load than all of gearcase.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.judge.combs import SLIP_BAND
from gearcase.judge.faults import bearing_hypotheses
from gearcase.judge.heard import Heard, Speed, find_speed
from gearcase.signal.envelope import EnvelopeSpectrum, envelope_spectrum
from gearcase.signal.gear_indicators import central_moments, na4_of_moments
from gearcase.signal.indicators import indicators
from gearcase.signal.kurtogram import kurtogram
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import (
    SLOW_OVERALL_FROM_HZ,
    Transform,
    amplitude_spectrum,
    band_levels,
    line_places,
    overall_velocity,
    transform,
)
from gearcase.signal.windows import window_named
from gearcase.stages.gear_average import GOOD_TO, GearOnShaft, average_of, gears_on_shafts

if TYPE_CHECKING:
    import xarray

__all__ = ["indicator_table"]

_BATCH_SAMPLES = 2**19  # together: more fill the cache, and gain nothing
_OVERALL_HZ = 1000.0  # upper edge of the overall, ISO 20816-1
_OVERALL_BINS = 2  # below its lower edge: a Hann line's lobe
_OCTAVES = 1000.0 * 10 ** (0.3 * np.arange(-6, 5))  # exact mid-band frequencies 16 Hz to 16 kHz, IEC 61260-1, base 10
_OCTAVE_EDGE = 10**0.15
_LEAST_REACH = 2.0  # bins to either side of a line's place
_SLIPPING = ("outer_race", "inner_race", "rolling_element", "cage")
_FIGURES = ("speed_hz", "rms", "peak", "crest_factor", "kurtosis", "overall_velocity", "overall_velocity_slow")
_KURTOGRAM = ("kurtogram_lowest", "kurtogram_highest", "kurtogram_kurtosis", "kurtogram_error")
_LINE_FIGURES = ("amplitude", "found_hz", "over_noise_db", "envelope_depth", "envelope_found_hz", "envelope_over_noise_db")
_GEAR_FIGURES = ("fm0", "fm4", "m6a", "energy_ratio", "sideband_index", "sideband_level_factor", "turns")
_UNITS = {
    **dict.fromkeys(("rms", "peak", "band_rms", "amplitude", "sideband_index"), "unit of the recording"),
    **dict.fromkeys(("overall_velocity", "overall_velocity_slow"), "m/s"),
    **dict.fromkeys(("speed_hz", "kurtogram_lowest", "kurtogram_highest", "found_hz", "envelope_found_hz"), "Hz"),
    **dict.fromkeys(("over_noise_db", "envelope_over_noise_db"), "dB"),
}


def indicator_table(recordings: Iterable[Recording], drive: Drive) -> "xarray.Dataset":
    """Figures of every recording, expected line and gear. What cannot be had is NaN, the one place where gearcase gives it.

    Parameters
    ----------
    recordings : iterable of Recording
        In order of time; taken one by one.
    drive : Drive

    Returns
    -------
    xarray.Dataset
        By ``recording``: rms, peak, crest_factor, kurtosis, overall_velocity (10 Hz to 1 kHz), overall_velocity_slow (from 2 Hz);
        kurtogram_lowest, kurtogram_highest, kurtogram_kurtosis and its kurtogram_error in noise; speed_hz with speed_from, in
        words; quality, the rules that spoke. By ``band``: band_rms of octaves. By ``line``, within what is not known of its place:
        amplitude, found_hz, over_noise_db of the spectrum, and the same of the whitened squared envelope with envelope_depth.
        By ``gear``, of an average over at least 20 turns whose angle the mesh tells: fm0, fm4, m6a, na4 over the recordings of a
        point, energy_ratio, sideband_index, sideband_level_factor, turns; gear_why_not says why there is none. Units stand in each
        variable's attributes.

    Raises
    ------
    OutOfRange
        A recording that is none: see `signal.spectrum.transform`.
    ImportError
        Without xarray: ``pip install 'gearcase[notebook]'``.
    """
    import xarray

    measure = _Measure(drive)
    rows: list[dict[str, Any]] = []
    for batch in _batches(recordings):
        rows += measure.batch(batch)
    along: dict[str, Any] = {"recording": [row["name"] for row in rows]}
    for name in ("point", "start", "unit", "sample_rate_hz", "speed_from", "quality"):
        along[name] = ("recording", [row[name] for row in rows])
    along |= {
        "band": ("band", np.round(_OCTAVES, 1), {"units": "Hz"}),
        "line": [_label(line) for line in measure.lines],
        "component": ("line", [line.component for line in measure.lines]),
        "kind": ("line", [line.kind for line in measure.lines]),
        "harmonic": ("line", [line.harmonic for line in measure.lines]),
        "order": ("line", [line.order for line in measure.lines]),
        "gear": [f"{gear.mesh}, {gear.shaft}" for gear in measure.gears],
        "teeth": ("gear", [gear.teeth for gear in measure.gears]),
    }
    return xarray.Dataset(dict(_variables(rows, measure)), coords=along, attrs={"drive": drive.name})


class _Measure:
    """What is measured of each recording of a drive."""

    def __init__(self, drive: Drive) -> None:
        self.drive = drive
        self.lines = expected_lines(drive)
        self.hypotheses = bearing_hypotheses(drive)
        self.gears = gears_on_shafts(drive)
        self.spread = np.array([line.spread + (SLIP_BAND if line.kind in _SLIPPING else 0.0) for line in self.lines])
        rates = [hypothesis.order for hypothesis in self.hypotheses if hypothesis.fault != "rolling_element"]
        self.impacts_hz = drive.rated_speed_hz * max(rates, default=max(abs(one.order) for one in shaft_orders(drive).values()))

    def batch(self, recordings: Sequence[Recording]) -> Iterator[dict[str, Any]]:
        """Figures of recordings of one length, rate and unit."""
        rate, unit = recordings[0].sample_rate_hz, recordings[0].unit
        samples = np.stack([recording.samples for recording in recordings])
        whole = transform(samples, sample_rate_hz=rate)
        found = indicators(samples)
        amplitude = amplitude_spectrum(whole)
        envelope = envelope_spectrum(whole)
        usual, slow = (_overall(whole, unit, lowest) for lowest in (10.0, SLOW_OVERALL_FROM_HZ))
        bands = _bands(whole, rate)
        for n, recording in enumerate(recordings):
            alone = EnvelopeSpectrum(envelope.strength[n], envelope.depth[n], envelope.bin_hz)
            heard = Heard(recording, Transform(whole.values[n], whole.samples, whole.bin_hz), alone)
            speed = find_speed(self.drive, self.lines, self.hypotheses, heard)
            quality = judge_quality(recording.samples, sample_rate_hz=rate, unit=unit, spectrum=heard.spectrum)
            yield {
                "name": recording.name,
                "point": recording.point,
                "start": recording.start,
                "unit": unit,
                "sample_rate_hz": rate,
                "speed_hz": speed.hz if isinstance(speed, Speed) else np.nan,
                "speed_from": speed.source if isinstance(speed, Speed) else speed,
                "quality": ", ".join(one.rule for one in quality),
                "rms": found.rms[n],
                "peak": found.peak[n],
                "crest_factor": found.crest_factor[n],
                "kurtosis": found.kurtosis[n],
                "overall_velocity": usual[n],
                "overall_velocity_slow": slow[n],
                **self._best_band(heard.spectrum),
                "band_rms": bands[n],
                **self._lines_of(heard, amplitude[n], speed),
                **self._gears_of(heard, speed),
            }

    def _best_band(self, whole: Transform) -> dict[str, float]:
        narrowest = min(3 * self.impacts_hz, whole.bin_hz * whole.samples / 8)
        try:
            best = kurtogram(whole, narrowest_hz=narrowest).best
        except OutOfRange:  # too short, or it does not move
            return dict.fromkeys(_KURTOGRAM, np.nan)
        values = (best.lowest_hz, best.highest_hz, best.kurtosis, best.standard_error)
        return {name: float(value) for name, value in zip(_KURTOGRAM, values, strict=True)}

    def _lines_of(self, heard: Heard, amplitude: NDArray[np.floating], speed: Speed | str) -> dict[str, NDArray[np.float64]]:
        if not isinstance(speed, Speed):
            return {name: np.full(len(self.lines), np.nan) for name in _LINE_FIGURES}
        places = np.array([line.hz(speed.hz) for line in self.lines])
        reach = places * (self.spread + speed.spread)
        envelope = heard.envelope
        values = (
            *_read(amplitude, heard.spectrum.strength, places, reach, heard.spectrum.bin_hz),
            *_read(envelope.depth, envelope.strength, places, reach, envelope.bin_hz),
        )
        return dict(zip(_LINE_FIGURES, values, strict=True))

    def _gears_of(self, heard: Heard, speed: Speed | str) -> dict[str, Any]:
        rows = [self._gear(heard, gear, speed) for gear in self.gears]
        names = (*_GEAR_FIGURES, "second", "root_of_fourth")
        figures = {name: np.array([np.nan if isinstance(row, str) else row[name] for row in rows]) for name in names}
        return {**figures, "gear_why_not": [row if isinstance(row, str) else "" for row in rows]}

    def _gear(self, heard: Heard, gear: GearOnShaft, speed: Speed | str) -> dict[str, float] | str:
        """Figures of a gear's average; in words why there are none."""
        found = average_of(gear, heard.recording, heard.spectrum, speed)
        if isinstance(found, str):
            return found
        second, fourth = central_moments(found.residual)
        figures = {name: float(getattr(found.figures, name)) for name in _GEAR_FIGURES if name != "turns"}
        return {**figures, "turns": found.turns, "second": float(second), "root_of_fourth": float(fourth)}


def _batches(recordings: Iterable[Recording]) -> Iterator[list[Recording]]:
    """Neighbours of one length, rate and unit, as many as are worth while."""
    batch: list[Recording] = []
    for recording in recordings:
        if recording.samples.ndim != 1:
            raise OutOfRange(
                "samples", f"shape {recording.samples.shape}", f"those of one channel, in {recording.name or 'a recording'}"
            )
        alike = batch and _kind(batch[0]) == _kind(recording)
        if batch and not (alike and (len(batch) + 1) * recording.samples.size <= _BATCH_SAMPLES):
            yield batch
            batch = []
        batch.append(recording)
    if batch:
        yield batch


def _kind(recording: Recording) -> tuple[Any, ...]:
    return recording.samples.shape, recording.samples.dtype, recording.sample_rate_hz, recording.unit


def _overall(whole: Transform, unit: str, lowest_hz: float) -> NDArray[np.floating]:
    if whole.bin_hz * whole.samples < GOOD_TO * _OVERALL_HZ or whole.bin_hz * _OVERALL_BINS > lowest_hz:
        return np.full(whole.values.shape[0], np.nan)
    return overall_velocity(whole, unit=unit, lowest_hz=lowest_hz)


def _bands(whole: Transform, rate_hz: float) -> NDArray[np.floating]:
    """Octaves that lie in what the record is good to; NaN beyond."""
    edges = np.append(_OCTAVES / _OCTAVE_EDGE, _OCTAVES[-1] * _OCTAVE_EDGE)
    levels = np.full((whole.values.shape[0], _OCTAVES.size), np.nan)
    first = int(np.searchsorted(edges, 4 * whole.bin_hz))
    last = int(np.searchsorted(edges, rate_hz / GOOD_TO, side="right")) - 1
    if last > first:
        levels[:, first:last] = band_levels(whole, edges[first : last + 1].tolist())
    return levels


def _read(
    values: NDArray[np.floating],
    strength: NDArray[np.floating],
    places_hz: NDArray[np.float64],
    reach_hz: NDArray[np.float64],
    bin_hz: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Value, place and decibels over noise of the highest bin within reach of each place, read between the bins; NaN outside."""
    reach = np.maximum(reach_hz / bin_hz, _LEAST_REACH)
    low, high = np.floor(places_hz / bin_hz - reach).astype(np.intp), np.ceil(places_hz / bin_hz + reach).astype(np.intp) + 1
    inside = (low >= 1) & (high < values.size - 1)
    at = np.array([a + int(np.argmax(strength[a:b])) for a, b in zip(low[inside], high[inside], strict=True)], np.intp)
    found = np.full((3, places_hz.size), np.nan)
    if at.size and float(strength[at].min()) > 0:
        at = at.clip(1, values.size - 2)
        place, _ = line_places(strength, at)
        away = np.clip(place - at, -0.5, 0.5)  # further off it is no line, and no lobe to read by
        found[:, inside] = values[at] / window_named("hann").lobe(away), (at + away) * bin_hz, 10 * np.log10(strength[at])
    return found[0], found[1], found[2]


def _variables(rows: Sequence[dict[str, Any]], measure: _Measure) -> Iterator[tuple[str, Any]]:
    """Name, and dimensions, values and units, of each variable."""
    shapes: dict[str, tuple[tuple[str, ...], tuple[int, ...]]] = {
        **dict.fromkeys((*_FIGURES, *_KURTOGRAM), ((), ())),
        "band_rms": (("band",), (_OCTAVES.size,)),
        **dict.fromkeys(_LINE_FIGURES, (("line",), (len(measure.lines),))),
        **dict.fromkeys(_GEAR_FIGURES, (("gear",), (len(measure.gears),))),
    }
    for name, (dimensions, shape) in shapes.items():
        values = np.array([row[name] for row in rows], np.float64).reshape(len(rows), *shape)
        yield name, (("recording", *dimensions), values, {"units": _UNITS.get(name, "1")})
    yield "na4", (("recording", "gear"), _na4(rows, len(measure.gears)), {"units": "1"})
    why = np.array([row["gear_why_not"] for row in rows], np.str_).reshape(len(rows), len(measure.gears))
    yield "gear_why_not", (("recording", "gear"), why)


def _na4(rows: Sequence[dict[str, Any]], gears: int) -> NDArray[np.float64]:
    """Over the recordings of each point and unit, in the order given."""
    found = np.full((len(rows), gears), np.nan)
    moments = np.array([[row["second"], row["root_of_fourth"]] for row in rows], np.float64).reshape(len(rows), 2, gears)
    history = [(row["point"], row["unit"]) for row in rows]
    for gear in range(gears):
        for one in dict.fromkeys(history):
            at = [n for n, other in enumerate(history) if other == one and moments[n, 0, gear] > 0]
            if at:
                found[at, gear] = na4_of_moments(moments[at, 0, gear], moments[at, 1, gear])
    return found


def _label(line: Line) -> str:
    return f"{line.name} ({line.candidate})" if line.candidate else line.name
