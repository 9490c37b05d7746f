"""What runs into what from closed meshes: thick sheets made here, intersected by a mesh library.

A sheet's mesh is a slab: triangles of the cells' polygons on the surface (no side longer than a few
millimetres), the same triangles a gauge further in, and walls along every edge that belongs to one
triangle only; so it is closed whatever the outline.  Of the program only cells, surfaces and moves are
used, not :mod:`model.interference` and what it is made of.
"""

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from random_plans import random_case
from scipy.spatial import Delaunay

from model.evaluate import report_of
from model.layout import BODY, METAL, ROOF, WINDOW

FINE_MM = 2.5  # halved, no volume changes by more than 0.15 %
MARGIN_MM = 15.0  # around the window panel, outside which nothing can be in the same place with it
LARGE_MM3 = 1000.0
SMALL_WITHIN_MM3 = 8.0  # what the live tier is good for on a lap of a few cm (pickup 14: 72 for 65)
CROSSING = (("coupe", 29), ("pickup", 2), ("pickup", 4), ("pickup", 14), ("pickup", 36))


def slab(grid, polygon, move, gauge_mm, box):
    """Return the closed mesh of a polygon in (u, v) of a grid, of which only what lies near a box is made."""
    u, v = np.linspace(0, 1, 120), np.linspace(0, 1, 120)
    lattice = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1)
    near = move.points(grid.point(lattice.reshape(-1, 2)))
    inside = ((near > box[0]) & (near < box[1])).all(axis=1)
    if not inside.any():
        return None
    uv = lattice.reshape(-1, 2)[inside]
    window = shapely.box(*(uv.min(axis=0) - 0.01), *(uv.max(axis=0) + 0.01))
    polygon = shapely.intersection(polygon, window)
    if polygon.is_empty:
        return None
    middle = uv.mean(axis=0)
    _, du, dv, _ = grid.frame(middle[None])
    scale = np.array([np.linalg.norm(du[0]), np.linalg.norm(dv[0])])
    flat = shapely.transform(polygon, lambda xy: xy * scale)
    rim = shapely.get_coordinates(shapely.segmentize(shapely.boundary(flat), FINE_MM / 2))
    low, high = np.array(flat.bounds[:2]), np.array(flat.bounds[2:])
    a, b = (np.arange(low[i], high[i], FINE_MM) for i in (0, 1))
    inner = np.stack(np.meshgrid(a, b, indexing="ij"), axis=-1).reshape(-1, 2)
    inner = inner[shapely.contains_xy(flat.buffer(-FINE_MM / 4), *inner.T)]
    points = np.unique(np.concatenate([rim, inner]), axis=0)
    triangles = Delaunay(points).simplices
    triangles = triangles[shapely.contains_xy(flat, *points[triangles].mean(axis=1).T)]
    p, q, r = (points[triangles[:, i]] for i in range(3))
    area = (q - p)[:, 0] * (r - p)[:, 1] - (q - p)[:, 1] * (r - p)[:, 0]
    triangles = triangles[np.abs(area) > 1e-9]
    top, _, _, normal = grid.frame(points / scale)
    points = move.points(np.concatenate([top, top - gauge_mm * normal]))
    n = len(top)
    if grid.outward < 0:
        triangles = triangles[:, ::-1]
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    _, index, count = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True, return_counts=True)
    a, b = edges[count[index] == 1].T
    faces = [triangles, triangles[:, ::-1] + n]
    faces += [np.stack([b, a, a + n], axis=1), np.stack([b, a + n, b + n], axis=1)]
    mesh = manifold3d.Mesh64(points, np.concatenate(faces).astype(np.uint64))
    return manifold3d.Manifold(mesh)


def piece_mesh(built, piece, box):
    cells = [c for c in built.layout.cells if c.role == METAL and c.part == piece]
    move, gauge = built.moves[piece], built.shape.car.gauge_mm
    whole = manifold3d.Manifold()
    for grid in {c.grid.name: c.grid for c in cells}.values():
        polygon = shapely.union_all([c.polygon for c in cells if c.grid is grid])
        part = slab(grid, polygon, move, gauge, box)
        if part is not None:
            assert part.status() == manifold3d.Error.NoError, piece
            whole += part
    return whole


def panel_box(built):
    """Return least and greatest coordinates of the moved window panel and a margin, shape (2, 3)."""
    cells = built.layout.parts[WINDOW]
    points = np.concatenate([c.grid.point(shapely.get_coordinates(c.polygon)) for c in cells])
    points = built.moves[WINDOW].points(points)
    return np.array([points.min(axis=0) - MARGIN_MM, points.max(axis=0) + MARGIN_MM])


@pytest.mark.heavy
@pytest.mark.parametrize("car, seed", CROSSING)
def test_volume_of_the_window_panel_in_the_shell(car, seed, largest):
    built = random_case(car, seed)
    found = {frozenset(i.pieces): i.volume_mm3 for i in report_of(built).interference}
    box = panel_box(built)
    panel = piece_mesh(built, WINDOW, box)
    seen = 0.0
    for piece in (BODY, ROOF):
        volume = (panel ^ piece_mesh(built, piece, box)).volume()
        ours = found.get(frozenset((WINDOW, piece)), 0.0)
        where = f"{car} {seed} {piece}"
        if volume > LARGE_MM3:
            largest.note("large volume in common, meshes", "relative", ours / volume, 1.0, where, 0.01)
        else:
            largest.note("small volume in common, meshes", "mm3", ours, volume, where, SMALL_WITHIN_MM3)
        seen += volume
    assert seen > 50.0


@pytest.mark.heavy
def test_volume_and_depth_of_the_window_panel_in_a_sphere(largest):
    built = random_case("pickup", 0)
    (ours,) = [i for i in report_of(built).interference if "driver's head" in i.pieces]
    (head,) = [b for b in built.shape.car.keep_outs if b.name == "driver's head"]
    ball = trimesh.creation.icosphere(subdivisions=7, radius=head.radius_mm)
    mesh = manifold3d.Mesh64(ball.vertices + np.array(head.at_mm), ball.faces.astype(np.uint64))
    box = panel_box(built)
    common = piece_mesh(built, WINDOW, box) ^ manifold3d.Manifold(mesh)
    corners = np.asarray(common.to_mesh64().vert_properties)[:, :3]
    depth = head.radius_mm - np.linalg.norm(corners - np.array(head.at_mm), axis=1).min()
    ratio = ours.volume_mm3 / common.volume()
    largest.note("volume in a sphere, meshes", "relative", ratio, 1.0, "pickup 0", 0.02)
    largest.note("depth in a sphere, meshes", "mm", ours.depth_mm, depth, "pickup 0", 0.01)
