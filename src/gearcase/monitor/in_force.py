"""The limits that a watch holds readings against, as a baseline left them: where each holds, and how it takes a reading."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gearcase.judge.alarm import Thresholds
from gearcase.judge.compensation import LOAD, SPEED, WIDENED_BEYOND, LevelModel
from gearcase.judge.limits import LEAST_YELLOW_DB
from gearcase.judge.operating import DIRECTION, Operating
from gearcase.judge.warming import Heat, WarmingModel
from gearcase.record.store import Event

__all__ = ["EVIDENCE", "Held", "InForce", "Key", "evidence_levels", "in_force", "voided"]

EVIDENCE = "high-frequency acceleration"
Key = tuple[str, str, str]  # point, quantity, and which of its limits


@dataclass(frozen=True)
class Held:
    """A reading brought to a limit: its value there, or why the limit does not hold; how far the oil is outside what was trained
    [K], where that is far enough to widen the limits.
    """

    value: float | None = None
    not_here: str = ""
    widened_k: float = 0.0


@dataclass(frozen=True)
class InForce:
    """A limit in force: its thresholds, where they hold (None: anywhere), the model that brings a reading to them, its date [s]."""

    thresholds: Thresholds
    operating: Operating | None = None
    model: LevelModel | WarmingModel | None = None
    expires_s: float = math.inf
    widened_db: float = LEAST_YELLOW_DB[""]

    def hold(self, value: float | None, conditions: Mapping[str, float], heat: Heat | None = None) -> Held:
        """What a reading at these conditions (`judge.compensation.CONDITIONS` and the ambient, those known) is to this limit; of a
        temperature with a model, by what the heat remembers of them.
        """
        where = self.operating
        here = {"speed_hz": conditions.get(SPEED), "load": conditions.get(LOAD), "direction": conditions.get(DIRECTION)}
        if where is not None and not where.holds(**here):
            return Held(not_here=f"its limits hold at {where.says}")
        if self.model is None:
            return Held(value)
        if isinstance(self.model, WarmingModel):
            if heat is None or (why := self.model.not_known(heat, conditions)):
                return Held(not_here=self.model.not_known(heat, conditions))
            return Held(None if value is None else self.model.at_reference(value, heat))
        if why := self.model.not_trained(conditions):
            return Held(not_here=why)
        outside = self.model.outside_oil(conditions)
        widened = outside if outside > WIDENED_BEYOND else 0.0
        at = self.model.factor(conditions) * (10 ** (self.widened_db / 20) if widened else 1.0)
        return Held(None if value is None else value / at, "", widened)


def in_force(baseline: Mapping[str, Any]) -> dict[Key, InForce]:
    """The limits of a ``baseline/1`` document."""
    found = {}
    for row in baseline["limits"]:
        operating = Operating.of(row["operating"])
        name = f"{row['kind']} {operating.says}".strip()
        found[row["point"], row["quantity"], name] = InForce(
            Thresholds(*(row[part]["value"] if row[part] else None for part in ("yellow", "danger", "low"))),
            operating,
            _model(row),
            float(row["expires_s"]),
            LEAST_YELLOW_DB.get(row["quantity"], LEAST_YELLOW_DB[""]),
        )
    return found


def _model(row: Mapping[str, Any]) -> LevelModel | WarmingModel | None:
    if row["model"] is None:
        return None
    return WarmingModel.of(row["model"]) if row["quantity"] == "temperature" else LevelModel.of(row["model"])


def evidence_levels(baseline: Mapping[str, Any]) -> dict[str, float]:
    """Point -> usual high-frequency acceleration, from a ``baseline/1`` document. [m/s2]"""
    return {
        row["point"]: quantity["median"]
        for row in baseline["points"]
        for quantity in row["quantities"]
        if quantity["quantity"] == EVIDENCE and quantity["median"]
    }


def voided(baseline: Mapping[str, Any], events: Iterable[Event]) -> str:
    """The epoch declared since the readings of a ``baseline/1`` document, which voids its limits; empty where there is none."""
    if not baseline["limits"]:
        return ""
    if any("operating" not in row for row in baseline["limits"]):
        return "they were set by an earlier version, which did not say at which speed and load they hold"
    until = datetime.fromisoformat(baseline["readings"]["until"]).timestamp()
    return next((event.says for event in events if event.kind == "epoch" and event.time_s > until), "")
