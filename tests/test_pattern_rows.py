"""Patterns in the diagnosis: what a made-up family says reaches verdicts, what cannot be told, and what could not be tested.

Urgencies are those of the handbooks' rule in `judge.advice` (from memory): one witness is verified, two stop a breaking part.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gearcase.drawings.diagnose_blocks import answer_note, verdict_blocks
from gearcase.drawings.handover_blocks import _summary
from gearcase.drawings.text import diagnose_text
from gearcase.drive.gear_faults import Knock, ToothDamage
from gearcase.drive.simulate import Levels, simulate
from gearcase.drive.train import Drive
from gearcase.job.build import Job, load
from gearcase.judge.faults import ATTRIBUTION_LIMIT
from gearcase.judge.patterns import catalogue, families
from gearcase.judge.patterns.meaning import pattern_urgency
from gearcase.judge.patterns.observed import Kept, Observed, matched
from gearcase.judge.patterns.signs import Answer, Role, Sign, Weighed, weigh
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.spectrum import transform
from gearcase.stages import diagnose, pattern_rows

RATE = 6400.0
CRACK = "tooth crack or chip"


@pytest.fixture(scope="module")
def job() -> Job:
    return load(Path(__file__).parents[1] / "examples" / "demo")


def turning(job: Job, number: int, point: str = "") -> Recording:
    given = {"speed_hz": 24.6, "sample_rate_hz": 12800.0, "samples": 12800 * 6, "levels": Levels(shaft=0.2, mesh=0.8)}
    samples = simulate(job.drive, seed=number, noise="white", **given)
    return Recording(samples, 12800.0, "m/s2", speed_hz=24.6, name=f"record {number}", point=point)


def record(number: int, *, point: str = "", taken: Circumstances | None = None, samples: int = 4096) -> Recording:
    noise = np.random.default_rng(number).standard_normal(samples).astype(np.float32)
    return Recording(noise, RATE, "m/s2", speed_hz=24.6, name=f"record {number}", point=point, taken=taken or Circumstances())


def observed(recording: Recording) -> Observed:
    spectrum = transform(recording.samples, sample_rate_hz=recording.sample_rate_hz)
    return Observed(recording, spectrum, envelope_spectrum(spectrum), recording.speed_hz or 0.0, 0.001, quality=())


def once(seen: bool | None, says: str = "9 standard errors") -> Sign:
    return Sign(Role.NEEDED, catalogue.pattern(CRACK).needs[0], seen, says, 1e-6)


@pytest.fixture
def offered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The made-up family below speaks of a pattern as if it were offered."""
    monkeypatch.setattr(pattern_rows, "pattern", lambda name: replace(catalogue.pattern(name), offered=True))


def judged(job: Job, family: families.Family, records: list[Recording], monkeypatch: pytest.MonkeyPatch) -> dict:
    monkeypatch.setattr(families, "FAMILIES", (family,))
    monkeypatch.setattr(families.sensors, "examine", lambda records: ())
    return diagnose.run(job, records).document


@pytest.mark.parametrize(
    ("noise", "attribution", "answer"),
    [(9e-4, 0.049, Answer.CLAIMED), (1.1e-3, 0.01, Answer.UNCERTAIN), (1e-6, 0.051, Answer.UNCERTAIN)],
)
def test_a_claim_wants_a_thousandth_and_a_twentieth(noise: float, attribution: float, answer: Answer) -> None:
    """The stated rates: claims in noise at most 0.001, wrong parts at most 0.05; the studies hold what comes of them to both."""
    sign = replace(once(True), noise_chance=noise)
    assert weigh(CRACK, "input shaft", [sign], attribution=attribution).answer is answer


