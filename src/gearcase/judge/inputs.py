"""Which source counts now for run, speed, load, direction and ambient, how old and good its word is, and where two disagree.

Theory of operation
-------------------
Each input has sources in order. The first that is fresh counts; where none is, the input is not known. What a source says grows
old: past its age limit, or from a time still to come (a clock that was set back), it counts no more; a read that fails leaves what
was said before to grow old, so that one lost frame changes nothing. A stated value and a speed from a recording's lines say
nothing of standstill: the drive may have stopped since. They count while something else says that it runs, and are 0 where it
stands. Run itself is told by its own sources; then by a measured speed; and last by an overall level, which a neighbour can feign,
so that this is said.

Two fresh sources of one input that differ by more than `APART` disagree: the first counts all the same, and both are named.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

__all__ = [
    "APART",
    "INPUTS",
    "MEASURED",
    "Conditions",
    "Disagreement",
    "Heard",
    "Known",
    "Source",
    "conditions",
    "disagreements",
    "words",
]

INPUTS = ("run", "speed", "load", "direction", "ambient")
MEASURED = ("register", "analogue", "mqtt", "posted")  # what is read of the plant, against what is inferred or stated
AHEAD = 60.0  # s by which clocks of the plant may be ahead of ours; common practice, no source
APART: Mapping[str, float] = {  # beyond which two sources disagree; run and direction: at all
    "run": 0.5,
    "speed": 0.02,  # of the larger; trade practice, no source
    "load": 0.1,  # of the rated load; common practice, no source
    "direction": 0.5,
    "ambient": 5.0,  # K; common practice, no source
}


@dataclass(frozen=True)
class Source:
    """Where an input comes from.

    Attributes
    ----------
    name : str
    kind : str
        One of `INPUTS`.
    how : str
        ``register``, ``analogue``, ``mqtt``, ``posted``, ``comb``, ``level`` or ``stated``.
    age_limit : float
        How old what it says may be; infinite for what is stated. [s]
    """

    name: str
    kind: str
    how: str
    age_limit: float


@dataclass(frozen=True)
class Heard:
    """What a source said last: `value` in SI (run 1 or 0, direction 1 forward or -1 reverse, load as share of rated), None where
    it never could be read; `time_s` when, Unix time; `says` why it could not be read since. [s], [unit of the quantity]
    """

    value: float | None
    time_s: float
    says: str = ""


@dataclass(frozen=True)
class Known:
    """An input as it stands now.

    Attributes
    ----------
    value : float or None
        Run 1 or 0 [-], speed [Hz], load [-], direction 1 forward or -1 reverse [-], ambient [K]; None where nothing fresh says.
    source : str
        Name of the source that counts, empty where none does.
    age_s : float
        Of the value; infinite where there is none. [s]
    quality : str
        ``good`` (read of the plant), ``held`` (read before; the last try failed), ``inferred``, ``stated``, ``stale`` (known once,
        too old now: no value) or ``bad`` (never known).
    says : str
        For a person: whence, or why not.
    """

    value: float | None = None
    source: str = ""
    age_s: float = math.inf
    quality: str = "bad"
    says: str = "no source is listed"


@dataclass(frozen=True)
class Disagreement:
    """Two fresh sources of one input that cannot both be right."""

    kind: str
    one: str
    other: str
    says: str


@dataclass(frozen=True)
class Conditions:
    """The plant's inputs now, each with source, age and quality, and the sources that disagree."""

    run: Known
    speed: Known
    load: Known
    direction: Known
    ambient: Known
    disagreements: tuple[Disagreement, ...] = ()

    @property
    def known(self) -> dict[str, Known]:
        """By `INPUTS`."""
        return {kind: getattr(self, kind) for kind in INPUTS}

    @property
    def speed_hz(self) -> float | None:
        """Of the input shaft, without its sign. [Hz]"""
        return self.speed.value

    @property
    def cannot(self) -> str:
        """What cannot be judged now for want of an input; empty where nothing is missing."""
        if self.run.value is None:
            return f"whether the drive runs is not known ({self.run.says}): nothing is judged"
        if self.run.value and self.speed.value is None:
            return (
                f"speed not known ({self.speed.says}): only overall values, temperature and indicators that need no speed are "
                "judged, no line is named"
            )
        return ""


def conditions(sources: Iterable[Source], heard: Mapping[str, Heard], now: float, *, least_speed_hz: float) -> Conditions:
    """The inputs as they stand.

    Parameters
    ----------
    sources : iterable of Source
        Those of one kind in the order in which they count.
    heard : mapping
        Name of a source -> what it said last.
    now : float
        Unix time. [s]
    least_speed_hz : float
        The drive runs at and above this measured speed. [Hz]

    Examples
    --------
    >>> both = [Source("converter", "speed", "register", 30.0), Source("nameplate", "speed", "stated", math.inf)]
    >>> said = {"converter": Heard(24.75, 100.0), "nameplate": Heard(25.0, 0.0)}
    >>> found = conditions(both, said, 110.0, least_speed_hz=1.0)
    >>> found.speed.source, found.speed.age_s, found.run.value
    ('converter', 10.0, 1.0)
    >>> conditions(both, said, 200.0, least_speed_hz=1.0).speed.says
    'converter: last heard 100 s ago, may be 30 s old; nameplate: counts only while something else says that the drive runs'
    """
    listed: dict[str, list[Source]] = {kind: [] for kind in INPUTS}
    for source in sources:
        listed[source.kind].append(source)
    run = _run(listed, heard, now, least_speed_hz)
    speed = _while_running(_first(listed["speed"], heard, now, run.value), run)
    direction = _first(listed["direction"], heard, now, run.value)
    if direction.value is None and speed.value is not None and speed.value < 0:
        direction = replace(speed, value=-1.0, says=f"by the sign of {speed.source}")
    if speed.value is not None:
        speed = replace(speed, value=abs(speed.value))
    return Conditions(
        run,
        speed,
        _while_running(_first(listed["load"], heard, now, run.value), run),
        direction,
        _first(listed["ambient"], heard, now, 1.0),
        tuple(disagreements([source for kind in INPUTS for source in listed[kind]], heard, now)),
    )


