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
from scipy.linalg import solve_banded

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
    def _coefficients(self):
        """Cubic coefficients (4, pieces, 6) of points and normals over the length, highest power first."""
        values = np.concatenate([self.point_mm, self.normal], axis=1)
        if len(values) == 2:
            slope = (values[1] - values[0]) / self.along_mm[1]
            return np.stack([0 * slope, 0 * slope, slope, values[0]])[:, None]
        return cubic_pieces(self.along_mm, values)

    def value_and_slope(self, along_mm):
        """Return points with normals, and their derivatives, each (n, 6), at lengths along the edge."""
        i = np.clip(np.searchsorted(self.along_mm, along_mm, side="right") - 1, 0, len(self.along_mm) - 2)
        x = (along_mm - self.along_mm[i])[:, None]
        a, b, c, d = (k[i] for k in self._coefficients)
        return ((a * x + b) * x + c) * x + d, (3 * a * x + 2 * b) * x + c

    def at(self, along_mm):
        """Return points, unit directions and unit normals at lengths along the edge."""
        value, slope = self.value_and_slope(along_mm)
        return value[:, :3], unit(slope[:, :3]), unit(value[:, 3:])

    def places(self) -> np.ndarray:
        """Return the lengths along the edge at which it is looked at."""
        n = max(LEAST_STATIONS, int(np.ceil(self.length_mm / SPACING_MM - 1e-9)))
        return (np.arange(n) + 0.5) * (self.length_mm / n)


def cubic_pieces(s, values):
    """Return coefficients (4, n − 1, d), highest power first, of the not-a-knot cubic spline; n ≥ 3.

    The same as ``scipy.interpolate.CubicSpline(s, values).c`` (a test holds
    the two together) at a fifth of the time for the short edges here.
    """
    h = np.diff(s)[:, None]
    chord = np.diff(values, axis=0) / h
    if len(s) == 3:  # a parabola
        bend = (chord[1] - chord[0]) / (h[0] + h[1])
        slopes = np.stack([chord[0] - bend * h[0], chord[0] + bend * h[0], chord[1] + bend * h[1]])
    else:
        right = np.empty_like(values)
        bands = np.zeros((3, len(s)))
        bands[0, 2:], bands[1, 1:-1], bands[2, :-2] = h[:-1, 0], 2 * (h[:-1, 0] + h[1:, 0]), h[1:, 0]
        right[1:-1] = 3 * (h[1:] * chord[:-1] + h[:-1] * chord[1:])
        a, b = h[0] + h[1], h[-1] + h[-2]
        bands[1, 0], bands[0, 1], bands[1, -1], bands[2, -2] = h[1, 0], a[0], h[-2, 0], b[0]
        right[0] = ((h[0] + 2 * a) * h[1] * chord[0] + h[0] ** 2 * chord[1]) / a
        right[-1] = (h[-1] ** 2 * chord[-2] + (2 * b + h[-1]) * h[-2] * chord[-1]) / b
        slopes = solve_banded((1, 1), bands, right, overwrite_ab=True, overwrite_b=True, check_finite=False)
    twist = (slopes[:-1] + slopes[1:] - 2 * chord) / h
    return np.stack([twist / h, (chord - slopes[:-1]) / h - twist, slopes[:-1], values[:-1]])


def edge_of(chain: Chain, cell: Cell, move: RigidMove) -> Edge:
    """Return a chain as the edge of the piece on one side of it, moved."""
    metal_is_left = (chain.left is cell) == (chain.grid.outward > 0)
    step = 1 if metal_is_left else -1
    point, normal = chain.point_mm[chain.is_smooth], chain.normal[chain.is_smooth]
    return Edge(move.points(point[::step]), move.vectors(normal[::step]))


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
    facing = np.full((len(along), 3), np.nan)
    facing_normal = np.full((len(along), 3), np.nan)
    crossings = [_crossings(other, point, tangent) for other in others]
    places = np.concatenate([c[0] for c in crossings])
    if len(places):
        far = np.concatenate([c[2] for c in crossings])
        order = np.lexsort((far, places))
        nearest = order[np.concatenate([[True], np.diff(places[order]) > 0])]
        first = np.cumsum([0] + [len(c[0]) for c in crossings])
        for k, other in enumerate(others):
            own = nearest[(first[k] <= nearest) & (nearest < first[k + 1])]
            if len(own):
                place, s = places[own], crossings[k][1][own - first[k]]
                facing[place], facing_normal[place] = _on_plane(other, s, point[place], tangent[place])
    return _read(point, tangent, normal, facing, facing_normal, along, edge.length_mm)


def _crossings(other, point, tangent):
    """Return where an edge's chords cross the planes square to another edge: place, along, distance."""
    ahead = other.point_mm @ tangent.T - dot(point, tangent)  # (samples, places)
    crosses = ahead[:-1] * ahead[1:] <= 0
    near_end = np.abs(ahead[[0, -1]]) < END_TOLERANCE_MM
    crosses[0] |= near_end[0]
    crosses[-1] |= near_end[1]
    segment, place = np.nonzero(crosses)
    span = ahead[segment, place] - ahead[segment + 1, place]
    part = np.clip(ahead[segment, place] / np.where(span == 0, 1.0, span), -0.5, 1.5)
    s = other.along_mm[segment] + part * np.diff(other.along_mm)[segment]
    at = other.point_mm[segment] + part[:, None] * (other.point_mm[segment + 1] - other.point_mm[segment])
    return place, s, np.linalg.norm(at - point[place], axis=1)


def _on_plane(other, s, point, tangent):
    """Bring lengths along an edge onto the planes, from the chord to the curve; return points and normals."""
    for _ in range(2):
        value, slope = other.value_and_slope(s)
        ahead = dot(value[:, :3] - point, tangent)
        s = s - np.clip(ahead / _not_zero(dot(slope[:, :3], tangent)), -5.0, 5.0)
    value = other.value_and_slope(s)[0]
    return value[:, :3], value[:, 3:]


def _not_zero(x):
    return np.where(np.abs(x) < 1e-6, 1e-6, x)


def _read(point, tangent, normal, facing, facing_normal, along, length):
    r = facing - point
    with np.errstate(invalid="ignore"):
        n = normal + unit(facing_normal)
        n = unit(n - dot(n, tangent)[:, None] * tangent)
        gap, step = dot(r, cross(tangent, n)), dot(r, n)
        way = np.where(gap < 0, -1.0, 1.0)[:, None] * r
        angles = []
        for own, sign in ((normal, 1.0), (facing_normal, -1.0)):
            own = unit(own - dot(own, tangent)[:, None] * tangent)
            angles.append(-np.degrees(np.arctan2(sign * dot(way, own), dot(way, cross(tangent, own)))))
    weight = np.full(len(along), length / len(along))
    return Meeting(point, along, weight, ~np.isnan(gap), gap, step, *angles)
