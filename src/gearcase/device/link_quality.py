"""How good the link to one device is: what was asked and what failed, with the share of failures that may be behind it, and how
long answers took. Pure counts, which add up over hours and years.
"""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gearcase.install.bus import error_rate_limit

__all__ = ["FAILURES", "LinkQuality"]

FAILURES = ("silent", "garbled", "another answered", "wrong answer")
_FIRST, _STEPS_A_DECADE = 1e-4, 20  # s; a step is 12 %


@dataclass
class LinkQuality:
    """Counts of one device.

    Attributes
    ----------
    asked : int
        Frames sent to it, each try counted.
    failed : Counter
        How many of them had no right answer, by one of `FAILURES`.
    strays : int
        Times that something came of it which nobody waited for: late, twice, or bytes beside an answer.
    took : Counter
        Answers by the time they took: step of a twentieth of a decade from 0.1 ms.
    """

    asked: int = 0
    failed: Counter[str] = field(default_factory=Counter)
    strays: int = 0
    took: Counter[int] = field(default_factory=Counter)

    @property
    def errors(self) -> int:
        """Frames without a right answer."""
        return self.failed.total()

    @property
    def error_limit(self) -> float | None:
        """Share of frames that may fail, at 95 % confidence (Clopper and Pearson); None before anything was asked. [-]"""
        return error_rate_limit(polls=self.asked, errors=self.errors) if self.asked else None

    @property
    def least_errors(self) -> float:
        """Share of frames that fails at least, at 95 % confidence. [-]"""
        return 1.0 - error_rate_limit(polls=self.asked, errors=self.asked - self.errors) if self.asked else 0.0

    def is_worse_than(self, before: "LinkQuality") -> bool:
        """Whether more fails than before, beyond both limits.

        >>> early, late = LinkQuality(10000), LinkQuality(10000, Counter(silent=40))
        >>> late.is_worse_than(early), early.is_worse_than(late)
        (True, False)
        """
        return before.error_limit is not None and self.least_errors > before.error_limit

    def answered(self, seconds: float) -> None:
        """One frame was sent and answered so long after. [s]"""
        self.asked += 1
        self.took[max(math.ceil(_STEPS_A_DECADE * math.log10(max(seconds, _FIRST) / _FIRST) - 1e-9), 0)] += 1

    def went_wrong(self, how: str) -> None:
        """One frame was sent and had no right answer."""
        self.asked += 1
        self.failed[how] += 1

    def within(self, share: float) -> float | None:
        """Time within which so large a share of the answers came, up to 12 % too long; None without an answer. [s]

        Examples
        --------
        >>> link = LinkQuality()
        >>> for milliseconds in range(1, 101):
        ...     link.answered(milliseconds / 1000)
        >>> round(link.within(0.95), 3)
        0.1
        """
        wanted, so_far = share * self.took.total(), 0
        for step in sorted(self.took):
            so_far += self.took[step]
            if so_far >= wanted:
                return _FIRST * float(10 ** (step / _STEPS_A_DECADE))
        return None

    def add(self, other: "LinkQuality") -> None:
        """What another spell of the same link brought."""
        self.asked += other.asked
        self.failed += other.failed
        self.strays += other.strays
        self.took += other.took

    def as_dict(self) -> dict[str, Any]:
        """The counts as plain data."""
        return {
            "asked": self.asked,
            "failed": dict(sorted(self.failed.items())),
            "strays": self.strays,
            "took": {str(step): count for step, count in sorted(self.took.items())},
        }

    @classmethod
    def from_dict(cls, row: Mapping[str, Any]) -> "LinkQuality":
        """Counts out of plain data."""
        took = Counter({int(step): count for step, count in row["took"].items()})
        return cls(row["asked"], Counter(row["failed"]), row["strays"], took)

    def words(self) -> str:
        """In one line.

        >>> LinkQuality(3000, took=Counter({40: 3000})).words()
        '0 of 3000 frames failed: at most 0.10 % at 95 % confidence; half of the answers within 10 ms, 99 % within 10 ms'
        """
        if not self.asked:
            return "never asked"
        kinds = ", ".join(f"{self.failed[kind]} {kind}" for kind in FAILURES if self.failed[kind])
        says = f"{self.errors} of {self.asked} frames failed{f' ({kinds})' if kinds else ''}: "
        says += f"at most {100 * (self.error_limit or 0.0):.2f} % at 95 % confidence"
        half, most = self.within(0.5), self.within(0.99)
        if half is None or most is None:
            return says
        return f"{says}; half of the answers within {1000 * half:.3g} ms, 99 % within {1000 * most:.3g} ms"
