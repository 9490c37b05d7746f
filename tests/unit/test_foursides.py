"""The surface inside four borders: planes against shapely, a sphere against its cap, tangent planes kept."""

import numpy as np
import pytest
import shapely

from model.fillers import FillerGrid
from model.foursides import Border, surface_inside

UP = np.array([0.0, 0.0, 1.0])


def grid_inside(*borders):
    """Return the surface as a grid."""
    knots_u, knots_v, poles = surface_inside(*borders)
    return FillerGrid("patch", "filler", knots_u, knots_v, 3, 3, poles, -1.0)


def border_of(points, normals, into):
    """Return a side with metal beyond it: frames from normals and directions into the patch."""
    along = np.gradient(points, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = into - (into * along).sum(axis=1)[:, None] * along
    across -= (across * normals).sum(axis=1)[:, None] * normals
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    return Border(point_mm=points, frames=np.stack([across, np.cross(normals, across), normals], axis=1))


def sides_of(place, normal, count):
    """Return the borders v = 0, v = 1, u = 0, u = 1 of a surface given by place(u, v) and normal(points)."""
    t, step = np.linspace(0, 1, count), 1e-4
    out = []
    for which, at in (("v", 0.0), ("v", 1.0), ("u", 0.0), ("u", 1.0)):
        inner = at + step * (1 if at == 0 else -1)
        u, v = (t, np.full(count, at)) if which == "v" else (np.full(count, at), t)
        u2, v2 = (t, np.full(count, inner)) if which == "v" else (np.full(count, inner), t)
        points = place(u, v)
        out.append(border_of(points, normal(points), place(u2, v2) - points))
    return out


def bowed(u, v):
    """A quadrilateral in a plane with bowed sides, u × v downwards."""
    x, y = 120 * u + 20 * v * u + 6 * np.sin(np.pi * v), -(70 * v + 15 * u * v + 9 * np.sin(np.pi * u))
    return np.stack([x, y, 0 * x], axis=1)


def test_in_a_plane_its_area_is_that_of_the_polygon_inside_its_borders():
    sides = sides_of(bowed, lambda points: np.broadcast_to(UP, points.shape), 41)
    grid = grid_inside(*sides)
    low, high, left, right = (side.point_mm[:, :2] for side in sides)
    ring = np.concatenate([low, right[1:], high[::-1][1:], left[::-1][1:]])
    # chords cut off what a bow of 1 / 40 of its length leaves: some 1e-4 of the area
    assert grid.area_mm2() == pytest.approx(shapely.Polygon(ring).area, rel=2e-3)
    point, _, _, normal = grid.frame(np.random.default_rng(5).uniform(size=(200, 2)))
    assert np.abs(point[:, 2]).max() < 1e-12 and np.abs(normal - UP).max() < 1e-9


def on_a_sphere(radius_mm, reach):
    """Return place and normal of the part of a sphere over a square of gnomonic coordinates, ± reach."""

    def place(u, v):
        x, y = (2 * u - 1) * reach, (1 - 2 * v) * reach  # v to the left: u × v points in
        out = np.stack([x, y, np.ones_like(x)], axis=1)
        return radius_mm * out / np.linalg.norm(out, axis=1, keepdims=True)

    return place, lambda points: points / np.linalg.norm(points, axis=1, keepdims=True)


@pytest.mark.parametrize("reach", [0.1, 0.3])
def test_inside_four_great_circles_it_is_the_sphere(reach):
    radius_mm = 400.0
    place, normal = on_a_sphere(radius_mm, reach)
    grid = grid_inside(*sides_of(place, normal, 25))
    uv = np.stack(np.meshgrid(*[np.linspace(0, 1, 21)] * 2, indexing="ij"), axis=-1).reshape(-1, 2)
    off_mm = np.abs(np.linalg.norm(grid.point(uv), axis=1) - radius_mm).max()
    side_mm = 2 * radius_mm * np.arctan(reach)
    assert off_mm < side_mm * reach**3 / 4  # a cubic's own miss of an arc goes by its fourth power and less
    # solid angle of a square pyramid of half-width tan: 4 asin(a² / (1 + a²)), closed form
    area_mm2 = radius_mm**2 * 4 * np.arcsin(reach**2 / (1 + reach**2))
    assert grid.area_mm2() == pytest.approx(area_mm2, rel=reach**3)


def wavy(u, v):
    """A surface that bends and twists."""
    x, y = 100 * u, -60 * v
    return np.stack([x, y, 12 * np.sin(3 * u) * v + 8 * v * v - 10 * u * u], axis=1)


def wavy_normal(points):
    u, v = points[:, 0] / 100, -points[:, 1] / 60
    du = np.stack([100 + 0 * u, 0 * u, 36 * np.cos(3 * u) * v - 20 * u], axis=1)
    dv = np.stack([0 * u, -60 + 0 * u, 12 * np.sin(3 * u) + 16 * v], axis=1)
    out = np.cross(dv, du)
    return out / np.linalg.norm(out, axis=1, keepdims=True)


def test_along_all_four_borders_it_lies_in_the_tangent_planes_beyond():
    grid = grid_inside(*sides_of(wavy, wavy_normal, 25))
    t = np.linspace(0, 1, 101)
    for uv in (np.stack([t, 0 * t], 1), np.stack([t, 0 * t + 1], 1), np.stack([0 * t, t], 1)):
        point, _, _, normal = grid.frame(uv)
        beyond = wavy(uv[:, 0], uv[:, 1])
        assert np.abs(point - beyond).max() < 1e-3
        cosine = (normal * wavy_normal(beyond)).sum(axis=1)
        assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 0.02


def test_a_side_beyond_which_lies_nothing_keeps_the_curve_only():
    low, high, left, right = sides_of(wavy, wavy_normal, 25)
    grid = grid_inside(low, high, Border(point_mm=left.point_mm, frames=None), right)
    t = np.linspace(0, 1, 25)
    assert np.abs(grid.point(np.stack([0 * t, t], 1)) - left.point_mm).max() < 1e-9


def test_between_two_sides_that_need_not_be_tangent_it_is_ruled():
    """Two skew lines: a hyperbolic paraboloid, point by point."""
    a, b, c, d = (np.array(at, float) for at in ((0, 0, 0), (90, 0, 0), (80, -50, 25), (0, -40, -10)))
    t = np.linspace(0, 1, 25)[:, None]
    low, high = a + t * (b - a), d + t * (c - d)
    left, right = a + t * (d - a), b + t * (c - b)
    grid = grid_inside(*(Border(point_mm=points, frames=None) for points in (low, high, left, right)))
    uv = np.random.default_rng(6).uniform(size=(300, 2))
    u, v = uv[:, :1], uv[:, 1:]
    wanted = (1 - v) * (a + u * (b - a)) + v * (d + u * (c - d))
    assert np.abs(grid.point(uv) - wanted).max() < 1e-9