@pytest.mark.usefixtures("offered")
def test_a_claim_is_a_verdict_with_its_signs_and_is_shown(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def family(drive: Drive, all_: object) -> tuple[Weighed, ...]:
        assert isinstance(all_, tuple)
        return (weigh(CRACK, "input shaft", [once(True)], attribution=0.01, seen_in=all_),)

    records = [turning(job, n, job.points[n].name) for n in (0, 1)]
    document = judged(job, family, records, monkeypatch)
    (verdict,) = document["verdicts"]
    assert (verdict["fault"], verdict["recording"]) == (CRACK, "record 1")
    assert verdict["urgency"] == "stop and inspect at the first safe stop"
    assert document["statement"] == f"input shaft: {CRACK}, {verdict['urgency']}"
    assert "needed, seen: once-a-turn impulse" in diagnose_text(document)
    assert any(block.kind == "table" and block.head[0] == "sign" for block in verdict_blocks(document))


@pytest.mark.usefixtures("offered")
@pytest.mark.parametrize(
    ("seen", "attribution", "kept"), [(None, 0.0, "not_testable"), (True, 1.0, "cannot_tell"), (False, 0.0, "")]
)
def test_what_is_no_claim_is_said_where_it_belongs(
    seen: bool | None, attribution: float, kept: str, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    def family(drive: Drive, all_: object) -> tuple[Weighed, ...]:
        return (weigh(CRACK, "input shaft", [once(seen, "why not")], attribution=attribution),)

    document = judged(job, family, [turning(job, 1)], monkeypatch)
    assert not document["verdicts"]
    blind = [row for row in document["not_testable"] if row["fault"] == CRACK]
    told = [reason for reason in document["cannot_tell"] if CRACK in reason]
    assert (len(blind), len(told)) == (kept == "not_testable", kept == "cannot_tell")
    assert [row["answer"] for row in document["patterns"]] == [
        {"": Answer.NOT_SEEN, "not_testable": Answer.NOT_TESTABLE, "cannot_tell": Answer.UNCERTAIN}[kept]
    ]
    if told:
        assert "To tell it from a key, coupling or seal" in told[0]


@pytest.mark.parametrize(("name", "matures"), [(CRACK, True), ("unbalance", False)])
def test_every_face_can_show_a_pattern_whether_it_matures_or_not(name: str, matures: bool) -> None:
    (need, *_) = catalogue.pattern(name).needs
    sign = Sign(Role.NEEDED, need, True, "seen so", 1e-6)
    weighed = weigh(name, "input", [sign], attribution=0.01, seen_in=[observed(record(1, point="one"))], growth_db=7.0)
    (verdict,) = pattern_rows.verdict_rows([weighed])
    empty = {"cannot_tell": [], "unexplained": [], "not_testable": [], "recordings": []}
    document = {"statement": "said", "verdicts": [verdict], **empty}
    told = diagnose_text(document)
    owner = dict(_summary(verdict, None))
    assert ("maturity 2 of 4" in told) is matures and ("Maturity 2 of 4: the lines" in owner["How bad"]) is matures
    assert name in told and need in owner["What"] and "grown by 7 dB" in owner["How bad"]
    (figures,) = [block.text for block in verdict_blocks(document) if "Noise false alarm" in block.text]
    assert "None" not in figures and "Strength" not in figures
    assert answer_note(document, {}).state == "abnormal"


def test_a_pattern_that_is_not_offered_is_never_claimed(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def family(drive: Drive, all_: object) -> tuple[Weighed, ...]:
        return (weigh(CRACK, "part", [once(True)], attribution=0.01),)

    assert judged(job, family, [turning(job, 1)], monkeypatch)["verdicts"]
    monkeypatch.setattr(pattern_rows, "pattern", lambda name: replace(catalogue.pattern(name), offered=False))
    document = judged(job, family, [turning(job, 1)], monkeypatch)
    assert not document["verdicts"] and not document["patterns"]


def test_a_chipped_tooth_seen_at_two_points_stops_the_drive_and_one_at_a_time_is_verified(job: Job) -> None:
    """The whole way through the stage, by the simulator: nothing made up, nothing replaced."""
    damage = ToothDamage("low-speed mesh", "intermediate", Knock(8.0), dip=0.6, lag=0.6)
    records = []
    for number, point in enumerate(job.points[:2]):
        given = {"speed_hz": 24.6, "sample_rate_hz": 12800.0, "samples": 12800 * 12, "levels": Levels(shaft=0.2, mesh=0.8)}
        samples = simulate(job.drive, seed=number, noise="resonant", gear_faults=[damage], **given)
        records.append(Recording(samples, 12800.0, "m/s2", speed_hz=24.6, name=f"record {number}", point=point.name))
    both, one = (diagnose.run(job, given).document for given in (records, records[:1]))
    for document, urgency in ((both, "stop and inspect"), (one, "plan and verify: act within 4 days")):
        (verdict,) = [row for row in document["verdicts"] if row["fault"] == CRACK]
        assert verdict["component"] == "teeth on intermediate, in low-speed mesh" and verdict["urgency"].startswith(urgency)
        assert any("look at the teeth on this shaft" in step for step in verdict["advice"])
        assert verdict["rivals"][0]["name"].startswith("a key, coupling or seal")
    assert not both["unexplained"], "high orders of that shaft are explained by its tooth"
    blind = [row for row in both["not_testable"] if row["fault"] == CRACK]
    assert [row["component"] for row in blind] == ["teeth on output"] and "record longer" in blind[0]["why"]


def test_records_of_no_steady_speed_are_not_judged_for_bearings_and_are_not_clean(job: Job) -> None:
    document = diagnose.run(job, [record(1, taken=Circumstances(state="coast-down"), samples=2**17)]).document
    assert not document["clean"] and "no recording was taken at a steady speed" in document["cannot_tell"][-1]


@pytest.mark.parametrize(
    ("name", "points", "growth_db", "says"),
    [
        (CRACK, ("one",), None, "plan and verify: act within 4 days"),
        (CRACK, ("one", "two"), None, "stop and inspect at the first safe stop"),
        (CRACK, ("", ""), None, "plan and verify: act within 4 days"),
        ("gear wear", ("one",), 7.0, "plan and verify: order parts, act within 1 to 3 months"),
        ("gear wear", ("one",), 21.0, "plan and verify: act within 1 to 4 weeks, check weekly"),
        ("unbalance", ("one", "two"), None, "put it right at the next planned stop; record again in two weeks"),
        ("sensor fault", ("one",), 30.0, "repair the measurement before anything is judged by it"),
    ],
)
def test_urgency_follows_severity_witnesses_and_growth(
    name: str, points: tuple[str, ...], growth_db: float | None, says: str
) -> None:
    seen_in = [observed(record(n, point=point)) for n, point in enumerate(points)]
    sign = Sign(Role.NEEDED, "any", True, "")
    assert pattern_urgency(weigh(name, "part", [sign], attribution=0.0, seen_in=seen_in, growth_db=growth_db)) == says


def test_a_sign_that_is_a_witness_counts_as_one() -> None:
    hot = Sign(Role.SUPPORTING, "temperature", True, "12 K over its twin", witness=True)
    seen_in = [observed(record(1, point="one"))]
    assert weigh(CRACK, "a", [once(True), hot], attribution=0.0, seen_in=seen_in).witnesses == 2
    assert weigh(CRACK, "a", [once(True), hot], attribution=2 * ATTRIBUTION_LIMIT).answer is Answer.UNCERTAIN


def test_of_many_records_the_earliest_and_latest_three_of_each_place_and_state_are_kept_in_order() -> None:
    kept = Kept()
    for number in range(20):
        load = (0.4, 0.8)[number % 2]
        kept.add(observed(record(number, taken=Circumstances(load=load), samples=256)))
    names = [int(one.recording.name.removeprefix("record ")) for one in kept.all()]
    assert names == [0, 1, 2, 3, 4, 5, 14, 15, 16, 17, 18, 19]


def test_levels_are_compared_at_one_known_load_and_speed_only() -> None:
    at = {load: observed(record(1, taken=Circumstances(load=load))) for load in (None, 0.5, 0.55, 0.8)}
    assert matched(at[0.5], at[0.55])
    assert not matched(at[0.5], at[0.8]) and not matched(at[None], at[None])
    assert not matched(at[0.5], replace(at[0.5], speed_hz=30.0))
    assert not matched(at[0.5], replace(at[0.5], speed_spread=1.0))
