"""How long what the watch reads is kept whole, in job.yaml; nothing is thinned by itself where the job does not say."""

from dataclasses import dataclass

from pydantic import Field

from gearcase.job.fields import Section, Time

__all__ = ["Retention", "RetentionModel"]


class RetentionModel(Section):
    """How long what is read is kept."""

    whole: Time | None = Field(
        None, description="so long every reading and recording is kept; then a minute's extremes, one recording a week, e.g. 90 d"
    )
    minutes: Time | None = Field(None, description="so old are minutes when they become hours, e.g. 730 d; left out: they stay")


@dataclass(frozen=True)
class Retention:
    """Ages from which readings become minutes, and minutes hours; None: never. [s]"""

    whole: float | None = None
    minutes: float | None = None
