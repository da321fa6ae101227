"""The judge's statistics against order statistics, brute force and binomial bounds; its rules against made-up
spectra.
"""

import json

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.lines import expected_lines
from gearcase.drive.train import Drive, Mesh, Motor, Shaft
from gearcase.errors import OutOfRange
from gearcase.judge.advice import maturity
from gearcase.judge.combs import ALIGNMENT, CombScorer, scan_bases
from gearcase.judge.explained import envelope_orders, unexplained_lines
from gearcase.judge.faults import Judgement, bearing_hypotheses, judge_bearings
from gearcase.judge.odds import VERIFIED_FLOOR, harmonic_log_chance, log_chance_of_maximum, reported
from gearcase.judge.zones import rate
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.spectrum import SpectrumLine
from gearcase.worked import Given, Origin
from published import rows

SPEED_HZ = 30.0
BIN_HZ = 0.1


def rig(*bearings: Bearing) -> Drive:
    return Drive(
        "rig",
        (Shaft("shaft"),),
        (),
        bearings,
        "shaft",
        (SPEED_HZ,) * 2,
        SPEED_HZ,
        Given("speed", SPEED_HZ, "Hz", Origin.MEASURED),
    )


DRIVE_END = Bearing("drive end", "shaft", None, Geometry(9, 7.94e-3, 39.04e-3))
DRIVE_END_OF_A = Bearing("drive end", "a", None, Geometry(9, 7.94e-3, 39.04e-3))
FAN_END = Bearing("fan end", "shaft", None, Geometry(8, 6.746e-3, 28.5e-3))


def spectrum(seed: int, *lines: tuple[float, float]) -> EnvelopeSpectrum:
    """Noise strengths with lines (Hz, strength) put in; every line as deep as it is strong."""
    strength = np.random.default_rng(seed).exponential(size=30000)
    for hz, height in lines:
        strength[round(hz / BIN_HZ)] = height
    return EnvelopeSpectrum(strength, np.sqrt(strength) * 0.01, BIN_HZ)


def comb(base_hz: float, height: float, harmonics: int = 5) -> list[tuple[float, float]]:
    return [(n * base_hz, height / n) for n in range(1, harmonics + 1)]


def judge(envelope: EnvelopeSpectrum, drive: Drive) -> Judgement:
    return judge_bearings(
        envelope,
        bearing_hypotheses(drive),
        speed_hz=SPEED_HZ,
        speed_spread=0.001,
        explained_orders=envelope_orders(expected_lines(drive), speed_hz=SPEED_HZ),
    )


def outer_hz(drive: Drive, bearing: str = "drive end") -> float:
    return next(h.order for h in bearing_hypotheses(drive) if (h.component, h.fault) == (bearing, "outer_race")) * SPEED_HZ


def test_the_chance_of_a_maximum_is_sidaks() -> None:
    chance = np.exp(log_chance_of_maximum(np.array([2.0, 5.0, 9.0]), bins=7))
    np.testing.assert_allclose(chance, 1 - (1 - np.exp(-np.array([2.0, 5.0, 9.0]))) ** 7, rtol=1e-9)


def test_the_chance_of_a_very_strong_line_stays_finite_in_logarithms() -> None:
    assert float(log_chance_of_maximum(5000.0, bins=3)) == pytest.approx(np.log(3) - 5000)


def test_the_harmonic_chance_is_a_chance_in_noise() -> None:
    """By construction uniform: compare with the uniform distribution, scipy as oracle."""
    logs = np.log(np.random.default_rng(2).uniform(size=(5, 20000)))
    assert scipy.stats.kstest(np.exp(harmonic_log_chance(logs)), "uniform").pvalue > 0.001


@given(st.lists(st.floats(1e-12, 1), min_size=5, max_size=5))
def test_a_comb_without_its_fundamental_is_no_better_than_the_fundamental_allows(chances: list[float]) -> None:
    assert float(harmonic_log_chance(np.log(chances))) >= 2 * np.log(chances[0]) - 1e-9


def test_a_comb_of_other_than_five_lines_is_refused() -> None:
    with pytest.raises(OutOfRange, match="five"):
        harmonic_log_chance(np.zeros((4, 1)))


def test_no_figure_is_smaller_than_simulation_can_vouch_for() -> None:
    assert reported(-1e6) == VERIFIED_FLOOR
    assert reported(3.0) == 1.0


