"""What a record's lines say against its sample rate once the drive's speed is known: folded lines, and hum off its place."""

import math
from collections.abc import Iterator

import numpy as np

from gearcase.drive.line import Line
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.findings import Finding, Level
from gearcase.judge.explained import comb_orders
from gearcase.judge.folded import folded_lines
from gearcase.judge.heard import Heard, Speed
from gearcase.judge.hum_rate import rate_by_hum
from gearcase.signal.spectrum import certain_lines

__all__ = ["rate_doubts"]

_CHANCE = 1e-6  # of a line, all bins counted, as in `signal.quality`


def rate_doubts(drive: Drive, lines: tuple[Line, ...], heard: Heard, speed: Speed) -> Iterator[Finding]:
    """Cautions ``diagnose.folded`` and ``diagnose.rate_by_hum``."""
    recording, bin_hz = heard.recording, heard.spectrum.bin_hz
    strength = heard.spectrum.strength
    found = certain_lines(strength, bin_hz=bin_hz, least=math.log(strength.size / _CHANCE))
    exact = {name: abs(order.order) for name, order in shaft_orders(drive).items() if order.order and not order.spread}
    hum = rate_by_hum(
        found.hz,
        sample_rate_hz=recording.sample_rate_hz,
        bin_hz=bin_hz,
        supply_hz=drive.motor.supply_hz if drive.motor and not drive.motor.converter else None,
        shafts_hz=np.array([order * speed.hz for order in exact.values()]),
    )
    if hum is not None:
        says = (
            f"Lines stand at {', '.join(map(str, hum.harmonics))} times {hum.base_hz:.2f} Hz with none between, and no hum "
            f"where the mains have it: at a sample rate of {hum.rate_hz:.7g} Hz, not {recording.sample_rate_hz:.7g}, they "
            f"would be the mains at {hum.nominal_hz:g} Hz. Read the rate at the recorder; a converter's output, or a two-pole "
            "motor nearby, makes such lines too."
        )
        yield Finding(Level.CAUTION, "diagnose.rate_by_hum", f"{hum.base_hz:.2f} Hz", says)
    if speed.standard_error_hz is None:
        return
    folded = folded_lines(
        found,
        [(name, order * speed.hz, order * speed.standard_error_hz) for name, order in exact.items()],
        sample_rate_hz=recording.sample_rate_hz,
        bin_hz=bin_hz,
        explained_hz=speed.hz * np.array([order for family in comb_orders(lines).spectrum for order in family]),
    )
    if folded is not None:
        low, high, count = folded.shown_hz.min(), folded.shown_hz.max(), folded.shown_hz.size
        says = (
            f"{count} lines from {low:.5g} to {high:.5g} Hz stand where multiples of {folded.shaft} from "
            f"{folded.true_hz.min():.5g} to {folded.true_hz.max():.5g} Hz, above half the sample rate, fold to (chance "
            f"{folded.chance:.2g} that others stand so): they, and a hump about them, are not at the frequency they show. Use "
            "an anti-alias filter or a higher sample rate; to be sure, record at another speed: folded lines go down when the "
            "drive goes faster."
        )
        yield Finding(Level.CAUTION, "diagnose.folded", f"{low:.5g} to {high:.5g} Hz", says)
