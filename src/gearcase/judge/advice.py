"""From a claimed comb to what a person should do: maturity, urgency, rivals, advice.

Housing vibration says how a fault has developed, never its size. Maturity: 1 a high-frequency comb only; 2 the defect
lines clear (three harmonics and more); 3 lines with sidebands and four harmonics and more, well out of the noise; 4
needs the floor risen and harmonics smeared over a baseline, so one recording never gives it. One witness (one sensor,
no temperature, no oil) caps the urgency.
"""

from dataclasses import dataclass

from gearcase.judge.faults import Comb
from gearcase.tables import load

__all__ = ["Rival", "advice", "maturity", "rivals", "untested_patterns", "urgency"]

CLEAR_DB = 9.0  # a line e^-8 rare stands 9 dB over the mean noise
WELL_OUT_DB = 20.0

_URGENCY = {
    1: "watch: record again in two weeks",
    2: "plan and verify: order parts, act within 1 to 3 months",
    3: "plan and verify: act within 1 to 4 weeks, check weekly",
    4: "plan and verify: act within 4 days",
}


@dataclass(frozen=True)
class Rival:
    """What else it could be, and what would tell."""

    name: str
    why: str
    separated_by: str


def maturity(comb: Comb) -> int:
    """1 to 3, from the lines of one recording."""
    clear = sum(line.snr_db >= CLEAR_DB for line in comb.evidence)
    well_out = sum(line.snr_db >= WELL_OUT_DB for line in comb.evidence)
    if clear >= 4 and comb.sidebands >= 2 and well_out >= 1:
        return 3
    return 2 if clear >= 3 else 1


def urgency(stage: int) -> str:
    """When to act, capped at "plan and verify" since one sensor is one witness."""
    return _URGENCY[stage]


def rivals(comb: Comb) -> tuple[Rival, ...]:
    """Every named alternative of a claim, the nearest first."""
    if comb.hypothesis is None:
        return ()
    fault = comb.hypothesis.fault
    ways = {(row["first"], row["second"]): row["separated_by"] for row in load("confusions")}
    twins = tuple(
        Rival(
            f"{rival.component}: {rival.fault.replace('_', ' ')}",
            f"its rate is within 2 % of this one (order {rival.order:.4g} against {comb.hypothesis.order:.4g})",
            ways["any", "a source not on this drive"] if rival.fault != fault else ways[fault, "same rate in another bearing"],
        )
        for rival in comb.rivals
    )
    named = tuple(
        Rival(second, "gives lines of the same shape", way)
        for (first, second), way in ways.items()
        if first == fault and second != "same rate in another bearing"
    )
    stranger = Rival(
        "a source not on this drive",
        f"a chance of {comb.attribution_false_alarm:.2g} that a stranger pulses at this rate",
        ways["any", "a source not on this drive"],
    )
    return (*twins, *named, stranger)


def advice(comb: Comb, stage: int) -> tuple[str, ...]:
    """What to do next, in order."""
    first = "record again at the same point, speed and load: a fault stays, a chance find does not"
    second = "look for a second witness: housing temperature, oil sample with particle count, a second sensor"
    if stage == 1:
        return (first, second)
    part = f"find the designation of {comb.hypothesis.component} and its delivery time" if comb.hypothesis else ""
    return tuple(
        filter(None, (first, second, part, "on opening, note what was found: confirmed, other, nothing, or not inspected"))
    )


def untested_patterns(kind: str) -> tuple[tuple[str, str], ...]:
    """Patterns of a kind of part that one recording of one direction cannot test: (pattern, least equipment)."""
    return tuple(
        (row["pattern"], row["least_equipment"]) for row in load("fault_patterns") if row["part"] == kind and row["offered"] == "no"
    )
