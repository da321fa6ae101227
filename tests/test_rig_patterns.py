"""Every pattern of the diagnosis put into the rig and read over its bus as a record: the lines it needs are in a plain spectrum.

Where lines must stand is arithmetic on the demo's nameplate and tooth counts, done here: input 24.75 Hz, intermediate x 17/71 =
5.9261 Hz, output x 19/91 = 1.2373 Hz, meshes 24.75 x 17 = 420.75 Hz and 5.9261 x 19 = 112.595 Hz. Spectra are numpy's own
transform; neither `signal` nor `judge` takes part. The sensor on the input's cap looks to the input end with its mark up, so
that its x, y and z are horizontal, vertical and axial.
"""

import asyncio
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from gearcase.device.orders import obey
from gearcase.device.rig import Rig, RigBus
from gearcase.device.rig.devices import RECORD_REGISTERS
from gearcase.device.rig.faults import KINDS
from gearcase.device.rig.machine import heard, places
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.install.profile import profile
from gearcase.install.register import decode
from gearcase.job.build import load
from gearcase.tables import load as load_table
from gearcase.worked import Given, Origin
from test_stages import EXAMPLES

SPEED_HZ = 1485 / 60
INTERMEDIATE_HZ = SPEED_HZ * 17 / 71
MESH_HZ = 17 * SPEED_HZ
RATE_HZ = 12800.0
LEFT = "intermediate bearing, left"
ASKED = {"z": 0, "x": 1, "y": 2}
Rows = NDArray[np.float64]


def new_rig(speed_hz: float = SPEED_HZ) -> Rig:
    return Rig(load(EXAMPLES / "demo"), lambda: 0.0, speed_hz)


def record(rig: Rig, unit: int = 11, axis: str = "z") -> Rows:
    """One axis of a unit's record over its bus, in m/s2."""
    form = profile("three-axis vibration").registers

    async def read() -> Rows:
        bus = RigBus(rig)
        await bus.write(unit=unit, start=form["record axis"].address, words=[ASKED[axis]])
        step = decode(form["record step"], await bus.read(unit=unit, function=4, start=form["record step"].address, count=2))
        words = await bus.read(unit=unit, function=4, start=RECORD_REGISTERS, count=64000)
        return np.array(words, dtype=np.uint16).view(np.int16) * step

    return asyncio.run(read())


def amplitude(samples: Rows, hz: float, *, within: float = 0.3) -> float:
    """Amplitude of the highest line near a frequency, Hann window, bins filled in fourfold so that none is missed between two."""
    window = np.hanning(samples.size)
    spectrum = 2 * np.abs(np.fft.rfft(samples * window, 4 * samples.size)) / window.sum()
    near = np.abs(np.fft.rfftfreq(4 * samples.size, 1 / RATE_HZ) - hz) <= within
    return float(spectrum[near].max())


def velocity(samples: Rows, hz: float) -> float:
    """RMS velocity of one line, mm/s."""
    return 1000 * amplitude(samples, hz) / (2 * np.pi * hz) / np.sqrt(2)


def band(samples: Rows, low: float, high: float) -> Rows:
    spectrum = np.fft.rfft(samples)
    hz = np.fft.rfftfreq(samples.size, 1 / RATE_HZ)
    spectrum[(hz < low) | (hz > high)] = 0
    return np.fft.irfft(spectrum, samples.size)


def envelope(samples: Rows, low: float = 2500.0, high: float = 3500.0) -> Rows:
    squared = band(samples, low, high) ** 2
    return squared - squared.mean()


def before_and_after(order: str, *, unit: int = 11, axis: str = "z", state: str = "steady") -> tuple[Rows, Rows]:
    rig = new_rig()
    rig.set_state(state)
    sound = record(rig, unit, axis)
    obey(rig, order)
    return sound, record(rig, unit, axis)


