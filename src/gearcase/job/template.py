"""A new job: a folder with a commented job.yaml to fill in, and its JSON Schema for editors."""

import json
from pathlib import Path

from gearcase.errors import BadInput, Problem
from gearcase.job.read import FILE_NAME
from gearcase.job.schema import json_schema
from gearcase.job.write import write_text

__all__ = ["SCHEMA_NAME", "new_job", "template"]

SCHEMA_NAME = "job.schema.json"

_HEAD = """\
# yaml-language-server: $schema=job.schema.json
# A gearcase job: one drive. Quantities carry their unit ("0.5 in", "25 mm", "1485 rpm"); what nobody knows is left out.
# Where a part asks for origin, say how the value is known: measured, nameplate, estimated or assumed.
job: 1
title: {title}

site:
  name: name of the site
  # drive_tag: CV-204
  # owner: who may approve work on the drive
  # conditions:
  #   area: unclassified      # or as the owner states it: zone 2 IIB T3
  #   ambient: -15 to 40 °C   # coldest and hottest air of the year
  #   ingress: IP66           # what parts must have there
  #   wash_down: false
  #   incline: false          # true where the load can run back
  #   working_height: 2.4 m
  #   drilling_consent: not asked     # not asked, asked, given or refused

drive:
  name: {drive}
  nameplate:                  # what the plate says, nothing else
    # power: 75 kW
    # ratio: 20.1             # as printed: its last digit says how exact it is
    # input_speed: 1485 rpm
    # support: rigid          # rigid or flexible
  input:
    shaft: input              # the shaft whose speed is known
    speed: 1485 rpm           # put the real one here; or a range: 900-1485 rpm
    origin: assumed           # nameplate or measured, once somebody has looked
"""

_PARALLEL = """\
  shafts:
    - name: input
      end: input
    - name: intermediate
    - name: output
      end: output
  meshes:                     # leave teeth out, or say unknown, until somebody has counted them
    - name: high-speed mesh
      pinion: {shaft: input, teeth: unknown}
      wheel: {shaft: intermediate, teeth: unknown}
    - name: low-speed mesh
      pinion: {shaft: intermediate, teeth: unknown}
      wheel: {shaft: output, teeth: unknown}
"""

_RIGHT_ANGLE = """\
  shafts:
    - name: input
      end: input
    - name: intermediate
    - name: output
      end: output
  meshes:                     # leave teeth out, or say unknown, until somebody has counted them
    - name: bevel mesh
      kind: bevel
      pinion: {shaft: input, teeth: unknown}
      wheel: {shaft: intermediate, teeth: unknown}
    - name: low-speed mesh
      pinion: {shaft: intermediate, teeth: unknown}
      wheel: {shaft: output, teeth: unknown}
"""

_SHAFT_MOUNTED = """\
  shafts:
    - name: input             # the motor's shaft; the drive hangs on the driven shaft
      end: input
    - name: pinion
    - name: intermediate
    - name: output
      end: output
  belts:
    - name: V-belt
      kind: V-belt
      driver: {shaft: input, diameter: 200 mm}      # put the real diameters here
      driven: {shaft: pinion, diameter: 300 mm}
      # length: 2.5 m
  meshes:                     # leave teeth out, or say unknown, until somebody has counted them
    - name: high-speed mesh
      pinion: {shaft: pinion, teeth: unknown}
      wheel: {shaft: intermediate, teeth: unknown}
    - name: low-speed mesh
      pinion: {shaft: intermediate, teeth: unknown}
      wheel: {shaft: output, teeth: unknown}
"""

_BEARINGS = """\
  bearings:
    - name: input bearing, coupling end
      shaft: input
      # designation: "6312"   # enough for an estimate; counting the elements narrows it
      # elements: 8           # in one row
      # element_diameter: 22.225 mm
      # pitch_diameter: 95 mm
      # contact_angle: 0 deg
      # origin: estimated
      # spread: 2 %           # how far its rates may be off
  # motor: {shaft: input, poles: 4, supply: 50 Hz, rated_speed: 1485 rpm, converter: false, current_protection: none}
  # passing_parts:
  #   - {name: cooling fan, shaft: input, kind: fan blades, count: 7}

"""

