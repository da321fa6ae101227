"""Every pattern put into the rig, its records read over the bus, and what `diagnose` says of them.

The rig's waveforms share no code with `signal` or `judge`; what was put in is known. Three axes of one sensor are one record and
sampled together; two sensors of a bus are not, and nothing here compares their phases.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pytest

from gearcase.device.orders import obey
from gearcase.device.rig import Rig
from gearcase.device.rig.faults import KINDS
from gearcase.job.build import build
from gearcase.job.read import parse_text
from gearcase.signal.recording import Circumstances, Recording
from gearcase.stages import diagnose
from test_rig_patterns import RATE_HZ, SPEED_HZ, record
from test_stages import EXAMPLES

LEFT = "intermediate bearing, left"
POINTS = {11: "input coupling end", 12: "intermediate left"}
DIRECTIONS = {11: {"x": "horizontal", "y": "vertical", "z": "axial"}, 12: {"x": "vertical", "y": "axial", "z": "horizontal"}}
MOTOR = "  motor: {shaft: input, poles: 4, supply: 50 Hz, rated_speed: 1485 rpm, converter: true}\n"
BACKSTOP = "  passing_parts: [{name: backstop, shaft: input, kind: backstop, count: 14, origin: measured}]\n"
TEXT = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
JOB = build(
    parse_text(TEXT.replace("  shafts:\n    - name: input\n", f"{MOTOR}{BACKSTOP}  shafts:\n    - name: input\n", 1)), folder=""
)


@dataclass(frozen=True)
class Visit:
    """What one visit records: in which state and at which part of the rated speed and load, at which sensor, on which axes."""

    unit: int = 12
    axes: str = "z"
    state: str = "steady"
    speed: float = 1.0


def visited(order: str, visits: Sequence[Visit], *, sound: bool = True) -> dict[str, Any]:
    """Sound records first where they are wanted, a day later those with the fault put in; the document of all of them."""
    return diagnose.run(JOB, list(_records(order, visits, (0, 1) if sound else (1,)))).document


def _records(order: str, visits: Sequence[Visit], days: Sequence[int]) -> Iterator[Recording]:
    now = [0.0]
    rig = Rig(JOB, lambda: now[0], SPEED_HZ)
    for day in days:
        if day:
            obey(rig, order)
        for number, visit in enumerate(visits):
            now[0] += 3600.0
            standing = visit.state == "standing"
            rig.set_state("steady" if standing else visit.state)
            rig.set_speed(0.0 if standing else visit.speed * SPEED_HZ)
            for axis in visit.axes:
                yield Recording(
                    record(rig, visit.unit, axis),
                    RATE_HZ,
                    "m/s2",
                    channel=axis,
                    speed_hz=None if standing else visit.speed * SPEED_HZ,
                    point=POINTS[visit.unit],
                    sha256=f"{day}-{number}",
                    name=f"day {day}, visit {number}",
                    start=f"2026-03-0{day + 1}T{8 + number:02d}:00:00+00:00",
                    taken=Circumstances(DIRECTIONS[visit.unit][axis], visit.state, 0.7),
                )


INPUT = "input bearing, coupling end"
AXES = Visit(11, "xyz")
NAMED: dict[str, tuple[str, str, Sequence[Visit]]] = {  # fault -> order, part, what was recorded
    "outer_race": (f"fault outer race 20 m/s2 at {LEFT}", LEFT, [Visit()]),
    "inner_race": (f"fault inner race 20 m/s2 at {LEFT}", LEFT, [Visit()]),
    "knock once a turn": ("fault knock 20 m/s2 at intermediate in high-speed mesh", "intermediate", [Visit()]),
    "gear wear": ("fault gear wear 100 % at high-speed mesh", "high-speed mesh", [Visit(11)] * 3),
    "eccentric gear or bent shaft": ("fault eccentric gear 80 % at input", "input, gear in high-speed mesh", [Visit(11)]),
    "unbalance": ("fault unbalance 4 mm/s at input", "input", [AXES]),
    "misalignment": ("fault misalignment 4 mm/s at input", "input", [AXES, Visit(11, "xyz", "uncoupled")]),
    "bent shaft": ("fault bent shaft 4 mm/s at input", "input", [AXES, Visit(11, "xyz", "uncoupled")]),
    "backstop": ("fault backstop 20 m/s2 at input", "backstop", [Visit(11), Visit(11, "z", "overrunning")]),
    "sensor fault": ("fault offset -20 m/s2 at input coupling end y", "input coupling end vertical", [AXES]),
    "background from elsewhere": (
        "fault background 3 mm/s at 18.3 Hz",
        "input coupling end horizontal",
        [Visit(11, "x"), Visit(11, "x", "standing")],
    ),
    "current fluting": (f"fault current fluting 3 m/s2 at {LEFT}", LEFT, [Visit(), Visit(speed=0.86)]),
}
DOUBTED: dict[
    str, tuple[str, Sequence[Visit], bool, str, str]
] = {  # order, recorded, sound ones first, where it is said, the reason
    "rolling_element": (
        f"fault rolling element 20 m/s2 at {INPUT}",
        [Visit(11)],
        True,
        "cannot_tell",
        f"part uncertain: rolling element of {INPUT}, or a source not on this drive",
    ),
    "cage": (f"fault cage 60 m/s2 at {INPUT}", [Visit(11)], True, "unexplained", f"2 times the rate of cage of {INPUT}"),
    "tooth crack or chip": (
        "fault tooth 20 m/s2 at intermediate in high-speed mesh",
        [Visit()],
        True,
        "cannot_tell",
        "signs of tooth crack or chip, teeth on intermediate, in high-speed mesh",
    ),
    "mesh misalignment": (
        "fault mesh misalignment 150 % at high-speed mesh",
        [Visit(11, "xz"), Visit(11, "xz", speed=0.86)],
        False,
        "cannot_tell",
        "signs of mesh misalignment, high-speed mesh",
    ),
    "looseness or soft foot": (
        "fault looseness 3 mm/s at input",
        [AXES],
        True,
        "cannot_tell",
        "signs of looseness or soft foot, input",
    ),
    "lubrication": (
        f"fault lubrication 3 m/s2 at {LEFT}",
        [Visit(), Visit(11)],
        True,
        "not_testable",
        "needs a band above 5 kHz",
    ),
    "hunting tooth": (
        "fault hunting tooth 60 m/s2 at high-speed mesh",
        [Visit(11)],
        True,
        "not_testable",
        "1.5 periods of the hunting tooth in the record, 20 are needed: record 6",
    ),
    "resonance": (
        "fault resonance 1 mm/s at input",
        [Visit(11, "y", speed=part) for part in (1.0, 0.96, 0.92, 0.88)],
        False,
        "not_testable",
        "the peak is at the highest speed measured: needs one beyond it",
    ),
    "electrical": (
        "fault electrical 4 mm/s",
        [AXES, Visit(11, "xyz", "coast-down")],
        True,
        "not_testable",
        "needs a finer resolution than 0.2 Hz",
    ),
}


def test_every_pattern_that_can_be_put_into_the_rig_is_put_before_the_diagnosis() -> None:
    patterns = {kind.pattern for kind in KINDS.values() if kind.pattern}
    assert patterns == NAMED.keys() | DOUBTED.keys() and not NAMED.keys() & DOUBTED.keys()


@pytest.mark.long
@pytest.mark.parametrize("fault", NAMED)
def test_what_is_put_into_the_rig_is_named_and_nothing_else(fault: str) -> None:
    order, part, visits = NAMED[fault]
    document = visited(order, visits)
    assert [(row["component"], row["fault"]) for row in document["verdicts"]] == [(part, fault)]


@pytest.mark.long
@pytest.mark.parametrize("fault", DOUBTED)
def test_what_records_of_the_rigs_sensors_cannot_show_is_a_doubt_with_its_reason(fault: str) -> None:
    """Records of 5 s at 12.8 kHz, as these sensors hold them: too short, too narrow or too few for some."""
    order, visits, sound, where, reason = DOUBTED[fault]
    document = visited(order, visits, sound=sound)
    said = [row if isinstance(row, str) else row.get("says") or row["why"] for row in document[where]]
    said += [row["why"] for row in document["patterns"] if where == "not_testable" and row["pattern"] == fault]
    assert any(reason in words for words in said), said
    assert fault not in {row["fault"] for row in document["verdicts"]}


@pytest.mark.long
def test_nothing_is_named_of_a_rig_at_which_nothing_is_wrong() -> None:
    document = visited("faults", [AXES, Visit(), Visit(11, "xyz", speed=0.86)])
    assert document["verdicts"] == []