def test_every_pattern_of_the_diagnosis_can_be_put_in() -> None:
    patterns = {row["pattern"] for row in load_table("fault_patterns") if row["offered"] == "yes"}
    teeth_of_a_set = {"sun tooth", "planet tooth", "ring tooth"}  # the kind "tooth" at a planetary mesh, below
    assert patterns - {kind.pattern for kind in KINDS.values()} == teeth_of_a_set
    assert {kind.pattern for kind in KINDS.values() if kind.pattern} <= patterns


ROLLER = 17.5 * np.cos(np.radians(13)) / 95  # of the 32312: 16 rollers, load moves the rate by 0.4 %


@pytest.mark.parametrize(
    ("kind", "hz"),
    [
        ("outer race", 8 * (1 - ROLLER) * INTERMEDIATE_HZ),
        ("inner race", 8 * (1 + ROLLER) * INTERMEDIATE_HZ),
        ("rolling element", 95 / 17.5 * (1 - ROLLER**2) * INTERMEDIATE_HZ),
        ("cage", (1 - ROLLER) / 2 * INTERMEDIATE_HZ),
    ],
)
def test_a_bearing_fault_shows_its_rate_in_the_envelope(kind: str, hz: float) -> None:
    """BPFO, BPFI, twice BSF, FTF: Harris's formulas."""
    sound, faulty = before_and_after(f"fault {kind} 20 m/s2 at {LEFT}", unit=12)
    assert amplitude(envelope(faulty), 0.996 * hz) > 5 * amplitude(envelope(sound), 0.996 * hz)


def test_fluting_lifts_a_hump_of_lines_at_the_races_rate_that_moves_with_the_speed() -> None:
    """Lines of BPFO about 2 kHz, at 80 % of the speed about 1.6 kHz; the cage may slip a little, never gain."""
    rig = new_rig()
    sound = record(rig, 12)
    obey(rig, f"fault current fluting 3 m/s2 at {LEFT}")
    faulty, rate = record(rig, 12), 8 * (1 - ROLLER) * INTERMEDIATE_HZ
    assert band(faulty, 1500, 2500).std() > 5 * band(sound, 1500, 2500).std()
    spectrum = np.abs(np.fft.rfft(envelope(faulty, 1000.0, 4000.0) * np.hanning(faulty.size)))
    hz = np.fft.rfftfreq(faulty.size, 1 / RATE_HZ)
    near = (hz > 20) & (hz < 60)
    assert 0.97 * rate <= hz[near][spectrum[near].argmax()] <= 1.005 * rate
    rig.set_speed(0.8 * SPEED_HZ)
    slower = record(rig, 12)
    moved = [band(one, 1300, 1750).std() / band(one, 1850, 2300).std() for one in (faulty, slower)]
    assert moved[1] > 2 * moved[0]
    assert band(record(rig, 11), 1500, 2500).std() < 1.3 * band(sound, 1500, 2500).std(), "at that bearing only"


def test_a_dry_bearing_lifts_the_floor_above_5_khz_and_warms_no_line_more() -> None:
    rig = new_rig()
    form = profile("three-axis vibration").registers["temperature"]
    cold, sound = decode(form, rig.read(12, form.address, 1)), record(rig, 12)
    obey(rig, f"fault lubrication 3 m/s2 at {LEFT}")
    warm, dry = decode(form, rig.read(12, form.address, 1)), record(rig, 12)
    assert warm - cold == pytest.approx(15.0, abs=0.2)
    assert band(dry, 5000, 6400).std() > 5 * band(sound, 5000, 6400).std()
    assert band(dry, 10, 4000).std() == pytest.approx(band(sound, 10, 4000).std(), rel=0.05)
    assert band(record(rig, 11), 5000, 6400).std() < 1.2 * band(sound, 5000, 6400).std(), "at that bearing only"


@pytest.mark.parametrize("kind", ["tooth", "knock"])
def test_a_broken_tooth_or_a_loose_key_knocks_once_a_turn_of_its_own_shaft(kind: str) -> None:
    sound, broken = before_and_after(f"fault {kind} 20 m/s2 at intermediate in high-speed mesh")
    for n in (1, 2, 3, 4, 5):
        assert amplitude(envelope(broken), n * INTERMEDIATE_HZ) > 5 * amplitude(envelope(sound), n * INTERMEDIATE_HZ)
    assert amplitude(envelope(broken), SPEED_HZ) < 2 * amplitude(envelope(sound), SPEED_HZ) + 0.2 * amplitude(
        envelope(broken), INTERMEDIATE_HZ
    )