@given(seed=st.integers(0, 10**6), base=st.floats(20, 400))
@settings(max_examples=40, deadline=None)
def test_the_scorer_agrees_with_looking_at_every_bin(seed: int, base: float) -> None:
    strength = np.random.default_rng(seed).exponential(size=30000)
    scorer = CombScorer(strength, bin_hz=BIN_HZ, highest_base_hz=400.0)
    logs = []
    for n in range(1, 6):
        half = max(1, int(np.ceil(n * base / BIN_HZ * ALIGNMENT)))
        centre = int(np.rint(n * base / BIN_HZ))
        window = strength[centre - half : centre + half + 1].astype(np.float32)
        logs.append(float(log_chance_of_maximum(window.max(), bins=window.size)))
    expected = float(harmonic_log_chance(np.array(logs)[:, None])[0])
    assert float(scorer.log_chance(np.array([base]))[0]) == pytest.approx(expected, rel=1e-6)


def test_bases_whose_fundamental_is_noise_are_passed_over_and_no_comb_is_missed() -> None:
    """Every comb that is as unlikely as asked for has its own chance; of the others some are given as 0."""
    strength = spectrum(1, *comb(107.0, 30.0)).strength
    scorer = CombScorer(strength, bin_hz=BIN_HZ, highest_base_hz=400.0)
    bases = scan_bases(20.0, 400.0)
    every = scorer.log_chance(bases)
    for least in (-20.0, -12.0, -3.0):
        found = scorer.log_chance(bases, least=least)
        assert np.array_equal(found[every <= least], every[every <= least]) and np.any(every <= least)
        assert np.all((found == every) | (found == 0)) and np.any(found != every)


def test_what_is_passed_over_as_noise_would_have_been_no_comb(monkeypatch: pytest.MonkeyPatch) -> None:
    """Combs from lost in noise to sure, at the drive's rate and at a stranger's: judged alike with every base scored."""
    drive, scored = rig(DRIVE_END, FAN_END), CombScorer.log_chance
    heights = np.arange(3.0, 12.0, 0.5)
    envelopes = [
        spectrum(seed, *[(n * base, height) for n in range(1, 6)])
        for base in (outer_hz(drive), 151.7)
        for seed, height in enumerate(heights)
    ]

    def combs() -> list[list[float]]:
        judged = [judge(envelope, drive) for envelope in envelopes]
        return [[c.base_hz for c in (*one.claims, *one.uncertain, *one.strangers, *one.faint)] for one in judged]

    found = combs()
    monkeypatch.setattr(CombScorer, "log_chance", lambda self, bases_hz, **least: scored(self, bases_hz))
    assert found == combs()
    for half in (found[: heights.size], found[heights.size :]):
        assert not half[0] and half[-1]


def test_masked_lines_count_no_more_and_a_fully_masked_base_is_not_testable() -> None:
    envelope = spectrum(1, *comb(107.0, 200.0))
    scorer = CombScorer(envelope.strength, bin_hz=BIN_HZ, highest_base_hz=400.0)
    base = np.array([107.0])
    assert scorer.log_chance(base)[0] < -30
    scorer.mask(np.array([107.0 * n for n in range(1, 6)]), within=0.005)
    assert scorer.log_chance(base)[0] == 0
    assert not scorer.testable(base)[0]


def test_scan_bases_leave_no_gap_wider_than_the_alignment() -> None:
    bases = scan_bases(10.0, 500.0)
    assert bases[0] == 10.0 and bases[-1] == pytest.approx(500.0)
    assert np.max(np.diff(np.log(bases))) <= ALIGNMENT * (1 + 1e-9)


@pytest.mark.parametrize(
    ("fault", "strength", "height", "named"),
    [
        ("inner_race", 300.0, 40.0, True),
        ("inner_race", 300.0, 0.0, False),
        ("rolling_element", 300.0, 0.0, False),
        ("inner_race", 75.0, 0.0, True),
        ("outer_race", 300.0, 0.0, True),
    ],
)
def test_a_spot_that_goes_through_the_load_zone_is_named_by_its_sidebands_where_such_would_show(
    fault: str, strength: float, height: float, named: bool
) -> None:
    """Practice: an inner race without sidebands of the shaft has lower odds. Eight rates."""
    drive = rig(DRIVE_END, FAN_END)
    own = next(h for h in bearing_hypotheses(drive) if (h.component, h.fault) == ("drive end", fault))
    base = own.order * SPEED_HZ * 1.003
    sides = [(n * base + side * own.modulation_order * SPEED_HZ, height) for n in (1, 2) for side in (-1, 1)] if height else []
    found = judge(spectrum(3, *comb(base, strength), *sides), drive)
    told = [(c.hypothesis.component, c.hypothesis.fault) for c in found.claims if c.hypothesis]
    assert told == ([("drive end", fault)] if named else [])
    assert named or found.uncertain[0].attribution_false_alarm > 0.05


