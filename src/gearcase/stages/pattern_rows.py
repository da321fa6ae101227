"""Fault patterns in the diagnosis: what was weighed, as verdicts, as what cannot be told, and as what could not be tested."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.drive.train import Drive
from gearcase.judge.patterns.catalogue import Pattern, of_part, pattern
from gearcase.judge.patterns.meaning import pattern_advice, pattern_maturity, pattern_rivals, pattern_urgency
from gearcase.judge.patterns.signs import Answer, Role, Sign, Weighed

__all__ = ["cannot_tell_rows", "explained_by", "looked_rows", "not_testable_rows", "offered_only", "verdict_rows"]

_BINS = 2.0  # that a line may stand off its place


def offered_only(weighed: Sequence[Weighed]) -> tuple[Weighed, ...]:
    """Those of patterns that stand the fair tests."""
    return tuple(one for one in weighed if pattern(one.pattern).offered)


def verdict_rows(weighed: Sequence[Weighed]) -> list[dict[str, Any]]:
    """Claims, with the keys of a bearing's verdict; null where a key is of a comb of lines alone."""
    return [_verdict(one) for one in weighed if one.answer is Answer.CLAIMED]


def cannot_tell_rows(weighed: Sequence[Weighed]) -> Iterator[str]:
    """Patterns of which every needed sign shows, and something keeps from claiming them, with what would tell."""
    for one in weighed:
        if one.answer is Answer.UNCERTAIN:
            shown = "; ".join(f"{sign.name}: {sign.says}" for sign in one.signs if sign.role is Role.NEEDED)
            rival = pattern_rivals(one)[0]
            tells = f"To tell it from {rival.name}: {rival.separated_by}"
            where = one.seen_in[-1].recording.name if one.seen_in else "all recordings"
            yield f"{where}: signs of {one.pattern}, {one.component} ({shown}), and it is not sure: {one.why}. {tells}"


def not_testable_rows(drive: Drive, weighed: Sequence[Weighed]) -> list[dict[str, str]]:
    """What these records cannot show, with the least equipment that could, parts of one reason in one row; what is not judged."""
    blind: dict[tuple[str, str], list[str]] = {}
    for one in weighed:
        if one.answer is Answer.NOT_TESTABLE:
            why = f"{one.why}; least equipment: {pattern(one.pattern).least_equipment}"
            blind.setdefault((one.pattern, why), []).append(one.component)
    rows = [
        {"component": (", ", "; ")[any("," in part for part in parts)].join(parts), "fault": name, "why": why}
        for (name, why), parts in blind.items()
    ]
    looked = {one.pattern for one in weighed}
    return rows + [
        {"component": f"every {kind}", "fault": one.name, "why": _why_not_looked(one)}
        for kind in _kinds(drive)
        for one in of_part(kind)
        if one.name not in looked and one.name not in BEARING_RATES  # whose combs are judged recording by recording
    ]


def explained_by(weighed: Sequence[Weighed], line_hz: float, *, speed_hz: float, duration_s: float) -> bool:
    """Whether a line is a multiple of the turns that show a claimed pattern, within two bins of its record."""
    for one in weighed:
        if one.answer is Answer.CLAIMED and one.turns:
            turns_hz = one.turns * speed_hz
            if abs(line_hz - round(line_hz / turns_hz) * turns_hz) <= _BINS / duration_s:
                return True
    return False


def looked_rows(weighed: Sequence[Weighed]) -> list[dict[str, Any]]:
    """Every pattern looked for, at every part, with its answer and signs."""
    return [
        {
            "pattern": one.pattern,
            "component": one.component,
            "answer": str(one.answer),
            "why": one.why,
            "signs": [_sign(sign) for sign in one.signs],
        }
        for one in weighed
    ]


def _why_not_looked(one: Pattern) -> str:
    if one.offered:
        return f"needs {one.least_equipment}"
    return f"not judged here; needs {one.least_equipment}"


def _kinds(drive: Drive) -> Iterator[str]:
    """Kinds of part that this drive has."""
    present = {
        "shaft": drive.shafts,
        "mesh": drive.meshes,
        "planetary set": [shaft for shaft in drive.shafts if shaft.carrier],
        "bearing": drive.bearings,
        "motor": drive.motor,
        "measurement": True,
    }
    return (kind for kind, parts in present.items() if parts)


def _verdict(one: Weighed) -> dict[str, Any]:
    latest = one.seen_in[-1].recording if one.seen_in else None
    return {
        "component": one.component,
        "fault": one.pattern,
        "fits": [],
        "recording": latest.name if latest else "",
        "point": latest.point if latest else "",
        "base_hz": None,
        "noise_false_alarm": one.noise_false_alarm,
        "attribution_false_alarm": one.attribution_false_alarm,
        "maturity": pattern_maturity(one),
        "urgency": pattern_urgency(one),
        "strength_db": None,
        "growth_db": one.growth_db,
        "modulation_depth": None,
        "sidebands_found": None,
        "evidence": [asdict(line) for line in one.lines],
        "signs": [_sign(sign) for sign in one.signs],
        "rivals": [asdict(rival) for rival in pattern_rivals(one)],
        "advice": list(pattern_advice(one)),
    }


def _sign(sign: Sign) -> dict[str, Any]:
    seen = None if sign.seen is None else bool(sign.seen)
    return {"role": str(sign.role), "name": sign.name, "seen": seen, "says": sign.says, "noise_chance": float(sign.noise_chance)}