_FACES = {
    "parallel-shaft": ("left", "right", "top", "input end", "output end"),
    "right-angle": ("left", "right", "top", "input end"),
    "shaft-mounted": ("left", "right", "top", "input end"),
}
_OUTWARD = {"left": "left", "right": "right", "top": "up", "input end": "input end", "output end": "output end"}
_SIZES = {"top": (500, 600), "input end": (500, 400), "output end": (500, 400)}  # mm: two faces give one edge one length
_LONG_SIDE = (600, 400)
_TURNS = {  # what turns before each face, by the kind of drive
    ("parallel-shaft", "input end"): "input coupling and guard",
    ("parallel-shaft", "output end"): "output coupling and guard",
    ("right-angle", "input end"): "input coupling and guard",
    ("right-angle", "left"): "output coupling and guard",
    ("shaft-mounted", "input end"): "pulley, belt and guard",
    ("shaft-mounted", "right"): "driven shaft",
}
_HOUSING = """\
housing:
  kind: {kind}
  # material: grey iron       # grey iron, ductile iron, steel or aluminium
  # surface_temperature: 65 °C
  # faces:                    # seen from outside, the top with the output end away; places from the lower left corner
{faces}
  # ports:
  #   - {{name: side port, kind: side, face: left, at: [60 mm, 120 mm], threads_per_inch: 14, angle: 60 deg, tapered: true}}
  #     # below_minimum, above_floor, to_wheel: room for a probe
  #   - {{name: drain, kind: drain, face: left, at: [540 mm, 40 mm]}}     # and the same of its plug
  #   - {{name: oil level glass, kind: glass, face: right, at: [540 mm, 120 mm]}}
  #   - {{name: filler, kind: filler, face: top, at: [100 mm, 100 mm]}}
  #   - {{name: breather, kind: breather, face: top, at: [400 mm, 500 mm]}}
  #   - {{name: inspection cover, kind: inspection, face: top, at: [250 mm, 300 mm], major_diameter: 100 mm}}

"""
_FACE = """\
  #   - name: {name}
  #     outward: {outward}
  #     size: [{width} mm, {height} mm]
  #     keep_outs:
{keep_outs}  #     regions:
  #       - {{name: {name} boss, kind: boss, at: [330 mm, 310 mm], size: [45 mm, 45 mm],
  #          wall: {{readings: [22.6 mm, 22.4 mm, 22.5 mm], velocity_set: 5920 m/s, gauge_error: 0.3 mm,
  #                 sample: {{caliper: 20 mm, reading: 26.3 mm}}}}}}     # a cover's edge that both can measure
{seats}  #     threaded_holes:
{holes}"""
_SEAT = """\
  #     seats:                # bearing caps; load: the hour to which the load pushes
  #       - {bearing: "input bearing, coupling end", at: [150 mm, 150 mm], diameter: 110 mm, load: 6}
"""
_HOLES = {
    "left": (
        "left jig hole 1|[240 mm, 370 mm]|the maker's own jig hole and free",
        "left jig hole 2|[410 mm, 370 mm]|free jig hole",
    ),
    "top": ("lifting eye|[100 mm, 500 mm]|lifting",),
}


_KIT = """\
# kit:                          # what is brought along
#   adhesive: {kind: two-part methacrylate, full_cure: 24 h}      # and what else its sheet says
#   metal_temperature: 18 °C
#   brackets:                   # on existing holes whose function is known, or a stand of its own
#     - {name: strut on the jig holes, face: left, holes: [left jig hole 1, left jig hole 2],
#        grade: "8.8", full_thread: 18 mm, mass: 3 kg}
#     - {name: stand}
#   enclosure: {size: [200 mm, 300 mm], pattern: [160 mm, 260 mm], screw: M6, bracket: stand}
#   light: {height: 2.2 m, seen_from: 25 m, bracket: strut on the jig holes}
#   probe: {port: side port, thread: NPT 1/2, length: 90 mm, tip_diameter: 6 mm}
#   cable_entry: {face: left, at: [300 mm, 20 mm], beyond: 5 m}   # where the cables leave the housing
#   cables:
#     - {name: W1, length: 10 m, wire: 22 AWG, outside_diameter: 6.5 mm}

# outage:
#   windows:
#     - {start: 2026-09-10T06:00, length: 10 h}
#   crew:
#     - {name: your name, skills: [fitter]}      # fitter, licensed electrician, controls
#   isolation: {points: [motor feeder], agreed: false, by: who holds the lock}
#   ask:
#     - {name: network approval, owner: who grants it, lead_time: 42 d, granted: false}

"""

