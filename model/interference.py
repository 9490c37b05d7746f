"""What runs into what, after everything has moved: volume, depth and place, without the CAD kernel.

Let A be a sheet of thickness t_A under its outside surface, and B a body
given as {x: g_k(x) ≤ 0 for every k}:

* another sheet: g = (d, −d − t_B, b, …) with d the distance out of B's
  outside surface, b the distance out of its outline along the skin, and on
  which side of the cuts it lies;
* a post: its box about the axis, less the box inside its walls, between the
  axis' ends and the cut plane;
* a keep-out: its distance function.

A's triangles that can matter are halved until they are small.  With A's
thickness a small triangle is a prism over which every g_k is linear to within
the sagitta, so that what lies inside is a polyhedron and its volume
exact.  For two sheets that cross at an angle φ this gives t_A t_B / sin φ per
length of crossing; for two that lap, the lap's area times the shared
thickness; no grid has to resolve the sheet.

**Depth.**  Where A lies over B's outline it takes up the distances d_min (of
its inside) to d_max (of its outside) from B's outside surface.  It is clear of
B once it has moved out by −d_min or in by d_max + t_B, square to B: the lesser
is the depth.  Two pieces that were cut apart along a crease overlap in a mitre
from the start; for them only how far one's edge lies past the other's outside,
d_max, counts.  In a post or a keep-out it is the greatest distance inside.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace

import numpy as np

from .bodies import KeepOutBody, PieceBody, PostBody, near_posts, posts_of
from .built import Built
from .fillers import Filler
from .fillersheets import filler_sheet
from .layout import BODY
from .report import Interference
from .roofparts import is_roof
from .sheets import FAR_MM, NEAR_MM, Patch, Sheet, sheets_of
from .stepwise import at_once
from .triangles import inside_all, volume_inside

LEAST_VOLUME_MM3 = 1.0  # less is rounding: two edges that touch
LEAST_DEPTH_MM = 0.01  # less is the mitre of two sheets at a crease, which the stock skin has too
HALVINGS = 3  # of a triangle before the body is asked again


def interference_of(built: Built, fillers: tuple[Filler, ...] = ()) -> list[Interference]:
    """Return every pair of pieces, and of pieces and keep-outs, that share space, largest first.

    Two fillers that share a border are one sheet there and are not asked.
    """
    return at_once(looking(built, fillers))


def looking(built: Built, fillers: tuple[Filler, ...] = ()) -> Generator[None, None, list[Interference]]:
    """Do :func:`interference_of` pair by pair."""
    sheets = sorted(sheets_of(built), key=lambda s: -len(s.regions))
    yield
    for filler in fillers:
        sheets.append(filler_sheet(filler, built))
        yield
    names = {filler.name for filler in fillers}
    joined = {(filler.name, end) for filler in fillers for end in filler.ends if end in names}
    posts = posts_of(built)
    keep_outs = [KeepOutBody(b) for b in built.shape.car.keep_outs]
    found = []
    for i, sheet in enumerate(sheets):
        others = [other for other in sheets[:i] if (sheet.name, other.name) not in joined]
        ends = [post for carrier, post in posts if carrier != sheet.name]
        others += [end for end in ends if isinstance(end, PieceBody)]
        for body in others + (keep_outs if sheet.name != BODY else []):
            found.append(_sheet_in(sheet, body))
            yield
        met = [end for end in ends if isinstance(end, PostBody) and _boxes_meet(sheet.box_mm, end.box_mm)]
        for post, chosen in zip(met, near_posts(sheet, met), strict=True):
            if chosen:
                found.append(_common(_part_of(sheet, chosen), sheet.thickness_mm, sheet.name, post))
            yield
    for carrier, post in posts:
        if carrier != BODY:
            found += [_post_in(post, body) for body in keep_outs]
            yield
    found = [f for f in found if f is not None and f.depth_mm > LEAST_DEPTH_MM]
    return sorted(found, key=lambda f: -f.volume_mm3)


def _boxes_meet(a, b):
    return bool((a[0] - NEAR_MM <= b[1]).all() and (b[0] - NEAR_MM <= a[1]).all())


@dataclass(frozen=True, eq=False)
class Part:
    """Triangles of a sheet that may matter to a body, as corners (u, v, which grid) of one parameter space.

    ``point``, ``normal`` and ``own`` are those of ``uvg`` in place and the sheet's bounds there;
    ``surface`` gives the same at other parameters.
    """

    surface: Callable
    uvg: np.ndarray  # (n, 3)
    triangles: np.ndarray  # (m, 3) int
    point: np.ndarray
    normal: np.ndarray
    own: list[np.ndarray]


def _part_of(sheet: Sheet, chosen: list[tuple[Patch, np.ndarray]]) -> Part:
    """Return some triangles of a sheet, patch by patch."""
    most_bounds = max(len(patch.bounds) for patch, _ in chosen)

    def surface(uvg):
        point, normal = np.empty((2, len(uvg), 3))
        own = [np.full(len(uvg), -FAR_MM) for _ in range(most_bounds)]
        for k, (patch, _) in enumerate(chosen):
            grid, here = patch.region.grid, uvg[:, 2] == k
            at, _, _, out = grid.frame(uvg[here, :2])
            point[here], normal[here] = sheet.move.points(at), sheet.move.vectors(out)
            for bound, value in zip(own, sheet.bounds(grid, at), strict=False):
                bound[here] = value
        return point, normal, own

    uvg, triangles, point, normal, own, count = [], [], [], [], [], 0
    for k, (patch, some) in enumerate(chosen):
        used, of = patch.points_of(some)
        mesh = patch.region.mesh
        uvg.append(np.column_stack([mesh.uv[used], np.full(len(used), float(k))]))
        triangles.append(of + count)
        point.append(patch.placed_mm[used])
        normal.append(sheet.move.vectors(mesh.normal[used]))
        values = np.full((most_bounds, len(used)), -FAR_MM)  # a grid may have fewer bounds
        for value, bound in zip(values, patch.bounds, strict=False):
            value[:] = bound[used]
        own.append(values)
        count += len(used)
    return Part(
        surface,
        *map(np.concatenate, (uvg, triangles, point, normal)),
        list(np.concatenate(own, axis=1)),
    )


def _sheet_in(sheet: Sheet, body: Sheet | PieceBody | KeepOutBody) -> Interference | None:
    """Return the common volume of a sheet and a body."""
    if not _boxes_meet(sheet.box_mm, body.box_mm):
        return None
    chosen = _chosen(sheet, body.box_mm, lambda patch, some: body.may_reach(patch, some, sheet))
    if not chosen:
        return None
    found = _common(_part_of(sheet, chosen), sheet.thickness_mm, sheet.name, body)
    if found is None or not isinstance(body, Sheet):
        return found
    over = _chosen(sheet, body.box_mm, lambda patch, some: body.may_lie_over(patch, some, sheet))
    return replace(found, depth_mm=_depth_of_lap(_part_of(sheet, over), sheet, body))


def _chosen(sheet: Sheet, box_mm, may_matter) -> list[tuple[Patch, np.ndarray]]:
    """Return the triangles of every patch near a box that may matter, as indices; no patch without any."""
    chosen = []
    for patch in sheet.patches:
        some = np.nonzero(patch.is_near_box(box_mm))[0]
        if len(some):
            some = some[may_matter(patch, some)]
        if len(some):
            chosen.append((patch, some))
    return chosen


def _depth_of_lap(part: Part, sheet: Sheet, body: Sheet) -> float:
    """Return how far a sheet must move to be clear of another, from all that lies over it. [mm]"""
    triangles, own = part.triangles, part.own
    out, within = -np.inf, -np.inf
    for g in body.inside(part.point, part.normal, np.array([0.0, sheet.thickness_mm]), np.inf):
        columns = np.stack([g[0][0][triangles], g[0][1][triangles]], axis=2)
        over = inside_all(columns, [*(v[0][triangles] for v in g[2:]), *(bound[triangles] for bound in own)])
        meets = (over[:, :, 0].max(axis=1) > -body.thickness_mm - NEAR_MM) & (
            over[:, :, 1].min(axis=1) < NEAR_MM
        )
        if meets.any():  # on this grid at all, not just above it from afar
            out, within = max(out, over[:, :, 0].max()), max(within, -over[:, :, 1].min())
    cut_loose = _ends(body.built)
    names = (sheet.name, body.name)
    at_crease = any(map(is_roof, names)) and any(name in cut_loose for name in names)
    return float(max(min(out if at_crease else out + body.thickness_mm, within), 0.0))


def _ends(built):
    """Return the names of the pieces that were cut loose from the roof along the gutter."""
    return [f"{shift.name} {what}" for shift in built.shifts for what in ("upper", "strip")]


def _post_in(post: PostBody | PieceBody, body: KeepOutBody) -> Interference | None:
    """Return the common volume of a post's walls and a keep-out."""
    if not _boxes_meet(post.box_mm, body.box_mm):
        return None
    points, normals, triangles = post.mesh
    placed, turned = post.move.points(points), post.move.vectors(normals)

    def flat(xyzn):
        return xyzn[:, :3], xyzn[:, 3:], []  # a triangle has one normal, and so have its halves

    part = Part(flat, np.concatenate([placed, turned], axis=1), triangles, placed, turned, [])
    return _common(part, post.wall_mm, post.name, body)


