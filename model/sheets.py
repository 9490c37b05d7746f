"""The skin of every piece as a region: some cells of the uncut car, and which side of which cut.

Triangles and outlines are those of the car with just its openings and its
window panel cut out, made once; where the roof is cut, a piece is what of
them lies on its side of the cut.  So a slider makes no new triangles.  Only a
piece that something was trimmed off has triangles and an outline of its own.

A *bound* is a function of a point of the uncut car that is negative on the
piece's side: the cut's value for the body, its opposite for the roof, the
distance past the side lines for the piece of a shifted post.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from scipy.spatial import cKDTree

from .built import Built
from .layingout import layout_of
from .layout import BODY, METAL, WASTE, WINDOW, Cell, Shift
from .moves import RigidMove
from .numeric import cross, dot
from .roofparts import is_roof
from .scene import Mesh, cell_mesh
from .shape import CarShape
from .skin import Grid
from .triangles import share_a_point
from .trimmings import part_cut_off

FAR_MM = 1e6  # stands for "nowhere near"
BOUND_SLACK_MM = 0.2  # how far two bounds may stray from linear against each other over a triangle
NEAR_MM = 3.0  # how far a coarse triangle may stray from its surface


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
    def markers(self):
        """A tree of the triangles' middles and points, and how far apart they are. [mm]"""
        corners = self.mesh.point_mm[self.mesh.triangles]
        middle = corners.mean(axis=1)
        reach = np.linalg.norm(corners - middle[:, None], axis=2).max()
        return cKDTree(np.concatenate([middle, self.mesh.point_mm])), float(reach)

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


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles of a sheet on one grid: corners in (u, v) and in place, their boxes, the piece's bounds."""

    grid: Grid
    uv: np.ndarray  # (m, 3, 2)
    corners_mm: np.ndarray  # (m, 3, 3)
    low: np.ndarray  # (m, 3)
    high: np.ndarray
    bounds: list[np.ndarray]  # of the piece, each (m, 3)


