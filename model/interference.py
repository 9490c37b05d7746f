"""What runs into what, after everything has moved: volume, depth and place, without the CAD kernel.

Let A be a sheet of thickness t_A under its outside surface, and B a body
given as {x: g_k(x) ≤ 0 for every k}:

* another sheet: g = (d, −d − t_B, b) with d the distance out of B's outside
  surface and b the distance out of B's outline, measured along the skin;
* a post: its box about the axis, less the box inside its walls, between the
  axis' ends and the cut plane;
* a keep-out: its distance function.

The common volume is the integral over A's thickness of the area of A's layers
inside B.  A's triangles that can matter are halved until they are small; on a
small triangle every g_k is linear to within the sagitta, so what lies inside
is a polygon and its area exact.  For two sheets that cross at an angle φ this
gives t_A t_B / sin φ per length of crossing; for two that lap it gives the
lap's area times the shared thickness; no grid has to resolve the sheet.

**Depth.**  Where A lies over B's outline, its distance from B's outside
surface runs from d_min to d_max; A must move by at least min(d_max,
t_B − d_min), at right angles to B, to be clear of it on the nearer side: that
least of the two, taken where the pieces cross, is the depth.  In a keep-out
it is the greatest distance inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from scipy.spatial import cKDTree

from .built import Built
from .layout import BODY, METAL, Cell
from .measured import KeepOut
from .moves import IDENTITY, RigidMove
from .numeric import cross, dot
from .posts import PostEnds, PostLine
from .report import Interference
from .scene import cell_mesh, post_mesh
from .skin import Grid

EDGE_MM = 20.0  # triangles that matter are halved to this size
LEAST_VOLUME_MM3 = 1.0  # less is rounding: two edges that touch
LEAST_DEPTH_MM = 0.01  # less is the mitre of two sheets at a crease, which the stock skin has too
_SAG_MM = 3.0  # how far a coarse triangle may stray from its surface
FAR_MM = 1e6  # stands for "nowhere near"
_OUTLINE_SLACK_MM = 0.3  # the same along the skin: triangles are small beside an outline
_LAYER_X, _LAYER_W = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True, eq=False)
class Region:
    """Part of a grid, with (u, v) scaled to millimetres on the average of the grid."""

    grid: Grid
    scale: np.ndarray
    polygon: shapely.Geometry
    starts: np.ndarray  # (m, 2) of the outline's segments
    ends: np.ndarray

    @cached_property
    def _tree(self):
        return cKDTree((self.starts + self.ends) / 2)

    def beyond_mm(self, uv):
        """Return how far points lie out of the outline, negative inside, along the skin. [mm]"""
        xy = uv * self.scale
        near = self._tree.query(xy, k=min(4, len(self.starts)))[1].reshape(len(xy), -1)
        a, b = self.starts[near], self.ends[near]
        edge = b - a
        share = np.einsum("nki,nki->nk", xy[:, None] - a, edge) / np.einsum("nki,nki->nk", edge, edge)
        foot = a + np.clip(share, 0, 1)[:, :, None] * edge
        distance = np.linalg.norm(xy[:, None] - foot, axis=2).min(axis=1)
        return np.where(shapely.contains_xy(self.polygon, *xy.T), -distance, distance)


@lru_cache(maxsize=64)
def region_of(grid: Grid, polygons: tuple[shapely.Polygon, ...]) -> Region:
    """Return the union of polygons in (u, v) as a region, its outline in segments of at most 10 mm."""
    _, du, dv, _ = grid.frame(grid.lattice_uv.reshape(-1, 2))
    scale = np.array([np.linalg.norm(du, axis=1).mean(), np.linalg.norm(dv, axis=1).mean()])
    region = shapely.transform(shapely.union_all(polygons), lambda xy: xy * scale)
    rings = shapely.get_rings(shapely.get_parts(shapely.segmentize(region, 10.0)))
    coordinates = [shapely.get_coordinates(ring) for ring in rings]
    starts = np.concatenate([c[:-1] for c in coordinates])
    ends = np.concatenate([c[1:] for c in coordinates])
    real = np.abs(starts - ends).max(axis=1) > 1e-9
    shapely.prepare(region)
    return Region(grid, scale, region, starts[real], ends[real])


@dataclass(frozen=True, eq=False)
class Sheet:
    """The skin of one piece, in place."""

    name: str
    cells: tuple[Cell, ...]
    thickness_mm: float
    move: RigidMove

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates in place, shape (2, 3)."""
        points = np.concatenate([self.move.points(cell_mesh(c).point_mm) for c in self.cells])
        return np.array([points.min(axis=0), points.max(axis=0)])

    @cached_property
    def outlines(self) -> list[Region]:
        """The sheet's region on each of its grids."""
        grids = {c.grid.name: c.grid for c in self.cells}.values()
        return [region_of(grid, tuple(c.polygon for c in self.cells if c.grid is grid)) for grid in grids]

    @cached_property
    def _markers(self):
        """Points and normals all over the sheet, before the move, and how far apart they are."""
        meshes = [cell_mesh(c) for c in self.cells]
        middles = [m.point_mm[m.triangles].mean(axis=1) for m in meshes]
        reach = [
            np.linalg.norm(m.point_mm[m.triangles] - p[:, None], axis=2).max(axis=1)
            for m, p in zip(meshes, middles, strict=True)
        ]
        points = np.concatenate([*middles, *(m.point_mm for m in meshes)])
        reach = np.concatenate([*reach, *(np.zeros(len(m.point_mm)) for m in meshes)])
        return cKDTree(points), float(reach.max())

    def may_reach(self, points_mm, triangles):
        """Return which triangles of another sheet are near enough to this one to matter."""
        tree, reach = self._markers
        placed = self.move.inverse().points(points_mm[triangles])
        centre = placed.mean(axis=1)
        radius = np.linalg.norm(placed - centre[:, None], axis=2).max(axis=1)
        return tree.query(centre)[0] <= radius + reach + _SAG_MM

    def inside(self, points_mm, normals, layers_mm):
        """Return g of this sheet as a body: list of arrays (layers, n), one list for every grid."""
        back = self.move.inverse()
        points, directions = back.points(points_mm), back.vectors(normals)
        found = []
        for region in self.outlines:
            d = np.full((len(layers_mm), len(points)), FAR_MM)
            beyond = np.full(len(points), FAR_MM)
            near = np.nonzero(region.grid.is_near(points, _SAG_MM))[0]
            if len(near):
                foot = region.grid.foot(points[near])
                apart = points[near] - foot.point
                off = np.sqrt(np.maximum(dot(apart, apart) - foot.distance_mm**2, 0.0))  # along the skin
                past = region.beyond_mm(foot.uv)
                beyond[near] = np.where(foot.is_square, past, np.maximum(np.abs(past), off))
                lean = dot(directions[near], region.grid.normal(foot.uv))
                d[:, near] = foot.distance_mm[None] - layers_mm[:, None] * lean[None]
            found.append([d, -d - self.thickness_mm, np.broadcast_to(beyond, d.shape)])
        return found