_POINTS = """\
points:
  - name: input coupling end
    bearing: input bearing, coupling end
    # mount: stud             # stud, rigid adhesive, adhesive pad, hot adhesive pad, flat magnet, magnet on paint, tape, hand probe
    # sensor: {lowest: 2 Hz, highest: 10 kHz, axes: 1, mass: 80 g}

# power:
#   volts: 24 V
#   rated: 5 A
#   wire: 18 AWG              # of the supply line along the bus
#   branch_circuit: {volts: 120 V, length: 25 m, load: 2 A, conduit: EMT}

# network:
#   subnet: 192.0.2.0/24
#   until_fitting: 30 d
#   hosts:
#     - {name: edge computer, address: 192.0.2.20, owner: controls engineer}
#     - {name: plant controller, address: 192.0.2.10, owner: controls engineer}
#   connections:
#     - {opened_by: plant controller, towards: edge computer, service: Modbus TCP, owner: controls engineer, lead_time: 21 d}

# notify:                       # who is told of alarms; passwords stand in files or environment variables
#   mail: {host: mail.plant.example, sender: gearcase@plant.example, user: gearcase, password_file: keys/mail.password}
#   webhooks:
#     - {name: control room, url: "https://control.example/drives", secret_file: keys/webhook.secret}
#   people:
#     - {name: shift, mail: shift@plant.example}
#     - {name: control room, webhook: control room, of: [danger, cannot tell]}
#     - {name: maintenance lead, mail: lead@plant.example, of: [danger], after: 30 min}

# store: postgresql://plant-server/drive_7   # what the watch reads; a file in this folder by default. No password here

# retention: {whole: 90 d, minutes: 730 d}     # of what the watch reads; left out: all is kept as it was read

# publish:                      # how the plant is told; passwords stand in files or environment variables
#   modbus: {address: 192.0.2.20, port: 502}
#   opcua: {address: 192.0.2.20, users: [{name: scada, password_file: keys/scada.password}]}
#   mqtt: {host: broker.example, group: crushing plant, node: edge computer, user: edge, password_file: keys/mqtt.password}

# inputs:                       # what the plant tells; of one kind the first that is fresh counts
#   - {name: run contact, kind: run, source: mqtt, topic: plant/drive 7, path: running}
#   - {name: controller, kind: speed, source: mqtt, topic: plant/drive 7, path: speed, unit: rpm, age_limit: 30 s}
#   - {name: nameplate, kind: speed, source: stated, value: 1485 rpm}
#   - {name: reverse contact, kind: direction, source: mqtt, topic: plant/drive 7, path: reverse}

# incoming:                     # what is not on the bus; passwords and tokens stand in files or environment variables
#   mqtt: {host: broker.example, user: edge, password_file: keys/mqtt.password, readings: plant/drive 7/readings}
#   http: {port: 8070, token_file: keys/token}
#   folder: incoming

# recordings:
#   - file: recordings/first.wav
#     point: input coupling end
#     unit: m/s2
#     speed: 1482 rpm
"""

_DRIVES = {
    "parallel-shaft": ("two-stage helical drive", _PARALLEL),
    "right-angle": ("bevel-helical drive", _RIGHT_ANGLE),
    "shaft-mounted": ("two-stage shaft-mounted drive behind a belt", _SHAFT_MOUNTED),
}


def template(kind: str, title: str) -> str:
    """A commented job.yaml for one kind of housing, `HOUSING_KINDS`.

    Examples
    --------
    >>> "kind: bevel" in template("right-angle", "mill")
    True
    """
    drive, train = _DRIVES[kind]
    faces = "\n".join(_face(kind, name) for name in _FACES[kind])
    head = _HEAD.format(title=json.dumps(title, ensure_ascii=False), drive=drive)
    return head + train + _BEARINGS + _HOUSING.format(kind=kind, faces=faces) + _KIT + _POINTS


def new_job(folder: Path, title: str, kind: str) -> Path:
    """Make a job folder for one kind of drive, `HOUSING_KINDS`.

    Returns
    -------
    Path
        Of its job.yaml.

    Raises
    ------
    BadInput
        There is a job already, or the folder cannot be made.
    """
    path, schema = folder / FILE_NAME, json.dumps(json_schema(), indent=2) + "\n"
    if path.exists() or path.is_symlink():
        raise BadInput(Problem(str(path), "", "a job already", "a folder without a job: nothing is overwritten"))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(Problem(str(folder), "", error.strerror or str(error), "a folder that can be made")) from None
    beside = folder / SCHEMA_NAME
    if beside.exists() and beside.read_bytes() != schema.encode():
        raise BadInput(Problem(str(beside), "", "another file of that name", "a folder without it: nothing is overwritten"))
    write_text(beside, schema)
    write_text(path, template(kind, title or folder.resolve().name))
    return path


def _face(kind: str, name: str) -> str:
    """One face as a comment to fill in."""
    width, height = _SIZES.get(name, _LONG_SIDE)
    keep_outs = []
    if name == "top":
        keep_outs.append("{name: fan shroud, kind: fan shroud, at: [250 mm, 30 mm], size: [300 mm, 60 mm]}")
    else:
        keep_outs.append(f"{{name: split flange, kind: split line, at: [{width // 2} mm, 230 mm], size: [{width} mm, 30 mm]}}")
    if (kind, name) in _TURNS:
        keep_outs.append(f"{{name: '{_TURNS[kind, name]}', kind: rotating part, at: [150 mm, 150 mm], size: [120 mm, 120 mm]}}")
    holes = [one.split("|") for one in _HOLES.get(name, (f"{name} cap bolt|[60 mm, 300 mm]|cap bolt",))]
    return _FACE.format(
        name=name,
        outward=_OUTWARD[name],
        width=width,
        height=height,
        keep_outs="".join(f"  #       - {one}\n" for one in keep_outs),
        seats=_SEAT if name == "input end" else "",
        holes="\n".join(f"  #       - {{name: {hole}, at: {at}, thread: M12, function: {what}}}" for hole, at, what in holes),
    )
