"""Points whose sensor gives one overall figure and no waveform: what that can tell, and what only a recording can."""

from collections.abc import Iterator, Sequence

from gearcase.findings import Finding, Level
from gearcase.install.points import Point

__all__ = ["ONLY_A_RECORDING", "one_figure_notes", "only_figures"]

ONLY_A_RECORDING = (
    "one overall figure and no waveform: limits and trend show how strong it runs, not what makes it; whether gear, bearing or "
    "shaft, only a recording tells: take one there with a hand-held recorder and name its file to gearcase diagnose"
)


def one_figure_notes(points: Sequence[Point], read: Sequence[str], rule: str) -> Iterator[Finding]:
    """A note at each of these points that was `read`."""
    for point in points:
        if point.sensor.kind == "overall" and point.name in read:
            yield Finding(Level.NOTE, rule, point.name, f"its sensor gives {ONLY_A_RECORDING}")


def only_figures(points: Sequence[Point]) -> bool:
    """Whether no sensor of the job delivers a waveform."""
    return bool(points) and all(point.sensor.kind == "overall" for point in points)
