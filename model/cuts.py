"""The two cuts around the cab as functions of a point: where it is above or below.

Every post has a cut plane of its own.  Around the cab the planes are blended:
within one post width of a post's axis its own plane holds exactly; across the
space to the next post the value goes over from one plane to the other by the
smooth step 6 s⁵ − 15 s⁴ + 10 s³, measured fore-and-aft between the posts'
axes at the point's own height (across the car on the front and back).  Ahead
of the first post and behind the last one their planes go on.  On the roof the
planes are those of the side below the gutter, and go over from the right
side's to the left side's across the middle.

The lower cut is {P: Σ w_i n_i·(P − P_i) = 0}; the upper one is
{Q: Σ w_i (n_i·(M_i Q − P_i) − e_i) = 0}, so that in a post's own zone the
moved upper cut lies e_i above the lower one, square to the plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

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

    @cached_property
    def _spaces_mm(self):
        """Where the space between every two posts begins, how wide it is, and both up to the next height.

        Shape (2, 2, k − 1, m − 1): at a height and what is added up to the next; beginning and width.
        """
        begin = self.places_mm[:-1] + self.half_mm[:-1, None]
        tables = np.stack([begin, self.places_mm[1:] - self.half_mm[1:, None] - begin])
        return np.stack([tables[..., :-1], np.diff(tables)])

    def passed(self, points_mm) -> np.ndarray:
        """Return how far each point has gone over from a post's plane to the next one's, (k − 1, n)."""
        first, spacing = self._heights
        step = (points_mm[:, 2] - first) / spacing
        i = np.minimum(np.maximum(step.astype(int), 0), len(self.heights_mm) - 2)
        (start, width), more = self._spaces_mm[..., i]
        part = step - i
        start = start + part * more[0]
        width = width + part * more[1]
        return _smooth_step((points_mm[:, self.axis] - start) / np.maximum(width, 1.0))

    @cached_property
    def _heights(self):
        """Lowest height of the tables, and their spacing."""
        return float(self.heights_mm[0]), float(self.heights_mm[1] - self.heights_mm[0])

    def weights(self, points_mm) -> np.ndarray:
        """Return the share of every post's plane at each point, shape (n, k); rows sum to 1."""
        end = np.ones((1, len(points_mm)))
        passed = np.concatenate([end, self.passed(points_mm), 0 * end])
        return (passed[:-1] - passed[1:]).T

    def blended(self, points_mm, values) -> np.ndarray:
        """Return the mean of the posts' values (k, n) by their weights: v₀ + Σ s_i (v_{i+1} − v_i); (n,)."""
        return self.blended_by(self.passed(points_mm), values)

    def blended_by(self, passed, values) -> np.ndarray:
        """Return :meth:`blended` of points that have ``passed``."""
        mean = values[0]
        for share, value, following in zip(passed, values[:-1], values[1:], strict=True):
            mean = mean + share * (following - value)
        return mean


@dataclass(frozen=True, eq=False)
class RoofZones:
    """How the posts of both sides share the roof: each side's planes from its gutter inward.

    Along a gutter the roof has the very planes of the side below it, so that
    a cut crosses the gutter without a jump; between ``inside_mm`` on either
    side of the centreline the right side's value goes over into the left's.
    """

    right: Zones
    left: Zones
    inside_mm: float

    @property
    def keys(self) -> tuple[PostKey, ...]:
        """Posts of the right side, then of the left."""
        return self.right.keys + self.left.keys

    def weights(self, points_mm) -> np.ndarray:
        """Return the share of every post's plane at each point, shape (n, k); rows sum to 1."""
        s = self._from_left(points_mm)[:, None]
        return np.concatenate(
            [s * self.right.weights(points_mm), (1 - s) * self.left.weights(points_mm)], axis=1
        )

    def blended(self, points_mm, values) -> np.ndarray:
        """Return the mean of the posts' values (k, n) by their weights; (n,)."""
        return self.blended_by(self.passed(points_mm), values)

    def passed(self, points_mm) -> tuple[np.ndarray, ...]:
        """Return how far each point has gone over: along the right, along the left, from left to right."""
        return self.right.passed(points_mm), self.left.passed(points_mm), self._from_left(points_mm)

    def blended_by(self, passed, values) -> np.ndarray:
        """Return :meth:`blended` of points that have ``passed``."""
        count = len(self.right.keys)
        right, left, from_left = passed
        right = self.right.blended_by(right, values[:count])
        left = self.left.blended_by(left, values[count:])
        return left + from_left * (right - left)

    def _from_left(self, points_mm):
        return _smooth_step((points_mm[:, 1] + self.inside_mm) / (2 * self.inside_mm))


