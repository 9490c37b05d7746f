"""Lines drawn on the skin: how long they are, and how far the sheet bulges over a straightedge.

A line runs straight in a grid's (u, v) from one place to another:
P(t) = S(uv0 + t (uv1 − uv0)), t in [0, 1].  Its length is ∫ |P'(t)| dt, by
Gauss points in every stretch between two knot lines, where P is one
polynomial.  Its *crown* is the greatest distance of P(t) from the straight
line through its ends, the sagitta of an arc of a circle.  Take it along a row
or a hoop: a line that is not also bends sideways within the sheet, and that
counts too.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize_scalar

from .numeric import cross, unit
from .skin import Grid

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(12)
_LOOKS = 201  # where the search for the crown starts


def line_length_mm(grid: Grid, uv_from, uv_to) -> float:
    """Return the length of a line of the skin. [mm]

    Parameters
    ----------
    uv_from, uv_to : (2,)
        Places on the grid, in [0, 1].
    """
    start, way = np.asarray(uv_from, float), np.subtract(uv_to, uv_from)
    breaks = _crossings(grid, start, way)
    half, middle = np.diff(breaks) / 2, (breaks[1:] + breaks[:-1]) / 2
    t = (middle[:, None] + half[:, None] * _GAUSS_X).ravel()
    _, du, dv = grid.tangents(start + t[:, None] * way)
    speed = np.linalg.norm(du * way[0] + dv * way[1], axis=1)
    return float((half[:, None] * _GAUSS_W).ravel() @ speed)


def crown_mm(grid: Grid, uv_from, uv_to) -> float:
    """Return how far a line of the skin bulges over a straightedge laid on its ends. [mm]

    Parameters
    ----------
    uv_from, uv_to : (2,)
        Places on the grid, in [0, 1], that are apart.
    """
    start, way = np.asarray(uv_from, float), np.subtract(uv_to, uv_from)
    ends = grid.point(np.array([start, start + way]))
    along = unit(ends[1:] - ends[:1])

    def bulge(t):
        points = grid.point(start + np.atleast_1d(t)[:, None] * way) - ends[0]
        return np.linalg.norm(cross(points, np.repeat(along, len(points), axis=0)), axis=1)

    t = np.linspace(0, 1, _LOOKS)
    i = int(np.clip(bulge(t).argmax(), 1, _LOOKS - 2))
    best = minimize_scalar(
        lambda s: -bulge(s)[0], bounds=(t[i - 1], t[i + 1]), method="bounded", options={"xatol": 1e-9}
    )
    return float(-best.fun)


def _crossings(grid, start, way):
    """Return where a line crosses the grid's knot lines, its ends included, in order."""
    t = [0.0, 1.0]
    for breaks, begin, run in ((grid.breaks_u, start[0], way[0]), (grid.breaks_v, start[1], way[1])):
        if run:
            t += [s for s in (breaks - begin) / run if 0 < s < 1]
    return np.unique(t)


def curvatures(grid: Grid, uv):
    """Return mean and Gauss curvature, positive mean where the skin is rounded outward.

    With e = S_uu·N, … and N out of the car, κ > 0 wants its centre inside:
    H = −(e G − 2 f F + g E) / 2 (E G − F²), K = (e g − f²) / (E G − F²).  [1/mm, 1/mm²]
    """
    j = grid.jet(uv)
    normal = grid.outward * unit(np.cross(j.du, j.dv))
    big_e, big_f, big_g = ((a * b).sum(axis=1) for a, b in ((j.du, j.du), (j.du, j.dv), (j.dv, j.dv)))
    e, f, g = ((a * normal).sum(axis=1) for a in (j.duu, j.duv, j.dvv))
    det = big_e * big_g - big_f**2
    return -(e * big_g - 2 * f * big_f + g * big_e) / (2 * det), (e * g - f**2) / det
