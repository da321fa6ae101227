"""From a pattern's signs to what a person should do: maturity, urgency, rivals, advice.

Maturity of a pattern that grows: 2 where its needed signs show, 3 where a supporting one shows too. 1 and 4 are of bearings, whose
high frequencies come first and whose floor rises last. One witness caps the urgency at "plan and verify"; a tooth that may break
stops the drive once a second one agrees.
"""

from gearcase.judge.advice import Rival, breaking_urgency, measurement_urgency, running_urgency, urgency
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.signs import Role, Weighed
from gearcase.tables import load

__all__ = ["pattern_advice", "pattern_maturity", "pattern_rivals", "pattern_urgency"]


def pattern_maturity(weighed: Weighed) -> int | None:
    """2 or 3; None for what is no damage that grows: how the drive runs, or a measurement. [-]"""
    if pattern(weighed.pattern).severity in ("running", "measurement"):
        return None
    supported = any(sign.role is Role.SUPPORTING and sign.seen for sign in weighed.signs)
    return 3 if supported else 2


def pattern_urgency(weighed: Weighed) -> str:
    """When to act, as the pattern's severity has it."""
    severity = pattern(weighed.pattern).severity
    if severity == "breaking":
        return breaking_urgency(weighed.witnesses)
    if severity == "running":
        return running_urgency(weighed.growth_db)
    if severity == "measurement":
        return measurement_urgency()
    return urgency(pattern_maturity(weighed) or 1, weighed.growth_db)


def pattern_rivals(weighed: Weighed) -> tuple[Rival, ...]:
    """What the pattern is taken for, and the one measurement that tells; a source not on this drive last."""
    rows = [row for row in load("confusions") if row["first"] in (weighed.pattern, "any")]
    chance = f"a chance of {weighed.attribution_false_alarm:.2g} that it belongs elsewhere"
    named = [Rival(row["second"], "makes signs of the same shape", row["separated_by"]) for row in rows if row["first"] != "any"]
    return (*named, *(Rival(row["second"], chance, row["separated_by"]) for row in rows if row["first"] == "any"))


def pattern_advice(weighed: Weighed) -> tuple[str, ...]:
    """What to do next, in order."""
    steps = pattern(weighed.pattern).advice
    second = "look for a second witness: housing temperature, oil sample with particle count, a second sensor"
    return (*steps, *([second] if weighed.witnesses < 2 and pattern(weighed.pattern).severity != "measurement" else []))
