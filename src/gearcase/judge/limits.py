"""Alarm limits of one quantity at one point in one run state, each with its working.

On day one nothing is known of this drive: overall velocity is held against the zones, a stand-in and not gear health, and
temperature against fixed figures; bands are evidence only. After a week of runs the drive's own readings speak, a state of speed
and load at a time, if there are enough of them (`what_lacks`). After three months they are brought to one speed, load and oil
temperature (`judge.compensation`) and the limits stand a few sigma over what is left. Own limits hold where they were learned; the
ceiling of overall velocity holds everywhere. Nothing here trips: *danger* is the standard's TRIP level, not wired. All limits
expire.

The rules are common practice without source except the alarm rule of ISO 10816-3 (from memory). A share of a temperature
means nothing: after three months its limits stand kelvins over what running, speed, load and surroundings make usual
(`judge.warming`), and the fixed figures stay as a ceiling.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from gearcase.errors import OutOfRange
from gearcase.judge.compensation import LOAD, SPEED, LevelModel
from gearcase.judge.operating import Operating
from gearcase.judge.steady import Duty
from gearcase.judge.warming import AROUND, WarmingModel
from gearcase.judge.zones import STAND_IN, Rating
from gearcase.worked import Given, Origin, Worked, work, worked_by

__all__ = [
    "DAY_ONE_EXPIRES",
    "ONE_WEEK_EXPIRES",
    "THREE_MONTHS",
    "Limit",
    "NotEnough",
    "ceiling_overall",
    "ceiling_temperature",
    "day_one_overall",
    "day_one_temperature",
    "one_week",
    "one_week_overall",
    "three_month",
    "three_month_temperature",
    "what_lacks",
]

DAY = 86400.0
DAY_ONE_EXPIRES, ONE_WEEK_EXPIRES = 30 * DAY, 90 * DAY  # [s]; common practice, no source
THREE_MONTHS = 90 * DAY  # of readings since the last epoch, for limits by regression [s]; common practice, no source
LEAST_STARTS, LEAST_SETTLED_HOURS, LEAST_RECORDS, LEAST_JUDGED_SHARE = 3, 3.0, 50, 0.2  # common practice, no source
LOW_FOR = 600.0  # under the low limit for so long: sensor loose or off [s]; common practice, no source
OIL_YELLOW, OIL_DANGER = 353.15, 366.15  # 80 °C (lower end of 80 to 85) and 93 °C, mineral oil [K]; common practice, no source
RISE_YELLOW, RISE_DANGER = 40.0, 56.0  # over ambient [K]; common practice, no source
_PRACTICE = "common practice, no source"
_ISO = "ISO 10816-3, setting of ALARM (from memory)"
_SIGMAS = 4.5  # of the residual, 4 to 5; common practice, no source
LEAST_YELLOW_DB = {"overall velocity": 3.0, "": 6.0}  # over the usual level; of bands the latter; common practice, no source
_DANGER_DB = 10.0  # over the usual level; common practice, no source
_APART = 10 ** (3 / 20)  # danger stands at least 3 dB over yellow; common practice, no source
_LEAST_YELLOW_K, _LEAST_DANGER_K, _APART_K = 5.0, 15.0, 5.0  # over the usual temperature, and between both; common practice


@dataclass(frozen=True)
class Limit:
    """Limits of a quantity.

    Attributes
    ----------
    point, quantity, state : str
        `state` is the run state in which they hold.
    yellow, danger, low : Worked or None
        In `unit`; None where there is no such limit.
    unit, kind : str
        `kind` is ``day-one``, ``one-week``, ``three-month`` or ``ceiling``.
    role : str
        Who stands for them, e.g. ``proposed by technician``.
    expires : float
        Unix time. [s]
    note : str
        What must be said beside them.
    operating : Operating or None
        Speed and load at which they hold; None at any.
    model : LevelModel or WarmingModel or None
        By which a reading is brought to the reference before it is held against them; it also says where they hold.
    """

    point: str
    quantity: str
    state: str
    yellow: Worked | None
    danger: Worked | None
    low: Worked | None
    unit: str
    kind: str
    role: str
    expires: float
    note: str = ""
    operating: Operating | None = None
    model: LevelModel | WarmingModel | None = None


@dataclass(frozen=True)
class NotEnough:
    """Why limits of a week's readings cannot be set: each thing that lacks, as a sentence."""

    lacks: tuple[str, ...]


