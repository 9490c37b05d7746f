"""Edges for the CAD kernel: the live tier's chains as exact splines.

A chain is given by samples in (u, v).  Its edge is the cubic spline c(t)
through them, t being the chord length in space [mm], with not-a-knot ends:
the *pcurve*.  Its curve in space is S(c(t)), which is no cubic; a cubic
through points of it is taken so densely that it strays less than
:data:`SPACE_MM`.  Both have the same parameter, so that a point of the one is
the point of the other (the kernel calls this "same parameter").

A stretch of a grid's border is a straight line in (u, v); there t is the
border's own parameter, and the curve in space is the B-spline's border row
itself, exactly.

Nothing here calls the CAD kernel.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from .layout import Chain
from .skin import Grid

SPACE_MM = 1e-6  # greatest distance of an edge's curve in space from its surface
INSIDE_MM = 1e-5  # greatest error of the inside of sheet and glass
_CLOSEST_MM = 0.02  # samples nearer than this to the last one tell nothing about direction
_SAME_PARAMETER = 1e-9
_SHORTEST_SPAN = 1e-5  # of the whole line
_GREATEST_REFINEMENT = 32
_OFFSET_DEGREE = 5


@dataclass(frozen=True, eq=False)
class EdgeLine:
    """A chain as a smooth line over t.

    Attributes
    ----------
    samples : (n,)
        Parameters of the samples kept.
    uv : BSpline
        The line in the grid's parameters.
    is_border : bool
        Whether it lies on the grid's border (t = the border's parameter).
    """

    grid: Grid
    samples: np.ndarray
    uv: BSpline
    is_border: bool

    def points(self, t, inward_mm=0.0) -> np.ndarray:
        """Return points in space, moved inward along the normal. [mm]"""
        if not inward_mm:
            return self.grid.point(self.uv(t))
        point, _, _, normal = self.grid.frame(self.uv(t))
        return point - inward_mm * normal

    @cached_property
    def _stations(self):
        """Samples, and where a border crosses a knot of the surface."""
        if not self.is_border:
            return self.samples
        along = 0 if self.uv.c[0, 1] == self.uv.c[-1, 1] else 1
        breaks = (self.grid.breaks_u, self.grid.breaks_v)[along]
        inside = breaks[(breaks > self.samples[0]) & (breaks < self.samples[-1])]
        apart = np.abs(inside[:, None] - self.samples).min(axis=1, initial=1.0) > _SAME_PARAMETER
        return np.sort(np.concatenate([self.samples, inside[apart]]))

    def in_space(self, *inward_mm) -> list[BSpline]:
        """Return cubic splines over one knot vector, one for each depth under the skin.

        Spans that stray are halved, only those: where the line crosses a knot
        of the surface its parallel has a jump in curvature.
        """
        t = self._stations
        while True:
            middle = (t[:-1] + t[1:]) / 2
            values = np.concatenate([self.points(t, depth) for depth in inward_mm], axis=1)
            spline = make_interp_spline(t, values, k=min(3, len(t) - 1))
            wanted = np.concatenate([self.points(middle, depth) for depth in inward_mm], axis=1)
            strays = np.abs(spline(middle) - wanted).max(axis=1) > SPACE_MM / 2
            strays &= np.diff(t) > _SHORTEST_SPAN * (t[-1] - t[0])
            if not strays.any():
                return [
                    BSpline(spline.t, spline.c[:, i : i + 3], spline.k) for i in range(0, values.shape[1], 3)
                ]
            t = np.sort(np.concatenate([t, middle[strays]]))


def edge_line(chain: Chain) -> EdgeLine:
    """Return a chain as a smooth line."""
    if chain.line.startswith("border"):
        along = 1 if chain.line.split()[1][0] == "u" else 0
        uv = chain.uv if chain.uv[0, along] < chain.uv[-1, along] else chain.uv[::-1]
        t = uv[:, along]
        ends = make_interp_spline(t[[0, -1]], uv[[0, -1]], k=1)
        return EdgeLine(chain.grid, t, ends, True)
    chord = np.linalg.norm(np.diff(chain.point_mm, axis=0), axis=1)
    keep = np.concatenate([[True], chord[:-1] > _CLOSEST_MM, [True]])
    if len(keep) > 2 and chord[-1] <= _CLOSEST_MM:
        keep[-2] = False
    t = np.concatenate([[0.0], np.cumsum(chord)])[keep]
    return EdgeLine(chain.grid, t, make_interp_spline(t, chain.uv[keep], k=min(3, len(t) - 1)), False)


@lru_cache(maxsize=32)
def offset_surface(grid: Grid, inward_mm: float) -> Grid:
    """Return the surface at a distance under a grid, as a B-spline with the same parameters.

    S − d N is no polynomial.  It is interpolated by quintics that are C¹ at
    the grid's own knots, as the offset of a C² surface is, with as many
    simple knots between them as keep it within :data:`INSIDE_MM`.
    """
    refinement = 2
    while True:
        knots = [_offset_knots(breaks, refinement) for breaks in (grid.breaks_u, grid.breaks_v)]
        places = [_greville(t) for t in knots]
        poles = _offset_points(grid, *places, inward_mm)
        for axis in (0, 1):
            basis = BSpline(knots[axis], np.eye(len(places[axis])), _OFFSET_DEGREE)(places[axis])
            flat = poles.swapaxes(0, axis).reshape(len(basis), -1)
            poles = np.linalg.solve(basis, flat).reshape(poles.swapaxes(0, axis).shape).swapaxes(0, axis)
        offset = Grid(
            grid.name, grid.kind, knots[0], knots[1], _OFFSET_DEGREE, _OFFSET_DEGREE, poles, grid.outward
        )
        between = [(p[:-1] + p[1:]) / 2 for p in places]
        uv = np.stack(np.meshgrid(*between, indexing="ij"), axis=-1).reshape(-1, 2)
        wanted = _offset_points(grid, *between, inward_mm).reshape(-1, 3)
        if np.abs(offset.point(uv) - wanted).max() < INSIDE_MM or refinement >= _GREATEST_REFINEMENT:
            return offset
        refinement *= 2


def _offset_points(grid, u, v, inward_mm):
    uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    point, _, _, normal = grid.frame(uv)
    return (point - inward_mm * normal).reshape(len(u), len(v), 3)


def _refined(stations, count):
    steps = np.arange(count) / count
    inner = stations[:-1, None] + np.diff(stations)[:, None] * steps
    return np.append(inner.ravel(), stations[-1])


def _offset_knots(breaks, count):
    t = _refined(breaks, count)
    repeat = np.where(np.isin(t, breaks), _OFFSET_DEGREE - 1, 1)
    repeat[[0, -1]] = _OFFSET_DEGREE + 1
    return np.repeat(t, repeat)


def _greville(knots):
    degree = _OFFSET_DEGREE
    means = [knots[i + 1 : i + degree + 1].mean() for i in range(len(knots) - degree - 1)]
    return np.clip(means, knots[0], knots[-1])
