"""What a picture in 3-D is made of: triangles and lines of every part in place, as raw arrays.

Seams are coloured by how they fit.  Every triangle knows by name what it
belongs to: a piece, a post, a seam.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby

import numpy as np
from scipy.spatial import ConvexHull

from .built import Built
from .display import COARSE, KEEP_OUT, edge_lines, ghost_of, joined, patches_of, stock_edges, thinned
from .layout import BODY, PANE, WASTE
from .moves import IDENTITY
from .numeric import cross, unit
from .piececolours import part_rgb, rgb_of
from .report import Report
from .seamcolours import CLASSES, classes_of
from .shape import CarShape
from .silhouette import INK, STOCK_INK

GHOST_COLOUR = "#8796a5"
SEAM_RADIUS_MM = 9.0
LIFT_MM = 3.5  # edges are drawn this far outside the skin, so that they are not half hidden in it


AFTER, BEFORE = "after", "before"  # where a part is drawn when the picture is swiped


def _mesh(opacity=1.0, gloss=0.35, order=0, side=AFTER):
    return {"kind": "mesh", "opacity": opacity, "gloss": gloss, "order": order, "side": side}


def _lines(ink, side=AFTER):
    return {"kind": "lines", "opacity": 1.0, "colour": ink, "side": side}


LOOKS = {  # of every part; what is clear is drawn in this order, after the rest
    "lower_shell": _mesh(),
    "upper_shell": _mesh(),
    "slugs": _mesh(gloss=0.0),
    "seams": _mesh(gloss=0.0),
    "edges": _lines(INK),
    "ghost_edges": _lines(STOCK_INK),
    "before_shell": _mesh(side=BEFORE),
    "before_edges": _lines(INK, side=BEFORE),
    "keep_outs": _mesh(opacity=0.28, gloss=0.0, order=1, side=""),
    "lower_panes": _mesh(opacity=0.38, gloss=0.8, order=2),
    "upper_panes": _mesh(opacity=0.38, gloss=0.8, order=3),
    "before_panes": _mesh(opacity=0.38, gloss=0.8, order=3, side=BEFORE),
    "ghost": _mesh(opacity=0.16, gloss=0.0, order=4),
}
NOTHING = {"position": b""}


def parts_of(built: Built, report: Report, sag_mm: float = COARSE) -> dict[str, dict]:
    """Return {part: raw arrays} of a plan in place; parts that there are none of are missing.

    A part is ``position`` (n, 3) float32, ``normal`` (n, 3) int8 (127 is 1),
    ``colour`` (n, 3) uint8 and ``index`` uint32, three to a triangle or two to
    a line, all as bytes; and ``names``, [what a run of triangles belongs to,
    one past its last] one after another.
    """
    shown = {name: _patches(tuple(patches)) for name, patches in _groups(built, sag_mm)}
    shown["edges"] = _edges(edge_lines(built.layout, built.moves))
    if report.seams:
        points, normals, triangles, colours, names = seam_tubes(report)
        shown["seams"] = _raw(points, triangles, normals, colours) | {"names": names}
    return shown


def ghost_of_stock(built: Built) -> dict[str, dict]:
    """Return {part: raw arrays} of what a plan moves or removes, as it was: laid over the picture."""
    if not (built.plan.roof or built.plan.window):
        return {}
    return {
        "ghost": _patches(tuple(ghost_of(built)), GHOST_COLOUR),
        "ghost_edges": _stock_lines(built.shape),
    }


@lru_cache(maxsize=4)
def ghost_of_plan(other: Built) -> dict[str, dict]:
    """Return {part: raw arrays} of what another plan moves, in its place: laid over the picture."""
    moved = [
        patch
        for name, patches in _groups(other)
        if name in ("upper_shell", "upper_panes")
        for patch in patches
    ]
    return {
        "ghost": _patches(tuple(moved), GHOST_COLOUR) if moved else NOTHING,
        "ghost_edges": _edges(edge_lines(other.layout, other.moves)),
    }


@lru_cache(maxsize=4)
def before_parts(other: Built, sag_mm: float = COARSE) -> dict[str, dict]:
    """Return {part: raw arrays} of a whole car, stock or another plan, to be swiped away from."""
    groups = dict(_groups(other, sag_mm))
    return {
        f"before_{what}": _patches(
            tuple(p for where in ("lower", "upper") for p in groups.get(f"{where}_{what}", []))
        )
        for what in ("shell", "panes")
    } | {"before_edges": _edges(edge_lines(other.layout, other.moves))}


def hull_corners(shape: CarShape) -> list[list[float]]:
    """Return the corners of the stock car's convex hull, for a view that has the whole car in sight. [mm]"""
    points = np.concatenate([grid.lattice_mm.reshape(-1, 3) for grid in shape.skin.grids.values()])
    return points[ConvexHull(points).vertices].tolist()