@worked_by(formula="s = 1.4826 MAD", unit="as read", source="for a normal distribution; P. J. Rousseeuw (from memory)")
def robust_sigma(*, median_deviation: float) -> float:
    """Standard deviation from the median absolute deviation, as for normal scatter.

    >>> robust_sigma(median_deviation=0.1)
    0.14826
    """
    return 1.4826 * median_deviation


@worked_by(formula="yellow = max(2 m, m + 4 s)", unit="as read", source=_PRACTICE)
def yellow_over_own(*, median: float, sigma: float) -> float:
    """Yellow over the drive's own median.

    >>> yellow_over_own(median=1.0, sigma=0.1), yellow_over_own(median=1.0, sigma=0.5)
    (2.0, 3.0)
    """
    return max(2 * median, median + 4 * sigma)


@worked_by(formula="ALARM = min(b + 0.25 BC, 1.25 BC)", unit="m/s", source=_ISO)
def alarm_of_standard(*, baseline: float, boundary_bc: float) -> float:
    """The standard's ALARM: baseline and a quarter of the B/C boundary, at most 1.25 times that boundary.

    >>> alarm_of_standard(baseline=2.0e-3, boundary_bc=4.5e-3)
    0.003125
    >>> alarm_of_standard(baseline=5.0e-3, boundary_bc=4.5e-3)
    0.005625
    """
    return min(baseline + 0.25 * boundary_bc, 1.25 * boundary_bc)


@worked_by(formula="ALARM = b + 0.25 BC", unit="m/s", source=f"{_ISO}, its cap lifted by the approver for a known defect")
def alarm_with_known_defect(*, baseline: float, boundary_bc: float) -> float:
    """ALARM for a baseline that is already over the boundary: the cap would alarm for ever."""
    return baseline + 0.25 * boundary_bc


@worked_by(formula="the lower of both", unit="as read", source=_PRACTICE)
def lower_of(*, first: float, second: float) -> float:
    """The lower of two limits."""
    return min(first, second)


@worked_by(formula="danger = max(4 m, 1.41 yellow)", unit="as read", source=_PRACTICE)
def danger_over_own(*, median: float, yellow: float) -> float:
    """Danger over the drive's own median, never less than 3 dB over yellow.

    >>> danger_over_own(median=1.0, yellow=2.0)
    4.0
    """
    return max(4 * median, _APART * yellow)


@worked_by(formula="danger = max(CD, 1.41 yellow)", unit="m/s", source=_PRACTICE)
def danger_with_known_defect(*, boundary_cd: float, yellow: float) -> float:
    """Danger for an accepted defect: the C/D boundary, or 3 dB over yellow where yellow is already near it."""
    return max(boundary_cd, _APART * yellow)


@worked_by(formula="low = m / 3", unit="as read", source=_PRACTICE)
def low_limit(*, median: float) -> float:
    """Running, but under this for `LOW_FOR`: the sensor is loose or off."""
    return median / 3


@worked_by(formula="yellow = m max(exp(4.5 s), 10^(d/20))", unit="as read", source=_PRACTICE)
def yellow_over_usual(*, level: float, sigma: float, least_db: float) -> float:
    """Yellow over the usual level at the reference: 4.5 robust sigma of the logarithm's residual, but a least number of dB.

    >>> yellow_over_usual(level=1.0, sigma=0.02, least_db=6.0), yellow_over_usual(level=1.0, sigma=0.2, least_db=3.0)
    (1.995, 2.4596)
    """
    return float(level * max(math.exp(_SIGMAS * sigma), 10 ** (least_db / 20)))


@worked_by(formula="danger = max(10^(10/20) m, 1.41 yellow)", unit="as read", source=_PRACTICE)
def danger_over_usual(*, level: float, yellow: float) -> float:
    """Danger 10 dB over the usual level, never less than 3 dB over yellow.

    >>> danger_over_usual(level=1.0, yellow=1.5)
    3.1623
    """
    return float(max(10 ** (_DANGER_DB / 20) * level, _APART * yellow))


