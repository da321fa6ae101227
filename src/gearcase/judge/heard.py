"""One recording heard: its transforms, and the speed its own lines give, as survey and diagnosis both need them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearcase.drive.line import Line
from gearcase.drive.outside_lines import rated_slip
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.judge.combs import SLIP_BAND, STATED_SPEED_BAND
from gearcase.judge.explained import comb_orders
from gearcase.judge.faults import Hypothesis
from gearcase.signal.comb_likelihood import CERTAIN_PEAK, Spectrum
from gearcase.signal.envelope import EnvelopeSpectrum, envelope_spectrum
from gearcase.signal.recording import Recording
from gearcase.signal.sample_rate import RateFit, rate_from_comb, rates_that_fit
from gearcase.signal.spectrum import Transform, certain_lines, transform
from gearcase.signal.speed import NoSpeed, SpeedEstimate, may_fit_better, speed_from_comb

__all__ = ["Heard", "Speed", "find_speed", "hear", "speed_words"]

CONTRADICTED_BAND = 0.1  # a comb that fits this far off contradicts the stated speed; beyond, bearings make combs of their own
LARGEST_RANGE = 1.1  # of a wider range of speeds the middle says nothing
TACHOMETER_BAND = 0.003  # its mean and that of the lines agree better; a tooth in the count or a usual rate is further off
_MAINS_HOLD = 0.004  # of its nominal frequency, the most that an interconnected grid leaves it; from memory
_FEWEST_LINES = 6  # of which another sample rate is made: two meshes, or a mesh and a shaft, with three harmonics
_READ_RATE = "read the rate at the recorder and state it"
_LOWEST_LINES = 3  # of a shaft, that a bearing's comb could be taken for


@dataclass(frozen=True)
class Heard:
    """A recording's transform, with the strengths of its lines over local noise, and its envelope spectrum."""

    recording: Recording
    spectrum: Transform
    envelope: EnvelopeSpectrum


@dataclass(frozen=True)
class Speed:
    """Speed of the reference shaft while recording [Hz]; `source` says how it is known, `spread` is relative, for searches. [-]

    `at_rest` says why neither the lines of the recording nor a tachometer show that the shaft turned; empty where one does.
    `hum` is true where what looks like the shaft's lines is the mains'.
    """

    hz: float
    standard_error_hz: float | None
    spread: float
    source: str
    at_rest: str = ""
    hum: bool = False


def hear(recording: Recording, spectrum: Transform | None = None) -> Heard:
    """Both spectra of a recording that is fit to be judged, from its transform where there is one already."""
    spectrum = spectrum or transform(recording.samples, sample_rate_hz=recording.sample_rate_hz)
    return Heard(recording, spectrum, envelope_spectrum(spectrum))


