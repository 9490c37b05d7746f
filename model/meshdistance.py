"""How far apart two bodies are at least, from triangles of their boundaries: a proof without booleans.

Let ∂A be the boundary of a body, in patches, each with a triangle such that
every point of the patch has a point of its triangle no further than e, the
triangle's *stray*.  Then with d_ij the least distance of triangle i of A from
triangle j of B, no point of ∂A is nearer to ∂B than the *clearance*

    c = min (d_ij − e_i − e_j)

by the triangle inequality.  Where that is above zero ∂A and ∂B have no point
in common, so each connected part of A lies wholly in B or wholly out of it;
one point of every part tells which, by the winding number

    w(p) = 1/4π Σ Ω_i(p),

Ω_i being the solid angle of triangle i seen from p, positive from inside where
triangles turn counter-clockwise seen from outside: 1 inside, 0 outside.  With
the corners a, b, c taken from p (Van Oosterom and Strackee, from memory; a
test checks it on boxes and balls),

    tan (Ω / 2) = a · (b × c) / (|a||b||c| + (a·b)|c| + (b·c)|a| + (c·a)|b|).

A body may also be given by triangles that *fill* it: every point of the body,
not of its boundary alone, is within a stray of them.  No point of ∂B is then
in A where c > 0, and A is in B or not as one point of it is.

Of two triangles that do not cross, the least distance is one from a corner to
the other triangle or one from an edge to an edge; of two that cross, an edge
goes through the other triangle.  All lengths in mm, in place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from scipy.spatial import cKDTree

from .numeric import cross, dot

EDGES = ((0, 1), (1, 2), (2, 0))  # of a triangle
_POINTS_TO_SIZE = 4  # of a tube's line, to the size its triangles are halved to
_AT_ONCE = 40_000  # pairs of triangles worked out in one call
_SMALL = 1e-30  # keeps what is divided by above zero; an edge of no length is its own foot
_FLAT = 1e-20  # sin² of an angle: a triangle with a lesser one is its edges and nothing more
_PARALLEL = 1e-12  # sin² of an angle between edges
_PIERCING = 1e-9  # of a triangle: how far past its edges a line still counts as through it


@dataclass(frozen=True, eq=False)
class Boundary:
    """Triangles of a body in place, and how far at most it strays from them.

    Attributes
    ----------
    corners_mm : (m, 3, 3)
        Counter-clockwise seen from outside.
    stray_mm : (m,)
        Greatest distance of a point of each patch from its triangle.
    marks_mm : (n, 3)
        Points of the boundary, at least one on every part that hangs together.
    fills_body : bool
        Whether the triangles lie all through the body, and not only on its boundary.
    """

    corners_mm: np.ndarray
    stray_mm: np.ndarray
    marks_mm: np.ndarray
    fills_body: bool = False

    @cached_property
    def low_mm(self) -> np.ndarray:
        """Least coordinates that every patch can reach, (m, 3)."""
        return self.corners_mm.min(axis=1) - self.stray_mm[:, None]

    @cached_property
    def high_mm(self) -> np.ndarray:
        """Greatest coordinates that every patch can reach, (m, 3)."""
        return self.corners_mm.max(axis=1) + self.stray_mm[:, None]

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates that the boundary can reach, (2, 3)."""
        return np.array([self.low_mm.min(axis=0), self.high_mm.max(axis=0)])


def boxes_are_near(a, b, within_mm: float) -> bool:
    """Return whether two boxes (2, 3) are no further apart than that, along any axis. [mm]"""
    return bool((a[0] - within_mm <= b[1]).all() and (b[0] - within_mm <= a[1]).all())


def clearance_mm(a: Boundary, b: Boundary, within_mm: float) -> float:
    """Return how far apart two boundaries are at least, or ``within_mm`` where it is more. [mm]

    Below zero where triangles do not prove it.
    """
    first, second = near_pairs(a, b, within_mm)
    least = within_mm
    for start in range(0, len(first), _AT_ONCE):
        i, j = first[start : start + _AT_ONCE], second[start : start + _AT_ONCE]
        apart = triangle_distances_mm(a.corners_mm[i], b.corners_mm[j]) - a.stray_mm[i] - b.stray_mm[j]
        least = min(least, float(apart.min()))
    return least