def test_a_comb_at_the_outer_race_rate_names_the_outer_race() -> None:
    drive = rig(DRIVE_END, FAN_END)
    found = judge(spectrum(3, *comb(outer_hz(drive) * 1.003, 300.0)), drive)
    assert [(c.hypothesis.component, c.hypothesis.fault) for c in found.claims if c.hypothesis] == [("drive end", "outer_race")]
    assert found.claims[0].noise_false_alarm == VERIFIED_FLOOR
    assert found.claims[0].attribution_false_alarm <= 0.05


@pytest.mark.parametrize("off", np.linspace(-0.012, 0.012, 9))
def test_the_base_of_a_claim_is_where_its_lines_say_and_not_the_first_of_many_that_score_alike(off: float) -> None:
    """Bins of 0.1 Hz place five harmonics of 107 Hz to 0.05 Hz each: 0.05 / 107 / sqrt(55) is 6e-5."""
    drive = rig(DRIVE_END, FAN_END)
    true = outer_hz(drive) * (1 + off)
    (claim,) = judge(spectrum(3, *comb(true, 300.0)), drive).claims
    assert claim.base_hz == pytest.approx(true, rel=1.5e-4)
    assert [line.found_hz for line in claim.evidence] == pytest.approx([n * true for n in range(1, 6)], abs=0.06)


def test_a_stronger_stranger_does_not_lend_its_lines() -> None:
    """A foreign machine whose harmonics brush the drive's rates is set aside as a stranger, and nothing is claimed."""
    drive = rig(DRIVE_END, FAN_END)
    found = judge(spectrum(4, *comb(47.3, 400.0, harmonics=20)), drive)
    assert not found.claims
    assert [round(c.base_hz, 1) for c in found.strangers] == [47.3]


def named(found: Judgement) -> list[tuple[str, str]]:
    return [(c.hypothesis.component, c.hypothesis.fault) for c in found.claims if c.hypothesis]


def test_sidebands_of_a_stronger_stranger_are_not_taken_for_a_fault() -> None:
    """A stranger one shaft turn below the outer race rate, modulated by the shaft: its upper sidebands make that rate's comb."""
    drive = rig(DRIVE_END, FAN_END)
    base = outer_hz(drive) - SPEED_HZ
    sides = [(n * base + m * SPEED_HZ, 60.0) for n in range(1, 6) for m in (1, 2, 3)]
    found = judge(spectrum(11, *sides, *[(n * base, 500.0) for n in range(1, 6)]), drive)
    assert named(found) == []
    assert base == pytest.approx(found.strangers[0].base_hz, rel=0.002)


def test_a_comb_at_a_third_of_a_rate_is_not_that_rates_even_where_its_own_fundamental_is_lost() -> None:
    drive = rig(DRIVE_END, FAN_END)
    third = outer_hz(drive) / 3
    found = judge(spectrum(12, *[(n * third, 100.0 if n % 3 else 400.0) for n in range(2, 17)]), drive)
    assert named(found) == []


def test_a_race_is_not_named_while_the_other_race_shows_as_well() -> None:
    drive = rig(DRIVE_END)
    inner = next(h.order for h in bearing_hypotheses(drive) if h.fault == "inner_race") * SPEED_HZ
    lines = comb(outer_hz(drive), 60.0)
    assert named(judge(spectrum(13, *lines), drive)) == [("drive end", "outer_race")]
    both = judge(spectrum(13, *lines, (inner, 40.0)), drive)
    assert named(both) == [] and [c.hypothesis.fault for c in both.uncertain if c.hypothesis] == ["outer_race"]


def test_a_cage_comb_beside_a_fault_of_the_same_bearing_is_its_modulation() -> None:
    drive = rig(DRIVE_END)
    cage = next(h.order for h in bearing_hypotheses(drive) if h.fault == "cage") * SPEED_HZ
    alone = judge(spectrum(14, *comb(cage, 300.0)), drive)
    beside = judge(spectrum(14, *comb(cage, 300.0), *comb(outer_hz(drive), 900.0)), drive)
    assert named(alone) == [("drive end", "cage")]
    assert named(beside) == [("drive end", "outer_race")]


