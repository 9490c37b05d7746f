"""Triangles of every part, for pictures and for finding what runs into what.

Each cell is cut along its grid's knot lines (and once between them, so that
no triangle spans much of a curve) and every piece triangulated in (u, v).
Triangles are of the uncut car; a part's moves put them in place, so that a
part that only moves needs no new triangles.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from .layout import Cell
from .numeric import cross, dot, unit
from .skin import Grid


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles on one grid.

    Attributes
    ----------
    uv : (n, 2)
    point_mm, normal : (n, 3)
        On the outside of the skin, before any move; normals point out.
    triangles : (m, 3) int
        Counter-clockwise seen from outside.
    """

    uv: np.ndarray
    point_mm: np.ndarray
    normal: np.ndarray
    triangles: np.ndarray


def cell_mesh(cell: Cell) -> Mesh:
    """Return the triangles of one cell."""
    return _mesh(cell.grid, shapely.to_wkb(cell.polygon))


@lru_cache(maxsize=512)
def _mesh(grid: Grid, wkb: bytes) -> Mesh:
    polygon = shapely.from_wkb(wkb)
    boxes = _boxes(grid)
    shapely.prepare(polygon)
    boxes = boxes[shapely.intersects(polygon, boxes)]
    pieces = shapely.intersection(boxes, polygon)
    pieces = shapely.get_parts(pieces)
    pieces = pieces[shapely.area(pieces) > 1e-14]
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(pieces))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    uv, index = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    triangles = index.reshape(-1, 3)
    a, b, c = uv[triangles[:, 0]], uv[triangles[:, 1]], uv[triangles[:, 2]]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    triangles = triangles[np.abs(area) > 1e-15]
    flip = area[np.abs(area) > 1e-15] * grid.outward < 0
    triangles[flip] = triangles[flip][:, ::-1]
    point, _, _, normal = grid.frame(uv)
    return Mesh(uv, point, normal, triangles)


@lru_cache(maxsize=64)
def _boxes(grid: Grid):
    u = np.unique(np.concatenate([grid.breaks_u, (grid.breaks_u[1:] + grid.breaks_u[:-1]) / 2]))
    v = np.unique(np.concatenate([grid.breaks_v, (grid.breaks_v[1:] + grid.breaks_v[:-1]) / 2]))
    u0, v0 = np.meshgrid(u[:-1], v[:-1], indexing="ij")
    u1, v1 = np.meshgrid(u[1:], v[1:], indexing="ij")
    return shapely.box(u0.ravel(), v0.ravel(), u1.ravel(), v1.ravel())


def post_rows(line, s_low, s_high):
    """Return the four corners of a post at places from one cut to the other, shape (rows, 4, 3)."""
    part = np.linspace(0, 1, 2 if line.is_straight else 9)[:, None]
    return line.lines(s_low + part * (s_high - s_low))[:, 1:]


def post_mesh(line, s_low, s_high):
    """Return points, normals and triangles of the outside of a post between two cuts."""
    corners = post_rows(line, s_low, s_high)
    rows = len(corners)
    faces = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).swapaxes(0, 1)  # (4, rows, 2, 3)
    normals = unit(cross(faces[:, -1, 0] - faces[:, 0, 0], faces[:, 0, 1] - faces[:, 0, 0]))
    outward = faces.mean(axis=(1, 2)) - corners.mean(axis=(0, 1))
    normals *= np.where(dot(normals, outward) < 0, -1.0, 1.0)[:, None]
    k = (2 * rows * np.arange(4)[:, None] + 2 * np.arange(rows - 1)).reshape(-1, 1)
    triangles = np.concatenate([k + (0, 1, 2), k + (1, 3, 2)])
    return faces.reshape(-1, 3), np.repeat(normals, 2 * rows, axis=0), triangles


def keep_out_mesh(body):
    """Return points, normals and triangles of a keep-out."""
    if body.shape == "box":
        signs = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
        point = np.array(body.at_mm) + signs * np.array(body.size_mm) / 2
        quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
        triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
        return point, signs / np.sqrt(3), np.array(triangles)
    around = np.linspace(0, 2 * np.pi, 33)
    if body.shape == "sphere":
        up = np.linspace(-np.pi / 2, np.pi / 2, 17)
        a, b = np.meshgrid(around, up)
        normal = np.stack([np.cos(b) * np.cos(a), np.cos(b) * np.sin(a), np.sin(b)], axis=-1)
        point = np.array(body.at_mm) + body.radius_mm * normal
    else:
        axis = np.array(body.to_mm, float) - body.at_mm
        t = axis / np.linalg.norm(axis)
        w = np.cross(t, [1.0, 0, 0] if abs(t[0]) < 0.9 else [0, 1.0, 0])
        w /= np.linalg.norm(w)
        d = np.cross(t, w)
        ring = np.cos(around)[:, None] * w + np.sin(around)[:, None] * d
        normal = np.stack([ring, ring, ring, ring])
        radius = np.array([0.0, 1.0, 1.0, 0.0])[:, None, None] * body.radius_mm
        point = np.array(body.at_mm) + radius * normal + np.array([0, 0, 1, 1.0])[:, None, None] * axis
    rows, columns = point.shape[:2]
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns - 1), indexing="ij")
    k = (i * columns + j).ravel()
    triangles = np.concatenate(
        [np.stack([k, k + 1, k + columns], 1), np.stack([k + 1, k + columns + 1, k + columns], 1)]
    )
    return point.reshape(-1, 3), normal.reshape(-1, 3), triangles
