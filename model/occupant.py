"""Headroom above the driver's seat.

Effective headroom (H61 of SAE J1100, from memory): from the seat reference
point along a line 8° rearward of plumb to the inside of the roof, plus 102 mm.
"""

from __future__ import annotations

import numpy as np

from .moves import IDENTITY, RigidMove
from .skin import Grid

LINE_DEG = 8.0
ADDED_MM = 102.0


def effective_headroom_mm(roof: Grid, gauge_mm: float, seat_mm, move: RigidMove = IDENTITY) -> float | None:
    """Return effective headroom under the roof after ``move``; None where the line misses the roof. [mm]

    Newton's method on S(u, v) = seat + L d for (u, v, L), in the roof's own
    place; the skin's gauge is taken off square to it.
    """
    back = move.inverse()
    seat = back.points(np.asarray(seat_mm, float))
    direction = back.vectors(np.array([np.sin(np.radians(LINE_DEG)), 0.0, np.cos(np.radians(LINE_DEG))]))
    lattice = roof.lattice_mm.reshape(-1, 3) - seat
    off_line = np.linalg.norm(lattice - (lattice @ direction)[:, None] * direction, axis=1)
    uv = roof.lattice_uv.reshape(-1, 2)[off_line.argmin()][None]
    length = 0.0
    for _ in range(30):
        point, du, dv, normal = roof.frame(uv)
        step = np.linalg.solve(
            np.stack([du[0], dv[0], -direction], axis=1), seat + length * direction - point[0]
        )
        uv = np.clip(uv + np.clip(step[:2], -0.1, 0.1), -0.01, 1.01)
        length += step[2]
        if np.abs(step).max() < 1e-12:
            break
    if uv.min() < 0 or uv.max() > 1 or length <= 0:
        return None
    return float(length - gauge_mm / (normal[0] @ direction) + ADDED_MM)
