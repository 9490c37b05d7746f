"""How two edges meet: gap and step along a seam, taken out of the moved geometry.

At a place on the first edge let T be its direction with the metal on the
left, seen from outside; the *facing point* is where the second edge crosses
the plane square to T there (the nearest such crossing).  N is the mean of the
two skins' normals, B = T × N points out of the first piece's metal, and r
runs to the facing point:

    gap = r·B  (negative: overlap)      step = r·N  (positive: the second stands proud)

The angle each skin makes with r is positive where the skin, carried on
straight, passes outside the other edge: a fair arc reads equal angles and no
step.  Read from the other side, T turns round, r and B change sign and N
stays: the gap stays, the step changes sign, the angles change places.

Places are the middles of equal stretches of the edge, so that none lies on an
end.  Between samples edges are cubic splines through them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import CubicSpline

from .layout import Cell, Chain, chord_lengths
from .moves import RigidMove
from .numeric import cross, dot, unit

SPACING_MM = 12.0  # greatest length one station stands for
LEAST_STATIONS = 4
END_TOLERANCE_MM = 0.02  # an edge that stops this short still counts as facing


@dataclass(frozen=True, eq=False)
class Edge:
    """A smooth edge of a piece in its place, metal on the left seen from outside.

    Attributes
    ----------
    point_mm, normal : (n, 3)
        Samples along it.
    """

    point_mm: np.ndarray
    normal: np.ndarray

    @cached_property
    def along_mm(self) -> np.ndarray:
        """Length from the start at every sample."""
        return np.concatenate([[0.0], np.cumsum(chord_lengths(self.point_mm))])

    @property
    def length_mm(self) -> float:
        """Whole length."""
        return float(self.along_mm[-1])

    @cached_property
    def _spline(self):
        values = np.concatenate([self.point_mm, self.normal], axis=1)
        if len(values) == 2:
            return _straight(values, self.along_mm[1])
        return CubicSpline(self.along_mm, values)

    def at(self, along_mm):
        """Return points, unit directions and unit normals at lengths along the edge."""
        value = self._spline(along_mm)
        return value[:, :3], unit(self._spline(along_mm, 1)[:, :3]), unit(value[:, 3:])

    def places(self) -> np.ndarray:
        """Return the lengths along the edge at which it is looked at."""
        n = max(LEAST_STATIONS, int(np.ceil(self.length_mm / SPACING_MM)))
        return (np.arange(n) + 0.5) * (self.length_mm / n)

    def point_near(self, along_mm) -> np.ndarray:
        """Return points at lengths that may lie a little beyond the ends."""
        return self._spline(along_mm)[:, :3]


def _straight(values, length):
    """Return a function of (along, derivative) through two values."""
    slope = (values[1] - values[0]) / length

    def at(along, derivative=0):
        along = np.asarray(along)[:, None]
        return np.broadcast_to(slope, (len(along), len(slope))) if derivative else values[0] + along * slope

    return at


def edge_of(chain: Chain, cell: Cell, move: RigidMove) -> Edge:
    """Return a chain as the edge of the piece on one side of it, moved."""
    metal_is_left = (chain.left is cell) == (chain.grid.outward > 0)
    step = 1 if metal_is_left else -1
    return Edge(move.points(chain.point_mm[::step]), move.vectors(chain.normal[::step]))


@dataclass(frozen=True, eq=False)
class Meeting:
    """Gap, step and angles at the places along one edge; each (n,).

    Where no edge faces a place, ``faces`` is False and the numbers are nan.
    ``weight_mm`` is the length each place stands for.
    """

    at_mm: np.ndarray  # (n, 3)
    along_mm: np.ndarray
    weight_mm: np.ndarray
    faces: np.ndarray
    gap_mm: np.ndarray
    step_mm: np.ndarray
    angle_first_deg: np.ndarray
    angle_second_deg: np.ndarray


def meeting(edge: Edge, others: list[Edge]) -> Meeting:
    """Return how the ``others`` face ``edge`` at its places."""
    along = edge.places()
    point, tangent, normal = edge.at(along)
    count = len(along)
    best = np.full(count, np.inf)
    facing = np.full((count, 3), np.nan)
    facing_normal = np.full((count, 3), np.nan)
    for other in others:
        ahead = other.point_mm @ tangent.T - dot(point, tangent)  # (samples, places)
        crosses = ahead[:-1] * ahead[1:] <= 0
        near_end = np.abs(ahead[[0, -1]]) < END_TOLERANCE_MM
        crosses[0] |= near_end[0]
        crosses[-1] |= near_end[1]
        segment, place = np.nonzero(crosses)
        if not len(segment):
            continue
        span = ahead[segment, place] - ahead[segment + 1, place]
        part = np.clip(ahead[segment, place] / np.where(span == 0, 1.0, span), -0.5, 1.5)
        s = other.along_mm[segment] + part * np.diff(other.along_mm)[segment]
        for _ in range(3):
            value = other._spline(s)
            slope = dot(other._spline(s, 1)[:, :3], tangent[place])
            slope = np.where(np.abs(slope) < 1e-6, 1e-6, slope)
            s = s - np.clip(dot(value[:, :3] - point[place], tangent[place]) / slope, -5.0, 5.0)
        inside = (s >= -END_TOLERANCE_MM) & (s <= other.length_mm + END_TOLERANCE_MM)
        value = other._spline(s)
        distance = np.where(inside, np.linalg.norm(value[:, :3] - point[place], axis=1), np.inf)
        for i in np.argsort(-distance, kind="stable"):
            if distance[i] < best[place[i]]:
                best[place[i]] = distance[i]
                facing[place[i]] = value[i, :3]
                facing_normal[place[i]] = value[i, 3:]
    return _read(point, tangent, normal, facing, facing_normal, along, edge.length_mm)


def _read(point, tangent, normal, facing, facing_normal, along, length):
    r = facing - point
    with np.errstate(invalid="ignore"):
        n = normal + unit(facing_normal)
        n = unit(n - dot(n, tangent)[:, None] * tangent)
        gap, step = dot(r, cross(tangent, n)), dot(r, n)
        way = np.where(gap < 0, -1.0, 1.0)[:, None] * r
        angles = []
        for own, sign in ((normal, 1.0), (unit(facing_normal), -1.0)):
            angles.append(-np.degrees(np.arctan2(sign * dot(way, own), dot(way, unit(cross(tangent, own))))))
    weight = np.full(len(along), length / len(along))
    return Meeting(point, along, weight, ~np.isnan(gap), gap, step, *angles)
