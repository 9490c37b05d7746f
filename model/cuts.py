"""The two cuts around the cab as functions of a point: where it is above or below.

Every post has a cut plane of its own.  Around the cab the planes are blended:
within one post width of a post's axis its own plane holds exactly; across the
space to the next post the value goes over from one plane to the other by the
smooth step 6 s⁵ − 15 s⁴ + 10 s³, measured fore-and-aft between the posts'
axes at the point's own height (across the car on the front and back).  Ahead
of the first post and behind the last one their planes go on.

The lower cut is {P: Σ w_i n_i·(P − P_i) = 0}; the upper one is
{Q: Σ w_i (n_i·(M_i Q − P_i) − e_i) = 0}, so that in a post's own zone the
moved upper cut lies e_i above the lower one, square to the plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import contourpy
import numpy as np

from .numeric import dot
from .outlines import STEP_MM
from .placing import PostKey
from .posts import PostEnds
from .skin import Grid


@dataclass(frozen=True, eq=False)
class Zones:
    """How the posts share one grid: along x on a side, along y elsewhere.

    ``axis`` is the coordinate that separates the posts (0: x, 1: y);
    ``heights_mm`` (m,) and ``places_mm`` (k, m) tabulate each post's axis;
    ``half_mm`` (k,) is how far its own plane holds on either side.
    """

    keys: tuple[PostKey, ...]
    axis: int
    heights_mm: np.ndarray
    places_mm: np.ndarray
    half_mm: np.ndarray

    def weights(self, points_mm) -> np.ndarray:
        """Return the share of every post's plane at each point, shape (n, k); rows sum to 1."""
        count = len(self.keys)
        if count == 1:
            return np.ones((len(points_mm), 1))
        step = (points_mm[:, 2] - self.heights_mm[0]) / (self.heights_mm[1] - self.heights_mm[0])
        i = np.clip(step.astype(int), 0, len(self.heights_mm) - 2)
        part = (step - i)[None]
        place = self.places_mm[:, i] * (1 - part) + self.places_mm[:, i + 1] * part
        where = points_mm[:, self.axis]
        start = place[:-1] + self.half_mm[:-1, None]
        end = place[1:] - self.half_mm[1:, None]
        s = np.clip((where - start) / np.maximum(end - start, 1.0), 0, 1)
        s = s * s * s * (10 - 15 * s + 6 * s * s)
        passed = np.concatenate([np.ones((1, len(where))), s, np.zeros((1, len(where)))])
        return (passed[:-1] - passed[1:]).T


@dataclass(frozen=True, eq=False)
class GridCut:
    """One of the two cuts on one grid: a plane for every post that shares it.

    A point's value is Σ w_i (normals_i·P − offsets_i): negative below, positive above. [mm]
    Two with the same planes are equal, so that what was found for one serves the other.
    """

    zones: Zones
    normals: np.ndarray  # (k, 3)
    offsets_mm: np.ndarray  # (k,)

    @cached_property
    def _key(self):
        return id(self.zones), self.normals.tobytes(), self.offsets_mm.tobytes()

    def __hash__(self):
        return hash(self._key)

    def __eq__(self, other):
        return isinstance(other, GridCut) and self._key == other._key

    def height_above(self, points_mm) -> np.ndarray:
        """Return how far points lie above the cut. [mm]"""
        weights = self.zones.weights(points_mm)
        return np.einsum("nk,nk->n", weights, points_mm @ self.normals.T - self.offsets_mm)

    def with_slope(self, grid: Grid, uv):
        """Return values and their derivatives along u and v, weights held."""
        point, du, dv = grid.tangents(uv)
        weights = self.zones.weights(point)
        normal = weights @ self.normals
        value = np.einsum("nk,nk->n", weights, point @ self.normals.T - self.offsets_mm)
        return value, dot(normal, du), dot(normal, dv)


@dataclass(frozen=True, eq=False)
class Cut:
    """One of the two cuts all around the cab."""

    zones: dict[str, Zones]
    normals: dict[PostKey, np.ndarray]
    offsets_mm: dict[PostKey, float]

    def on(self, grid: Grid) -> GridCut:
        """Return the cut on one grid."""
        keys = self.zones[grid.name].keys
        normals = np.array([self.normals[k] for k in keys])
        return GridCut(self.zones[grid.name], normals, np.array([self.offsets_mm[k] for k in keys]))

    def height_above(self, grid: Grid, points_mm) -> np.ndarray:
        """Return how far points of a grid lie above the cut. [mm]"""
        return self.on(grid).height_above(points_mm)


@dataclass(frozen=True)
class Station:
    """A plane x = constant as a "cut": the side line of a shifted post's piece."""

    x_mm: float

    def height_above(self, points_mm) -> np.ndarray:
        """Return how far points lie behind the plane. [mm]"""
        return points_mm[:, 0] - self.x_mm

    def with_slope(self, grid: Grid, uv):
        """Return values and their derivatives along u and v."""
        point, du, dv = grid.tangents(uv)
        return point[:, 0] - self.x_mm, du[:, 0], dv[:, 0]


