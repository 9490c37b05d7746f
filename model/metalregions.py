"""The metal of the uncut car on each grid, inside and outside the flange line: made once per car.

Triangles, the outline and what a search of them needs; no plan changes any of
it, but for a piece that something was trimmed off, which has a region of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from scipy.interpolate import BSpline
from scipy.spatial import cKDTree

from .cuts import RoofZones, Zones
from .layingout import layout_of
from .layout import BODY, METAL, WINDOW, Cell
from .scene import Mesh, cell_mesh
from .shape import CarShape
from .skin import Grid


@dataclass(frozen=True, eq=False)
class Region:
    """The metal of one grid of the uncut car, on one side of the flange line.

    (u, v) is scaled to millimetres on the average of the grid; ``starts``
    and ``ends`` (m, 2) are the segments of its outline.
    """

    grid: Grid
    mesh: Mesh
    scale: np.ndarray
    polygon: shapely.Geometry
    starts: np.ndarray
    ends: np.ndarray

    @cached_property
    def _outline_tree(self):
        return cKDTree((self.starts + self.ends) / 2)

    @cached_property
    def balls(self) -> tuple[np.ndarray, np.ndarray]:
        """Middle (m, 3) of every triangle and how far its corners are from there (m,). [mm]"""
        corners = self.mesh.point_mm[self.mesh.triangles]
        middle = corners.mean(axis=1)
        return middle, np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)

    @cached_property
    def markers(self):
        """A tree of the triangles' middles and points, and how far apart they are. [mm]"""
        middle, radius = self.balls
        return cKDTree(np.concatenate([middle, self.mesh.point_mm])), float(radius.max())

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates of the grid's lattice, shape (2, 3)."""
        lattice = self.grid.lattice_mm.reshape(-1, 3)
        return np.array([lattice.min(axis=0), lattice.max(axis=0)])

    def near(self, points_mm, distance_mm) -> tuple[np.ndarray, np.ndarray]:
        """Return which points, by index, may be within a distance, and where the search of feet starts."""
        reach = distance_mm + self.grid.lattice_reach_mm
        low, high = self.box_mm
        close = np.nonzero(((points_mm >= low - reach) & (points_mm <= high + reach)).all(axis=1))[0]
        if not len(close):
            return close, np.zeros((0, 2))
        is_near, start_uv = self.grid.near(points_mm[close], distance_mm)
        return close[is_near], start_uv[is_near]

    def beyond_mm(self, uv):
        """Return how far points lie out of the outline, negative inside, along the skin. [mm]"""
        xy = uv * self.scale
        near = self._outline_tree.query(xy, k=min(4, len(self.starts)))[1].reshape(len(xy), -1)
        a, b = self.starts[near], self.ends[near]
        edge = b - a
        share = np.einsum("nki,nki->nk", xy[:, None] - a, edge) / np.einsum("nki,nki->nk", edge, edge)
        foot = a + np.clip(share, 0, 1)[:, :, None] * edge
        distance = np.linalg.norm(xy[:, None] - foot, axis=2).min(axis=1)
        return np.where(shapely.contains_xy(self.polygon, *xy.T), -distance, distance)


def sheet_region(grid: Grid, cells: list[Cell]) -> Region:
    """Return some cells of one grid as a region of metal."""
    scale = uv_scale(grid)
    polygon = shapely.transform(shapely.union_all([c.polygon for c in cells]), lambda xy: xy * scale)
    rings = shapely.get_rings(shapely.get_parts(shapely.segmentize(polygon, 10.0)))
    loops = [shapely.get_coordinates(ring) for ring in rings]
    starts, ends = np.concatenate([c[:-1] for c in loops]), np.concatenate([c[1:] for c in loops])
    real = np.abs(starts - ends).max(axis=1) > 1e-9
    shapely.prepare(polygon)
    meshes = [cell_mesh(c) for c in cells]
    first = np.cumsum([0] + [len(m.uv) for m in meshes[:-1]])
    mesh = Mesh(
        *(np.concatenate([getattr(m, name) for m in meshes]) for name in ("uv", "point_mm", "normal")),
        np.concatenate([m.triangles + k for m, k in zip(meshes, first, strict=True)]),
    )
    return Region(grid, mesh, scale, polygon, starts[real], ends[real])


@lru_cache(maxsize=64)
def passed_on(region: Region, zones: Zones | RoofZones):
    """Return how far a region's points have gone over from post to post: the same for every cut."""
    return zones.passed(region.mesh.point_mm)


@lru_cache(maxsize=16)
def uncut_regions(shape: CarShape, flange_mm: float | None, kerf_mm: float) -> dict[str, tuple[Region, ...]]:
    """Return the metal outside and inside the flange line: {"body": …, "window panel": …}."""
    layout = layout_of(shape, None, None, flange_mm, kerf_mm, ())
    out = {}
    for part in (BODY, WINDOW):
        cells = [c for c in layout.parts.get(part, []) if c.role == METAL]
        grids = {c.grid.name: c.grid for c in cells}.values()
        out[part] = tuple(sheet_region(g, [c for c in cells if c.grid is g]) for g in grids)
    return out


@lru_cache(maxsize=64)
def uv_scale(grid: Grid) -> np.ndarray:
    """Return how many millimetres one unit of u and of v is, on the average of a grid; shape (2,).

    At its lattice, where the derivatives are products of matrices: B'(u) poles B(v)ᵀ and B(u) poles B'(v)ᵀ.
    """
    at = grid.lattice_uv[:, 0, 0], grid.lattice_uv[0, :, 1]
    (bu, du), (bv, dv) = (
        [BSpline(knots, np.eye(len(knots) - k - 1), k)(x, nu=order) for order in (0, 1)]
        for knots, k, x in zip((grid.knots_u, grid.knots_v), (grid.degree_u, grid.degree_v), at, strict=True)
    )
    poles = np.moveaxis(grid.poles_mm, 2, 0)
    return np.array([np.linalg.norm(x @ poles @ y.T, axis=0).mean() for x, y in ((du, bv), (bu, dv))])
