"""As built against planned: how far off place, how much too deep, how much thread a deeper hole costs in metal.

Calculators: `offset_of_place`, `excess_depth`, `metal_left_as_drilled`.
"""

import math

from gearcase.worked import worked_by

__all__ = ["DEPTH_TOLERANCE", "PLACE_TOLERANCE", "excess_depth", "metal_left_as_drilled", "offset_of_place"]

PLACE_TOLERANCE = 10e-3  # m, as built against plan; common practice, no source
DEPTH_TOLERANCE = 0.5e-3  # m, what a depth gauge and a stop collar leave open; common practice, no source


@worked_by(formula="off = sqrt((x - x_planned)^2 + (y - y_planned)^2)", unit="m", source="geometry")
def offset_of_place(*, across: float, up: float, planned_across: float, planned_up: float) -> float:
    """Distance of a place on a face from the planned one. [m]

    Examples
    --------
    >>> offset_of_place(across=0.333, up=0.326, planned_across=0.330, planned_up=0.330)
    0.005
    """
    return math.hypot(across - planned_across, up - planned_up)


@worked_by(formula="excess = drilled - stop collar", unit="m", source="geometry")
def excess_depth(*, drilled: float, collar: float) -> float:
    """How much deeper than its stop collar a hole was drilled, both from the spot-face to the tip; negative when shallower. [m]

    Examples
    --------
    >>> excess_depth(drilled=12.6e-3, collar=11.6e-3)
    0.001
    """
    return drilled - collar


@worked_by(formula="left = wall - spot-face - drilled", unit="m", source="geometry")
def metal_left_as_drilled(*, wall: float, spot_face: float, drilled: float) -> float:
    """Metal between the tip of the drilled hole and the oil; nothing or less when the drill broke through. [m]

    Parameters
    ----------
    wall : float
        Least reading less the gauge's error. [m]
    spot_face : float
        Its depth. [m]
    drilled : float
        From the spot-face to the tip. [m]

    Examples
    --------
    >>> metal_left_as_drilled(wall=22.1e-3, spot_face=1e-3, drilled=11.6e-3)
    0.0095
    """
    return wall - spot_face - drilled
