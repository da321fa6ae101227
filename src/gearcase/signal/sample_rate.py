"""Is the stated sample rate wrong? All lines of a drive then stand off by one ratio, that of the true rate to the stated one.

The stated speed must be better known than that ratio is from 1: a plate's speed tells 20 kHz from 25.6 kHz, and only a tachometer
with its own clock tells 25 kHz from 25.6 kHz. Public: `rates_that_fit` for a ratio that is known, `rate_from_comb` to look for one.
"""

from dataclasses import dataclass

from gearcase.signal.comb_likelihood import Spectrum
from gearcase.signal.speed import ACCEPTED_CHANCE, SpeedEstimate, speed_from_comb

__all__ = ["USUAL_RATES_HZ", "RateFit", "rate_from_comb", "rates_that_fit"]

# of recorders, sound cards and vibration sensors: decimal, 2.56 times decimal, powers of 2, audio; common practice, no source
USUAL_RATES_HZ = tuple(
    sorted(
        {
            scale * rate
            for scale in (100.0, 1000.0, 10000.0)
            for rate in (1.0, 1.2, 1.6, 2.0, 2.4, 2.5, 3.2, 4.0, 4.8, 5.0, 6.4, 8.0)
        }
        | {2.56 * 10.0**power * scale for power in (2, 3, 4) for scale in (1.0, 2.0, 2.5, 4.0, 5.0)}
        | {2.0**power for power in range(8, 18)}
        | {11025.0, 22050.0, 44100.0, 88200.0, 96000.0, 48828.125, 97656.25}
    )
)
_FURTHEST = 2.1  # times the stated rate, or its part: beyond, other slips are likelier


@dataclass(frozen=True)
class RateFit:
    """Usual rates that fit alike, `rates_hz` [Hz], and how many `lines` of the drive are then in their places."""

    rates_hz: tuple[float, ...]
    lines: int


def rates_that_fit(stated_hz: float, *, ratio: float, within: float) -> tuple[float, ...]:
    """Usual rates that are `ratio` times the stated one, as far as it is known.

    Parameters
    ----------
    stated_hz : float
        [Hz]
    ratio : float
        Of the speed stated to the speed that the lines show at the stated rate. [-]
    within : float
        How far the ratio may be off, relative. [-]

    Returns
    -------
    tuple of float
        [Hz]

    Examples
    --------
    >>> rates_that_fit(25000.0, ratio=1.0240, within=0.001)
    (25600.0,)
    """
    wanted = stated_hz * ratio
    return tuple(rate for rate in USUAL_RATES_HZ if abs(rate / wanted - 1) <= within and abs(rate / stated_hz - 1) > within)


def rate_from_comb(
    spectrum: Spectrum, *, sample_rate_hz: float, lowest_hz: float, highest_hz: float, beyond: float
) -> RateFit | None:
    """The usual rate at which most of a drive's lines would stand where the stated speed puts them; None where none would.

    Parameters
    ----------
    spectrum : Spectrum
        As of `speed.speed_from_comb`, by the stated rate. Few and low orders are enough, and quick.
    sample_rate_hz : float
        As stated. [Hz]
    lowest_hz, highest_hz : float
        Of the speed. [Hz]
    beyond : float
        Rates nearer to the stated one than this, relative, are not looked for: those are told as another speed. [-]

    Returns
    -------
    RateFit or None
        The chance of a fit in noise is at most that of `speed.speed_from_comb`, all rates tried counted.
    """
    ratios = [rate / sample_rate_hz for rate in USUAL_RATES_HZ if 1 / _FURTHEST <= rate / sample_rate_hz <= _FURTHEST]
    ratios = [ratio for ratio in ratios if abs(ratio - 1) > beyond]
    middle, half = (lowest_hz + highest_hz) / 2, (highest_hz - lowest_hz) / (highest_hz + lowest_hz)
    best: RateFit | None = None
    covered = 0.0
    for ratio in ratios:
        if ratio <= covered:
            continue
        covered = ratio * (1 + half)  # rates this near are tried together
        found = speed_from_comb([spectrum], lowest_hz=lowest_hz / covered, highest_hz=highest_hz / ratio)
        if (
            isinstance(found, SpeedEstimate)
            and found.chance <= ACCEPTED_CHANCE / len(ratios)
            and found.lines > (best.lines if best else 0)
        ):
            rates = rates_that_fit(sample_rate_hz, ratio=middle / found.speed_hz, within=half)
            best = RateFit(rates, found.lines) if rates else best
    return best