@pytest.mark.parametrize(
    ("inner", "outer", "by"),
    [
        ("a", None, {"inner_race": 1.0, "outer_race": 1.0}),
        (None, "b", {"inner_race": 0.25, "outer_race": 0.25}),
        ("a", "b", {"inner_race": 1.0, "outer_race": 0.25}),
        ("b", "a", {"inner_race": 0.25, "outer_race": 1.0}),
    ],
)
def test_each_race_is_modulated_by_its_own_ring_and_a_held_one_by_the_other(
    inner: str | None, outer: str | None, by: dict[str, float]
) -> None:
    bearing = Bearing("x", inner, outer, DRIVE_END.geometry)
    shafts, mesh = (Shaft("a"), Shaft("b")), Mesh("m", "a", "b", 20, 80)
    given = Given("speed", SPEED_HZ, "Hz", Origin.MEASURED)
    found = bearing_hypotheses(Drive("two", shafts, (mesh,), (bearing,), "a", (SPEED_HZ,) * 2, SPEED_HZ, given))
    assert {h.fault: h.modulation_order for h in found if h.fault in by} == pytest.approx(by)


def test_the_bearing_of_a_planet_is_modulated_as_its_carrier_sees_it_and_by_passing_the_sensor() -> None:
    """Sun 21, planet 39, ring 99 held, by hand: carrier 21 / 120 = 0.175, planet on its pin 0.825 x 21 / 39 = 0.4442, its cage,
    with (d/D) cos a = 0.2, 0.6 of that. The pin stands in its load: the planet's turns are all that comes round.
    """
    shafts = (Shaft("sun"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3))
    meshes = (Mesh("one", "sun", "planet", 21, 39), Mesh("two", "planet", "ring", 39, 99, kind="internal"))
    bearing, given = Bearing("x", "carrier", "planet", Geometry(18, 16e-3, 80e-3)), Given("speed", SPEED_HZ, "Hz", Origin.MEASURED)
    found = bearing_hypotheses(Drive("set", shafts, meshes, (bearing,), "sun", (SPEED_HZ,) * 2, SPEED_HZ, given))
    planet = 0.825 * 21 / 39
    by = {"outer_race": planet, "inner_race": planet, "cage": planet, "rolling_element": 0.6 * planet}
    assert {h.fault: h.modulation_order for h in found} == pytest.approx(by)
    assert [h.passing_order for h in found] == pytest.approx([0.175] * 4)
    assert all(h.modulations == (h.modulation_order, h.passing_order) for h in found)


def test_a_harmonic_that_could_not_be_looked_for_is_a_row_of_evidence_with_its_reason() -> None:
    """A shaft line is put on the third harmonic of the outer race and taken out with it."""
    drive = rig(DRIVE_END)
    base = outer_hz(drive)
    found = judge_bearings(
        spectrum(3, *comb(base, 300.0)),
        bearing_hypotheses(drive),
        speed_hz=SPEED_HZ,
        speed_spread=0.001,
        explained_orders=np.array([3 * base / SPEED_HZ]),
    )
    rows = found.claims[0].evidence
    assert [line.line for line in rows] == [f"{n}x outer race" for n in range(1, 6)]
    assert [line.found_hz is None for line in rows] == [False, False, True, False, False]
    assert rows[2].snr_db is None and "line of a shaft, a mesh" in rows[2].why
    assert rows[2].expected_hz == pytest.approx(3 * base) and not any(line.why for line in rows if line.found_hz)
    assert maturity(found.claims[0]) == 2  # four lines clear, no sidebands

    short = spectrum(3, *comb(base, 300.0))
    cut = round(4.5 * base / BIN_HZ)
    (claim,) = judge(EnvelopeSpectrum(short.strength[:cut], short.depth[:cut], BIN_HZ), drive).claims
    assert [line.why for line in claim.evidence] == [""] * 4 + ["lies beyond what this record's sample rate shows"]


def test_a_strong_fundamental_alone_is_not_a_comb() -> None:
    drive = rig(DRIVE_END)
    found = judge(spectrum(5, (outer_hz(drive), 500.0)), drive)
    assert not found.claims and not found.strangers