@dataclass(frozen=True, eq=False)
class PostBody:
    """One end of a post, in place."""

    name: str
    line: PostLine
    ends: PostEnds | None
    is_upper: bool
    move: RigidMove

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates in place, shape (2, 3)."""
        points = self.move.points(self.mesh[0])
        return np.array([points.min(axis=0), points.max(axis=0)])

    @cached_property
    def mesh(self):
        """Points, normals and triangles of the outside, before the move."""
        low, high = np.zeros(5), np.ones(5)
        if self.ends is not None:
            low, high = (self.ends.s_upper, high) if self.is_upper else (low, self.ends.s_lower)
        return post_mesh(self.line, low, high)

    def inside(self, points_mm, normals, layers_mm):
        """Return g of the whole box and of the hollow inside it."""
        back = self.move.inverse()
        points, directions = back.points(points_mm), back.vectors(normals)
        axis = self.line.frame(np.linspace(0, 1, 41))[0]
        s = np.linspace(0, 1, 41)[np.linalg.norm(points[:, None] - axis[None], axis=2).argmin(axis=1)]
        for _ in range(4):
            centre, t, _, _ = self.line.frame(s)
            speed = np.linalg.norm(self.line._axis(s, nu=1), axis=1)
            s = np.clip(s + dot(points - centre, t) / speed, -0.2, 1.2)
        centre, t, w, d = self.line.frame(s)
        along = np.maximum(s - 1, -s) * np.linalg.norm(axis[-1] - axis[0])
        x = points[None] - layers_mm[:, None, None] * directions[None] - centre[None]
        p, q = np.abs(np.einsum("lni,ni->ln", x, w)), np.abs(np.einsum("lni,ni->ln", x, d))
        caps = [np.broadcast_to(along, p.shape)]
        if self.ends is not None:
            plane = self.ends.plane
            if self.is_upper:
                height = plane.height_above(self.ends.move.points(points)) - self.ends.opening_mm
                caps.append(np.broadcast_to(-height, p.shape))
            else:
                caps.append(np.broadcast_to(plane.height_above(points), p.shape))
        half = np.array([self.line.post.width_mm, self.line.post.depth_mm]) / 2
        wall = self.line.post.wall_mm
        return [[p - half[0], q - half[1], *caps], [p - half[0] + wall, q - half[1] + wall, *caps]]


@dataclass(frozen=True, eq=False)
class KeepOutBody:
    """A body the roof must clear."""

    body: KeepOut

    @property
    def name(self) -> str:
        """Name in the car file."""
        return self.body.name

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates, shape (2, 3)."""
        b = self.body
        if b.shape == "box":
            half = np.array(b.size_mm) / 2
            return np.array([np.array(b.at_mm) - half, np.array(b.at_mm) + half])
        ends = np.array([b.at_mm, b.to_mm or b.at_mm], float)
        return np.array([ends.min(axis=0) - b.radius_mm, ends.max(axis=0) + b.radius_mm])

    def outside_mm(self, points) -> list[np.ndarray]:
        """Return distances out of every bounding surface; inside where all are negative."""
        b = self.body
        x = points - np.array(b.at_mm, float)
        if b.shape == "box":
            return [np.abs(x[..., k]) - b.size_mm[k] / 2 for k in range(3)]
        if b.shape == "sphere":
            return [np.linalg.norm(x, axis=-1) - b.radius_mm]
        axis = np.array(b.to_mm, float) - b.at_mm
        length = np.linalg.norm(axis)
        along = x @ (axis / length)
        off = np.linalg.norm(x - along[..., None] * (axis / length), axis=-1)
        return [off - b.radius_mm, -along, along - length]

    def inside(self, points_mm, normals, layers_mm):
        """Return g of the body."""
        return [self.outside_mm(points_mm[None] - layers_mm[:, None, None] * normals[None])]