def zones_of(lines, grids, front_keys, rear_keys) -> dict[str, Zones]:
    """Return how the posts share every grid.

    Parameters
    ----------
    lines : dict of PostKey to PostLine
    grids : iterable of Grid
    front_keys, rear_keys : lists of PostKey
        Right and left first and last posts.
    """
    front_x = np.mean([lines[k].post.axis_mm[0][0] for k in front_keys])
    rear_x = np.mean([lines[k].post.axis_mm[0][0] for k in rear_keys])
    centre = [k for k in lines if k[1] == "centre"]
    is_front = {
        k: abs(lines[k].post.axis_mm[0][0] - front_x) < abs(lines[k].post.axis_mm[0][0] - rear_x)
        for k in centre
    }
    out = {}
    for grid in grids:
        if grid.kind == "side":
            keys = sorted(
                (k for k in lines if k[1] == grid.side), key=lambda k: lines[k].lines(np.full(5, 0.5))[0, 0]
            )
            axis = 0
        elif grid.kind == "front":
            keys, axis = [front_keys[1], *(k for k in centre if is_front[k]), front_keys[0]], 1
        else:
            keys, axis = [rear_keys[1], *(k for k in centre if not is_front[k]), rear_keys[0]], 1
        lowest = grid.lattice_mm[..., 2].min() - 50.0
        highest = grid.lattice_mm[..., 2].max() + 50.0
        heights = np.linspace(lowest, highest, 80)
        places = np.array([_axis_places(lines[k], heights, axis) for k in keys])
        half = np.array([lines[k].post.width_mm if axis == 0 else lines[k].post.depth_mm for k in keys])
        out[grid.name] = Zones(tuple(keys), axis, heights, places, half)
    return out


def _axis_places(line, heights, axis):
    """x or y of a post's axis at heights, going on straight beyond its ends."""
    s = np.linspace(0, 1, 41)
    point, t, _, _ = line.frame(s)
    place = np.interp(heights, point[:, 2], point[:, axis])
    for end, beyond in ((0, heights < point[0, 2]), (-1, heights > point[-1, 2])):
        slope = t[end, axis] / t[end, 2]
        place[beyond] = point[end, axis] + slope * (heights[beyond] - point[end, 2])
    return place


def lower_cut(zones, ends: dict[PostKey, PostEnds]) -> Cut:
    """Return the lower cut of a plan."""
    normals = {k: e.plane.normal for k, e in ends.items()}
    return Cut(zones, normals, {k: float(e.plane.normal @ e.plane.point_mm) for k, e in ends.items()})


def upper_cut(zones, ends: dict[PostKey, PostEnds]) -> Cut:
    """Return the upper cut of a plan, on the uncut car."""
    normals = {k: e.move.rotation.T @ e.plane.normal for k, e in ends.items()}
    offsets = {
        k: float(e.plane.normal @ (e.plane.point_mm - e.move.translation_mm) + e.opening_mm)
        for k, e in ends.items()
    }
    return Cut(zones, normals, offsets)


@lru_cache(maxsize=256)
def trace(grid: Grid, cut: GridCut | Station) -> tuple[np.ndarray, ...]:
    """Return the lines on a grid where ``cut`` is zero, each (n, 2) in (u, v).

    Found on the grid's lattice by marching squares, then every point is
    brought onto the line by Newton's method; an end on the grid's border
    stays on it.  Samples are at most :data:`model.outlines.STEP_MM` apart.
    """
    lattice_uv, lattice_mm = grid.lattice_uv, grid.lattice_mm
    values = cut.height_above(lattice_mm.reshape(-1, 3)).reshape(lattice_uv.shape[:2])
    if values.min() > 0 or values.max() < 0:
        return ()
    u, v = lattice_uv[:, 0, 0], lattice_uv[0, :, 1]
    generator = contourpy.contour_generator(x=v, y=u, z=values)
    found = []
    for line in generator.lines(0.0):
        uv = line[:, ::-1]
        distinct = np.concatenate([[True], np.abs(np.diff(uv, axis=0)).max(axis=1) > 1e-12])
        uv = uv[distinct]
        length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(grid.point(uv), axis=0), axis=1))])
        n = max(3, int(np.ceil(length[-1] / STEP_MM)) + 1)
        even = np.linspace(0, length[-1], n)
        uv = np.stack([np.interp(even, length, uv[:, 0]), np.interp(even, length, uv[:, 1])], axis=1)
        found.append(_onto_zero(grid, cut, uv))
    return tuple(found)


def _onto_zero(grid, cut, uv):
    """Move points to the zero of ``cut`` along its slope, in steps that are even in space."""
    uv = uv.copy()
    on_u = (uv[:, 0] <= 0) | (uv[:, 0] >= 1)
    on_v = (uv[:, 1] <= 0) | (uv[:, 1] >= 1)
    for _ in range(40):
        value, fu, fv = cut.with_slope(grid, uv)
        fu, fv = np.where(on_u, 0.0, fu), np.where(on_v, 0.0, fv)
        square = np.maximum(fu**2 + fv**2, 1e-12)
        uv = np.clip(uv - (value / square)[:, None] * np.stack([fu, fv], axis=1), 0, 1)
        if np.abs(value).max() < 1e-11:
            break
    return uv