@worked_by(formula="yellow = m + max(4.5 s, 5 K)", unit="K", source=_PRACTICE)
def yellow_over_usual_temperature(*, level: float, sigma: float) -> float:
    """Yellow over the usual temperature at the reference: 4.5 robust sigma of the residual, at least 5 K.

    >>> yellow_over_usual_temperature(level=330.0, sigma=0.5), yellow_over_usual_temperature(level=330.0, sigma=2.0)
    (335.0, 339.0)
    """
    return level + max(_SIGMAS * sigma, _LEAST_YELLOW_K)


@worked_by(formula="danger = max(m + 15 K, yellow + 5 K)", unit="K", source=_PRACTICE)
def danger_over_usual_temperature(*, level: float, yellow: float) -> float:
    """Danger 15 K over the usual temperature, never less than 5 K over yellow.

    >>> danger_over_usual_temperature(level=330.0, yellow=335.0)
    345.0
    """
    return max(level + _LEAST_DANGER_K, yellow + _APART_K)


@worked_by(formula="the highest ALARM, 1.25 BC", unit="m/s", source=_ISO)
def highest_alarm(*, boundary_bc: float) -> float:
    """What the standard's ALARM never exceeds."""
    return 1.25 * boundary_bc


@worked_by(formula="the boundary itself", unit="m/s", source=STAND_IN)
def at_boundary(*, boundary: float) -> float:
    """A zone boundary as a limit."""
    return boundary


@worked_by(formula="the fixed figure", unit="K", source=_PRACTICE)
def fixed_temperature(*, fixed: float) -> float:
    """A fixed temperature as a limit, where nobody knows the ambient."""
    return fixed


@worked_by(formula="min(fixed, ambient + rise)", unit="K", source=_PRACTICE)
def temperature_limit(*, fixed: float, ambient: float, rise: float) -> float:
    """The lower of a fixed temperature and a rise over ambient.

    >>> temperature_limit(fixed=353.15, ambient=293.15, rise=40.0), temperature_limit(fixed=353.15, ambient=318.15, rise=40.0)
    (333.15, 353.15)
    """
    return min(fixed, ambient + rise)


def what_lacks(duty: Duty, *, records: int) -> NotEnough | None:
    """What is still wanting before the drive's own readings can set limits; None when nothing is.

    Examples
    --------
    >>> what_lacks(Duty(run_minutes=600.0, judged_minutes=240.0, settled_hours=4.0, starts=2, judged_share=0.4), records=240)
    NotEnough(lacks=('2 starts seen, 3 wanted',))
    """
    lacks = []
    if duty.starts < LEAST_STARTS:
        lacks.append(f"{duty.starts} starts seen, {LEAST_STARTS} wanted")
    if duty.settled_hours < LEAST_SETTLED_HOURS:
        lacks.append(f"{duty.settled_hours:.1f} h settled, {LEAST_SETTLED_HOURS:.0f} h wanted")
    if records < LEAST_RECORDS:
        lacks.append(f"{records} gated records, {LEAST_RECORDS} wanted")
    if duty.judged_share < LEAST_JUDGED_SHARE:
        lacks.append(f"{100 * duty.judged_share:.0f} % of the run time judged, {100 * LEAST_JUDGED_SHARE:.0f} % wanted")
    return NotEnough(tuple(lacks)) if lacks else None


def day_one_overall(*, point: str, zone: Rating, role: str, now: float) -> Limit:
    """Overall velocity by zone [m/s]: yellow at B/C, danger at C/D; a stand-in, not gear health. Expires in 30 days."""
    yellow, danger = (
        work(f"{name} of overall velocity at {point}", at_boundary, boundary=_boundary(zone, which))
        for name, which in (("yellow", "B/C"), ("danger", "C/D"))
    )
    note = "stand-in, not gear health"
    return Limit(point, "overall velocity", "steady", yellow, danger, None, "m/s", "day-one", role, now + DAY_ONE_EXPIRES, note)


def ceiling_overall(*, point: str, zone: Rating, role: str, now: float) -> Limit:
    """Overall velocity that no speed, load or habit of the drive makes usual [m/s]: it stands beside limits of its own."""
    yellow = work(f"ceiling of overall velocity at {point}", highest_alarm, boundary_bc=_boundary(zone, "B/C"))
    danger = work(f"danger of overall velocity at {point}", at_boundary, boundary=_boundary(zone, "C/D"))
    note = "at any speed and load: running condition, not gear health"
    return Limit(point, "overall velocity", "steady", yellow, danger, None, "m/s", "ceiling", role, now + ONE_WEEK_EXPIRES, note)