def interference_of(built: Built) -> list[Interference]:
    """Return every pair of pieces, and of pieces and keep-outs, that share space, largest first."""
    sheets = _sheets(built)
    posts = _posts(built)
    keep_outs = [KeepOutBody(b) for b in built.shape.car.keep_outs]
    wall = {k: line.post.wall_mm for k, line in built.shape.lines.items()}
    found = []
    for i, (carrier, sheet) in enumerate(sheets):
        others = [(c, s) for c, s in sheets[:i]] + [(c, p) for c, p, _ in posts]
        for other_carrier, other in others:
            if other_carrier != carrier:
                found.append(_sheet_in(sheet, other))
        if carrier != BODY:
            found += [_sheet_in(sheet, body) for body in keep_outs]
    for carrier, post, key in posts:
        if carrier != BODY:
            found += [_post_in(post, wall[key], body) for body in keep_outs]
    found = [f for f in found if f is not None and f.depth_mm > LEAST_DEPTH_MM]
    return sorted(found, key=lambda f: -f.volume_mm3)


def _sheets(built):
    out = []
    for part, cells in built.layout.parts.items():
        if cells[0].role == METAL:
            sheet = Sheet(part, tuple(cells), built.shape.car.gauge_mm, built.moves[part])
            out.append((part, sheet))
    return sorted(out, key=lambda pair: -len(pair[1].cells))


