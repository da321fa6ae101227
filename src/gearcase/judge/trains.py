"""Many trains at once, and the lines each predicts: arrays of counts, from the fast shaft to the slow one.

Chances that a line stands out of the noise are rough and by kind (common practice, no source): meshes nearly always, their
harmonics often, sidebands and shafts every second time.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Train", "line_names", "mesh_lines", "shaft_lines", "sideband_lines"]

_SHAFT = (0.6, 0.4, 0.3)  # chance by harmonic
_MESH = (0.9, 0.7, 0.5, 0.35)
_SIDEBAND = ((0.5, 0.25), (0.3, 0.15))  # by mesh harmonic, then by turns of the shaft away


@dataclass(frozen=True)
class Train:
    """Trains, one a row: speed of the fast shaft [Hz], shape (trains,); pinions and wheels, shape (trains, stages). [-]

    A train under construction may have one pinion more than wheels.
    """

    speed: NDArray[np.float64]
    pinions: NDArray[np.float64]
    wheels: NDArray[np.float64]

    def take(self, rows: NDArray[np.intp]) -> "Train":
        """Some of them, by row. [-]"""
        return Train(self.speed[rows], self.pinions[rows], self.wheels[rows])

    def ratio(self) -> NDArray[np.float64]:
        """Of the stages complete so far, shape (trains,). [-]"""
        done = self.wheels.shape[1]
        return np.asarray(np.prod(self.wheels / self.pinions[:, :done], axis=1))

    def last_hz(self) -> NDArray[np.float64]:
        """Speed of the slowest shaft so far, shape (trains,). [Hz]"""
        return self.speed / self.ratio()

    def shaft_orders(self) -> NDArray[np.float64]:
        """Turns of each shaft a turn of the fast one, shape (trains, stages + 1). [-]"""
        steps = np.cumprod(self.pinions[:, : self.wheels.shape[1]] / self.wheels, axis=1)
        return np.column_stack([np.ones(self.speed.size), steps])

    def line_orders(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Orders of all lines, shape (trains, lines); their chances, shape (lines,); and how far each stands from the line it
        belongs to, as an order, shape (trains, lines). [-]
        """
        shafts = self.shaft_orders()
        orders, chances, spacing = [], [], []
        for shaft in shafts.T:
            for hz, chance in shaft_lines(shaft):
                orders.append(hz)
                chances.append(chance)
                spacing.append(shaft)
        for stage in range(self.pinions.shape[1]):
            mesh = shafts[:, stage] * self.pinions[:, stage]
            for n, chance in enumerate(_MESH, 1):
                orders.append(n * mesh)
                chances.append(chance)
                spacing.append(mesh)
            for side in shafts[:, stage : stage + 2].T:
                for hz, chance in sideband_lines(mesh, side):
                    orders.append(hz)
                    chances.append(chance)
                    spacing.append(side)
        return np.stack(orders, axis=1), np.array(chances), np.stack(spacing, axis=1)


def shaft_lines(shaft: NDArray[np.float64]) -> tuple[tuple[NDArray[np.float64], float], ...]:
    """Harmonics of a shaft. [Hz]"""
    return tuple((n * shaft, chance) for n, chance in enumerate(_SHAFT, 1))


def sideband_lines(mesh: NDArray[np.float64], shaft: NDArray[np.float64]) -> tuple[tuple[NDArray[np.float64], float], ...]:
    """Sidebands of a shaft about a mesh line and its harmonic. [Hz]"""
    return tuple(
        (n * mesh + sign * k * shaft, chance)
        for n, by_pair in enumerate(_SIDEBAND, 1)
        for k, chance in enumerate(by_pair, 1)
        for sign in (-1, 1)
    )


def mesh_lines(shaft: NDArray[np.float64], teeth: NDArray[np.integer]) -> tuple[tuple[NDArray[np.float64], float], ...]:
    """Harmonics of the mesh of a gear on a shaft, with the sidebands of that shaft. [Hz]"""
    mesh = shaft * teeth
    return (*((n * mesh, chance) for n, chance in enumerate(_MESH, 1)), *sideband_lines(mesh, shaft))


def line_names(stages: int, *, turned: bool) -> list[str]:
    """Names of `Train.line_orders`, in its order; shafts and stages are numbered from the input."""
    shaft = [f"shaft {stages + 1 - n if turned else n + 1}" for n in range(stages + 1)]
    names = [f"{one} {n}x" for one in shaft for n in range(1, len(_SHAFT) + 1)]
    for stage in range(stages):
        mesh = f"mesh {stages - stage if turned else stage + 1}"
        names += [f"{mesh} {n}x" for n in range(1, len(_MESH) + 1)]
        names += [
            f"{mesh} {n}x {'+' if sign > 0 else '-'} {k} x {shaft[at]}"
            for at in (stage, stage + 1)
            for n, by_pair in enumerate(_SIDEBAND, 1)
            for k in range(1, len(by_pair) + 1)
            for sign in (-1, 1)
        ]
    return names