def are_apart(a: Boundary, b: Boundary, margin_mm: float) -> bool:
    """Return whether triangles prove that two bodies are further apart than a margin. [mm]"""
    if clearance_mm(a, b, 2 * margin_mm) <= margin_mm:
        return False
    return not (_has_inside(a, b.marks_mm) or _has_inside(b, a.marks_mm))


def outside_tube(body: Boundary, line_mm, radius_mm: float, size_mm: float) -> Boundary:
    """Return the triangles of a body that reach out of a tube around a line.

    Those that come near it are first halved until no side is longer than
    ``size_mm``, so that all of the body is kept that is further from the line
    than radius and size together, and nothing that is nearer than the radius
    less the size.

    Parameters
    ----------
    line_mm : (n, 3)
        Points along the line.
    """
    line = cKDTree(_closely(line_mm, size_mm / _POINTS_TO_SIZE))
    corners, strays = body.corners_mm, body.stray_mm
    kept, kept_strays = [], []
    while len(corners):
        middle = corners.mean(axis=1)
        reach = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
        near = line.query(middle)[0] < reach + radius_mm
        kept.append(corners[~near])
        kept_strays.append(strays[~near])
        corners, strays = corners[near], strays[near]
        sides = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2)
        is_small = sides.max(axis=1) <= size_mm
        out = is_small & (line.query(corners)[0].max(axis=1) > radius_mm)
        kept.append(corners[out])
        kept_strays.append(strays[out])
        corners, strays = _halved(corners[~is_small]), np.tile(strays[~is_small], 2)
    marks = body.marks_mm[line.query(body.marks_mm)[0] > radius_mm]
    return replace(
        body, corners_mm=np.concatenate(kept), stray_mm=np.concatenate(kept_strays), marks_mm=marks
    )


def _closely(line_mm, spacing_mm) -> np.ndarray:
    """Return points along a line, no further apart than that."""
    length = np.linalg.norm(np.diff(line_mm, axis=0), axis=1)
    steps = np.maximum(np.ceil(length / spacing_mm), 1).astype(int)
    parts = [
        a + np.linspace(0, 1, n, endpoint=False)[:, None] * (b - a)
        for a, b, n in zip(line_mm[:-1], line_mm[1:], steps, strict=True)
    ]
    return np.concatenate([*parts, line_mm[-1:]])


def _halved(corners):
    """Return both halves of every triangle, across its longest side."""
    sides = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2)
    turn = (sides.argmax(axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.moveaxis(np.take_along_axis(corners, turn[:, :, None], axis=1), 1, 0)
    middle = (a + b) / 2
    return np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])


def _has_inside(body: Boundary, points_mm) -> bool:
    low, high = body.box_mm
    some = points_mm[((points_mm >= low) & (points_mm <= high)).all(axis=1)]
    if body.fills_body or not len(some):
        return False
    return bool((np.abs(winding_numbers(body.corners_mm, some)) > 0.5).any())


def winding_numbers(corners_mm, points_mm) -> np.ndarray:
    """Return how often closed triangles (m, 3, 3) wind around each of (n, 3) points: 1 inside, 0 outside."""
    out = np.empty(len(points_mm))
    for i, point in enumerate(points_mm):
        a, b, c = np.moveaxis(corners_mm - point, 1, 0)
        la, lb, lc = (np.sqrt(dot(x, x)) for x in (a, b, c))
        below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
        out[i] = np.arctan2(dot(a, cross(b, c)), below).sum() / (2 * np.pi)
    return out


