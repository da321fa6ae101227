"""Is a drive a plain row of stages from input to output, and which of its tooth counts does nobody know?"""

from gearcase.drive.train import Drive, Mesh

__all__ = ["Stages", "stages_in_a_row", "teeth_wanted"]

Stages = list[tuple[int | None, int | None]]


def stages_in_a_row(drive: Drive) -> Stages | None:
    """Teeth of each stage from the input to the output, None where unknown; empty where only a ratio is known; None where the way
    is no plain row of stages that starts at a stated end.
    """
    ends = {shaft.end: shaft.name for shaft in drive.shafts if shaft.end}
    if not {"input", "output"} <= ends.keys() or drive.reference_shaft not in ends.values():
        return None
    if not drive.meshes:
        return [] if drive.ratio_links else None
    here, before, row = ends["input"], "", []
    while here != ends["output"]:
        onwards = [mesh for mesh in drive.meshes if here in (mesh.pinion_shaft, mesh.wheel_shaft) and mesh.name != before]
        if len(onwards) != 1 or onwards[0].kind == "worm" or onwards[0].group:
            return None
        (mesh,) = onwards
        row.append(_from(mesh, here))
        here, before = mesh.wheel_shaft if here == mesh.pinion_shaft else mesh.pinion_shaft, mesh.name
    return row


def teeth_wanted(drive: Drive) -> bool:
    """Whether counts between the ends are unknown and can be inferred from a recording."""
    stages = stages_in_a_row(drive)
    return stages is not None and (not stages or any(None in teeth for teeth in stages))


def _from(mesh: Mesh, shaft: str) -> tuple[int | None, int | None]:
    teeth = (mesh.pinion_teeth, mesh.wheel_teeth)
    return teeth if shaft == mesh.pinion_shaft else teeth[::-1]