def test_a_hunting_tooth_knocks_when_the_same_two_teeth_meet() -> None:
    """17 and 71 share no factor: every 17 x 71 = 1207 tooth meetings, 1207 / 420.75 = 2.869 s."""
    _, faulty = before_and_after("fault hunting tooth 60 m/s2 at high-speed mesh")
    strong = np.abs(band(faulty, 2000, 4000))[:-1280]  # the transform joins the ends: a knock at the start rings at the end too
    at = np.flatnonzero(strong > 0.5 * strong.max()) / RATE_HZ
    knocks = at[np.insert(np.diff(at) > 0.1, 0, True)]
    assert np.diff(knocks) == pytest.approx([1207 / MESH_HZ], abs=0.002)


def test_wear_lifts_the_mesh_and_its_harmonics_the_higher_more() -> None:
    sound, worn = before_and_after("fault gear wear 100 % at high-speed mesh")
    risen = [amplitude(worn, n * MESH_HZ) / amplitude(sound, n * MESH_HZ) for n in (1, 2, 3)]
    assert risen[0] == pytest.approx(2.0, rel=0.1) and risen[0] < risen[1] < risen[2]
    assert amplitude(worn, 19 * INTERMEDIATE_HZ) == pytest.approx(amplitude(sound, 19 * INTERMEDIATE_HZ), rel=0.1)


def test_a_tilted_mesh_shows_its_second_harmonic_above_the_first_axially_too() -> None:
    rig = new_rig()
    assert amplitude(record(rig), 2 * MESH_HZ) / amplitude(record(rig), MESH_HZ) == pytest.approx(0.5, rel=0.15)
    obey(rig, "fault mesh misalignment 150 % at high-speed mesh")
    for axis in ("x", "z"):
        tilted = record(rig, 11, axis)
        assert amplitude(tilted, 2 * MESH_HZ) / amplitude(tilted, MESH_HZ) == pytest.approx(1.5, rel=0.15)
    rig.set_speed(0.85 * SPEED_HZ)
    assert amplitude(record(rig), 1.7 * MESH_HZ) > amplitude(record(rig), 0.85 * MESH_HZ), "at another speed too"


def test_an_eccentric_gear_sets_sidebands_of_its_shaft_about_its_mesh() -> None:
    """Swelling by 80 % once a turn: each sideband 0.4 of the mesh, nearly alone."""
    sound, out = before_and_after("fault eccentric gear 80 % at input")
    for side in (-1, 1):
        assert amplitude(out, MESH_HZ + side * SPEED_HZ) > 3 * amplitude(sound, MESH_HZ + side * SPEED_HZ)
        assert amplitude(out, MESH_HZ + 3 * side * SPEED_HZ) < 0.3 * amplitude(out, MESH_HZ + side * SPEED_HZ)


def test_unbalance_shows_once_a_turn_radially_with_the_square_of_speed_in_acceleration() -> None:
    """Displacement of a rotating force over a free mass does not change; velocity here grows with the cube of speed, as of a
    stiff support: force x speed. At 4 mm/s the radial axes read 4.0 and 3.2 mm/s, the axial one 0.4.
    """
    rig = new_rig()
    obey(rig, "fault unbalance 4 mm/s at input")
    h, v, a = (velocity(record(rig, 11, axis), SPEED_HZ) for axis in "xyz")
    assert h == pytest.approx(4.0, rel=0.1) and v == pytest.approx(3.2, rel=0.1) and a < 0.7
    rig.set_speed(0.8 * SPEED_HZ)
    assert velocity(record(rig, 11, "x"), 0.8 * SPEED_HZ) == pytest.approx(4.0 * 0.8**3, rel=0.1)