def near_pairs(a: Boundary, b: Boundary, within_mm: float):
    """Return which patch of the one and which of the other have boxes no further apart, along any axis."""
    low = np.maximum(a.box_mm[0], b.box_mm[0]) - within_mm
    high = np.minimum(a.box_mm[1], b.box_mm[1]) + within_mm
    some_a, some_b = (np.nonzero(((x.low_mm <= high) & (x.high_mm >= low)).all(axis=1))[0] for x in (a, b))
    if not (len(some_a) and len(some_b)):
        return some_a[:0], some_b[:0]
    axes = np.argsort(high - low)[1:]  # the two along which there is most of both
    boxes_a, boxes_b = (
        shapely.box(
            *(x.low_mm[some][:, axes] - within_mm / 2).T, *(x.high_mm[some][:, axes] + within_mm / 2).T
        )
        for x, some in ((a, some_a), (b, some_b))
    )
    i, j = shapely.STRtree(boxes_b).query(boxes_a)
    first, second = some_a[i], some_b[j]
    near = (a.low_mm[first] - within_mm <= b.high_mm[second]).all(axis=1)
    near &= (b.low_mm[second] - within_mm <= a.high_mm[first]).all(axis=1)
    return first[near], second[near]


def triangle_distances_mm(a, b) -> np.ndarray:
    """Return the distance of each triangle of (n, 3, 3) from its partner, 0 where they cross. [mm]"""
    least = np.full(len(a), np.inf)
    for one, other in ((a, b), (b, a)):
        for k in range(3):
            np.minimum(least, _corner_to_triangle(one[:, k], other), out=least)
    for i, j in EDGES:
        for k, m in EDGES:
            np.minimum(least, _edge_to_edge(a[:, i], a[:, j], b[:, k], b[:, m]), out=least)
    for one, other in ((a, b), (b, a)):
        for i, j in EDGES:
            least[_goes_through(one[:, i], one[:, j], other)] = 0.0
    return least


def _corner_to_triangle(point, triangle):
    """Return the distance square to a triangle; infinity where the foot is not in it: edges have the rest."""
    p, u, v = triangle[:, 0], triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0]
    normal = cross(u, v)
    beta, gamma, size = _shares(point - p, u, v, normal)
    within = (beta >= 0) & (gamma >= 0) & (beta + gamma <= 1)
    return np.where(within, np.abs(dot(point - p, normal)) / size, np.inf)


def _shares(off, u, v, normal):
    """Return the shares along u and v of the feet of ``off``, none where there is no area; twice the area."""
    size2 = dot(normal, normal)
    has_area = size2 > _FLAT * dot(u, u) * dot(v, v)
    size2 = np.where(has_area, size2, 1.0)
    beta, gamma = dot(cross(off, v), normal) / size2, dot(cross(u, off), normal) / size2
    return np.where(has_area, beta, np.inf), gamma, np.sqrt(size2)


def _edge_to_edge(p, q, r, s):
    """Return the least distance between the stretches p–q and r–s."""
    u, v, w = q - p, s - r, p - r
    a, b, c = dot(u, u), dot(u, v), dot(v, v)
    d, e = dot(u, w), dot(v, w)
    scale = a * c - b * b
    is_square = scale > _PARALLEL * a * c
    along = np.clip(np.where(is_square, (b * e - c * d) / np.maximum(scale, _SMALL), 0.0), 0.0, 1.0)
    facing = np.clip((b * along + e) / np.maximum(c, _SMALL), 0.0, 1.0)
    along = np.clip((b * facing - d) / np.maximum(a, _SMALL), 0.0, 1.0)
    apart = w + along[:, None] * u - facing[:, None] * v
    return np.sqrt(dot(apart, apart))


def _goes_through(start, end, triangle):
    """Return whether the stretch from start to end meets the triangle."""
    p, u, v = triangle[:, 0], triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0]
    normal = cross(u, v)
    before, after = dot(start - p, normal), dot(end - p, normal)
    drop = np.where(np.abs(before - after) > _SMALL, before - after, 1.0)
    off = start + np.clip(before / drop, 0.0, 1.0)[:, None] * (end - start) - p
    beta, gamma, _ = _shares(off, u, v, normal)
    through = (beta >= -_PIERCING) & (gamma >= -_PIERCING) & (beta + gamma <= 1 + _PIERCING)
    return through & (before * after <= 0)