def _smooth_step(s):
    s = np.minimum(np.maximum(s, 0.0), 1.0)
    return s * s * s * (10 - s * (15 - 6 * s))


@dataclass(frozen=True, eq=False)
class GridCut:
    """One of the two cuts on one grid: a plane for every post that shares it.

    A point's value is Σ w_i (normals_i·P − offsets_i): negative below, positive above. [mm]
    Two with the same planes are equal, so that what was found for one serves the other.
    """

    zones: Zones | RoofZones
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
        return self.height_given(self.zones.passed(points_mm), points_mm)

    def height_given(self, passed, points_mm) -> np.ndarray:
        """Return :meth:`height_above` of points that have ``passed`` in the zones. [mm]"""
        return self.zones.blended_by(passed, self.normals @ points_mm.T - self.offsets_mm[:, None])

    def height_and_rise(self, points_mm, ways):
        """Return how far points lie above the cut, and by how much a step along its way raises each.

        The rise is that of the posts' planes as they are blended at the point itself.
        """
        passed = self.zones.passed(points_mm)
        height = self.normals @ points_mm.T - self.offsets_mm[:, None]
        return self.zones.blended_by(passed, height), self.zones.blended_by(passed, self.normals @ ways.T)

    def lattice_heights(self, grid: Grid) -> np.ndarray:
        """Return how far the places of a grid's lattice lie above the cut, (nu, nv). [mm]"""
        heights = self.height_given(_lattice_passed(grid, self.zones), grid.lattice_mm.reshape(-1, 3))
        return heights.reshape(grid.lattice_mm.shape[:2])


@lru_cache(maxsize=64)
def _lattice_passed(grid: Grid, zones: Zones | RoofZones):
    """Return how far the places of a grid's lattice have gone over: the same for every cut."""
    return zones.passed(grid.lattice_mm.reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class Cut:
    """One of the two cuts all around the cab."""

    zones: dict[str, Zones | RoofZones]
    normals: dict[PostKey, np.ndarray]
    offsets_mm: dict[PostKey, float]

    def on(self, grid: Grid) -> GridCut:
        """Return the cut on one grid."""
        return self._on_grids[grid.name]

    @cached_property
    def _on_grids(self):
        return {
            name: GridCut(
                zones,
                np.array([self.normals[k] for k in zones.keys]),
                np.array([self.offsets_mm[k] for k in zones.keys]),
            )
            for name, zones in self.zones.items()
        }

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

    def height_and_rise(self, points_mm, ways):
        """Return what :meth:`GridCut.height_and_rise` does."""
        return self.height_above(points_mm), ways[:, 0]


@dataclass(frozen=True)
class CentrePlane:
    """The plane y = 0 as a "cut": where a slug from one post to another is shared by both sides."""

    def height_above(self, points_mm) -> np.ndarray:
        """Return how far points lie to the right of the plane. [mm]"""
        return points_mm[:, 1]

    def height_and_rise(self, points_mm, ways):
        """Return what :meth:`GridCut.height_and_rise` does."""
        return self.height_above(points_mm), ways[:, 1]


def zones_of(lines, grids, front_keys, rear_keys) -> dict[str, Zones | RoofZones]:
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
    out: dict[str, Zones | RoofZones] = {}
    roof = None
    for grid in grids:
        if grid.kind == "roof":
            roof = grid
            continue
        if grid.kind == "side":
            keys = [k for k in lines if k[1] == grid.side]
            keys.sort(key=lambda k: lines[k].lines(np.full(5, 0.5))[0, 0])
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
    inside_mm = 0.9 * float(np.abs(roof.lattice_mm[:, [0, -1], 1]).min())
    out[roof.name] = RoofZones(out["side right"], out["side left"], inside_mm)
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
    moves = {k: e.relative for k, e in ends.items()}
    normals = {k: moves[k].rotation.T @ e.plane.normal for k, e in ends.items()}
    offsets = {
        k: float(e.plane.normal @ (e.plane.point_mm - moves[k].translation_mm) + e.opening_mm)
        for k, e in ends.items()
    }
    return Cut(zones, normals, offsets)