def test_what_is_too_faint_is_not_claimed_however_certain() -> None:
    drive = rig(DRIVE_END)
    envelope = spectrum(6, *comb(outer_hz(drive), 300.0))
    faint = EnvelopeSpectrum(envelope.strength, envelope.depth * 0.01, BIN_HZ)
    found = judge(faint, drive)
    assert not found.claims
    assert found.faint


def test_twins_on_one_shaft_are_named_together() -> None:
    twin = Bearing("other end", "shaft", None, DRIVE_END.geometry)
    drive = rig(DRIVE_END, twin)
    found = judge(spectrum(7, *comb(outer_hz(drive), 300.0)), drive)
    assert len(found.claims) == 1
    assert [rival.component for rival in found.claims[0].rivals] == ["other end"]


def test_a_rate_on_a_shaft_line_is_not_testable_rather_than_clean() -> None:
    """Geometry chosen so that the outer race passes exactly four times a turn, where the shaft shows a line."""
    ratio = 1 - 2 * 4.0 / 10
    on_line = Bearing("unlucky", "shaft", None, Geometry(10, ratio * 40e-3, 40e-3, spread=0.0))
    drive = rig(on_line)
    wide = [(n * SPEED_HZ * (1 + shift), 50.0) for n in range(1, 31) for shift in np.linspace(-0.02, 0.02, 200)]
    envelope = spectrum(8, *wide)
    hypotheses = bearing_hypotheses(drive)
    found = judge_bearings(
        envelope,
        hypotheses,
        speed_hz=SPEED_HZ,
        speed_spread=0.0,
        explained_orders=np.array([n * (1 + shift) for n in range(1, 31) for shift in np.linspace(-0.02, 0.02, 200)]),
    )
    assert ("unlucky", "outer_race") in {(h.component, h.fault) for h, _ in found.not_testable}


def test_no_line_that_the_drive_is_said_to_show_is_a_line_it_does_not_explain() -> None:
    mesh = Mesh("m", "a", "b", 18, 81)  # a common factor, so that assembly phase and hunting tooth are lines of their own
    given = Given("speed", SPEED_HZ, "Hz", Origin.MEASURED)
    motor = Motor("a", 4, 2 * SPEED_HZ + 0.5)
    shafts, bearings = (Shaft("a"), Shaft("b")), (DRIVE_END_OF_A,)
    drive = Drive("two", shafts, (mesh,), bearings, "a", (SPEED_HZ,) * 2, SPEED_HZ, given, motor=motor)
    lines = expected_lines(drive)
    found = [SpectrumLine(line.hz(SPEED_HZ), 20.0) for line in lines if line.kind != "cage"]
    kept = {"lines": lines, "speed_hz": SPEED_HZ, "explained_hz": np.empty(0), "bin_hz": 0.001}
    assert unexplained_lines(found, **kept) == ()
    stranger = SpectrumLine(47.3, 20.0)
    assert [line.found_hz for line in unexplained_lines([*found, stranger], **kept)] == [47.3]
    high, beside = (SpectrumLine((15 * 18 + off) * SPEED_HZ, 20.0) for off in (0.0, 1.3))  # in long records a mesh shows so many
    assert [line.found_hz for line in unexplained_lines([high, beside], **kept)] == [beside.hz]


ZONES = [row for row in rows("vibration_checks.csv") if row["id"].startswith("VZ")]


@pytest.mark.parametrize("check", ZONES, ids=lambda row: row["id"])
def test_zones_agree_with_worked_readings(check: dict[str, str]) -> None:
    given = json.loads(check["inputs"])
    power = {"1": 400e3, "2": 75e3}[given["group"]]
    rating = rate(given["velocity_mm_s_rms"] / 1000, power=power, speed_hz=(25.0, 25.0), support=given["support"])
    assert rating is not None and rating.zone == check["value"]


def test_no_hypotheses_no_judgement() -> None:
    assert judge(spectrum(9), rig()) == Judgement()


def test_noise_alone_is_claimed_no_more_often_than_stated() -> None:
    """300 spectra of pure noise at a limit of 1e-3 each for ours and for strangers."""
    drive = rig(DRIVE_END, FAN_END)
    claimed = sum(bool((j := judge(spectrum(1000 + n), drive)).claims or j.uncertain or j.strangers) for n in range(300))
    assert claimed <= scipy.stats.binom.ppf(0.999, 300, 2e-3)
