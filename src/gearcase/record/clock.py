"""The one place that asks what time it is."""

import time
from datetime import UTC, datetime, timedelta

__all__ = ["Pace", "days_before", "now", "unix_now"]


def now() -> str:
    """Time in ISO 8601 with its zone, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def days_before(days: float) -> str:
    """Time so many days ago, as `now` has it."""
    return (datetime.now(UTC) - timedelta(days=days)).isoformat(timespec="seconds")


def unix_now() -> float:
    """Unix time, UTC [s]."""
    return datetime.now(UTC).timestamp()


class Pace:
    """Time that runs so many times faster than the clock on the wall, for trying things at a desk; 1 is the clock itself.

    A faster clock starts no earlier than what is kept already, so that readings go on in order.
    """

    def __init__(self, times: float, *, not_before: float) -> None:
        self._times = times
        self._started = time.monotonic()
        self._first = max(unix_now(), not_before + 1.0) if times > 1 else unix_now()

    def clock(self) -> float:
        """Unix time. [s]"""
        return self._first + self._times * (time.monotonic() - self._started) if self._times > 1 else unix_now()

    def ticks(self) -> float:
        """Seconds since some moment, at this pace: they go on evenly, whatever is done to the clock. [s]"""
        return self._times * time.monotonic()

    @property
    def remark(self) -> str:
        """What must be said of times it gives; empty for the clock itself."""
        return f"time runs {self._times:g} times as fast as the clock" if self._times > 1 else ""

    def real(self, seconds: float) -> float:
        """So many of its seconds on the wall. [s]"""
        return seconds / self._times
