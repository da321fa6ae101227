"""Sensor fault: does one channel show what no other at its side does?

Theory of operation
-------------------
`signal.quality` finds what a sound record cannot do by chance: clipping, an offset, a ski slope, dropouts, spikes, few values,
nothing at all. Records that this makes unfit to be judged for anything else are looked at here all the same. Whether that is the
sensor's or the machine's, the channels sampled together say. What two show is no single sensor's fault. One channel that clips at
a level which another reaches unclipped has a rail too low; one that clips above all others may be right: a real vibration too
strong in its direction. An offset that with the other two axes makes up one g is gravity, and so may be one below that where the
axes are not all there. A slope towards 0 Hz that another channel follows, with a steady phase over the lowest bins (Rayleigh's
test, `tones`), is a motion.
"""

import math
from collections.abc import Sequence

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.judge.patterns.observed import Recorded, at_one_time
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import elsewhere
from gearcase.judge.patterns.tones import steadiness_log_chance

__all__ = ["examine"]

GRAVITY = 9.80665  # m/s2, ISO 80000-3
_OF_GRAVITY = 0.1  # tilt and sensitivity may be off this much; common practice, no source
_SLOW_BINS = slice(4, 20)  # of a spectrum: the highest of a slope towards 0 Hz, clear of the mean
_TOGETHER = 0.6  # steadiness of the phase between two channels from which they agree; in noise once in five hundred
_FAULTY = ("stuck", "clipping", "dropout", "few_values", "spikes", "offset", "ski_slope")
_NAME, _SHOWS, _ALONE, _AGREE = (
    "sensor fault",
    "ski slope, DC shift, clipping or gaps",
    "one axis, no second witness",
    "two sensors agree",
)


def examine(records: Sequence[Recorded]) -> tuple[Weighed, ...]:
    """The channels of the latest file of each point: each that shows a sign, or the point as a whole where none does."""
    latest: dict[str, tuple[Recorded, ...]] = {}
    for group in at_one_time(records):
        for one in group:
            latest[one.recording.point] = group
    return tuple(weighed for point, group in latest.items() for weighed in _point(point, group))


def _point(point: str, group: Sequence[Recorded]) -> list[Weighed]:
    found = {n: _signs_of(one) for n, one in enumerate(group)}
    here = [n for n, one in enumerate(group) if one.recording.point == point]
    shown = [n for n in here if found[n]]
    if not shown:
        quiet = Sign(Role.NEEDED, _SHOWS, False, "none in the latest record", VERIFIED_FLOOR)
        return [weigh(_NAME, point or "every channel", [quiet], attribution=1.0)]
    return [_channel(group, n, found) for n in shown]


def _channel(group: Sequence[Recorded], number: int, found: dict[int, dict[str, str]]) -> Weighed:
    one, rules = group[number], found[number]
    recording = one.recording
    others = [n for n in range(len(group)) if n != number]
    component = " ".join(filter(None, (recording.point, recording.taken.direction))) or recording.channel or recording.name
    same = [group[n].recording.channel for n in others if rules.keys() & found[n].keys()]
    agree = f"{', '.join(same)} shows the same" if same else _agrees(one, [group[n] for n in others], rules)
    alone = None if not others else not same
    signs = [
        Sign(Role.NEEDED, _SHOWS, True, " ".join(rules.values()), VERIFIED_FLOOR),
        Sign(
            Role.NEEDED,
            _ALONE,
            alone,
            "needs another channel sampled together" if alone is None else f"{len(same)} of {len(others)} others show it too",
            VERIFIED_FLOOR,
        ),
        Sign(Role.SUPPORTING, "follows the cable or the sensor in a swap", None, "needs a record after the swap"),
        Sign(Role.AGAINST, _AGREE, bool(agree) if others else None, agree or "no other channel gives it a reason"),
    ]
    return weigh(_NAME, component, signs, attribution=elsewhere(0.0, {"a true change": not agree}), seen_in=[one])


def _signs_of(one: Recorded) -> dict[str, str]:
    return {rule: finding.says for finding in one.quality if (rule := finding.rule.partition(".")[2]) in _FAULTY}


def _agrees(one: Recorded, others: Sequence[Recorded], rules: dict[str, str]) -> str:
    """Why the other channels let what this one shows be true; empty where they do not, or all of it has to be the sensor's."""
    reasons = {"clipping": _too_strong, "offset": _gravity, "ski_slope": _shared_motion}
    given = [reasons[rule](one, others) if rule in reasons else "" for rule in rules]
    return "; ".join(given) if all(given) else ""


def _too_strong(one: Recorded, others: Sequence[Recorded]) -> str:
    rail = float(np.abs(one.recording.samples).max())
    alike = [other for other in others if other.recording.unit == one.recording.unit]
    reached = max((float(np.abs(other.recording.samples).max()) for other in alike), default=0.0)
    return "" if reached > rail else "its rail lies above all that the others reach: this direction may truly be that strong"


def _gravity(one: Recorded, others: Sequence[Recorded]) -> str:
    if one.recording.unit != "m/s2":
        return ""
    own = float(one.recording.samples.mean(dtype=np.float64))
    beside = [other for other in others if other.recording.point == one.recording.point and other.recording.unit == "m/s2"]
    means = [own, *(float(other.recording.samples.mean(dtype=np.float64)) for other in beside)]
    total = math.sqrt(sum(mean**2 for mean in means))
    if abs(total / GRAVITY - 1) <= _OF_GRAVITY:
        return f"with the other axes it makes up {total:.2f} m/s2: gravity"
    if len(means) < 3 and total <= (1 + _OF_GRAVITY) * GRAVITY:
        return f"{total:.2f} m/s2 may be gravity on axes that are not upright: needs three axes"
    return ""


def _shared_motion(one: Recorded, others: Sequence[Recorded]) -> str:
    own = _slow(one)
    for other in others:
        cross = own * np.conj(_slow(other))
        size = np.abs(cross)
        together = float(abs(np.mean(cross / np.where(size > 0, size, 1.0))))
        if together >= _TOGETHER and steadiness_log_chance(together, count=cross.size) <= math.log(NOISE_LIMIT):
            return f"{other.recording.channel} moves with it near 0 Hz, in phase steady to {together:.2f}"
    return ""


def _slow(one: Recorded) -> NDArray[np.complexfloating]:
    return np.asarray(scipy.fft.rfft(one.recording.samples)[_SLOW_BINS])