def _posts(built):
    out = []
    for key, line in built.shape.lines.items():
        name = f"post {' '.join(key)}"
        ends = built.ends.get(key)
        if ends is None:
            out.append((BODY, PostBody(name, line, None, False, IDENTITY), key))
            continue
        out.append((BODY, PostBody(f"{name} lower", line, ends, False, IDENTITY), key))
        out.append((built.upper_piece(key), PostBody(f"{name} upper", line, ends, True, ends.move), key))
    return out


def _boxes_meet(a, b):
    return bool((a[0] - _SAG_MM <= b[1]).all() and (b[0] - _SAG_MM <= a[1]).all())


def _sheet_in(sheet: Sheet, body) -> Interference | None:
    """Return the common volume of a sheet and a body."""
    if not _boxes_meet(sheet.box_mm, body.box_mm):
        return None
    parts = []
    for cell in sheet.cells:
        mesh = cell_mesh(cell)
        placed = sheet.move.points(mesh.point_mm)[mesh.triangles]
        low, high = placed.min(axis=1), placed.max(axis=1)
        near = ((low - _SAG_MM <= body.box_mm[1]) & (high + _SAG_MM >= body.box_mm[0])).all(axis=1)
        if near.any():
            parts.append((cell.grid, mesh.uv[mesh.triangles[near]]))

    def surface(grid):
        def at(uv):
            point, _, _, normal = grid.frame(uv)
            return sheet.move.points(point), sheet.move.vectors(normal)

        return at

    return _common([(surface(grid), uv) for grid, uv in parts], sheet.thickness_mm, sheet.name, body)


def _post_in(post: PostBody, wall_mm, body) -> Interference | None:
    """Return the common volume of a post's walls and a keep-out."""
    if not _boxes_meet(post.box_mm, body.box_mm):
        return None
    points, normals, triangles = post.mesh
    placed, turned = post.move.points(points), post.move.vectors(normals)
    normal_of = turned[triangles[:, 0]]
    groups = []
    for n in np.unique(normal_of.round(12), axis=0):
        same = np.abs(normal_of - n).max(axis=1) < 1e-9

        def flat(xyz, n=n):
            return xyz, np.repeat(n[None], len(xyz), axis=0)

        groups.append((flat, placed[triangles[same]]))
    return _common(groups, wall_mm, post.name, body)


def _common(groups, thickness_mm, name, body) -> Interference | None:
    """Integrate over A's layers the area inside the body.

    ``groups`` holds (surface, corners): ``surface`` maps parameters (n, k) to
    points and normals in place; ``corners`` (m, 3, k) are triangles of them.
    """
    layers = (1 + _LAYER_X) / 2 * thickness_mm
    volume = area = 0.0
    moment = np.zeros(3)
    highest, lowest, deepest = -np.inf, np.inf, 0.0
    for surface, corners in groups:
        small, point, normal, values = _halved(surface, corners, body, layers)
        if not len(small):
            continue
        for sign, g in zip((1.0, -1.0), values, strict=False):
            is_hollow = isinstance(body, PostBody)
            if not is_hollow:
                sign = 1.0
            for k, (layer, weight) in enumerate(zip(layers, _LAYER_W / 2, strict=True)):
                placed = point - layer * normal
                size, first_moment = _area_inside(placed[small], [v[k][small] for v in g])
                volume += sign * weight * thickness_mm * size
                moment += sign * weight * first_moment
                area += sign * weight * size
            over = (
                (np.array([v[1] for v in g[2:]]) <= 0).all(axis=0)
                if len(g) > 2
                else np.ones(len(point), bool)
            )
            if isinstance(body, Sheet) and over.any():
                highest, lowest = max(highest, g[0][0][over].max()), min(lowest, g[0][-1][over].min())
            elif not isinstance(body, Sheet) and sign > 0:
                deepest = max(deepest, float(-np.max([v.min(axis=0) for v in g], axis=0).min()))
    if volume <= LEAST_VOLUME_MM3:
        return None
    depth = min(highest, body.thickness_mm - lowest) if isinstance(body, Sheet) else deepest
    return Interference(
        pieces=(name, body.name),
        volume_mm3=float(volume),
        depth_mm=float(max(depth, 0.0)),
        area_mm2=float(area),
        at_mm=tuple((moment / area).tolist()),
    )