def _common(part: Part, thickness_mm, name, body) -> Interference | None:
    """Integrate over A's layers the area inside the body."""
    layers = np.array([0.0, thickness_mm])
    small, point, normal, values, own = _halved(part, body, layers)
    if not len(small):
        return None
    own = [bound[small] for bound in own]
    outer, inner = point[small], (point - thickness_mm * normal)[small]
    volume, moment, depths = 0.0, np.zeros(3), []
    for sign, g in zip(body.signs(len(values)), values, strict=True):
        ends = ([*(v[k][small] for v in g), *own] for k in (0, 1))
        size, first_moment = volume_inside(outer, inner, *ends)
        volume += sign * size
        moment += sign * first_moment
        if sign > 0 and not isinstance(body, Sheet):
            depths.append(_depth_in(g, small, own))
    if volume <= LEAST_VOLUME_MM3:
        return None
    return Interference(
        pieces=(name, body.name),
        volume_mm3=float(volume),
        depth_mm=max(depths, default=0.0),
        area_mm2=float(volume / thickness_mm),
        at_mm=tuple((moment / volume).tolist()),
    )


def _depth_in(g, small, own) -> float:
    """Return how far A reaches into a body, from the nearest of its faces. [mm]

    Read at the corners of small triangles: for a ball of radius R whose middle
    is h from the sheet it falls short by up to (small / √3)² / 2h.
    """
    columns = np.stack([v.min(axis=0)[small] for v in g], axis=2)
    inside = inside_all(columns, [*(columns[:, :, k] for k in range(len(g))), *own])
    return float(max(-inside.max(axis=2).min(), 0.0)) if len(inside) else 0.0


