"""Wrong register maps are put in, each way and together: what is told is what was put in, or it is among those said to fit."""

import itertools
import struct
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.install.map_check import Known, check_map, reading_of
from gearcase.install.profile import Profile, profile
from gearcase.install.register import ORDERS, Register, encode

GRAVITY = 9.80665  # m/s2, standard gravity
SCALES = (1.0, 10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)
UNITS = {"temperature": ("degC", "degF", "K"), "acceleration": ("m/s2", "g"), "speed": ("rpm", "Hz"), "velocity": ("mm/s", "m/s")}


def device(
    form: Profile, values: dict[str, float], *, flip: int, shift: int, scale: float, unit: dict[str, str]
) -> dict[tuple[int, int], int]:
    """Words of a device that is not as its profile says: scale and unit of what is in `values`, order and place of everything."""
    words = {(4, address): 0 for address in range(80)}
    for one in form.registers.values():
        value = values.get(one.name, one.constant if one.constant is not None else 0.0)
        sent = one
        if one.name in values:
            sent = replace(
                one, scale=one.scale * scale, unit=unit.get(one.kind, one.unit), type="f32" if one.words == 2 else one.type
            )
        elif one.kind:
            continue
        order = ORDERS[ORDERS.index(one.order) ^ flip]
        for n, word in enumerate(encode(sent, value, order)):
            words[one.function, one.address + shift + n] = word
    return words


def layout_words(flip: int, shift: int) -> str:
    says = [*(["low word first"] if flip & 1 else []), *(["bytes swapped"] if flip & 2 else [])]
    return ", ".join(says + ([f"shifted by {shift}"] if shift else [])) or "as the profile says"


@pytest.mark.parametrize(("flip", "shift"), list(itertools.product(range(4), (0, 1, -1))))
def test_order_and_place_are_told_from_the_constants_alone(flip: int, shift: int) -> None:
    """0x1234, 123456789 and 123.456: no other order or place gives them."""
    form = profile("drive inputs")
    layout, _ = check_map(form, device(form, {}, flip=flip, shift=shift, scale=1.0, unit={}), [])
    assert layout.told == layout_words(flip, shift)


@given(
    flip=st.integers(0, 3),
    shift=st.sampled_from([0, 1, -1]),
    slip=st.sampled_from([*((scale, "rpm") for scale in SCALES), (1.0, "Hz")]),
    rpm=st.floats(30, 3600),
)
def test_a_wrong_speed_register_is_told_or_among_those_that_fit(flip: int, shift: int, slip: tuple[float, str], rpm: float) -> None:
    """Known speed within 0.2 %. The scale is the device's: a value it sends tenfold has the scale 10 where the profile says 1."""
    form, (scale, unit) = profile("drive inputs"), slip
    words = device(form, {"speed": rpm / 60}, flip=flip, shift=shift, scale=scale, unit={"speed": unit})
    layout, scales = check_map(form, words, [Known(("speed",), rpm / 60, 0.002 * rpm / 60)])
    wanted = f"sent in {unit}, not rpm" if unit != "rpm" else f"scale {scale:g} where the profile says 1"
    wanted = "as the profile says" if slip == (1.0, "rpm") else wanted
    assert layout.told == layout_words(flip, shift)
    found = scales[("speed",)]
    assert wanted in [one.says for one in found.fits] and found.told in ("", wanted)
    assert sum(one.share for one in found.fits) == pytest.approx(1.0)


@given(
    flip=st.integers(0, 3),
    shift=st.sampled_from([0, 1, -1]),
    scale=st.sampled_from(SCALES),
    unit=st.sampled_from(UNITS["temperature"]),
    celsius=st.floats(-20, 90),
    rpm=st.floats(300, 3600),
)
def test_without_constants_what_was_put_in_is_never_denied(
    flip: int, shift: int, scale: float, unit: str, celsius: float, rpm: float
) -> None:
    """A foreign device with two known readings and no constants: whatever is told is right, else it is among those that fit."""
    plain = {"constant": None, "low": None, "high": None}
    form = Profile(
        "foreign",
        {
            "speed": Register("speed", 20, 4, "f32", 1.0, "rpm", "speed", **plain),  # type: ignore[arg-type]
            "temperature": Register("temperature", 30, 4, "f32", 1.0, "degC", "temperature", **plain),  # type: ignore[arg-type]
        },
    )
    kelvin = celsius + 273.15
    if scale != 1.0 and unit != "degC":
        scale = 1.0  # one slip a register
    words = device(form, {"speed": rpm / 60}, flip=flip, shift=shift, scale=1.0, unit={})
    words |= {
        place: word
        for place, word in device(
            form, {"temperature": kelvin}, flip=flip, shift=shift, scale=scale, unit={"temperature": unit}
        ).items()
        if place[1] >= 29
    }
    known = [Known(("speed",), rpm / 60, 0.002 * rpm / 60), Known(("temperature",), kelvin, 0.3)]
    layout, scales = check_map(form, words, known)
    wanted = f"sent in {unit}, not degC" if unit != "degC" else f"scale {scale:g} where the profile says 1"
    wanted = "as the profile says" if (scale, unit) == (1.0, "degC") else wanted
    assert layout_words(flip, shift) in [one.says for one in layout.fits] and layout.told in ("", layout_words(flip, shift))
    found = scales[("temperature",)]
    assert wanted in [one.says for one in found.fits] and found.told in ("", wanted)


AXES = [profile("three-axis vibration").registers[f"gravity {axis}"] for axis in "xyz"]


def test_gravity_in_g_and_ten_times_too_small_cannot_be_told_apart_by_a_common_sensor() -> None:
    """1 g is 9.80665 m/s2: 1.0 read as m/s2 is gravity in g, or a tenth of 10.0, 2 % off, which a sensor of 2 % may be."""
    found = reading_of(AXES, [0.0, 0.6, 0.8], known=GRAVITY, within=0.02 * GRAVITY)
    assert found.told == "" and len(found.fits) == 2
    assert found.fits[0].says == "sent in g, not m/s2" and "cannot tell: 2 readings fit" in found.says
    exact = reading_of(AXES, [0.0, 0.6, 0.8], known=GRAVITY, within=0.005 * GRAVITY)
    assert exact.told == "sent in g, not m/s2"


def test_at_nothing_no_scale_can_be_told() -> None:
    register = profile("drive inputs").registers["speed"]
    found = reading_of([register], [0.0], known=0.0, within=0.01)
    assert len(found.fits) == 8 and found.fits[0].says == "as the profile says" and not found.told


def test_minus_forty_is_the_same_in_both_degrees() -> None:
    register = profile("temperature converter").registers["sump temperature"]
    assert {"as the profile says", "sent in degF, not degC"} == {
        one.says for one in reading_of([register], [233.15], known=233.15, within=0.5).fits
    }


def test_a_reading_that_nothing_explains_is_said_to_fit_nothing() -> None:
    register = profile("temperature converter").registers["sump temperature"]
    found = reading_of([register], [300.0], known=350.0, within=1.0)
    assert found.fits == () and "no reading of it fits" in found.says


def test_the_words_of_another_value_are_no_constant() -> None:
    form = profile("drive inputs")
    words = device(form, {}, flip=0, shift=0, scale=1.0, unit={})
    words[4, 0] = 0x1235
    assert check_map(form, words, [])[0].fits == ()
    high, low = struct.unpack(">HH", struct.pack(">f", 123.456))
    assert (words[4, 3], words[4, 4]) == (high, low)