def _halved(surface, corners, body, layers):
    """Halve triangles that may reach into the body, across their longest edge, until they are small.

    Returns (m, 3) triangles, points, normals and the body's g at the points.
    The body is asked once for every point.
    """
    uv, index = np.unique(corners.reshape(-1, corners.shape[2]), axis=0, return_inverse=True)
    triangles = index.reshape(-1, 3)
    point, normal = surface(uv)
    if isinstance(body, Sheet):
        triangles = triangles[body.may_reach(point, triangles)]
        used, index = np.unique(triangles, return_inverse=True)
        triangles, uv, point, normal = index.reshape(-1, 3), uv[used], point[used], normal[used]
    values = body.inside(point, normal, layers)
    while len(triangles):
        edges = np.linalg.norm(point[triangles] - point[triangles[:, [1, 2, 0]]], axis=2)
        longest = edges.max(axis=1)
        near = _may_be_inside(triangles, values, np.where(longest > EDGE_MM, longest**2 / 1600.0, 0.0))
        triangles, edges, longest = triangles[near], edges[near], longest[near]
        large = longest > EDGE_MM
        if not large.any():
            break
        turn = edges[large].argmax(axis=1)
        a, b, c = np.take_along_axis(triangles[large], (turn[:, None] + np.arange(3)) % 3, axis=1).T
        pairs, which = np.unique(np.sort(np.stack([a, b], axis=1), axis=1), axis=0, return_inverse=True)
        middle = len(uv) + which.reshape(-1)
        new_uv = uv[pairs].mean(axis=1)
        new_point, new_normal = surface(new_uv)
        new_values = body.inside(new_point, new_normal, layers)
        uv, point, normal = (np.concatenate(p) for p in ((uv, new_uv), (point, new_point), (normal, new_normal)))
        values = [
            [np.concatenate(v, axis=1) for v in zip(old, new, strict=True)]
            for old, new in zip(values, new_values, strict=True)
        ]
        halves = [np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)]
        triangles = np.concatenate([triangles[~large], *halves])
    return triangles, point, normal, values


def _may_be_inside(triangles, values, slack):
    """Return which triangles may reach into a body whose g stray from linear by up to ``slack``."""
    slack = np.minimum(slack, _SAG_MM)
    near = np.zeros(len(triangles), bool)
    for g in values:
        inside = np.ones(len(triangles), bool)
        for k, v in enumerate(g):
            allowed = slack if k < 2 else np.minimum(slack, _OUTLINE_SLACK_MM)
            inside &= v.min(axis=0)[triangles].min(axis=1) <= allowed
        near |= inside
    return near


def _area_inside(corners, values):
    """Return area and moment of what lies where all values are ≤ 0, over all triangles.

    Parameters
    ----------
    corners : (m, 3, 3)
    values : list of (m, 3)
        Linear over each triangle.

    Returns
    -------
    float, array of shape (3,)
        Area [mm²] and area times centre. [mm³]
    """
    triangles = np.concatenate([corners, np.stack(values, axis=2)], axis=2)
    for k in range(len(values)):
        triangles = _clipped(triangles, 3 + k)
    a, b, c = (triangles[:, j, :3] for j in range(3))
    size = np.linalg.norm(cross(b - a, c - a), axis=1) / 2
    return float(size.sum()), size @ (a + b + c) / 3


def _clipped(triangles, column):
    """Return triangles (n, 3, d) of the part of each where the value in ``column`` is ≤ 0."""
    inside = triangles[:, :, column] <= 0
    count = inside.sum(axis=1)
    out = [triangles[count == 3]]
    for alone in (True, False):  # one corner inside: a triangle; one outside: two
        some = count == (1 if alone else 2)
        if not some.any():
            continue
        turn = np.argmax(inside[some] == alone, axis=1)
        t = np.take_along_axis(triangles[some], ((turn[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
        a, b, c = t[:, 0], t[:, 1], t[:, 2]
        p, q = (a + (a[:, column] / (a[:, column] - x[:, column]))[:, None] * (x - a) for x in (b, c))
        p[:, column] = q[:, column] = 0.0
        if alone:
            out.append(np.stack([a, p, q], axis=1))
        else:
            out += [np.stack([p, b, c], axis=1), np.stack([p, c, q], axis=1)]
    return np.concatenate(out)
