"""Drives of every kind a train can be, as small jobs whose survey is drawn: `documents` gives the survey of each. All invented."""

import functools
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from gearcase.job.build import load
from gearcase.stages import survey

PLAIN = "sun: {shaft: sun, teeth: 21}, planet: {teeth: 39}, ring: {shaft: ring, teeth: 99}, carrier: {shaft: carrier}"
MEMBERS = "- {name: sun, end: input}\n  - {name: carrier, end: output}\n  - {name: ring, held: true}"
KINDS = {
    "three helical stages": """
  input: {shaft: input, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: input, end: input}, {name: second}, {name: third}, {name: output, end: output}]
  meshes:
  - {name: first mesh, pinion: {shaft: input, teeth: 19}, wheel: {shaft: second, teeth: 63}}
  - {name: second mesh, pinion: {shaft: second, teeth: 21}, wheel: {shaft: third, teeth: 64}}
  - {name: third mesh, pinion: {shaft: third, teeth: 23}, wheel: {shaft: output, teeth: unknown}}
  bearings:
  - {name: input bearing motor side, shaft: input, elements: 9, element_diameter: 8 mm, pitch_diameter: 40 mm, contact_angle: 0 deg}
  - {name: input bearing far side, shaft: input}
  - {name: output bearing left, shaft: output}
  - {name: output bearing middle, shaft: output}
  - {name: output bearing right, shaft: output}
""",
    "a ring with internal teeth": """
  input: {shaft: pinion shaft, speed: 900 rpm, origin: nameplate}
  shafts: [{name: pinion shaft, end: input}, {name: drum, end: output}]
  meshes: [{name: drum mesh, kind: internal, pinion: {shaft: pinion shaft, teeth: 20}, wheel: {shaft: drum, teeth: 80}}]
  bearings: [{name: drum bearing, shaft: drum}]
""",
    "bevel and helical": """
  input: {shaft: input, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: input, end: input}, {name: cross shaft}, {name: output, end: output}]
  meshes:
  - {name: bevel mesh, kind: bevel, pinion: {shaft: input, teeth: 13}, wheel: {shaft: cross shaft, teeth: 40}}
  - {name: helical mesh, pinion: {shaft: cross shaft, teeth: 20}, wheel: {shaft: output, teeth: 81}}
  passing_parts: [{name: input coupling, shaft: input, kind: coupling, count: 6}]
  motor: {shaft: input, poles: 4, supply: 50 Hz, rated_speed: 1480 rpm}
""",
    "a worm": """
  input: {shaft: worm shaft, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: worm shaft, end: input}, {name: wheel shaft, end: output}]
  meshes: [{name: worm mesh, kind: worm, pinion: {shaft: worm shaft, teeth: 2}, wheel: {shaft: wheel shaft, teeth: 41}}]
  bearings:
  - {name: worm bearing, drive end, shaft: worm shaft}
  - {name: wheel bearing, shaft: wheel shaft}
""".replace("worm bearing, drive end", "worm bearing drive end"),
    "belt before and chain behind": """
  input: {shaft: motor shaft, speed: 1000-1480 rpm, origin: nameplate}
  shafts: [{name: motor shaft}, {name: input, end: input}, {name: output, end: output}, {name: conveyor head shaft}]
  meshes: [{name: only mesh, pinion: {shaft: input, teeth: 20}, wheel: {shaft: output, teeth: 81}}]
  belts:
  - {name: motor belt, kind: V-belt, driver: {shaft: motor shaft, diameter: 160 mm}, driven: {shaft: input, diameter: 315 mm}}
  - {name: head chain, kind: chain, driver: {shaft: output, teeth: 17}, driven: {shaft: conveyor head shaft, teeth: 38}}
  motor: {shaft: motor shaft, poles: 4, supply: 50 Hz, rated_speed: 1480 rpm}
  passing_parts: [{name: cooling fan, shaft: motor shaft, kind: fan blades, count: 5}]
  bearings:
  - {name: head shaft bearing left, shaft: conveyor head shaft}
  - {name: head shaft bearing right, shaft: conveyor head shaft}
""",
    "a planetary set": f"""
  input: {{shaft: sun, speed: 1480 rpm, origin: nameplate}}
  shafts:
  {MEMBERS}
  planetary_sets: [{{name: only stage, planets: 3, {PLAIN}}}]
  bearings:
  - {{name: sun bearing, shaft: sun}}
  - {{name: carrier bearing inner, shaft: carrier}}
  - {{name: carrier bearing outer, shaft: carrier}}
  - {{name: planet bearing, shaft: carrier, other_ring_shaft: only stage planet}}
""",
    "a planetary set with its carrier held": """
  input: {shaft: sun, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: sun, end: input}, {name: carrier, held: true}, {name: ring, end: output}]
  planetary_sets:
  - {name: star stage, planets: 5, sun: {shaft: sun, teeth: 30}, planet: {teeth: 20}, ring: {shaft: ring, teeth: 70},
     carrier: {shaft: carrier}}
""",
    "two planetary sets in a row": """
  input: {shaft: input sun, speed: 600-1480 rpm, origin: nameplate}
  shafts:
  - {name: input sun, end: input}
  - {name: first ring, held: true}
  - {name: carrier and second sun}
  - {name: second ring, held: true}
  - {name: low-speed carrier, end: output}
  planetary_sets:
  - {name: first stage, planets: 3, sun: {shaft: input sun, teeth: 21}, planet: {teeth: 39}, ring: {shaft: first ring, teeth: 99},
     carrier: {shaft: carrier and second sun}}
  - {name: second stage, planets: 4, sun: {shaft: carrier and second sun, teeth: 24}, planet: {teeth: 36},
     ring: {shaft: second ring, teeth: 96}, carrier: {shaft: low-speed carrier}}
  bearings: [{name: first planet bearing, shaft: carrier and second sun, other_ring_shaft: first stage planet}]
""",
    "stepped planets": """
  input: {shaft: sun, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: sun, end: input}, {name: carrier, end: output}, {name: ring, held: true}]
  planetary_sets:
  - {name: stepped stage, planets: 3, sun: {shaft: sun, teeth: 24}, planet: {teeth: 66, ring_side_teeth: 21},
     ring: {shaft: ring, teeth: 111}, carrier: {shaft: carrier}}
""",
    "planets in pairs": """
  input: {shaft: sun, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: sun, end: input}, {name: carrier, end: output}, {name: ring, held: true}]
  planetary_sets:
  - {name: paired stage, planets: 3, sun: {shaft: sun, teeth: 30}, planet: {teeth: 18, outer_teeth: 18},
     ring: {shaft: ring, teeth: 90}, carrier: {shaft: carrier}}
""",
    "load split over two shafts": """
  input: {shaft: input, speed: 1480 rpm, origin: nameplate}
  shafts: [{name: input, end: input}, {name: upper}, {name: lower}, {name: output, end: output}]
  meshes:
  - {name: input to upper, pinion: {shaft: input, teeth: 21}, wheel: {shaft: upper, teeth: 84}}
  - {name: input to lower, pinion: {shaft: input, teeth: 21}, wheel: {shaft: lower, teeth: 84}}
  - {name: upper to output, pinion: {shaft: upper, teeth: 19}, wheel: {shaft: output, teeth: 95}}
  - {name: lower to output, pinion: {shaft: lower, teeth: 19}, wheel: {shaft: output, teeth: 95}}
  bearings:
  - {name: input bearing left, shaft: input}
  - {name: input bearing right, shaft: input}
  - {name: output bearing left, shaft: output}
  - {name: output bearing right, shaft: output}
  - {name: upper bearing left, shaft: upper}
  - {name: upper bearing right, shaft: upper}
""",
    "a differential with nothing held": """
  input: {shaft: sun, speed: 1000-1480 rpm, origin: nameplate}
  shafts:
  - {name: sun, end: input}
  - {name: carrier, end: output}
  - {name: ring}
  - {name: correcting shaft}
  meshes: [{name: correcting mesh, kind: worm, pinion: {shaft: correcting shaft, teeth: 1}, wheel: {shaft: ring, teeth: 120}}]
  planetary_sets:
  - {name: differential, planets: 3, sun: {shaft: sun, teeth: 21}, planet: {teeth: 39}, ring: {shaft: ring, teeth: 99},
     carrier: {shaft: carrier}}
  bearings:
  - {name: sun bearing one, shaft: sun}
  - {name: sun bearing two, shaft: sun}
  - {name: ring bearing, shaft: ring}
""",
}
KINDS["planetary and helical with a fan"] = """
  input: {shaft: input, speed: 900-1480 rpm, origin: nameplate}
  shafts:
  - {name: input, end: input}
  - {name: intermediate}
  - {name: sun}
  - {name: carrier, end: output}
  - {name: ring, held: true}
  - {name: fan shaft}
  meshes:
  - {name: high-speed mesh, pinion: {shaft: input, teeth: 22}, wheel: {shaft: intermediate, teeth: 88}}
  - {name: intermediate mesh, pinion: {shaft: intermediate, teeth: 23}, wheel: {shaft: sun, teeth: 82}}
  planetary_sets: [{name: planetary stage, planets: 3, PLAIN}]
  belts:
  - {name: fan belt, kind: V-belt, driver: {shaft: input, diameter: 200 mm}, driven: {shaft: fan shaft, diameter: 160 mm},
     length: 2.1 m}
  motor: {shaft: input, poles: 4, supply: 50 Hz, rated_speed: 1480 rpm, converter: true, carrier: 4 kHz}
  passing_parts: [{name: cooling fan, shaft: fan shaft, kind: fan blades, count: 9}]
  bearings:
  - {name: planet bearing, shaft: carrier, other_ring_shaft: planetary stage planet, elements: 18, element_diameter: 16 mm,
     pitch_diameter: 110 mm, contact_angle: 0 deg}
  - {name: sun bearing, shaft: sun}
  - {name: sun bearing by the set, shaft: sun}
""".replace("PLAIN", PLAIN)


@functools.cache
def surveyed(kind: str) -> dict[str, Any]:
    """The document of the survey of one of `KINDS`."""
    with TemporaryDirectory() as folder:
        (Path(folder) / "job.yaml").write_text(f"job: 1\ntitle: {kind}\ndrive:\n  name: {kind}{KINDS[kind]}", encoding="utf-8")
        return survey.run(load(Path(folder))).document


def documents() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every kind with its survey."""
    for kind in KINDS:
        yield kind, surveyed(kind)
