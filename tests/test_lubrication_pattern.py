"""A floor that rises with the temperature and without lines; an early bearing fault, a neighbour's hiss, scatter."""

from collections.abc import Sequence

import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.shaft_faults import Hiss, ShaftFault, Situation
from gearcase.drive.simulate import BearingFault
from gearcase.judge.patterns import lubrication
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Role, Weighed

BEARING = "input coupling end"
CHANNELS_HERE = [channel for channel in CHANNELS if channel.direction == "vertical"][1:]  # two bearings of the input shaft
STARVED = Hiss(2.0, 4500.0, bearing=BEARING)
HISSING = Hiss(2.0, 4500.0, foreign=True)
SPALLED = BearingFault(BEARING, "outer_race", impact=8.0, resonance_hz=6500.0)
WARM_K = 342.0


def file(
    seed: int,
    *faults: ShaftFault,
    state: str = "steady",
    kelvin: float = 330.0,
    damage: Sequence[BearingFault] = (),
    rate_hz: float = 20480.0,
    load: float = 1.0,
) -> tuple[Observed, ...]:
    return observe(
        Situation(SPEED_HZ, state, load=load, oil_temperature=kelvin),
        seed=seed,
        faults=faults,
        damage=damage,
        channels=CHANNELS_HERE,
        sample_rate_hz=rate_hz,
        samples=61440,
    )


@pytest.fixture(scope="module")
def earlier() -> tuple[Observed, ...]:
    return tuple(one for seed in range(5) for one in file(seed, kelvin=329.5 + 0.25 * seed))


def judged(records: Sequence[Observed], bearing: str = BEARING) -> Weighed:
    return next(one for one in lubrication.examine(DRIVE, records) if one.component == bearing)


def test_a_starved_bearing_is_called_and_the_one_beside_it_is_not(earlier: tuple[Observed, ...]) -> None:
    records = (*earlier, *file(9, STARVED, kelvin=WARM_K))
    found = judged(records)
    assert found.answer is Answer.CLAIMED and found.growth_db and found.growth_db > 6 and found.witnesses == 2
    assert judged(records, "input mesh end").answer is Answer.NOT_SEEN


def test_an_early_bearing_fault_is_none(earlier: tuple[Observed, ...]) -> None:
    found = judged((*earlier, *file(9, kelvin=WARM_K, damage=[SPALLED])))
    assert found.answer is Answer.NOT_SEEN and found.why.startswith("few lines: a comb at")


def test_a_neighbours_hiss_is_none_whatever_the_weather(earlier: tuple[Observed, ...]) -> None:
    now = file(9, HISSING, kelvin=WARM_K)
    alone = judged((*earlier, *now))
    assert alone.answer is Answer.UNCERTAIN and alone.attribution_false_alarm == 0.5
    standing = judged((*earlier, *now, *file(10, HISSING, state="standing")))
    assert standing.answer is Answer.UNCERTAIN and standing.why.startswith("shows with this drive standing")


def test_a_sound_bearing_and_one_that_is_loud_but_cool_are_not_called(earlier: tuple[Observed, ...]) -> None:
    assert judged((*earlier, *file(9))).answer is Answer.NOT_SEEN
    cool = judged((*earlier, *file(9, STARVED)))
    assert cool.answer is Answer.NOT_SEEN and cool.why.startswith("temperature")


def test_too_few_records_another_load_or_too_low_a_rate_are_said(earlier: tuple[Observed, ...]) -> None:
    now = file(9, STARVED, kelvin=WARM_K)
    assert "5 earlier records" in judged((*earlier[:4], *now)).why
    assert "5 earlier records" in judged((*earlier, *file(9, STARVED, kelvin=WARM_K, load=0.5))).why
    low = judged(file(9, STARVED, rate_hz=12800.0))
    assert low.answer is Answer.NOT_TESTABLE and "above 5 kHz" in low.why


def test_a_rise_that_the_scatter_of_earlier_records_makes_too_is_no_rise() -> None:
    """Floors 5 dB apart from record to record: 8 dB over their mean is nothing that Student's t would not give."""
    wild = tuple(one for seed in range(5) for one in file(seed, Hiss(0.2 * 2.2**seed, 4500.0), kelvin=325.0 + seed))
    assert judged((*wild, *file(9, Hiss(7.0, 4500.0), kelvin=WARM_K))).answer is Answer.NOT_SEEN


def test_signs_bear_the_names_of_the_row(earlier: tuple[Observed, ...]) -> None:
    row = pattern("lubrication")
    names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
    assert row.offered
    assert all(sign.name in names[sign.role] for sign in judged((*earlier, *file(9, STARVED, kelvin=WARM_K))).signs)
