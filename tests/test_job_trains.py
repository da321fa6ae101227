"""job.yaml and every kind of train: what it becomes, and what is said of one that cannot be."""

import pytest

from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.errors import BadInput
from gearcase.job.build import Job, build
from gearcase.job.read import parse_text
from gearcase.stages import survey

MILL = """\
job: 1
drive:
  nameplate: {power: 450 kW, ratio: 81.5, input_speed: 1480 rpm}
  input: {shaft: input, speed: 1480 rpm}
  shafts:
    - {name: input, end: input}
    - {name: intermediate}
    - {name: sun}
    - {name: carrier, end: output}
    - {name: ring, held: true}
    - {name: fan shaft}
  meshes:
    - {name: high-speed mesh, pinion: {shaft: input, teeth: 22}, wheel: {shaft: intermediate, teeth: 88}}
    - {name: bevel mesh, kind: bevel, pinion: {shaft: intermediate, teeth: 23}, wheel: {shaft: sun, teeth: 82}}
  planetary_sets:
    - name: first stage
      planets: 3
      sun: {shaft: sun, teeth: 21}
      planet: {teeth: 39}
      ring: {shaft: ring, teeth: 99}
      carrier: {shaft: carrier}
  belts:
    - name: fan belt
      kind: V-belt
      driver: {shaft: input, diameter: 200 mm}
      driven: {shaft: fan shaft, diameter: 160 mm}
      length: 2.1 m
  motor: {shaft: input, poles: 4, supply: 50 Hz, rated_speed: 1480 rpm}
  passing_parts:
    - {name: cooling fan, shaft: fan shaft, kind: fan blades, count: 9}
  bearings:
    - name: planet bearing
      shaft: carrier
      other_ring_shaft: first stage planet
      elements: 18
      element_diameter: 16 mm
      pitch_diameter: 110 mm
      contact_angle: 0 deg
"""


def job(text: str) -> Job:
    return build(parse_text(text), folder="job")


def changed(*pairs: tuple[str, str]) -> str:
    text = MILL
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_a_planetary_drive_with_belt_motor_and_fan_becomes_shafts_meshes_and_lines() -> None:
    drive = job(MILL).drive
    orders = shaft_orders(drive)
    assert 1 / abs(orders["carrier"].order) == pytest.approx(88 / 22 * 82 / 23 * (1 + 99 / 21))  # Willis, ring held
    assert orders["fan shaft"].order == pytest.approx(1.25)
    planet = next(shaft for shaft in drive.shafts if shaft.name == "first stage planet")
    assert (planet.carrier, planet.count) == ("carrier", 3)
    meshes = {mesh.name: (mesh.kind, mesh.group, mesh.where) for mesh in drive.meshes}
    assert meshes["first stage ring mesh"] == ("internal", "first stage", "job.yaml:16")
    kinds = {line.kind for line in expected_lines(drive)}
    assert {"planet", "planet_pass", "member_tooth", "belt", "passing", "supply", "pole_pass", "outer_race", "cage"} <= kinds


def test_a_planet_bearing_passes_its_elements_at_the_speed_of_the_planet_on_its_pin() -> None:
    """Inner ring on the pin turns with the carrier, outer ring with the planet: no-slip kinematics."""
    drive = job(MILL).drive
    orders = shaft_orders(drive)
    (outer,) = (line for line in expected_lines(drive) if line.kind == "outer_race" and line.harmonic == 1)
    spin = abs(orders["first stage planet"].order - orders["carrier"].order)
    assert outer.order == pytest.approx(18 / 2 * (1 - 16 / 110) * spin)


def test_the_survey_gives_the_power_through_each_mesh_and_every_line_its_working() -> None:
    document = survey.run(job(MILL)).document
    power = {mesh["name"]: mesh["power_w"] for mesh in document["drive"]["meshes"]}
    assert power["high-speed mesh"] == pytest.approx(450e3)
    assert all(line["working"]["value"] == pytest.approx(line["hz"]) for line in document["lines"])