def day_one_temperature(*, point: str, ambient_k: float | None, role: str, now: float) -> Limit:
    """Temperature by fixed figures for mineral oil, or by its rise over ambient where that is lower.

    `ambient_k` is None where nobody knows it [K]. The maker's figure goes first: it is for the approver to set.
    """

    def one(name: str, fixed: float, rise: float) -> Worked:
        figure = Given(f"{name} for mineral oil", fixed, "K", Origin.ASSUMED)
        if ambient_k is None:
            return work(f"{name} of temperature at {point}", fixed_temperature, fixed=figure)
        ambient = Given("ambient", ambient_k, "K", Origin.MEASURED, 2.0)
        over = Given(f"{name} over ambient", rise, "K", Origin.ASSUMED)
        return work(f"{name} of temperature at {point}", temperature_limit, fixed=figure, ambient=ambient, rise=over)

    yellow, danger = one("yellow", OIL_YELLOW, RISE_YELLOW), one("danger", OIL_DANGER, RISE_DANGER)
    note = "mineral oil; the maker's figure goes first"
    return Limit(point, "temperature", "running", yellow, danger, None, "K", "day-one", role, now + DAY_ONE_EXPIRES, note)


def ceiling_temperature(*, point: str, ambient_k: float | None, role: str, now: float) -> Limit:
    """The fixed figures of `day_one_temperature`, beside limits of the drive's own: no habit of the drive makes more usual. [K]"""
    fixed = day_one_temperature(point=point, ambient_k=ambient_k, role=role, now=now)
    return replace(fixed, kind="ceiling", expires=now + ONE_WEEK_EXPIRES)


def three_month_temperature(model: WarmingModel, *, point: str, role: str, now: float) -> Limit:
    """Limits over the usual temperature at the reference conditions, settled. [K]

    Yellow stands 4.5 robust sigma of the residual over it, at least 5 K; danger 15 K.
    """
    level = Given(f"usual temperature at {point}, of {model.records} records", model.level, "K", Origin.MEASURED)
    sigma = Given("robust sigma of what is left", model.sigma, "K", Origin.MEASURED)
    yellow = work(f"yellow of temperature at {point}", yellow_over_usual_temperature, level=level, sigma=sigma)
    danger = work(f"danger of temperature at {point}", danger_over_usual_temperature, level=level, yellow=yellow)
    counts = [name for name in model.reference if name in model.rise or name == AROUND]
    at = [_at(model.surroundings if name == AROUND else name, model.reference[name]) for name in counts]
    note = f"brought to {', '.join(['settled', *at])}; time constant {model.time_constant_s / 60:.0f} min"
    return Limit(
        point, "temperature", "running", yellow, danger, None, "K", "three-month", role, now + ONE_WEEK_EXPIRES, note, None, model
    )


def three_month(model: LevelModel, *, point: str, quantity: str, unit: str, role: str, now: float) -> Limit:
    """Limits over the usual level at the reference conditions. [unit of the quantity]

    Yellow stands 4.5 robust sigma of the residual over it, at least 3 dB for overall velocity and 6 dB for bands; danger 10 dB.
    """
    level = Given(f"usual {quantity} at {point}, of {model.records} records", model.level, unit, Origin.MEASURED)
    sigma = Given("robust sigma of the logarithm", model.sigma, "-", Origin.MEASURED)
    least = Given("at least", LEAST_YELLOW_DB.get(quantity, LEAST_YELLOW_DB[""]), "dB", Origin.ASSUMED)
    yellow = work(f"yellow of {quantity} at {point}", yellow_over_usual, level=level, sigma=sigma, least_db=least)
    danger = work(f"danger of {quantity} at {point}", danger_over_usual, level=level, yellow=yellow)
    low = work(f"low limit of {quantity} at {point}", low_limit, median=level)
    at = ", ".join(_at(name, value) for name, value in model.reference.items() if name in model.slope)
    note = f"brought to {at}" if at else "neither speed, load nor oil temperature made a difference that can be told"
    expires = now + ONE_WEEK_EXPIRES
    return Limit(point, quantity, "steady", yellow, danger, low, unit, "three-month", role, expires, note, None, model)