def _groups(built, sag_mm=COARSE):
    """Return (part, patches in place) for what changes together and looks alike."""

    def part_of(patch):
        if patch.role == KEEP_OUT:
            return "keep_outs"
        if patch.role == WASTE:
            return "slugs"
        where = "lower" if patch.carrier == BODY else "upper"
        return f"{where}_panes" if patch.role == PANE else f"{where}_shell"

    patches = sorted(patches_of(built, sag_mm), key=part_of)
    return [
        (name, [patch.moved(built.moves.get(patch.carrier, IDENTITY)) for patch in group])
        for name, group in groupby(patches, key=part_of)
    ]


@lru_cache(maxsize=32)
def _patches(patches, colour=None):
    """Return a tuple of patches as one part, every point in its patch's colour or all in one; remembered."""
    patch = joined(patches)
    counts = [len(each.point_mm) for each in patches]
    colours = [part_rgb(each.role, each.carrier) if colour is None else rgb_of(colour) for each in patches]
    ends = np.cumsum([len(each.triangles) for each in patches]).tolist()
    names = [[each.name, end] for each, end in zip(patches, ends, strict=True)]
    raw = _raw(patch.point_mm, patch.triangles, patch.normal, np.repeat(colours, counts, axis=0))
    return raw | {"names": names}


@lru_cache(maxsize=4)
def _stock_lines(shape):
    """Return the edges of the car as it stands as one part."""
    return _edges(stock_edges(shape))


def _edges(edges):
    points, normals, counts = thinned(edges, LIFT_MM / 4)
    start = np.arange(len(points) - 1)
    start = start[~np.isin(start, np.cumsum(counts) - 1)]
    return _raw(points + LIFT_MM * normals, np.stack([start, start + 1], 1))


def _raw(points, index, normals=None, colours=None):
    part = {"position": np.float32(points).tobytes(), "index": np.uint32(index).tobytes()}
    if normals is not None:
        part |= {"normal": np.int8(np.rint(127 * normals)).tobytes(), "colour": np.uint8(colours).tobytes()}
    return part


def seam_tubes(report: Report):
    """Return points, normals, triangles, colours and names of a tube along every seam.

    The colour is that of the class of gap (:mod:`model.seamcolours`);
    overlaps are beaded, so that they can be told apart without colour.
    """
    starts, ends, gaps, names, count = [np.empty((0, 3))], [np.empty((0, 3))], [np.empty(0)], [], 0
    for seam in report.seams:
        at = np.array([s.at_mm for s in seam.stations]).reshape(-1, 3)
        if len(at) < 2:
            continue
        gap = np.array([s.gap_mm for s in seam.stations])
        step = np.linalg.norm(np.diff(at, axis=0), axis=1)
        is_joined = step < 2.2 * np.median(step)  # stations of another edge of the seam lie further off
        starts.append(at[:-1][is_joined])
        ends.append(at[1:][is_joined])
        gaps.append((gap[:-1] + gap[1:])[is_joined] / 2)
        count += len(_TUBE) * int(is_joined.sum())
        names.append([seam.name, count])
    start, end = np.concatenate(starts), np.concatenate(ends)
    kind = classes_of(np.concatenate(gaps))
    bead = np.array([0.55 if each.is_overlap else 1.0 for each in CLASSES])[kind][:, None]
    along = unit(end - start + 1e-9)
    across = unit(cross(along, np.where(np.abs(along[:, 2:]) < 0.9, (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))))
    around = (np.arange(6) * np.pi / 3)[None, :, None]
    ring = np.cos(around) * across[:, None] + np.sin(around) * cross(along, across)[:, None]
    both = np.stack([start, start + bead * (end - start)], axis=1)
    points = both[:, :, None] + SEAM_RADIUS_MM * ring[:, None]
    triangles = _TUBE[None] + 12 * np.arange(len(start))[:, None, None]
    normals = np.broadcast_to(ring[:, None], points.shape)
    colours = np.repeat(np.array([rgb_of(each.colour) for each in CLASSES])[kind], 12, axis=0)
    return points.reshape(-1, 3), normals.reshape(-1, 3), triangles.reshape(-1, 3), colours, names


def _tube_triangles():
    i = np.arange(6)
    j = (i + 1) % 6
    return np.concatenate([np.stack(t, 1) for t in ((i, j, i + 6), (j, j + 6, i + 6))])


_TUBE = _tube_triangles()