def test_stepped_planets_and_pairs_of_planets_are_described_by_the_set_alone() -> None:
    """Stepped planets 60/24 between sun 20 and ring 104: 1 + 60 x 104 / (20 x 24) = 14 (textbook)."""
    stepped = changed(
        ("sun: {shaft: sun, teeth: 21}", "sun: {shaft: sun, teeth: 20}"),
        ("planet: {teeth: 39}", "planet: {teeth: 60, ring_side_teeth: 24}"),
        ("ring: {shaft: ring, teeth: 99}", "ring: {shaft: ring, teeth: 104}"),
        ("planets: 3", "planets: 2"),
        ("ratio: 81.5, ", ""),
    )
    orders = shaft_orders(job(stepped).drive)
    assert orders["sun"].order / orders["carrier"].order == pytest.approx(14)
    pairs = changed(
        ("sun: {shaft: sun, teeth: 21}", "sun: {shaft: sun, teeth: 30}"),
        ("planet: {teeth: 39}", "planet: {teeth: 18, outer_teeth: 20}"),
        ("ring: {shaft: ring, teeth: 99}", "ring: {shaft: ring, teeth: 90}"),
        ("ratio: 81.5, ", ""),
    )
    orders = shaft_orders(job(pairs).drive)
    assert orders["sun"].order / orders["carrier"].order == pytest.approx(1 - 90 / 30)


def test_the_nameplate_is_held_against_the_ratio_of_a_planetary_drive() -> None:
    (found,) = (found for found in job(changed(("ratio: 81.5", "ratio: 71.5"))).findings if found.rule == "job.ratio")
    assert "the job's teeth and pulleys give a ratio of 81.49, the nameplate 71.5" in found.says


def test_unknown_teeth_in_a_set_leave_the_ratio_to_the_plate() -> None:
    drive = job(
        changed(("planet: {teeth: 39}", "planet: {teeth: unknown}"), ("sun: {shaft: sun, teeth: 21}", "sun: {shaft: sun}"))
    ).drive
    assert [link.name for link in drive.ratio_links] == ["nameplate ratio"]
    assert 1 / shaft_orders(drive)["carrier"].order == pytest.approx(81.5)


def test_a_known_ratio_reaches_a_shaft_that_no_teeth_reach() -> None:
    known = changed(("  motor:", "  ratios:\n    - {fast: sun, slow: pump, ratio: 2.5, spread: 1 %, origin: measured}\n  motor:"))
    drive = job(known.replace("    - {name: fan shaft}\n", "    - {name: fan shaft}\n    - {name: pump}\n")).drive
    orders = shaft_orders(drive)
    assert abs(orders["sun"].order / orders["pump"].order) == pytest.approx(2.5)
    assert orders["pump"].spread == pytest.approx(0.01)


def test_a_differential_with_nothing_held_says_what_would_settle_it() -> None:
    document = survey.run(job(changed(("held: true", "held: false"), ("ratio: 81.5, ", "")))).document
    (found,) = (row for row in document["findings"] if row["rule"] == "survey.unknown_speed")
    assert "leaves 'carrier' and 'ring' and 'first stage planet' free: say which part the housing holds" in found["says"]


SPEEDS = {
    "the plate against itself": (
        changed(("input_speed: 1480 rpm", "input_speed: 1480 rpm, output_speed: 22 rpm"), ("ratio: 81.5", "ratio: 81.5")),
        "the plate contradicts itself: its speeds are in a ratio of 67.27, and it says 81.5",
    ),
    "a speed far above the plate's": (
        changed(("speed: 1480 rpm}\n  shafts", "speed: 2950 rpm}\n  shafts")),
        "input is stated to run at 2950 rpm, and the plate says 1480 rpm: one is wrong; read both again",
    ),
    "a speed below the plate's without a converter": (
        changed(("speed: 1480 rpm}\n  shafts", "speed: 970 rpm}\n  shafts")),
        "the plate says 1480 rpm: one is wrong; read both again, or say motor.converter: true where one slows it",
    ),
    "the motor on the mains": (
        changed(("speed: 1480 rpm}\n  shafts", "speed: 970 rpm}\n  shafts")),
        "the stated speed turns the motor at 970 rpm, but 4 poles on 50 Hz turn it at 1480 to 1500 rpm",
    ),
}


