"""What was found on opening, and how often each pattern was right on this plant.

A verdict is only as good as what people find behind it. When a drive is opened, each verdict gets one of `FOUND`: *confirmed*,
*other* (a fault, but not that one), *nothing*, *not inspected*. The last says nothing of the verdict and is never counted as a
false alarm. A fault found that no verdict had named counts as missed, if it is a pattern at all. Shares stand with 90 % intervals
(Clopper and Pearson [1]_): exact, and wide as long as few drives were opened.

References
----------
.. [1] C. J. Clopper and E. S. Pearson, The use of confidence or fiducial limits illustrated in the case of the binomial,
   Biometrika 26, 1934 (from memory).
"""

from collections.abc import Iterable
from dataclasses import dataclass

import scipy.special

from gearcase.errors import OutOfRange
from gearcase.judge.bootstrap import OUTSIDE

__all__ = ["FOUND", "Opened", "Share", "Tally", "tally"]

FOUND = ("confirmed", "other", "nothing", "not inspected")


@dataclass(frozen=True)
class Opened:
    """One verdict and what stood behind it.

    Attributes
    ----------
    called : str
        Pattern of the verdict; empty for a fault that none had named.
    found : str
        One of `FOUND`.
    seen : str
        Pattern of the fault that was found instead; empty where it is none of the patterns, or nothing was found.

    Raises
    ------
    OutOfRange
        A finding that is none of the four, a fault seen without "other", or a finding that confirms no verdict.
    """

    called: str
    found: str
    seen: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        if self.found not in FOUND:
            raise OutOfRange("found", self.found, f"one of {', '.join(FOUND)}")
        if self.seen and self.found != "other":
            raise OutOfRange("seen", self.seen, 'only where "other" was found')
        if self.found == "other" and self.seen and self.seen == self.called:
            raise OutOfRange("seen", self.seen, 'another pattern than the verdict\'s, or "confirmed"')
        if not self.called and self.found == "confirmed":
            raise OutOfRange("called", self.called, "the pattern that was confirmed")


@dataclass(frozen=True)
class Share:
    """Share with its 90 % interval; without a case 0 of 0, and nothing is known: 0 to 1. [-]"""

    hits: int
    of: int
    low: float
    high: float


@dataclass(frozen=True)
class Tally:
    """How a pattern did.

    Attributes
    ----------
    pattern : str
    confirmed, other, nothing, not_inspected : int
        Verdicts of this pattern by what was found.
    missed : int
        Times that it was found and had not been named.
    named_right : Share
        Confirmed, of those inspected.
    fault_there : Share
        Confirmed or other, of those inspected: whether opening was worth it.
    caught : Share
        Confirmed, of all times that it was found.
    says : str
        For a person.
    """

    pattern: str
    confirmed: int
    other: int
    nothing: int
    not_inspected: int
    missed: int
    named_right: Share
    fault_there: Share
    caught: Share
    says: str


def tally(records: Iterable[Opened]) -> tuple[Tally, ...]:
    """The tally of every pattern that was called or seen, by name.

    Examples
    --------
    >>> kept = [Opened("outer_race", "confirmed")] * 7 + [Opened("outer_race", "nothing"), Opened("outer_race", "not inspected"),
    ...         Opened("outer_race", "other", "inner_race")]
    >>> inner, outer = tally(kept)
    >>> outer.says
    'outer race: right in 7 of 9 inspected (45 to 96 %), 1 nothing, 1 another fault; 1 not inspected'
    >>> inner.says
    'inner race: never called; missed 1'
    """
    kept = tuple(records)
    names = sorted({name for record in kept for name in (record.called, record.seen) if name})
    return tuple(_one(name, kept) for name in names)


def _one(pattern: str, records: tuple[Opened, ...]) -> Tally:
    confirmed, other, nothing, not_inspected = (
        sum(record.called == pattern and record.found == found for record in records) for found in FOUND
    )
    missed = sum(record.seen == pattern for record in records)
    inspected = confirmed + other + nothing
    right = _share(confirmed, inspected)
    parts = {"nothing": nothing, "another fault": other}
    if inspected:
        says = f"right in {confirmed} of {inspected} inspected ({100 * right.low:.0f} to {100 * right.high:.0f} %)"
        says += "".join(f", {count} {name}" for name, count in parts.items() if count)
    else:
        says = "never inspected" if not_inspected else "never called"
    says += f"; {not_inspected} not inspected" if not_inspected else ""
    says += f"; missed {missed}" if missed else ""
    return Tally(
        pattern,
        confirmed,
        other,
        nothing,
        not_inspected,
        missed,
        right,
        _share(confirmed + other, inspected),
        _share(confirmed, confirmed + missed),
        f"{pattern.replace('_', ' ')}: {says}",
    )


def _share(hits: int, of: int) -> Share:
    if not of:
        return Share(0, 0, 0.0, 1.0)
    low = float(scipy.special.betaincinv(hits, of - hits + 1, OUTSIDE)) if hits else 0.0
    high = float(scipy.special.betaincinv(hits + 1, of - hits, 1 - OUTSIDE)) if hits < of else 1.0
    return Share(hits, of, low, high)