@dataclass(frozen=True, eq=False)
class Sheet:
    """The skin of one piece, in place."""

    name: str
    regions: tuple[Region, ...]
    thickness_mm: float
    move: RigidMove
    built: Built
    small_mm = 20.0  # size of a triangle that is small enough to find what of it lies in this body

    def bounds(self, grid: Grid, points_mm) -> list[np.ndarray]:
        """Return the bounds of this piece at points of the uncut car on a grid; ≤ 0 on its side. [mm]"""
        if self.name == WINDOW or self.built.upper is None:
            return []
        if self.name == BODY:
            feet = [lean for lean in self.built.leans if lean.stretch_on(grid.name)]
            lower = self.built.lower.height_above(grid, points_mm)
            return [lower, *(lean.foot_bound(grid.name, points_mm) for lean in feet)]
        for lean in self.built.leans:
            if self.name == lean.piece:
                lower = self.built.lower.height_above(grid, points_mm)
                return [lower, *lean.bounds(grid.name, points_mm)]
        out = [-self.built.upper.height_above(grid, points_mm)]
        if is_roof(self.name):
            out += self.built.parts.lines.bounds(self.name, points_mm)
        for shift in self.built.shifts:
            if grid.name == f"side {shift.key[1]}":
                out += _shift_bounds(self.name, shift, points_mm[:, 0])
        return out

    def placed(self, grid: Grid, uv):
        """Return points and normals in place."""
        point, _, _, normal = grid.frame(uv)
        return self.move.points(point), self.move.vectors(normal)

    @cached_property
    def patches(self) -> list[Patch]:
        """The triangles on every grid that may belong to this piece, in place."""
        out = []
        for region in self.regions:
            mesh = region.mesh
            keep = np.ones(len(mesh.triangles), bool)
            bounds = self.bounds(region.grid, mesh.point_mm)
            for bound in bounds:
                keep &= bound[mesh.triangles].min(axis=1) <= NEAR_MM
            corners = self.move.points(mesh.point_mm)[mesh.triangles[keep]]
            triangles = mesh.triangles[keep]
            own = [bound[triangles] for bound in bounds]
            uv = mesh.uv[triangles]
            out.append(Patch(region.grid, uv, corners, corners.min(axis=1), corners.max(axis=1), own))
        return [patch for patch in out if len(patch.uv)]

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates in place, shape (2, 3); may be too large."""
        return np.array(
            [
                np.min([p.low.min(axis=0) for p in self.patches], axis=0),
                np.max([p.high.max(axis=0) for p in self.patches], axis=0),
            ]
        )

    def may_reach(self, corners_mm, own):
        """Return which triangles of another sheet are near enough to this one's metal to matter.

        Parameters
        ----------
        corners_mm : (m, 3, 3)
            In place.
        own : list of (m, 3)
            The other sheet's bounds at the corners.  Across a seam both
            sheets' bounds stray from linear alike, so that what they leave of
            a flat triangle tells whether the two can meet in it.
        """
        placed = self.move.inverse().points(corners_mm)
        centre = placed.mean(axis=1)
        radius = np.linalg.norm(placed - centre[:, None], axis=2).max(axis=1)
        near = np.zeros(len(corners_mm), bool)
        for region in self.regions:
            tree, reach = region.markers
            some = tree.query(centre, distance_upper_bound=radius.max() + reach + NEAR_MM)[0]
            some = np.nonzero(some <= radius + reach + NEAR_MM)[0]
            bounds = self.bounds(region.grid, placed[some].reshape(-1, 3))
            limits = [*(b.reshape(-1, 3) for b in bounds), *(b[some] for b in own)]
            near[some] |= share_a_point([b - BOUND_SLACK_MM for b in limits]) if limits else True
        return near

    def signs(self, count):
        """Return that the metal on every grid counts."""
        return (1.0,) * count

    def inside(self, points_mm, normals, layers_mm, within_mm):
        """Return g of this sheet as a body, for points moved inward by each layer along their normals.

        Points further than ``within_mm`` from it may read FAR_MM instead.

        Returns
        -------
        list, one item for each grid: list of arrays (layers, n)
            Distance out of its outside, out of its inside, out of its
            outline, and its bounds; inside the metal all are ≤ 0. [mm]
        """
        back = self.move.inverse()
        points, directions = back.points(points_mm), back.vectors(normals)
        found = []
        for region in self.regions:
            near = np.nonzero(region.grid.is_near(points, within_mm))[0]
            if not len(near):
                found.append(self._nowhere(region.grid, len(layers_mm), len(points)))
                continue
            d = np.full((len(layers_mm), len(points)), FAR_MM)
            foot = region.grid.foot(points[near])
            apart = points[near] - foot.point
            off = np.sqrt(np.maximum(dot(apart, apart) - foot.distance_mm**2, 0.0))  # along the skin
            past = region.beyond_mm(foot.uv)
            lean = dot(directions[near], foot.normal)
            d[:, near] = foot.distance_mm[None] - layers_mm[:, None] * lean[None]
            limits = [np.where(foot.is_square, past, np.maximum(np.abs(past), off))]
            limits += self.bounds(region.grid, foot.point)
            g = [d, -d - self.thickness_mm]
            for limit in limits:
                whole = np.full(len(points), FAR_MM)
                whole[near] = limit
                g.append(np.broadcast_to(whole, d.shape))
            found.append(g)
        return found

    def _nowhere(self, grid, layers, count):
        """Return g of points that are not near the grid, as many arrays as elsewhere."""
        bounds = len(self.bounds(grid, np.zeros((1, 3))))
        return [np.full((layers, count), FAR_MM)] * (3 + bounds)


def _shift_bounds(name, shift: Shift, x):
    """Return the bounds along x of one piece on the side of a shifted post. [mm]"""
    low, high = shift.bounds[0][0], shift.bounds[-1][1]
    if is_roof(name):
        return [(high - low) / 2 - np.abs(x - (high + low) / 2)]
    for a, b, what in shift.bounds:
        if name == f"{shift.name} {what}":
            return [a - x, x - b]
    return [np.full(len(x), FAR_MM)]


def sheets_of(built: Built) -> list[Sheet]:
    """Return the skin of every piece."""
    plan, shape = built.plan, built.shape
    flange = plan.window.flange_mm if plan.window else None
    kerf = max(plan.kerf_mm, plan.root_gap_mm) if plan.window else 0.0
    uncut = uncut_regions(shape, flange, kerf)
    out = []
    for name, move in built.moves.items():
        if name not in built.layout.parts:  # the upper end of a post and no skin
            continue
        regions = uncut[WINDOW if name == WINDOW else BODY]
        side = next((s.key[1] for s in built.shifts if name.startswith(s.name)), None)
        if side is not None:
            regions = tuple(r for r in regions if r.grid.name == f"side {side}")
        lean = next((lean for lean in built.leans if lean.piece == name), None)
        if lean is not None:
            regions = tuple(r for r in regions if lean.stretch_on(r.grid.name))
        regions = tuple(_trimmed_region(built, name, region) for region in regions)
        out.append(Sheet(name, regions, shape.car.gauge_mm, move, built))
    return out


def _trimmed_region(built, name, region: Region) -> Region:
    """Return a region, or where something was trimmed off a piece on its grid, what is left of that piece."""
    off = built.layout.parts.get(part_cut_off(name), [])
    if all(cell.grid is not region.grid for cell in off):
        return region
    cells = [c for c in built.layout.parts[name] if c.grid is region.grid and c.role == METAL]
    return sheet_region(region.grid, cells)


# Three inner points, exact to degree 2 (Strang and Fix, from memory; tests check it on polynomials).
_TRIANGLE_RULE = tuple((np.roll([2 / 3, 1 / 6, 1 / 6], k), 1 / 3) for k in range(3))


def surface_area_mm2(grid: Grid, corners_uv) -> float:
    """Return the area on the surface of triangles (m, 3, 2) in (u, v), three Gauss points each. [mm²]"""
    edge = corners_uv[:, 1:] - corners_uv[:, :1]
    size = np.abs(edge[:, 0, 0] * edge[:, 1, 1] - edge[:, 0, 1] * edge[:, 1, 0]) / 2
    total = 0.0
    for shares, weight in _TRIANGLE_RULE:
        _, du, dv = grid.tangents(np.einsum("k,nkj->nj", shares, corners_uv))
        total += weight * (size @ np.linalg.norm(cross(du, dv), axis=1))
    return float(total)


@lru_cache(maxsize=16)
def metal_area_mm2(shape: CarShape, flange_mm: float | None = None, kerf_mm: float = 0.0) -> float:
    """Return the area of the metal outside the openings; with a flange, less the kerf around it. [mm²]"""
    regions = uncut_regions(shape, flange_mm, kerf_mm)
    return sum(
        surface_area_mm2(r.grid, r.mesh.uv[r.mesh.triangles]) for part in regions.values() for r in part
    )


def waste_area_mm2(built: Built) -> float:
    """Return the area of the skin cut out or turned to dust: slugs and trimmings. [mm²]

    By Green's theorem around every cell, ∮ G dv with G(u, v) = ∫ |S_u × S_v| du
    from the cell's least u, or −∮ H du with u and v exchanged, whichever way
    the cell is narrower: 4 Gauss points inward from the middle of each segment.
    """
    x, w = np.polynomial.legendre.leggauss(4)
    total = 0.0
    for grid in built.shape.skin.grids.values():
        polygons = [c.polygon for c in built.layout.cells if c.role == WASTE and c.grid is grid]
        if not polygons:
            continue
        uv, weights = [], []
        scale = uv_scale(grid)
        for polygon in polygons:
            low, high = np.array(polygon.bounds).reshape(2, 2)
            across = int(np.argmin((high - low) * scale))
            for ring in shapely.get_rings(shapely.normalize(polygon)):  # its outer ring runs clockwise
                loop = shapely.get_coordinates(ring)
                middle, edge = (loop[1:] + loop[:-1]) / 2, np.diff(loop, axis=0)
                half = (middle[:, across] - low[across]) / 2
                at = np.repeat(middle[:, None], len(x), axis=1)
                at[:, :, across] = low[across] + half[:, None] * (1 + x)
                uv.append(at.reshape(-1, 2))
                turn = -1.0 if across == 0 else 1.0
                weights.append((turn * edge[:, 1 - across] * half)[:, None] * w)
        _, du, dv = grid.tangents(np.concatenate(uv))
        total += np.concatenate([v.ravel() for v in weights]) @ np.linalg.norm(cross(du, dv), axis=1)
    return float(total)


@lru_cache(maxsize=64)
def uv_scale(grid: Grid) -> np.ndarray:
    """Return how many millimetres one unit of u and of v is, on the average of a grid; shape (2,)."""
    _, du, dv = grid.tangents(grid.lattice_uv.reshape(-1, 2))
    return np.array([np.linalg.norm(du, axis=1).mean(), np.linalg.norm(dv, axis=1).mean()])
