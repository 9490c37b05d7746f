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

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely

from .built import Built
from .cuts import Cut
from .layout import BODY, METAL, WASTE, WINDOW, Shift
from .metalregions import Region, passed_on, sheet_region, uncut_regions, uv_scale
from .moves import RigidMove
from .numeric import cross, dot
from .roofparts import is_roof
from .shape import CarShape
from .skin import Grid
from .triangles import boxes_of, share_a_point
from .trimmings import part_cut_off

FAR_MM = 1e6  # stands for "nowhere near"
BOUND_SLACK_MM = 0.2  # how far two bounds may stray from linear against each other over a triangle
NEAR_MM = 3.0  # how far a coarse triangle may stray from its surface


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles of a region that may belong to a piece, in place; points are all those of the region."""

    region: Region
    kept: np.ndarray  # (m,) int, which triangles of the region
    triangles: np.ndarray  # (m, 3) int, their points
    placed_mm: np.ndarray  # (n, 3)
    low: np.ndarray  # (m, 3)
    high: np.ndarray
    bounds: list[np.ndarray]  # of the piece, each (n,)

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates, shape (2, 3)."""
        return np.array([self.low.min(axis=0), self.high.max(axis=0)])

    def is_near_box(self, box_mm, some=slice(None)) -> np.ndarray:
        """Return which of some triangles come near a box (2, 3)."""
        low, high = self.low[some], self.high[some]
        near = np.ones(len(low), bool)
        for axis, (least, most) in enumerate((box_mm + [[-NEAR_MM], [NEAR_MM]]).T):
            if self.box_mm[0, axis] > most or self.box_mm[1, axis] < least:
                return np.zeros(len(low), bool)
            near &= (low[:, axis] <= most) & (high[:, axis] >= least)
        return near

    def balls(self, some) -> tuple[np.ndarray, np.ndarray]:
        """Return middles and radii of some triangles, before the move."""
        middle, radius = self.region.balls
        kept = self.kept[some]
        return middle[kept], radius[kept]

    def own(self, some) -> list[np.ndarray]:
        """Return the piece's bounds at the corners of some triangles, each (k, 3)."""
        triangles = self.triangles[some]
        return [bound[triangles] for bound in self.bounds]

    def points_of(self, some) -> tuple[np.ndarray, np.ndarray]:
        """Return the indices of the points of some triangles, and the triangles among these."""
        triangles = self.triangles[some]
        used = np.zeros(len(self.placed_mm), bool)
        used[triangles] = True
        return np.nonzero(used)[0], (np.cumsum(used) - 1)[triangles]


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
        return self._bounds(grid, points_mm, lambda cut: cut.height_above(grid, points_mm))

    def bounds_on(self, region: Region) -> list[np.ndarray]:
        """Return the bounds at the points of one of its regions."""
        points, grid = region.mesh.point_mm, region.grid
        return self._bounds(
            grid,
            points,
            lambda cut: cut.on(grid).height_given(passed_on(region, cut.zones[grid.name]), points),
        )

    def _bounds(self, grid: Grid, points_mm, height_above: Callable[[Cut], np.ndarray]):
        if self.name == WINDOW or self.built.upper is None:
            return []
        if self.name == BODY:
            feet = [lean for lean in self.built.leans if lean.stretch_on(grid.name)]
            lower = height_above(self.built.lower)
            return [lower, *(lean.foot_bound(grid.name, points_mm) for lean in feet)]
        for lean in self.built.leans:
            if self.name == lean.piece:
                return [height_above(self.built.lower), *lean.bounds(grid.name, points_mm)]
        out = [-height_above(self.built.upper)]
        if is_roof(self.name):
            out += self.built.parts.lines.bounds(self.name, points_mm)
        for shift in self.built.shifts:
            if grid.name == f"side {shift.key[1]}":
                out += _shift_bounds(self.name, shift, points_mm[:, 0])
        return out

    @cached_property
    def patches(self) -> list[Patch]:
        """The triangles on every grid that may belong to this piece, in place."""
        out = []
        for region in self.regions:
            mesh = region.mesh
            bounds = self.bounds_on(region)
            kept = np.arange(len(mesh.triangles))
            if bounds:
                a, b, c = mesh.triangles.T
                beside = [bound <= NEAR_MM for bound in bounds]
                kept = np.nonzero(np.logical_and.reduce([near[a] | near[b] | near[c] for near in beside]))[0]
            placed = self.move.points(mesh.point_mm)
            triangles = mesh.triangles[kept]
            out.append(Patch(region, kept, triangles, placed, *boxes_of(placed, triangles), bounds))
        return [patch for patch in out if len(patch.kept)]

    @cached_property
    def own_bounds(self) -> list[np.ndarray]:
        """Its bounds at the corners of the triangles of all patches, each (m, 3); a grid may have fewer."""
        most = max(len(patch.bounds) for patch in self.patches)
        out = [np.full((len(patch.kept), 3), -FAR_MM) for patch in self.patches for _ in range(most)]
        for k, patch in enumerate(self.patches):
            for j, bound in enumerate(patch.bounds):
                out[k * most + j] = bound[patch.triangles]
        return [np.concatenate(out[j::most]) for j in range(most)]

    @cached_property
    def corners_mm(self) -> np.ndarray:
        """Corners in place of the triangles of all patches, shape (m, 3, 3)."""
        return np.concatenate([patch.placed_mm[patch.triangles] for patch in self.patches])

    @cached_property
    def balls_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Middles (m, 3) in place and radii (m,) of the triangles of all patches."""
        middle, radius = zip(*(patch.balls(slice(None)) for patch in self.patches), strict=True)
        return self.move.points(np.concatenate(middle)), np.concatenate(radius)

    def by_patch(self, some) -> list[tuple[Patch, np.ndarray]]:
        """Return some triangles, given as rising indices among those of all patches, patch by patch."""
        starts = np.cumsum([0] + [len(patch.kept) for patch in self.patches])
        cuts = np.searchsorted(some, starts)
        parts = [
            (patch, some[a:b] - start)
            for patch, start, a, b in zip(self.patches, starts[:-1], cuts[:-1], cuts[1:], strict=True)
        ]
        return [(patch, part) for patch, part in parts if len(part)]

    def near_boxes(self, boxes_mm) -> np.ndarray:
        """Return which triangles of all patches (m) come near which boxes (k, 2, 3), shape (k, m)."""
        near = np.ones((len(boxes_mm), sum(len(patch.kept) for patch in self.patches)), bool)
        for axis in range(3):
            low, high = (
                np.concatenate([side[:, axis] for side in sides])
                for sides in zip(*((patch.low, patch.high) for patch in self.patches), strict=True)
            )
            near &= (low <= boxes_mm[:, 1, axis, None] + NEAR_MM) & (
                high >= boxes_mm[:, 0, axis, None] - NEAR_MM
            )
        return near

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates in place, shape (2, 3); may be too large."""
        boxes = np.array([patch.box_mm for patch in self.patches])
        return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])

    def may_lie_over(self, patch: Patch, some, other: Sheet) -> np.ndarray:
        """Return which of some triangles of another sheet's patch are near this one's metal or over it.

        Across a seam both sheets' bounds stray from linear alike, so that what they leave of
        a flat triangle tells whether the two can meet in it.
        """
        back = self.move.inverse() @ other.move
        middle, radius = patch.balls(some)
        centre, own = back.points(middle), patch.own(some)
        near = np.zeros(len(some), bool)
        for region in self.regions:
            tree, reach = region.markers
            close = tree.query(centre, distance_upper_bound=radius.max() + reach + NEAR_MM)[0]
            close = np.nonzero(close <= radius + reach + NEAR_MM)[0]
            if not len(close):
                continue
            points, triangles = patch.points_of(some[close])
            bounds = self.bounds(region.grid, back.points(patch.region.mesh.point_mm[points]))
            limits = [*(b[triangles] for b in bounds), *(b[close] for b in own)]
            near[close] |= share_a_point([b - BOUND_SLACK_MM for b in limits]) if limits else True
        return near

    def may_reach(self, patch: Patch, some, other: Sheet) -> np.ndarray:
        """Return which of some triangles of another sheet's patch may share space with this one's metal.

        Those that come near this sheet's box, have a point on the right side of both sheets'
        bounds (see :meth:`may_lie_over`), and have not all corners clear of it on one side.
        """
        back = self.move.inverse() @ other.move
        near = np.zeros(len(some), bool)
        for mine in self.patches:
            close = np.nonzero(patch.is_near_box(mine.box_mm, some))[0]
            if not len(close):
                continue
            grid = mine.region.grid
            points, triangles = patch.points_of(some[close])
            placed = back.points(patch.region.mesh.point_mm[points])
            limits = [b[triangles] - BOUND_SLACK_MM for b in self.bounds(grid, placed)]
            limits += [b - BOUND_SLACK_MM for b in patch.own(some[close])]
            shared = np.nonzero(share_a_point(limits))[0] if limits else np.arange(len(close))
            if not len(shared):
                continue
            points = np.unique(triangles[shared])
            clear = np.zeros(len(placed))
            clear[points] = grid.clear_mm(placed[points])
            clear = clear[triangles[shared]]
            limits = [limit[shared] for limit in limits]
            limits += [clear - other.thickness_mm - NEAR_MM, -clear - self.thickness_mm - NEAR_MM]
            near[close[shared]] |= share_a_point(limits)
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
            near, start_uv = region.near(points, within_mm)
            if not len(near):
                found.append(self._nowhere(region.grid, len(layers_mm), len(points)))
                continue
            d = np.full((len(layers_mm), len(points)), FAR_MM)
            foot = region.grid.foot(points[near], start_uv)
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
        polygons = shapely.normalize(polygons)  # the outer ring of each runs clockwise
        bounds = shapely.bounds(polygons)
        low, wide = bounds[:, :2], bounds[:, 2:] - bounds[:, :2]
        across = (wide * uv_scale(grid)).argmin(axis=1)
        rings, owner = shapely.get_rings(polygons, return_index=True)
        loop, of_ring = shapely.get_coordinates(rings, return_index=True)
        goes_on = np.diff(of_ring) == 0
        own = owner[of_ring[:-1][goes_on]]
        edge, middle = np.diff(loop, axis=0)[goes_on], ((loop[1:] + loop[:-1]) / 2)[goes_on]
        row, way, start = np.arange(len(own)), across[own], low[own, across[own]]
        half = (middle[row, way] - start) / 2
        uv = np.repeat(middle[:, None], len(x), axis=1)
        uv[row, :, way] = start[:, None] + half[:, None] * (1 + x)
        weight = np.where(way == 0, -1.0, 1.0) * edge[row, 1 - way] * half
        _, du, dv = grid.tangents(uv.reshape(-1, 2))
        normal = cross(du, dv)
        total += weight @ (np.sqrt(dot(normal, normal)).reshape(-1, len(x)) @ w)
    return float(total)
