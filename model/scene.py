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

from .built import Built
from .layout import Cell
from .moves import IDENTITY, RigidMove
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


@dataclass(frozen=True, eq=False)
class Solid:
    """A named set of triangles with the move that puts it in place.

    ``role`` is ``metal``, ``waste``, ``pane``, ``glass waste``, ``post`` or ``keep-out``.
    """

    name: str
    role: str
    carrier: str
    move: RigidMove
    point_mm: np.ndarray
    normal: np.ndarray
    triangles: np.ndarray

    @property
    def placed_mm(self) -> np.ndarray:
        """Points where the plan puts them."""
        return self.move.points(self.point_mm)


def scene_of(built: Built) -> list[Solid]:
    """Return every part of a plan as triangles: skin, glass, post ends, keep-outs."""
    out = []
    groups: dict[tuple[str, str], list[Cell]] = {}
    for cell in built.layout.cells:
        groups.setdefault((cell.part, cell.carrier), []).append(cell)
    for (part, carrier), cells in groups.items():
        move = built.moves[carrier]
        out.append(_joined(part, cells[0].role, carrier, move, [cell_mesh(c) for c in cells]))
    for key, line in built.shape.lines.items():
        name = f"post {' '.join(key)}"
        ends = built.ends.get(key)
        whole = (np.zeros(5), np.ones(5))
        stretches = [(name, *whole, IDENTITY, "body", "post")]
        if ends is not None:
            stretches = [
                (f"{name} lower", whole[0], ends.s_lower, IDENTITY, "body", "post"),
                (f"{name} slug", ends.s_lower, ends.s_upper, IDENTITY, "body", "waste"),
                (f"{name} upper", ends.s_upper, whole[1], ends.move, built.upper_piece(key), "post"),
            ]
        for label, low, high, move, carrier, role in stretches:
            point, normal, triangles = post_mesh(line, low, high)
            out.append(Solid(label, role, carrier, move, point, normal, triangles))
    for body in built.shape.car.keep_outs:
        point, normal, triangles = keep_out_mesh(body)
        out.append(Solid(body.name, "keep-out", "", IDENTITY, point, normal, triangles))
    return out


def _joined(name, role, carrier, move, meshes):
    starts = np.cumsum([0] + [len(m.point_mm) for m in meshes[:-1]])
    return Solid(
        name,
        role,
        carrier,
        move,
        np.concatenate([m.point_mm for m in meshes]),
        np.concatenate([m.normal for m in meshes]),
        np.concatenate([m.triangles + s for m, s in zip(meshes, starts, strict=True)]),
    )


def post_mesh(line, s_low, s_high):
    """Return points, normals and triangles of the outside of a post between two cuts."""
    rows = 2 if line.is_straight else 9
    part = np.linspace(0, 1, rows)[:, None]
    corners = line.lines(s_low + part * (s_high - s_low))[:, 1:]  # (rows, 4, 3)
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
