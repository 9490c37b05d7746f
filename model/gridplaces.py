"""One place of a grid at a time: what Newton's method asks for, without the price of arrays of one.

With the powers of x = u − u_i and y = v − v_j, and their derivatives, as rows,

    U = [[1, x, x², x³], [0, 1, 2x, 3x²], [0, 0, 2, 6x]],

and V alike, the point and all its derivatives are two products with the
coefficients a of the knot cell: D[i, j] = ∂^{i+j} S / ∂u^i ∂v^j = Σ U[i, p] V[j, q] a[p, q].
"""

from __future__ import annotations

from bisect import bisect_right
from functools import lru_cache

import numpy as np

from .skin import Grid


def derivatives_at(grid: Grid, u: float, v: float) -> np.ndarray:
    """Return point and derivatives up to the second in u and in v at one place: D, (3, 3, 3). [mm]"""
    cells, inner_u, inner_v, breaks_u, breaks_v = _one_by_one(grid)
    i, j = bisect_right(inner_u, u), bisect_right(inner_v, v)
    powers = _powers(u - breaks_u[i]), _powers(v - breaks_v[j])
    a = cells[i * (len(breaks_v) - 1) + j]
    along = (powers[0] @ a.reshape(4, 12)).reshape(3, 4, 3)
    return powers[1] @ along


def outward_at(grid: Grid, derivatives) -> np.ndarray:
    """Return the unit normal out of the car, (3,)."""
    (ux, uy, uz), (vx, vy, vz) = derivatives[1, 0].tolist(), derivatives[0, 1].tolist()
    normal = np.array([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx])
    return grid.outward * normal / np.sqrt(normal @ normal)


def _powers(x):
    return np.array([[1.0, x, x * x, x * x * x], [0.0, 1.0, 2 * x, 3 * x * x], [0.0, 0.0, 2.0, 6 * x]])


@lru_cache(maxsize=64)
def _one_by_one(grid):
    """Return the coefficients cell by cell, filled up to third degree, and the breaks as plain numbers."""
    cells = grid.cell_terms
    filled = np.zeros((cells.shape[3], 4, 4, 3))
    filled[:, : cells.shape[0], : cells.shape[1]] = cells.transpose(3, 0, 1, 2)
    u, v = grid.breaks_u.tolist(), grid.breaks_v.tolist()
    return filled, u[1:-1], v[1:-1], u, v