def one_week(
    values: ArrayLike,
    *,
    point: str,
    quantity: str,
    unit: str,
    runs: int,
    role: str,
    now: float,
    operating: Operating | None = None,
) -> Limit:
    """Limits of a vibration quantity over its own median [unit of the quantity], from gated records.

    Parameters
    ----------
    values : array_like, shape (n,)
        Records of one steady state; none negative. `unit`
    operating : Operating or None
        That state; None where nobody reads speed or load.
    runs : int
        From how many runs they come: records of one run are alike, so the median's spread counts runs.

    Raises
    ------
    OutOfRange
        No records, a negative or missing one, a median of 0, or fewer runs than one.
    """
    median, yellow = _own(values, point, quantity, unit, runs)
    return Limit(
        point,
        quantity,
        "steady",
        yellow,
        work(f"danger of {quantity} at {point}", danger_over_own, median=median, yellow=yellow),
        work(f"low limit of {quantity} at {point}", low_limit, median=median),
        unit,
        "one-week",
        role,
        now + ONE_WEEK_EXPIRES,
        operating=operating,
    )


def one_week_overall(
    values: ArrayLike,
    *,
    point: str,
    zone: Rating,
    runs: int,
    known_defect: bool,
    role: str,
    now: float,
    operating: Operating | None = None,
) -> Limit:
    """Overall velocity [m/s]: the lower of its own limits and those of the standard.

    With `known_defect` (an approver's doing) the standard's cap is lifted, or it would alarm for ever, and the limits
    expire in 30 days. Other parameters and errors as `one_week`.
    """
    name = "overall velocity"
    median, own = _own(values, point, name, "m/s", runs)
    rule = alarm_with_known_defect if known_defect else alarm_of_standard
    standard = work(f"ALARM of the standard at {point}", rule, baseline=median, boundary_bc=_boundary(zone, "B/C"))
    yellow = work(f"yellow of {name} at {point}", lower_of, first=own, second=standard)
    ceiling = _boundary(zone, "C/D")
    if known_defect:
        danger = work(f"danger of {name} at {point}", danger_with_known_defect, boundary_cd=ceiling, yellow=yellow)
    else:
        four = work(f"four times the median at {point}", danger_over_own, median=median, yellow=yellow)
        danger = work(f"danger of {name} at {point}", lower_of, first=four, second=ceiling)
    low = work(f"low limit of {name} at {point}", low_limit, median=median)
    expires = now + (DAY_ONE_EXPIRES if known_defect else ONE_WEEK_EXPIRES)
    note = "running condition, not gear health"
    return Limit(point, name, "steady", yellow, danger, low, "m/s", "one-week", role, expires, note, operating)


def _own(values: ArrayLike, point: str, quantity: str, unit: str, runs: int) -> tuple[Given, Worked]:
    """Median of the records, and yellow over it."""
    kept = np.asarray(values, dtype=float)
    if kept.ndim != 1 or not len(kept) or not np.all((kept >= 0) & (kept < np.inf)):
        raise OutOfRange("values", kept.shape, "one row of records, each 0 or more")
    if not np.median(kept) > 0:
        raise OutOfRange("values", "a median of 0", "a level above 0: of a sensor that reads nothing nothing is usual")
    if runs < 1:
        raise OutOfRange("runs", runs, "1 or more")
    middle = float(np.median(kept))
    scatter = Given(f"median deviation of {quantity}", float(np.median(np.abs(kept - middle))), unit, Origin.MEASURED)
    sigma = work(f"robust sigma of {quantity} at {point}", robust_sigma, median_deviation=scatter)
    spread = 1.2533 * sigma.value / runs**0.5  # of a median of normal scatter
    median = Given(f"median of {len(kept)} records of {quantity} at {point}", middle, unit, Origin.MEASURED, spread)
    return median, work(f"yellow of {quantity} at {point}", yellow_over_own, median=median, sigma=sigma)


def _at(condition: str, value: float) -> str:
    if condition == SPEED:
        return f"{60 * value:.0f} rpm"
    if condition == LOAD:
        return f"{100 * value:.0f} % load"
    return f"{condition.removesuffix(' temperature')} at {value - 273.15:.0f} °C"


def _boundary(zone: Rating, which: str) -> Given:
    value = zone.boundaries[("A/B", "B/C", "C/D").index(which)]
    return Given(f"boundary {which}, group {zone.group}, {zone.support} support", value, "m/s", Origin.ASSUMED)
