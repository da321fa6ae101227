"""Whether the faces of the housing fit together as they are drawn: slips of tape and pen before anybody drills by them."""

import itertools

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.housing import Face, KeepOut, gap
from gearcase.install.positions import clear_of
from gearcase.install.routes import box_sides
from gearcase.install.unfold import adjoining
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm

__all__ = ["faces"]


def faces(job: Job, draft: Draft) -> None:
    """Faces that look the same way, edges given two lengths, and what is to be kept clear so far off its face that nothing is."""
    sides = box_sides(job.housing.faces)
    for face in job.housing.faces:
        over = next((side for side in sides if side.outward == face.outward and side is not face), None)
        if over is not None:
            says = f"it looks {face.outward} as {over.name} does: cables are led over {over.name} alone; give each way one face"
            draft.find(Level.CAUTION, "outward", face.name, says)
        for part in face.keep_outs:
            _beyond(face, part, draft)
    for pair in itertools.combinations(sides, 2):
        try:
            adjoining(pair)
        except OutOfRange as error:
            draft.find(Level.CAUTION, "face_edge", pair[0].name, f"the {error.name} is {error.value}; wanted: {error.rule}")


def _beyond(face: Face, part: KeepOut, draft: Draft) -> None:
    width, height = face.size
    apart = gap(part.at, part.size, (width / 2, height / 2), face.size)
    if apart > clear_of(part):
        says = (
            f"the {part.name} ({part.kind}) stands {mm(apart)} beyond the face, which is {mm(face.size[0])} by {mm(face.size[1])}: "
            "nothing on it is kept clear for it; give its middle from the face's lower left corner"
        )
        draft.find(Level.CAUTION, "keep_out", face.name, says)
