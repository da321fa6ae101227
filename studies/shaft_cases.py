"""Simulated cases of shafts, motor, backstop and sensors with known truth: one drive, its channels, what goes wrong with it."""

from collections.abc import Sequence

import numpy as np

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.shaft_faults import QUIET, Channel, SensorFault, ShaftFault, Situation, simulate_channels
from gearcase.drive.simulate import BearingFault, Levels, Noise, Stranger
from gearcase.drive.train import Drive, Mesh, Motor, PassingPart, Ratings, RatioLink, Shaft
from gearcase.judge.patterns.observed import Observed
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.spectrum import transform
from gearcase.worked import Given, Origin

RATE_HZ = 2560.0
SAMPLES = 40960  # 16 s: 396 turns of the motor, 95 of the output shaft
SPEED_HZ = 24.75
ZONE_C = 2.8e-3  # of the group below on a rigid support: table vibration_zones [m/s]
DIRECTIONS = ("horizontal", "vertical", "axial")
BALL = Geometry(9, 7.94e-3, 39.04e-3)

DRIVE = Drive(
    "conveyor drive",
    shafts=(Shaft("motor"), Shaft("input", end="input"), Shaft("output", end="output")),
    meshes=(Mesh("mesh", "input", "output", 17, 71),),
    bearings=tuple(
        Bearing(name, name.partition(" ")[0], None, BALL)
        for name in ("motor fan end", "motor drive end", "input coupling end", "input mesh end", "output a", "output b")
    ),
    reference_shaft="input",
    speed_hz=(SPEED_HZ, SPEED_HZ),
    rated_speed_hz=SPEED_HZ,
    speed_given=Given("speed", SPEED_HZ, "Hz", Origin.NAMEPLATE),
    ratio_links=(RatioLink("coupling", "motor", "input", 1.0, 0.0),),
    ratings=Ratings(power=75e3, support="rigid"),
    motor=Motor("motor", poles=4, supply_hz=50.0, rated_speed_hz=24.75),
    passing_parts=(PassingPart("backstop", "input", "backstop", 14.0),),
)
CHANNELS = tuple(
    Channel(bearing, bearing, direction)
    for bearing in ("motor drive end", "input coupling end", "input mesh end")
    for direction in DIRECTIONS
)


def observe(
    situation: Situation = Situation(SPEED_HZ),  # noqa: B008  frozen
    *,
    seed: int,
    faults: Sequence[ShaftFault] = (),
    damage: Sequence[BearingFault] = (),
    strangers: Sequence[Stranger] = (),
    sensors: Sequence[SensorFault] = (),
    channels: Sequence[Channel] = CHANNELS,
    drive: Drive = DRIVE,
    noise: Noise = "white",
    levels: Levels = QUIET,
    sample_rate_hz: float = RATE_HZ,
    samples: int = SAMPLES,
) -> tuple[Observed, ...]:
    """One file of channels sampled together, as the patterns look at it; the speed is known to 0.02 %."""
    rows = simulate_channels(
        drive,
        channels,
        situation,
        sample_rate_hz=sample_rate_hz,
        samples=samples,
        seed=seed,
        noise=noise,
        faults=faults,
        damage=damage,
        strangers=strangers,
        sensors=sensors,
        levels=levels,
    )
    taken = {"state": situation.state, "load": situation.load, "oil_temperature": situation.oil_temperature}
    return tuple(
        _observed(
            Recording(
                row,
                sample_rate_hz,
                "m/s2",
                channel=f"{channel.point} {channel.direction}",
                point=channel.point,
                name=f"file {seed}",
                sha256=f"{seed:x}",
                speed_hz=situation.speed_hz,
                taken=Circumstances(direction=channel.direction, **taken),
            ),
            channel.bearing,
            situation.speed_hz * (situation.state != "standing"),
        )
        for row, channel in zip(rows, channels, strict=True)
    )


def _observed(recording: Recording, bearing: str, speed_hz: float) -> Observed:
    spectrum = transform(np.asarray(recording.samples), sample_rate_hz=recording.sample_rate_hz)
    quality = judge_quality(recording.samples, sample_rate_hz=recording.sample_rate_hz, unit=recording.unit)
    return Observed(recording, spectrum, envelope_spectrum(spectrum), speed_hz, 2e-4, bearing, quality=tuple(quality))