@pytest.mark.parametrize(("text", "says"), SPEEDS.values(), ids=SPEEDS.keys())
def test_two_speeds_that_exclude_each_other_are_an_open_contradiction(text: str, says: str) -> None:
    assert any(found.rule == "job.speeds" and says in found.says for found in job(text).findings)
    document = survey.run(job(text)).document
    assert any(says in row["says"] for row in document["contradictions"])
    (question,) = (row["what"] for row in document["unknown"] if says in row["what"])
    assert question.startswith("settle which of the two holds: ") and "teeth" not in question


def test_what_guards_the_bearings_against_shaft_currents_reaches_the_drive_and_a_word_unknown_is_answered() -> None:
    plate = "rated_speed: 1480 rpm}"
    said = job(changed((plate, "rated_speed: 1480 rpm, current_protection: shaft brush}"))).drive.motor
    assert said and said.current_protection == "shaft brush"
    with pytest.raises(BadInput) as raised:
        job(changed((plate, "rated_speed: 1480 rpm, current_protection: grease}")))
    assert "none, shaft brush, insulated bearing, both" in str(raised.value)


def test_a_motor_within_its_slip_contradicts_nothing() -> None:
    assert [found.rule for found in job(changed(("speed: 1480 rpm}\n  shafts", "speed: 1495 rpm}\n  shafts"))).findings] == []


WRONG = {
    "no planet fits": (
        changed(("ring: {shaft: ring, teeth: 99}", "ring: {shaft: ring, teeth: 109}")),
        (
            "job.yaml:16",
            "drive.planetary_sets[0]",
            '"first stage"',
            "no planet fits between them; count sun, planet",
        ),
    ),
    "planets that do not mesh all": (
        changed(("planets: 3", "planets: 7"), ("planet: {teeth: 39}", "planet: {teeth: 12}"), ("teeth: 99", "teeth: 45")),
        (
            "job.yaml:16",
            "drive.planetary_sets[0]",
            '"first stage"',
            "7 planets at equal angles do not mesh all: (21 + 45) / 7 is not whole. Count the planets and teeth again (2 or 3 or 6",
        ),
    ),
    "planets that run into each other": (
        changed(("planets: 3", "planets: 5")),
        ("job.yaml:16", "drive.planetary_sets[0]", '"first stage"', "run into each other"),
    ),
    "a locked set": (
        changed(("{name: carrier, end: output}", "{name: carrier, held: true}")),
        ("job.yaml:14", "drive.meshes[1]", 'shaft "sun"', "the train is locked: through 'first stage sun mesh', 'first stage ring"),
    ),
    "half a tooth": (
        changed(("sun: {shaft: sun, teeth: 21}", "sun: {shaft: sun, teeth: 21.5}")),
        ("job.yaml:18", "drive.planetary_sets[0].sun.teeth", "21.5", "a whole number of teeth"),
    ),
    "fewer than no teeth": (
        changed(("planet: {teeth: 39}", "planet: {teeth: -39}")),
        ("job.yaml:19", "drive.planetary_sets[0].planet.teeth", "-39", "a whole number of teeth"),
    ),
    "no such kind of mesh": (
        changed(("kind: bevel", "kind: bevelled")),
        ("job.yaml:14", "drive.meshes[1].kind", '"bevelled"', "external, internal (the wheel is a ring), bevel or worm"),
    ),
    "a member of nothing": (
        changed(("ring: {shaft: ring,", "ring: {shaft: rim,")),
        (
            "job.yaml:20",
            "drive.planetary_sets[0].ring.shaft",
            '"rim"',
            "ring, fan shaft, first stage planet",
        ),
    ),
    "a V-belt with teeth": (
        changed(("driver: {shaft: input, diameter: 200 mm}", "driver: {shaft: input, teeth: 40}")),
        ("job.yaml:25", "drive.belts[0].driver", "no diameter", "the diameter of a V-belt's pulleys"),
    ),
    "an odd number of poles": (
        changed(("poles: 4", "poles: 5")),
        ("job.yaml:28", "drive.motor.poles", "5", "an even number of poles, 2 to 64"),
    ),
    "a motor faster than its field": (
        changed(("rated_speed: 1480 rpm", "rated_speed: 1780 rpm")),
        ("job.yaml:28", "drive.motor", "its plate", "whose field turns at 1500 rpm"),
    ),
    "nothing passes": (
        changed(("count: 9", "count: 0")),
        ("job.yaml:30", "drive.passing_parts[0].count", "0", "how many pass in a turn"),
    ),
    "a shaft joined to nothing": (
        changed(("    - {name: fan shaft}\n", "    - {name: fan shaft}\n    - {name: idler}\n")),
        ("job.yaml:12", "drive.shafts[6].name", '"idler"', 'joined to "input"'),
    ),
}


