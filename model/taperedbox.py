"""A hollow box between two parallel flat ends: sections, walls, volume, flat walls.  No car in it.

**Shape.**  Lower corners A_i, upper corners B_i (i = 0 … 3, around the box),
each four in one plane, the planes parallel with unit normal n from the lower
to the upper and H apart.  A corner edge is the straight line A_i B_i, a wall
the lines between neighbouring corners at one height: at the height τ H the
section is the quadrilateral of C_i(τ) = (1 − τ) A_i + τ B_i, and wall i the
bilinear patch

    S_i(σ, τ) = (1 − σ) C_i(τ) + σ C_{i+1}(τ),

which is flat where A_i A_{i+1} and B_i B_{i+1} are parallel.

**Volume.**  The area of the section is quadratic in τ, so that Simpson's rule
is exact: V = H (a(0) + 4 a(1/2) + a(1)) / 6, the prismatoid's.

**Wall.**  Sheet of gauge t lies inside.  With m_i the direction out of the
section within its plane and N_i the wall's normal half way along its rim, the
inside's rim lies t / (N_i·m_i) further in; its corners are where neighbouring
rims cross, and the inside's walls are ruled between them.  For a flat wall
that is the parallel plane; for a twisted one it is t thick at the middle of
its ends only.

**Distance.**  Out of wall i at a point x of the section's plane at τ:
(N_i·m_i) (m_i·(x − C_i)), exact for a flat wall.

**Flat wall.**  A flat quadrilateral is itself.  A twisted one is laid flat as
two triangles about its shorter diagonal: all four sides and that diagonal keep
their lengths; ``twist_mm`` is how far its fourth corner lies off the plane of
the triangle before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(12)
_NEXT = np.array([1, 2, 3, 0])


@dataclass(frozen=True, eq=False)
class FlatWall:
    """One wall laid flat.

    Attributes
    ----------
    corners_mm : (4, 2)
        Lower rim along the x-axis from the origin, then the upper corners, around; upper ones at y > 0.
    diagonal : (int, int)
        The corners that the diagonal joins.
    twist_mm : float
        How far the wall is from flat: of its last corner, off the plane of the other three.
    """

    corners_mm: np.ndarray
    diagonal: tuple[int, int]
    twist_mm: float

    @property
    def area_mm2(self) -> float:
        """Area of the quadrilateral."""
        x, y = self.corners_mm.T
        return float(abs(x @ y[_NEXT] - y @ x[_NEXT]) / 2)


@dataclass(frozen=True, eq=False)
class TaperedBox:
    """A hollow box; ``corners_mm`` (2, 4, 3): lower and upper corners, both around in one sense."""

    corners_mm: np.ndarray
    gauge_mm: float

    @cached_property
    def normal(self) -> np.ndarray:
        """Unit normal of both ends, from the lower to the upper."""
        low, high = self.corners_mm
        normal = np.cross(low[2] - low[0], low[3] - low[1])
        normal = normal * np.sign(normal @ (high - low).sum(axis=0))
        return normal / np.linalg.norm(normal)

    @cached_property
    def height_mm(self) -> float:
        """Distance between the two ends, square to them."""
        low, high = self.corners_mm
        return float((high - low).mean(axis=0) @ self.normal)

    @cached_property
    def inner_mm(self) -> np.ndarray:
        """Corners of the inside, (2, 4, 3)."""
        ends = [self._inside_of(section) for section in self.corners_mm]
        return np.stack(ends)

    def _inside_of(self, section):
        outward, cosine = self._rims(section[None])
        m, shift = outward[0], self.gauge_mm / cosine[0]
        out = []
        for i in range(4):  # where the rims before and after corner i cross
            before = i - 1
            sides = np.stack([m[before], m[i], self.normal])
            out.append(section[i] + np.linalg.solve(sides, [-shift[before], -shift[i], 0.0]))
        return np.array(out)

    def _rims(self, sections):
        """Return directions out of sections (n, 4, 3) along their rims, and N·m of each wall there."""
        low, high = self.corners_mm
        up = (high - low + (high - low)[_NEXT]) / 2
        run = sections[:, _NEXT] - sections
        outward = np.cross(run, self.normal)
        outward /= np.linalg.norm(outward, axis=2, keepdims=True)
        middle = sections.mean(axis=1, keepdims=True)
        outward *= np.sign(np.einsum("nij,nij->ni", outward, sections - middle))[..., None]
        wall = np.cross(run, up)
        wall /= np.linalg.norm(wall, axis=2, keepdims=True)
        return outward, np.abs(np.einsum("nij,nij->ni", wall, outward))

    def wall_distances_mm(self, points_mm) -> np.ndarray:
        """Return how far points (n, 3) lie out of each wall, (4, n); past an end its section is drawn on."""
        return _out_of(self, self.corners_mm, points_mm)

    def hollow_distances_mm(self, points_mm) -> np.ndarray:
        """Return the same of the inside's walls."""
        return _out_of(TaperedBox(self.inner_mm, 0.0), self.inner_mm, points_mm)

    def height_of(self, points_mm) -> np.ndarray:
        """Return heights of points above the lower end. [mm]"""
        return (np.asarray(points_mm) - self.corners_mm[0, 0]) @ self.normal

    @property
    def outside_mm3(self) -> float:
        """Volume within the outside."""
        return _prismatoid_mm3(self.corners_mm, self.normal, self.height_mm)

    @property
    def metal_mm3(self) -> float:
        """Volume of the walls."""
        return self.outside_mm3 - _prismatoid_mm3(self.inner_mm, self.normal, self.height_mm)

    def wall_mm(self, i: int) -> np.ndarray:
        """Return the corners of wall i around: lower rim, then upper rim back. [mm]"""
        j = int(_NEXT[i])
        low, high = self.corners_mm
        return np.array([low[i], low[j], high[j], high[i]])

    @property
    def wall_areas_mm2(self) -> np.ndarray:
        """Areas of the four walls' outsides: exact where flat, by Gauss's rule where twisted."""
        return np.array([_patch_area_mm2(self.wall_mm(i)) for i in range(4)])

    def perimeter_mm(self, end: int) -> float:
        """Return the length around one end. [mm]"""
        section = self.corners_mm[end]
        return float(np.linalg.norm(section[_NEXT] - section, axis=1).sum())

    def flat_wall(self, i: int) -> FlatWall:
        """Return wall i laid flat."""
        return flat_wall(self.wall_mm(i))


