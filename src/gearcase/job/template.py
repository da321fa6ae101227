"""A new job: a folder with a commented job.yaml to fill in, and its JSON Schema for editors."""

import json
from pathlib import Path

from gearcase.errors import BadInput, Problem
from gearcase.job.read import FILE_NAME
from gearcase.job.schema import json_schema
from gearcase.job.write import write_text

__all__ = ["SCHEMA_NAME", "TEMPLATE", "new_job"]

SCHEMA_NAME = "job.schema.json"

TEMPLATE = """\
# yaml-language-server: $schema=job.schema.json
# A gearcase job: one drive. Quantities carry their unit ("0.5 in", "25 mm", "1485 rpm"); what nobody knows is left out.
# Where a part asks for origin, say how the value is known: measured, nameplate, estimated or assumed.
job: 1
title: {title}

site:
  name: name of the site
  # drive_tag: CV-204
  # owner: who may approve work on the drive

drive:
  name: two-stage helical drive
  nameplate:                  # what the plate says, nothing else
    # power: 75 kW
    # ratio: 20.1             # as printed: its last digit says how exact it is
    # input_speed: 1485 rpm
    # support: rigid          # rigid or flexible
  input:
    shaft: input              # the shaft whose speed is known
    speed: 1485 rpm           # put the real one here; or a range: 900-1485 rpm
    origin: assumed           # nameplate or measured, once somebody has looked
  shafts:
    - name: input
      end: input
    - name: intermediate
    - name: output
      end: output
  meshes:                     # leave teeth out, or say unknown, until somebody has counted them
    - name: high-speed mesh
      pinion: {{shaft: input, teeth: unknown}}
      wheel: {{shaft: intermediate, teeth: unknown}}
    - name: low-speed mesh
      pinion: {{shaft: intermediate, teeth: unknown}}
      wheel: {{shaft: output, teeth: unknown}}
  bearings:
    - name: input bearing, coupling end
      shaft: input
      # designation: "6312"   # alone, what is inside is estimated from it; with the geometry below it is only a name
      # elements: 8           # in one row; alone, rules of thumb stand in
      # element_diameter: 22.225 mm
      # pitch_diameter: 95 mm
      # contact_angle: 0 deg
      # origin: estimated
      # spread: 2 %           # how far its rates may be off
      # candidates:           # instead, where it may be one of several makes
      #   - {{name: make A, designation: "6312"}}
      #   - {{name: make B, elements: 8, element_diameter: 22.225 mm, pitch_diameter: 95 mm, contact_angle: 0 deg}}

points:
  - name: input coupling end
    bearing: input bearing, coupling end
    # mount: stud             # stud, rigid adhesive, adhesive pad, hot adhesive pad, flat magnet, magnet on paint, tape, hand probe
    # sensor: {{lowest: 2 Hz, highest: 10 kHz, axes: 1, mass: 80 g}}

# recordings:
#   - file: recordings/first.wav
#     point: input coupling end
#     unit: m/s2
#     speed: 1482 rpm
"""


def new_job(folder: Path, title: str) -> Path:
    """Make a job folder.

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
    write_text(path, TEMPLATE.format(title=json.dumps(title or folder.resolve().name, ensure_ascii=False)))
    return path
