"""The one place that asks what time it is."""

from datetime import UTC, datetime

__all__ = ["now", "unix_now"]


def now() -> str:
    """Time in ISO 8601 with its zone, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def unix_now() -> float:
    """Unix time, UTC [s]."""
    return datetime.now(UTC).timestamp()