def _halved(part: Part, body, layers):
    """Halve triangles that may reach into the body, across their longest edge, until they are small.

    Returns (m, 3) triangles, points, normals, the body's g and A's own bounds
    at the points.  The body is asked once for every point.
    """
    triangles, uv, point, normal, own = part.triangles, part.uvg, part.point, part.normal, part.own
    longest = _edges(point, triangles).max(axis=1)
    values = body.inside(point, normal, layers, longest.max() + NEAR_MM)
    while len(triangles):
        longest = _edges(point, triangles).max(axis=1)
        near = _may_be_inside(
            triangles, values, own, longest, body.small_mm, is_sheet=isinstance(body, Sheet)
        )
        triangles = triangles[near]
        if not near.any() or longest[near].max() <= body.small_mm:
            break
        known = len(uv)
        for _ in range(HALVINGS):
            triangles, uv, point, normal, own = _halved_once(
                part.surface, body.small_mm, triangles, uv, point, normal, own
            )
        within = _edges(point, triangles).max() + NEAR_MM
        new_values = body.inside(point[known:], normal[known:], layers, within)
        values = [
            [np.concatenate(v, axis=1) for v in zip(old, new, strict=True)]
            for old, new in zip(values, new_values, strict=True)
        ]
    return triangles, point, normal, values, own


def _edges(point, triangles):
    """Return the lengths (m, 3) of the edges from each corner to the next."""
    return np.linalg.norm(point[triangles] - point[triangles[:, [1, 2, 0]]], axis=2)


def _halved_once(surface, small_mm, triangles, uv, point, normal, own):
    """Halve every triangle that is not small across its longest edge; new points go to the end."""
    edges = _edges(point, triangles)
    large = edges.max(axis=1) > small_mm
    if not large.any():
        return triangles, uv, point, normal, own
    turn = edges[large].argmax(axis=1)
    a, b, c = np.take_along_axis(triangles[large], (turn[:, None] + np.arange(3)) % 3, axis=1).T
    edge, which = np.unique(np.minimum(a, b) * len(uv) + np.maximum(a, b), return_inverse=True)
    middle = len(uv) + which
    new_uv = (uv[edge // len(uv)] + uv[edge % len(uv)]) / 2
    new_point, new_normal, new_own = surface(new_uv)
    halves = [np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)]
    return (
        np.concatenate([triangles[~large], *halves]),
        np.concatenate([uv, new_uv]),
        np.concatenate([point, new_point]),
        np.concatenate([normal, new_normal]),
        [np.concatenate(pair) for pair in zip(own, new_own, strict=True)],
    )


def _may_be_inside(triangles, values, own, longest, small_mm, *, is_sheet):
    """Return which triangles may reach into a body.

    The distance from a smooth sheet, and a cut's value, stray from linear by
    a triangle's sagitta; every other g is a distance, which can fall by no
    more than the way from the nearest corner, at most longest / √3.
    """
    large = longest > small_mm
    sagitta = np.where(large, np.minimum(longest**2 / 1600.0, NEAR_MM), 0.0)
    reach = np.where(large, longest / np.sqrt(3), 0.0)
    near = np.zeros(len(triangles), bool)
    for g in values:
        inside = np.ones(len(triangles), bool)
        for k, v in enumerate(g):
            inside &= v.min(axis=0)[triangles].min(axis=1) <= (sagitta if is_sheet and k != 2 else reach)
        near |= inside
    for bound in own:
        near &= bound[triangles].min(axis=1) <= sagitta
    return near