def find_speed(drive: Drive, lines: tuple[Line, ...], hypotheses: Sequence[Hypothesis], heard: Heard) -> Speed | str:
    """Speed by the whole comb of the drive's lines; as stated where none stands out; or in words why it cannot be told."""
    recording, stated = heard.recording, heard.recording.speed_hz
    low, high = (stated, stated) if stated else drive.speed_hz
    orders = comb_orders(lines)
    # a loose input's half orders are, a few per cent off, an output shaft's harmonics; of double the speed they are its own
    families = (*orders.spectrum, orders.loose) if high / low <= LARGEST_RANGE else orders.spectrum
    spectra = [
        Spectrum(heard.spectrum.strength, heard.spectrum.bin_hz, families),
        Spectrum(heard.envelope.strength, heard.envelope.bin_hz, orders.envelope, orders.slipping, SLIP_BAND),
    ]
    slowest, fastest = low * (1 - STATED_SPEED_BAND), high * (1 + STATED_SPEED_BAND)
    near = speed_from_comb(spectra, lowest_hz=slowest, highest_hz=fastest)
    if high / low > LARGEST_RANGE and isinstance(near, NoSpeed):
        return (
            f"the drive runs from {low:.4g} to {high:.4g} Hz, nobody has said at which speed this was "
            f"taken, and {near.says}; give --speed"
        )
    if high / low <= LARGEST_RANGE:
        if fit := _other_rate(lines, heard, near, low, high):
            return (
                f"{speed_words(recording, (low + high) / 2)}; at its sample rate of {recording.sample_rate_hz:.7g} Hz hardly a "
                f"line of the drive is in its place, and {fit.lines} would be at {_rate_words(fit.rates_hz)}: {_READ_RATE}"
            )
        # the less sure half of the comb fits a bearing's comb at some speed
        surest = [replace(one, families=one.families[: len(one.families) // 2]) for one in spectra]
        wide = {"lowest_hz": low * (1 - CONTRADICTED_BAND), "highest_hz": high * (1 + CONTRADICTED_BAND)}
        far = near
        if isinstance(near, NoSpeed) or may_fit_better(surest, near.speed_hz, beside_hz=(slowest, fastest), **wide):
            far = speed_from_comb(surest, **wide)
        if isinstance(far, SpeedEstimate) and _contradicts(hypotheses, far.speed_hz, low, high):
            cure = "read the speed again and state it"
            if recording.pulses_per_turn:
                cure = "count the marks on its wheel, and look which shaft it reads"
            rates = rates_that_fit(recording.sample_rate_hz, ratio=(low + high) / 2 / far.speed_hz, within=STATED_SPEED_BAND)
            return (
                f"{speed_words(recording, (low + high) / 2)}, and its lines fit {60 * far.speed_hz:.5g} rpm: one of the two, or a "
                f"tooth count, is wrong{_or_rate(rates)}; {cure}"
            )
        if isinstance(near, NoSpeed) and near.why == "noise" and isinstance(far, NoSpeed) and far.why == "mains":
            near = far
    if isinstance(near, SpeedEstimate) and stated and recording.pulses_per_turn:
        rates = rates_that_fit(recording.sample_rate_hz, ratio=stated / near.speed_hz, within=TACHOMETER_BAND)
        if rates and abs(near.speed_hz / stated - 1) > TACHOMETER_BAND:
            return (
                f"{speed_words(recording, stated)}, and its lines fit {60 * near.speed_hz:.6g} rpm by its sample rate "
                f"of {recording.sample_rate_hz:.7g} Hz: at {_rate_words(rates)} both would agree; {_READ_RATE}"
            )
    if isinstance(near, SpeedEstimate) and not recording.pulses_per_turn and (says := _beyond_its_field(drive, heard, near)):
        return says
    if isinstance(near, SpeedEstimate):
        spread = 2 * near.standard_error_hz / near.speed_hz
        source = f"measured from {near.lines} lines of the recording"
        if recording.tachometer:
            source += f"; its tachometer: {recording.tachometer}"
        return Speed(near.speed_hz, near.standard_error_hz, spread, source)
    middle, spread = (low + high) / 2, (high - low) / (high + low) + STATED_SPEED_BAND
    if recording.pulses_per_turn:
        return Speed(middle, None, spread, f"by its tachometer: {recording.tachometer}; of its lines: {near.says}")
    at_rest = "" if near.why == "alike" else near.says
    source = f"stated; {near.says}"
    if recording.tachometer:
        source += f"; its tachometer: {recording.tachometer}"
    return Speed(middle, None, spread, source, at_rest, hum=near.why == "mains")


def _beyond_its_field(drive: Drive, heard: Heard, near: SpeedEstimate) -> str:
    """That a motor on the mains cannot turn as the lines say, where at another usual sample rate it would; empty where it can.

    Its field turns with the mains, within 0.4 %; it lags behind by its plate's slip at full load and twice that when overloaded,
    and runs ahead by as much where the load drives it.
    """
    motor, known = drive.motor, shaft_orders(drive)
    if motor is None or motor.converter or motor.shaft not in known or known[motor.shaft].spread:
        return ""
    field_hz = 2 * motor.supply_hz / motor.poles
    slip = 2 * rated_slip(motor)[0] / field_hz
    ratio = abs(known[motor.shaft].order) * near.speed_hz / field_hz
    if 1 - 2 * slip - _MAINS_HOLD <= ratio <= 1 + slip + _MAINS_HOLD:
        return ""
    rate_hz = heard.recording.sample_rate_hz
    usual = rates_that_fit(rate_hz, ratio=(1 - slip / 2) / ratio, within=slip / 2 + _MAINS_HOLD)
    if not usual:
        return ""
    turns, slowest, fastest = (f"{60 * part * field_hz:.5g}" for part in (ratio, 1 - slip, 1))
    return (
        f"by its sample rate of {rate_hz:.7g} Hz its lines turn the motor at {turns} rpm, and {motor.poles} poles on "
        f"{motor.supply_hz:g} Hz mains turn it at {slowest} to {fastest} rpm: at {_rate_words(usual)} both would agree; "
        f"{_READ_RATE}, or say motor.converter: true where one feeds it"
    )


def speed_words(recording: Recording, speed_hz: float) -> str:
    """What a recording's speed [Hz] was said to be, and by whom."""
    if recording.pulses_per_turn:
        turns = f"{recording.pulses_per_turn} pulse{'s' * (recording.pulses_per_turn > 1)} a turn"
        return f"its tachometer gives {60 * speed_hz:.6g} rpm at {turns}"
    return f"its speed is stated as {60 * speed_hz:.6g} rpm"


def _other_rate(
    lines: Sequence[Line], heard: Heard, near: SpeedEstimate | NoSpeed, low_hz: float, high_hz: float
) -> RateFit | None:
    """Another sample rate that puts the drive's main lines in their places, where the stated one does with fewer than half.

    Where rates are as whole numbers, every few harmonics of the one fall on harmonics of the other: a speed found is no proof.
    """
    if isinstance(near, NoSpeed) and near.why != "noise":
        return None
    main = [[line.order for line in lines if line.kind == kind and line.spread == 0] for kind in ("mesh", "shaft")]
    half = sum(map(len, main)) / 2
    if isinstance(near, SpeedEstimate) and sum(order in near.found[0] for kind in main for order in kind) >= half:
        return None
    if certain_lines(heard.spectrum.strength, bin_hz=heard.spectrum.bin_hz, least=CERTAIN_PEAK).hz.size < _FEWEST_LINES:
        return None
    spectrum = Spectrum(heard.spectrum.strength, heard.spectrum.bin_hz, main)
    placed = 0
    if isinstance(near, SpeedEstimate):  # by the main lines alone it may be another, a little beside
        reach = 1e-3 * near.speed_hz
        again = speed_from_comb([spectrum], lowest_hz=near.speed_hz - reach, highest_hz=near.speed_hz + reach)
        placed = again.lines if isinstance(again, SpeedEstimate) else 0
    if placed >= half:
        return None
    fit = rate_from_comb(
        spectrum,
        sample_rate_hz=heard.recording.sample_rate_hz,
        lowest_hz=low_hz * (1 - STATED_SPEED_BAND),
        highest_hz=high_hz * (1 + STATED_SPEED_BAND),
        beyond=CONTRADICTED_BAND,
    )
    return fit if fit and fit.lines >= max(2 * placed, placed + 3, _FEWEST_LINES) else None


def _rate_words(rates_hz: Sequence[float]) -> str:
    return f"{' or '.join(f'{rate:.7g}' for rate in rates_hz)} Hz"


def _or_rate(rates_hz: Sequence[float]) -> str:
    return f", or the sample rate is ({_rate_words(rates_hz)} would fit)" if rates_hz else ""


def _contradicts(hypotheses: Sequence[Hypothesis], found_hz: float, low_hz: float, high_hz: float) -> bool:
    """Whether a speed found lies beyond what a statement may be off, and is not a bearing's comb taken for a shaft's."""
    if low_hz * (1 - STATED_SPEED_BAND) <= found_hz <= high_hz * (1 + STATED_SPEED_BAND):
        return False
    rates = np.array([hypothesis.order for hypothesis in hypotheses]) * (low_hz + high_hz) / 2
    harmonics = np.minimum(rates / found_hz, _LOWEST_LINES + 1)  # higher up a bearing's comb makes too few lines of a shaft's
    band = SLIP_BAND + STATED_SPEED_BAND + (high_hz - low_hz) / (high_hz + low_hz)
    whole = np.clip(np.rint(harmonics), 1, _LOWEST_LINES)
    return not np.any(np.abs(harmonics / whole - 1) <= band)