def disagreements(sources: Sequence[Source], heard: Mapping[str, Heard], now: float) -> Iterable[Disagreement]:
    """Pairs of fresh sources of one kind that differ by more than `APART`, at `now`. [s]

    A value that is stated, or comes from the lines of a recording, is held against a measured one only while that is above 0.
    """
    for one, other in combinations(sources, 2):
        if one.kind != other.kind or _why_not(one, heard, now) or _why_not(other, heard, now):
            continue
        first, second = heard[one.name].value, heard[other.name].value
        if first is None or second is None:
            continue
        still = min(abs(first), abs(second)) == 0
        if one.kind == "speed" and still and not {one.how, other.how} <= set(MEASURED):
            continue
        scale = max(abs(first), abs(second)) if one.kind == "speed" else 1.0
        away = abs(abs(first) - abs(second)) if one.kind == "speed" else abs(first - second)
        if away > APART[one.kind] * scale:
            says = f"{one.name} says {words(one.kind, first)}, {other.name} says {words(one.kind, second)}; {one.name} counts"
            yield Disagreement(one.kind, one.name, other.name, says)


def words(kind: str, value: float) -> str:
    """An input's value [unit of the quantity] for a person.

    >>> words("speed", 24.75), words("load", 0.8), words("direction", -1.0), words("run", 1.0), words("ambient", 293.15)
    ('1485 rpm', '80 %', 'reverse', 'running', '20 °C')
    """
    if kind == "speed":
        return f"{60 * value:.5g} rpm"
    if kind == "load":
        return f"{100 * value:.3g} %"
    if kind == "ambient":
        return f"{value - 273.15:.3g} °C"
    if kind == "run":
        return "running" if value else "stopped"
    return "forward" if value > 0 else "reverse"


def _run(
    listed: Mapping[str, Sequence[Source]],
    heard: Mapping[str, Heard],
    now: float,
    least_speed_hz: float,
) -> Known:
    """Whether it runs: by its own sources, a measured speed, an overall level."""
    own = _first([one for one in listed["run"] if one.how != "level"], heard, now, None)
    if own.value is not None:
        return replace(own, value=float(own.value != 0))
    measured = _first([one for one in listed["speed"] if one.how in MEASURED], heard, now, None)
    if measured.value is not None:
        return replace(measured, value=float(abs(measured.value) >= least_speed_hz), says=f"by the speed of {measured.source}")
    level = _first([one for one in listed["run"] if one.how == "level"], heard, now, 1.0)
    if level.value is not None:
        return replace(level, says="by the overall level alone, which a neighbour can feign and a gentle drive may not reach")
    tried = (own, measured, level)
    reasons = [one.says for one in tried if one.says != Known.says]
    quality = "stale" if "stale" in {one.quality for one in tried} else "bad"
    return Known(quality=quality, says="; ".join(reasons) or Known.says)


def _first(sources: Sequence[Source], heard: Mapping[str, Heard], now: float, running: float | None) -> Known:
    """The first source that counts; those not measured count only while the drive runs, or stands (`running` 1 or 0)."""
    reasons, stale = [], False
    for source in sources:
        why = _why_not(source, heard, now)
        if not why and source.how not in MEASURED and running is None:
            why = "counts only while something else says that the drive runs"
        if why:
            reasons.append(f"{source.name}: {why}")
            stale = stale or (source.name in heard and heard[source.name].value is not None)
            continue
        said = heard[source.name]
        quality = "good" if source.how in MEASURED else "stated" if source.how == "stated" else "inferred"
        whence = {"comb": "from the lines of a recording", "stated": "as stated"}.get(source.how, "read")
        if said.says and quality == "good":
            quality, whence = "held", f"read before: {said.says}"
        age = 0.0 if source.how == "stated" else max(now - said.time_s, 0.0)
        return Known(said.value, source.name, age, quality, whence)
    return Known(quality="stale" if stale else "bad", says="; ".join(reasons) or Known.says)


def _while_running(known: Known, run: Known) -> Known:
    """What is stated or inferred of a drive that stands is 0."""
    if known.value is not None and known.quality in ("stated", "inferred") and run.value == 0:
        return replace(known, value=0.0, says=f"stands by {run.source}")
    return known


def _why_not(source: Source, heard: Mapping[str, Heard], now: float) -> str:
    said = heard.get(source.name)
    if said is None:
        return "never heard"
    if said.value is None:
        return said.says or "cannot be read"
    age = now - said.time_s
    if source.how == "stated":
        return ""
    if age < -AHEAD:
        return f"heard {-age:.0f} s in the time to come: a clock was set back; counts again when it is heard anew"
    if age > source.age_limit:
        return f"last heard {age:.0f} s ago, may be {source.age_limit:.0f} s old" + (f" ({said.says})" if said.says else "")
    return ""