def test_each_sensor_hears_a_direction_by_where_its_mark_points() -> None:
    """On the left face with the mark at three, seen from outside: z looks to the left, y to the input end, x down. Unbalance shakes
    horizontally, 0.8 of it vertically and 0.1 axially; a bent shaft axially, 0.8 of it horizontally.
    """
    for order, wanted in (("unbalance", (3.2, 0.4, 4.0)), ("bent shaft", (2.8, 4.0, 3.2))):
        rig = new_rig()
        obey(rig, f"fault {order} 4 mm/s at intermediate")
        assert [velocity(record(rig, 12, axis), INTERMEDIATE_HZ) for axis in "xyz"] == pytest.approx(wanted, abs=0.35)


def test_misalignment_shows_twice_a_turn_with_axial_and_goes_when_uncoupled() -> None:
    rig = new_rig()
    obey(rig, "fault misalignment 4 mm/s at input")
    radial, axial = record(rig, 11, "x"), record(rig, 11, "z")
    assert velocity(radial, 2 * SPEED_HZ) == pytest.approx(4.0, rel=0.1)
    assert velocity(radial, 2 * SPEED_HZ) > velocity(radial, SPEED_HZ) and velocity(axial, SPEED_HZ) > 2.0
    rig.set_state("uncoupled")
    assert velocity(record(rig, 11, "x"), 2 * SPEED_HZ) < 0.2


def test_a_bent_shaft_shows_once_a_turn_axially() -> None:
    rig = new_rig()
    obey(rig, "fault bent shaft 4 mm/s at input")
    assert velocity(record(rig, 11, "z"), SPEED_HZ) == pytest.approx(4.0, rel=0.1)
    assert velocity(record(rig, 11, "z"), SPEED_HZ) > velocity(record(rig, 11, "x"), SPEED_HZ)


def test_looseness_shows_many_multiples_and_half_orders() -> None:
    sound, loose = before_and_after("fault looseness 3 mm/s at input", axis="y")
    for half in range(1, 20):
        assert velocity(loose, half / 2 * SPEED_HZ) > 3 * velocity(sound, half / 2 * SPEED_HZ)


def test_a_resonance_is_high_at_one_speed_only() -> None:
    """At its frequency 1 / (2 x 0.04) = 12.5 times the vertical 0.8 mm/s; at 80 % of it 0.8^3 / (1 - 0.64) = 1.4 times."""
    rig = new_rig()
    obey(rig, "fault resonance 1 mm/s at input")
    assert velocity(record(rig, 11, "y"), SPEED_HZ) == pytest.approx(10.0, rel=0.1)
    rig.set_speed(0.8 * SPEED_HZ)
    assert velocity(record(rig, 11, "y"), 0.8 * SPEED_HZ) == pytest.approx(0.8 * 0.512 / 0.36, rel=0.15)


def test_a_backstop_clicks_only_while_it_overruns() -> None:
    """14 sprags where nobody has counted them: 14 x 24.75 = 346.5 Hz."""
    for state, clicks in (("overrunning", True), ("steady", False)):
        sound, faulty = before_and_after("fault backstop 20 m/s2 at input", state=state)
        low = (1000.0, 2000.0)
        line = amplitude(envelope(faulty, *low), 14 * SPEED_HZ, within=4.0)
        assert (line > 5 * amplitude(envelope(sound, *low), 14 * SPEED_HZ, within=4.0)) is clicks


def test_electrical_shows_at_twice_the_supply_and_dies_with_the_power() -> None:
    """No motor is described: 50 Hz at rated speed, by a converter."""
    rig = new_rig()
    obey(rig, "fault electrical 4 mm/s")
    assert velocity(record(rig, 11, "x"), 100.0) == pytest.approx(4.0, rel=0.1)
    rig.set_state("coast-down")
    assert velocity(record(rig, 11, "x"), 100.0) < 0.2


def test_background_stays_when_the_drive_stands() -> None:
    rig = new_rig(0.0)
    obey(rig, "fault background 3 mm/s at 18.3 Hz")
    assert velocity(record(rig, 11, "x"), 18.3) == pytest.approx(3.0, rel=0.1)
    assert rig.read(3, 10, 1) == [0]


