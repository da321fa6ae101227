"""Which way the power goes: how much every joint brings to each of its shafts, losses left out.

A joint's equation sum(a x w) = 0 (`speeds`) says that it puts torques in the ratio of its coefficients a on its shafts, since it
neither makes nor keeps power. The torques on every shaft that nobody drives or holds balance. Where two paths share the load
alike the torque splits evenly between them, as a designer intends; real sharing is a few per cent off. Where all speeds follow
from one there is always such a balance: speeds and torques are the two sides of the same equations.

Calculator: `power_flow`.
"""

import math

import numpy as np

from gearcase.drive.speeds import joint_equations, shaft_orders
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange

__all__ = ["power_flow"]


def power_flow(drive: Drive, *, power: float, input_shaft: str, output_shaft: str) -> dict[str, dict[str, float]]:
    """Power each joint brings to each of its shafts, negative where it takes it away. [W]

    Parameters
    ----------
    drive : Drive
    power : float
        Put in at `input_shaft`, taken out at `output_shaft`. [W]
    input_shaft, output_shaft : str

    Returns
    -------
    dict
        Joint -> shaft -> power. [W]

    Raises
    ------
    OutOfRange
        A shaft that does not turn or is not reached.

    Examples
    --------
    Planetary set, ring held: all of the sun's power leaves by the carrier.

    >>> from gearcase.drive.train import Mesh, Shaft
    >>> from gearcase.worked import Given, Origin
    >>> shafts = (Shaft("sun"), Shaft("carrier"), Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=3))
    >>> meshes = (Mesh("a", "sun", "planet", 24, 30), Mesh("b", "planet", "ring", 30, 84, kind="internal"))
    >>> drive = Drive("set", shafts, meshes, (), "sun", (25.0, 25.0), 25.0, Given("speed", 25.0, "Hz", Origin.NAMEPLATE))
    >>> flow = power_flow(drive, power=1000.0, input_shaft="sun", output_shaft="carrier")
    >>> round(flow["a"]["sun"]), round(flow["a"]["carrier"] + flow["b"]["carrier"])
    (-1000, 1000)
    """
    orders = {name: order.order for name, order in shaft_orders(drive).items()}
    for name in (input_shaft, output_shaft):
        if not orders.get(name):
            raise OutOfRange("shaft", repr(name), "a shaft that turns and whose speed is known")
    equations = [equation for equation in joint_equations(drive) if equation.terms.keys() <= orders.keys()]
    turning = 2 * math.pi * drive.rated_speed_hz
    passed = np.array(
        [[float(equation.terms.get(name, 0)) * order * turning for name, order in orders.items()] for equation in equations]
    )  # power into each shaft by each joint at unit strength
    scale = np.abs(passed).max(axis=1)
    scale[scale == 0] = 1.0
    torques = np.array([[float(equation.terms.get(name, 0)) for name in orders] for equation in equations]) / scale[:, None]
    names = list(orders)
    held = {shaft.name for shaft in drive.shafts if shaft.held}
    free = [n for n, name in enumerate(names) if name not in held and name != output_shaft]
    applied = np.array([power / (orders[name] * turning) if name == input_shaft else 0.0 for name in names])
    strength = np.linalg.lstsq(torques[:, free].T, -applied[free], rcond=None)[0]
    flow = strength[:, None] * passed / scale[:, None]
    return {
        equation.names[0]: {name: float(flow[n, names.index(name)]) for name in equation.terms}
        for n, equation in enumerate(equations)
    }
