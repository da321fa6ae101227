"""Lubrication: has the high-frequency floor at a bearing risen, without lines, and has it grown warm?

Theory of operation
-------------------
Surfaces that touch through a thin film make noise at all high frequencies. The floor is the median density from 5 kHz to the end of
the record's good band, which lines do not move, in decibels. The latest record is held against earlier ones of the same place,
speed and load: with n of them of standard deviation s a rise r of nothing but scatter has r / (s sqrt(1 + 1/n)) distributed as
Student's t with n - 1 degrees of freedom. A scatter smaller than a tenth of what is asked for is not believed.

An early bearing fault raises the floor too, but its impacts come at a rate: the envelope shows a comb. A process or a neighbour
hisses too: it does not stop with this drive, or it is as much louder at every point.
"""

import math
from collections.abc import Sequence

import numpy as np
import scipy.special

from gearcase.drive.train import Drive
from gearcase.judge.explained import envelope_orders
from gearcase.judge.faults import NOISE_LIMIT, bearing_hypotheses, judge_bearings
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.judge.patterns.observed import Observed, matched
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import GROWN_DB, RUNNING, Measured, elsewhere
from gearcase.judge.patterns.tones import Tones

__all__ = ["examine"]

FLOOR_FROM_HZ = 5000.0  # table fault_patterns: a high band
_GOOD_BAND = 2.56  # sample rate over the highest frequency a record is good for, usual in the trade
_FEWEST_EARLIER = 5
_WARMER_K = 5.0  # common practice, no source
_BELIEVED = 0.1  # least scatter, of what is asked for: six records that agree by chance prove no precision
_SILENT_DB = 3.0  # at another point: not louder
_NAME, _FLOOR, _LINES, _WARM = "lubrication", "high-frequency floor up", "few lines", "temperature"


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Every bearing that somebody measured, by the direction whose floor rose most."""
    measured = Measured(drive, observed)
    rows: dict[str, list[_Rise]] = {}
    for tones in _latest(measured):
        rows.setdefault(tones.observed.component, []).append(_Rise(measured, tones))
    grown = {component: max(found, key=lambda one: one.grown_db) for component, found in rows.items()}
    return tuple(_lubrication(measured, component, grown) for component in grown)


class _Rise:
    """The floor of the latest record of a place against earlier ones of the same state, speed and load."""

    def __init__(self, measured: Measured, latest: Tones) -> None:
        self.latest = latest
        before = measured.records[: measured.records.index(latest)]
        self.earlier = tuple(one for one in before if matched(one.observed, latest.observed))
        self.level = _floor_db(latest)
        levels = [_floor_db(one) for one in self.earlier]
        self.grown_db = -math.inf
        self.chance = 1.0
        if self.level is not None and len(levels) >= _FEWEST_EARLIER:
            self.grown_db, self.chance = _against([one for one in levels if one is not None], self.level, asked=GROWN_DB)

    @property
    def known(self) -> bool:
        """Whether the floor could be compared."""
        return math.isfinite(self.grown_db)


def _lubrication(measured: Measured, component: str, grown: dict[str, _Rise]) -> Weighed:
    rise = grown[component]
    if not rise.known:
        says = f"needs a band above {FLOOR_FROM_HZ / 1000:g} kHz"
        if rise.level is not None:
            says = f"needs {_FEWEST_EARLIER} earlier records of this point and direction at the same speed and stated load"
        return weigh(_NAME, component, [Sign(Role.NEEDED, _FLOOR, None, says)], attribution=1.0)
    seen = rise.grown_db >= GROWN_DB and rise.chance <= NOISE_LIMIT
    combs = _combs(measured, rise.latest, component) if seen else None
    stands = _standing_db(measured, rise)
    beside = [one.grown_db for name, one in grown.items() if name != component and one.known]
    local = bool(beside) and max(beside) <= _SILENT_DB
    stays = None if stands is None else stands > -GROWN_DB
    signs = [
        Sign(
            Role.NEEDED,
            _FLOOR,
            seen,
            f"{rise.grown_db:+.1f} dB from {FLOOR_FROM_HZ / 1000:g} kHz up over {len(rise.earlier)} earlier records",
            max(rise.chance, VERIFIED_FLOOR),
        ),
        Sign(
            Role.NEEDED,
            _LINES,
            None if combs is None else not combs,
            combs or ("no comb of this bearing in the envelope" if combs == "" else "needs the geometry of a bearing"),
            max(rise.chance, VERIFIED_FLOOR),
        ),
        _temperature_sign(rise),
        Sign(Role.SUPPORTING, "drops after oiling", None, "needs a record before and after oiling"),
        Sign(Role.SUPPORTING, "at this bearing only", local if beside else None, _beside_words(beside)),
        Sign(
            Role.AGAINST,
            "shows with this drive standing",
            stays,
            "needs a record with this drive standing" if stands is None else f"{stands:+.1f} dB with this drive standing",
        ),
    ]
    rivals = {"process, belt or neighbour noise": local or stays is False}
    return weigh(
        _NAME,
        component,
        signs,
        attribution=elsewhere(0.0, rivals),
        seen_in=[rise.latest.observed],
        growth_db=rise.grown_db,
    )


def _latest(measured: Measured) -> tuple[Tones, ...]:
    found: dict[tuple[str, str], Tones] = {}
    for tones in measured.records:
        recording = tones.observed.recording
        if recording.taken.state in RUNNING and tones.observed.component:
            found[recording.point, recording.channel] = tones
    return tuple(found.values())


def _floor_db(tones: Tones) -> float | None:
    """Median density from 5 kHz up, in decibels of any unit; None where the record does not reach so far."""
    rate_hz = tones.observed.recording.sample_rate_hz
    first, last = (round(hz / tones.bin_hz) for hz in (FLOOR_FROM_HZ, rate_hz / _GOOD_BAND))
    if last <= first:
        return None
    density = tones.observed.power[first:last] / (tones.observed.spectrum.samples * rate_hz)
    return float(10 * np.log10(max(float(np.median(density)), 1e-300)))


def _against(earlier: Sequence[float], now: float, *, asked: float) -> tuple[float, float]:
    """How far one value stands over earlier ones, and the chance that their scatter alone does that (Student)."""
    values = np.array(earlier)
    rise = now - float(values.mean())
    scatter = max(float(values.std(ddof=1)), _BELIEVED * asked) * math.sqrt(1 + 1 / values.size)
    return rise, float(scipy.special.stdtr(values.size - 1, -rise / scatter))


def _temperature_sign(rise: _Rise) -> Sign:
    now = rise.latest.observed.recording.taken.oil_temperature
    earlier = [t for one in rise.earlier if (t := one.observed.recording.taken.oil_temperature) is not None]
    if now is None or len(earlier) < _FEWEST_EARLIER:
        return Sign(Role.NEEDED, _WARM, None, "needs the oil's temperature with every record")
    warmer, chance = _against(earlier, now, asked=_WARMER_K)
    seen = warmer >= _WARMER_K and chance <= NOISE_LIMIT
    return Sign(Role.NEEDED, _WARM, seen, f"oil {warmer:+.1f} K", max(chance, VERIFIED_FLOOR), witness=True)


def _combs(measured: Measured, latest: Tones, component: str) -> str | None:
    """The combs of this bearing, or of nobody's, in the envelope; None where no bearing's rates are known."""
    hypotheses = bearing_hypotheses(measured.drive)
    if not hypotheses:
        return None
    observed = latest.observed
    found = judge_bearings(
        observed.envelope,
        hypotheses,
        speed_hz=observed.speed_hz,
        speed_spread=observed.speed_spread,
        explained_orders=envelope_orders(measured.lines, speed_hz=observed.speed_hz),
    )
    ours = [comb for comb in (*found.claims, *found.uncertain) if comb.hypothesis is not None]
    own = [comb for comb in ours if component in {one.component for one in (comb.hypothesis, *comb.rivals) if one}]
    combs = [*own, *found.strangers]
    return "; ".join(f"a comb at {comb.base_hz:.2f} Hz in the envelope" for comb in combs)


def _standing_db(measured: Measured, rise: _Rise) -> float | None:
    """The floor with this drive standing over that of now; None where there is no such record. [dB]"""
    recording = rise.latest.observed.recording
    rows = measured.at(recording.point, recording.taken.direction, ("standing",))
    levels = [level for one in rows if (level := _floor_db(one)) is not None]
    return max(levels) - rise.level if levels and rise.level is not None else None


def _beside_words(beside: Sequence[float]) -> str:
    if not beside:
        return "needs earlier records at another bearing too"
    return f"the floor rose by {max(beside):+.1f} dB at most at other bearings"