SPOILT: dict[str, Callable[[Rows], bool]] = {
    "ski slope 30 m/s2": lambda samples: amplitude(samples, 0.4) > 20 * amplitude(samples, 200.0),
    "offset -20 m/s2": lambda samples: abs(samples.mean() + 20) < 0.1,
    "clip 1 m/s2": lambda samples: (np.abs(samples) > 0.999 * np.abs(samples).max()).mean() > 0.01,
}


@pytest.mark.parametrize("kind", SPOILT)
def test_a_lying_sensor_spoils_one_axis_and_no_other(kind: str) -> None:
    rig = new_rig()
    obey(rig, f"fault {kind} at input coupling end y")
    assert [SPOILT[kind](record(rig, 11, axis)) for axis in "xyz"] == [False, True, False]
    assert not SPOILT[kind](record(rig, 12, "y"))


def test_teeth_of_a_planetary_set_knock_as_often_as_they_meet() -> None:
    """Sun 24, planet 30, ring 84 held, 3 planets, sun 24 Hz: carrier 24 x 24/108 = 5.333 Hz. A sun's tooth meets 3 planets in each
    turn against the carrier: 3 x 18.667 = 56 Hz; a planet's tooth sun and ring: 2 x 84 x 5.333 / 30 = 29.87 Hz; the ring's each
    planet: 3 x 5.333 = 16 Hz.
    """
    shafts = (Shaft("sun"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3))
    meshes = (Mesh("inner", "sun", "planet", 24, 30), Mesh("outer", "planet", "ring", 30, 84, kind="internal"))
    drive = Drive("set", shafts, meshes, (), "sun", (24.0, 24.0), 24.0, Given("speed", 24.0, "Hz", Origin.NAMEPLATE))
    assert places(drive, "tooth") == ("sun", "planet in inner", "planet in outer", "ring")

    def listen(wrong: dict[tuple[str, str], float]) -> Rows:
        given = {"bearing": "", "speed_hz": 24.0, "load": 0.7, "state": "steady", "axes": np.eye(3)}
        return heard(drive, wrong, **given, sample_rate_hz=RATE_HZ, samples=64000, seed=1)[2]  # type: ignore[arg-type]

    sound = listen({})
    for place, hz in (("sun", 56.0), ("planet in inner", 2 * 84 * 16 / 3 / 30), ("ring", 16.0)):
        broken = listen({("tooth", place): 20.0})
        assert amplitude(envelope(broken), hz) > 5 * amplitude(envelope(sound), hz)


def test_what_grows_is_half_way_at_half_the_time_by_the_rigs_clock() -> None:
    """From 4 mm/s at the order to 8 mm/s two hours later: 6 mm/s after one hour, and then it stays."""
    now = [0.0]
    rig = Rig(load(EXAMPLES / "demo"), lambda: now[0], SPEED_HZ)
    obey(rig, "fault unbalance 4 mm/s at input")
    obey(rig, "grow unbalance at input to 8 mm/s over 2 h")
    for hours, wanted in ((0.0, 4.0), (1.0, 6.0), (2.0, 8.0), (9.0, 8.0)):
        now[0] = 3600 * hours
        assert velocity(record(rig, 11, "x"), SPEED_HZ) == pytest.approx(wanted, rel=0.1)
    assert "unbalance at input 8 mm/s" in obey(rig, "faults")
    obey(rig, "mend unbalance at input")
    assert velocity(record(rig, 11, "x"), SPEED_HZ) < 0.5


def test_what_lasts_a_while_is_gone_after_it() -> None:
    now = [0.0]
    rig = Rig(load(EXAMPLES / "demo"), lambda: now[0], SPEED_HZ)
    obey(rig, "fault unbalance 4 mm/s at input for 10 min")
    assert velocity(record(rig, 11, "x"), SPEED_HZ) > 3.0
    now[0] = 601.0 + 60.0  # a record being read is kept a minute
    assert velocity(record(rig, 11, "x"), SPEED_HZ) < 0.5 and obey(rig, "faults") == "nothing is wrong"