def _out_of(box, corners, points_mm):
    points = np.asarray(points_mm, float)
    tau = box.height_of(points) / box.height_mm
    sections = corners[0] + tau[:, None, None] * (corners[1] - corners[0])
    outward, cosine = box._rims(sections)
    return (cosine * np.einsum("nij,nij->ni", outward, points[:, None] - sections)).T


def _prismatoid_mm3(corners, normal, height_mm):
    areas = [_section_mm2((1 - tau) * corners[0] + tau * corners[1], normal) for tau in (0.0, 0.5, 1.0)]
    return float(height_mm * (areas[0] + 4 * areas[1] + areas[2]) / 6)


def _section_mm2(section, normal):
    return abs(np.cross(section[2] - section[0], section[3] - section[1]) @ normal) / 2


def _patch_area_mm2(quad):
    a, b, c, d = quad
    s, t = (x[..., None] for x in np.meshgrid(*[(1 + _GAUSS_X) / 2] * 2, indexing="ij"))
    along = (1 - t) * (b - a) + t * (c - d)
    up = (1 - s) * (d - a) + s * (c - b)
    return float(np.linalg.norm(np.cross(along, up), axis=2) @ _GAUSS_W @ _GAUSS_W / 4)


def flat_wall(quad_mm) -> FlatWall:
    """Return a quadrilateral in space laid flat: as two triangles about its shorter diagonal."""
    quad = np.asarray(quad_mm, float)
    diagonal = min(((0, 2), (1, 3)), key=lambda pair: np.linalg.norm(quad[pair[0]] - quad[pair[1]]))
    i, k = diagonal
    j, m = (n for n in range(4) if n not in diagonal)
    length = np.linalg.norm(quad[k] - quad[i])
    flat = np.zeros((4, 2))
    flat[k] = length, 0.0
    for corner, side in ((j, -1.0), (m, 1.0)):
        to_i, to_k = (np.linalg.norm(quad[corner] - quad[end]) for end in (i, k))
        x = (length**2 + to_i**2 - to_k**2) / (2 * length)
        flat[corner] = x, side * np.sqrt(max(to_i**2 - x**2, 0.0))
    flat -= flat[0]
    run = flat[1] / np.linalg.norm(flat[1])
    flat = np.stack([flat @ run, np.abs(flat @ np.array([-run[1], run[0]]))], axis=1)
    normal = np.cross(quad[j] - quad[i], quad[k] - quad[i])
    off = abs((quad[m] - quad[i]) @ normal) / np.linalg.norm(normal)
    return FlatWall(flat, diagonal, float(off))