@pytest.mark.parametrize(("text", "expected"), WRONG.values(), ids=WRONG.keys())
def test_each_impossible_train_is_named_with_its_line_and_the_cure(text: str, expected: tuple[str, str, str, str]) -> None:
    where, key, given_, accepted = expected
    with pytest.raises(BadInput) as caught:
        job(text)
    found = [problem for problem in caught.value.problems if accepted in problem.accepted]
    assert [(problem.where, problem.key, problem.given) for problem in found] == [(where, key, given_)], caught.value.problems


def test_a_v_belt_of_the_job_may_slip_and_a_held_ring_asks_for_no_coverage() -> None:
    built = job(MILL)
    assert shaft_orders(built.drive)["fan shaft"].spread == pytest.approx(0.02)  # 1 to 2 %: common practice, no source
    seen = {row["component"] for row in survey.run(built).document["coverage"]}
    assert "ring" not in seen
    assert {"carrier", "first stage planet", "bevel mesh"} <= seen


def test_a_contradicted_plate_does_not_set_the_speed_that_lines_are_listed_at() -> None:
    drive = job(changed(("speed: 1480 rpm}\n  shafts", "speed: 2950 rpm}\n  shafts"))).drive
    assert drive.rated_speed_hz == pytest.approx(2950 / 60)
    for row in survey.run(job(MILL)).document["lines"]:
        assert row["hz_range"][0] <= row["hz"] * (1 + 1e-9) and row["hz"] <= row["hz_range"][1] * (1 + 1e-9), row["name"]


def test_the_two_speeds_of_a_plate_make_its_ratio_with_their_rounding() -> None:
    """1485 and 74 rpm, each known to half a turn: 20.07, within 0.14 (rounding)."""
    text = "job: 1\ndrive:\n  nameplate: {input_speed: 1485 rpm, output_speed: 74 rpm, stages: 2}\n  input: {speed: 1485 rpm}\n"
    drive = job(text).drive
    (link,) = drive.ratio_links
    assert (link.ratio, link.spread) == (pytest.approx(1485 / 74), pytest.approx(1485 / 74 * (0.5 / 1485 + 0.5 / 74)))
    assert 1 / abs(shaft_orders(drive)["output"].order) == pytest.approx(1485 / 74)
    assert "from a recording of the running drive" in survey.run(job(text)).document["inferred"]["teeth"]["says"]


def test_planets_nobody_has_counted_are_estimated_from_sun_and_ring() -> None:
    """(99 - 21) / 2 = 39; the carrier needs them not: z_s / (z_s + z_r) of the sun (Willis)."""
    unknown = job(changed(("planet: {teeth: 39}", "planet: {teeth: unknown}"))).drive
    orders = shaft_orders(unknown)
    assert orders["carrier"].order / orders["sun"].order == pytest.approx(21 / 120)
    mesh = next(mesh for mesh in unknown.meshes if mesh.name == "first stage sun mesh")
    assert (mesh.wheel_teeth, mesh.origin) == (39, "assumed")  # no better known than the rest of the set


def test_a_set_is_covered_as_one_mesh() -> None:
    parts = [row["component"] for row in survey.run(job(MILL)).document["coverage"]]
    assert "first stage sun mesh" in parts and "first stage ring mesh" not in parts
