"""Any record at all: every calculator of a waveform gives finite numbers or says why not; no other error, no warning, no NaN."""

import dataclasses
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from gearcase.errors import OutOfRange
from gearcase.signal.averaging import averaged_spectrum, highest_line
from gearcase.signal.cepstrum import edited, long_pass, power_cepstrum, real_cepstrum, without_family
from gearcase.signal.envelope import band_envelope_spectrum, envelope_spectrum
from gearcase.signal.gear_indicators import gear_indicators, mesh_modulation, na4, standardised_moment
from gearcase.signal.indicators import indicators
from gearcase.signal.kurtogram import kurtogram
from gearcase.signal.motion import convert_motion
from gearcase.signal.order_frames import order_frames
from gearcase.signal.quality import judge_quality
from gearcase.signal.runs import turning_of_run
from gearcase.signal.separation import separate
from gearcase.signal.spectrum import band_rms, overall_velocity, transform
from gearcase.signal.synchronous import Turning, synchronous_average, turning_from_mesh
from gearcase.signal.tachometer import pulse_times

RATE = 1000.0
SHAFT = Turning(np.arange(20) / 20, np.arange(20.0))


def of(samples: np.ndarray):  # type: ignore[no-untyped-def]
    return transform(samples, sample_rate_hz=RATE)


def averaged(samples: np.ndarray):  # type: ignore[no-untyped-def]
    return averaged_spectrum(samples, sample_rate_hz=RATE, segment=64, window="hann")


CALCULATORS: dict[str, Callable[[np.ndarray], object]] = {
    "indicators": indicators,
    "averaged": averaged,
    "line": lambda x: highest_line(averaged(x).amplitude, bin_hz=RATE / 64, window="hann", lowest_hz=50, highest_hz=400),
    "band rms": lambda x: band_rms(of(x), lowest_hz=50, highest_hz=400),
    "overall": lambda x: overall_velocity(of(x), unit="m/s2", highest_hz=400),
    "motion": lambda x: convert_motion(x, sample_rate_hz=RATE, unit="m/s2", wanted="m", lowest_hz=20),
    "envelope": lambda x: envelope_spectrum(of(x)),
    "band envelope": lambda x: band_envelope_spectrum(of(x), lowest_hz=100, highest_hz=400),
    "kurtogram": lambda x: kurtogram(of(x), narrowest_hz=100),
    "power cepstrum": lambda x: power_cepstrum(averaged(x)),
    "liftered": lambda x: edited(of(x), long_pass(real_cepstrum(of(x)), from_s=0.01)),
    "family": lambda x: edited(of(x), without_family(real_cepstrum(of(x)), spacing_hz=30, half_width_s=1e-3)),
    "separation": lambda x: separate(x, block=64, delay=32),
    "average": lambda x: synchronous_average(x, SHAFT, sample_rate_hz=RATE, per_turn=32),
    "mesh angle": lambda x: turning_from_mesh(of(x), line_hz=200, cycles_per_turn=10, half_width_hz=40),
    "gear": lambda x: gear_indicators(x, teeth=8, harmonics=2),
    "modulation": lambda x: mesh_modulation(x, teeth=8, harmonic=1, sidebands=3),
    "moment": lambda x: standardised_moment(x, order=8),
    "history": na4,
    "quality": lambda x: judge_quality(x, sample_rate_hz=RATE, unit="m/s2"),
    "pulses": lambda x: pulse_times(x, sample_rate_hz=RATE),
    "run": lambda x: turning_of_run(x, sample_rate_hz=RATE, orders=(1, 8, 16), lowest_hz=10, highest_hz=30),
    "order frames": lambda x: order_frames(x, SHAFT, sample_rate_hz=RATE, turns=4, highest_order=10.0, most=4),
}


def records() -> st.SearchStrategy[np.ndarray]:
    """Noise, constants, single impulses, rails and repeats, of any size in SI units, with now and then a bad sample."""
    shapes = st.sampled_from([(0,), (3,), (63,), (64,), (600,), (1024,), (2, 700), (0, 64), (2, 0), (2, 3, 600)])
    values = st.one_of(
        st.sampled_from([0.0, 1.0, -1.0, 2.0**-40, 2.0**30, 0.125]),
        st.floats(-(2.0**40), 2.0**40, width=32),
        st.sampled_from([np.nan, np.inf, 2.0**41, -(2.0**100), 2.0**-120]),
    )
    kinds = st.sampled_from([np.float32, np.float64, np.int16, np.complex64])
    return kinds.flatmap(
        lambda kind: shapes.flatmap(
            lambda shape: arrays.arrays(
                kind,
                shape,
                elements=st.integers(-32768, 32767) if kind is np.int16 else values,
                fill=st.just(0) if kind is np.int16 else st.sampled_from([0.0, 0.125, -3.0, 1e6]),
            )
        )
    )


def numbers(found: object) -> list[np.ndarray]:
    """Every array and number in a result."""
    if dataclasses.is_dataclass(found):
        return [part for field in dataclasses.fields(found) for part in numbers(getattr(found, field.name))]
    return [found] if isinstance(found, np.ndarray) else [np.asarray(found)] if isinstance(found, int | float | np.number) else []


@pytest.mark.parametrize("name", CALCULATORS)
@given(samples=records(), rolled=st.booleans())
@example(samples=np.full(1024, 0.1, np.float32), rolled=False)
@example(samples=np.full((3, 1024), 1e9), rolled=False)
@example(samples=np.tile([1.0, -1.0], 512), rolled=False)
@example(samples=np.eye(1, 1024)[0] * 1e-12, rolled=True)
@example(samples=np.tile([1e300, -1e300, 0.0], 400), rolled=False)
@example(samples=np.tile([1e137, -1e137, 0.0], (2, 400)), rolled=False)
@example(samples=np.tile([1e-300, -1e-300, 0.0], 400), rolled=False)
@example(samples=np.tile(np.float32([1e37, -1e37, 0.0]), 400), rolled=False)
@example(samples=np.tile(np.float32([1e-37, -1e-37, 0.0]), 400), rolled=False)
@example(samples=np.tile([1.7e308, -1.7e308], (2, 600)), rolled=False)
@example(samples=np.tile([1e-300, -1e-300], (2, 600)), rolled=False)
@settings(max_examples=40, deadline=None)
def test_a_calculator_gives_finite_numbers_or_says_why_not(name: str, samples: np.ndarray, rolled: bool) -> None:
    if rolled and samples.size:
        samples = np.roll(samples, samples.shape[-1] // 2, axis=-1)
    try:
        found = CALCULATORS[name](samples)
    except OutOfRange:
        return  # what it says is tested beside each calculator; any other error fails here
    assert all(np.isfinite(part).all() for part in numbers(found)), name
    assert not re.search(r"\b(nan|inf)\b", str(found)), name  # in words either


@pytest.mark.parametrize("name", CALCULATORS)
def test_a_sound_record_is_not_refused(name: str) -> None:
    t = np.arange(4096) / RATE
    sound = (1 + 0.1 * np.cos(2 * np.pi * 20 * t)) * np.cos(2 * np.pi * 200 * t) + 0.1 * np.random.default_rng(0).standard_normal(
        4096
    )
    if name in ("gear", "modulation", "moment", "history"):
        angle = 2 * np.pi * np.arange(128) / 128
        sound = np.cos(8 * angle) + 0.1 * np.random.default_rng(0).standard_normal((4, 128))
    found = CALCULATORS[name](sound)
    if name == "quality":
        assert found == []  # nothing to find fault with
    elif name == "run":
        assert "no path" in str(found)  # a steady speed is none
    else:
        assert numbers(found)
