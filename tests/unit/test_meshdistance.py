"""Distances of triangles in closed form and from a mesh library, and what they prove of bodies."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
import trimesh

from model.meshdistance import (
    Boundary,
    are_apart,
    boxes_are_near,
    clearance_mm,
    outside_tube,
    triangle_distances_mm,
    winding_numbers,
)

FLAT = np.array([(0.0, 0, 0), (10, 0, 0), (0, 10, 0)])


def boundary(mesh, stray_mm=0.0):
    """Return a closed mesh as a body's boundary."""
    return Boundary(mesh.triangles.copy(), np.full(len(mesh.faces), stray_mm), mesh.vertices[:1].copy())


def box(size, at=(0.0, 0, 0)):
    """Return a box around a point."""
    return trimesh.creation.box(size, trimesh.transformations.translation_matrix(at))


@pytest.mark.parametrize(
    ("other", "wanted"),
    [
        (FLAT + (0, 0, 3), 3.0),  # one over the other
        (FLAT + (14, 3, 12), 13.0),  # corner to corner: 4, 3, 12
        (np.array([(5.0, 5, 1), (9, 9, 5), (9, 9, 1)]), 1.0),  # a corner over the long side
        (np.array([(12.0, -5, 0), (12, 5, 0), (14, 0, 9)]), 2.0),  # a corner to a side
        (np.array([(2.0, 2, -1), (2, 2, 1), (20, 20, 1)]), 0.0),  # a side through the middle
        (np.array([(-4.0, 3, -3), (-4, 3, 7), (-4, -60, -3)]), 4.0),  # sides square to each other
        (np.array([(3.0, 3, 2), (3, 3, 2), (3, 3, 2)]), 2.0),  # a point that is no triangle
    ],
)
def test_distance_of_two_triangles(other, wanted):
    for pair in ((FLAT, other), (other, FLAT)):
        for turn in range(3):
            a, b = pair[0][None, [turn, (turn + 1) % 3, (turn + 2) % 3]], pair[1][None]
            assert triangle_distances_mm(a, b)[0] == pytest.approx(wanted, abs=1e-12)


def test_distance_of_random_triangles_by_a_search_over_both():
    """Each is at most what the nearest of many points of both are apart, and near it."""
    rng = np.random.default_rng(3)
    a, b = rng.normal(size=(2, 60, 3, 3))
    b += rng.normal(size=(60, 1, 3))
    i, j = np.nonzero(np.tri(17)[::-1])
    shares = np.stack([i, j, 16 - i - j], axis=1) / 16
    points = [np.einsum("sk,nki->nsi", shares, x) for x in (a, b)]
    searched = np.linalg.norm(points[0][:, :, None] - points[1][:, None], axis=3).min(axis=(1, 2))
    ours = triangle_distances_mm(a, b)
    assert (ours <= searched + 1e-12).all()
    assert (ours > searched - 0.2).all()
    assert 4 < (ours == 0).sum() < 50


@pytest.mark.parametrize("seed", range(6))
def test_distance_of_two_bodies_by_a_mesh_library(seed):
    rng = np.random.default_rng(seed)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
    crate = box((30.0, 12, 8))
    crate.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    way = rng.normal(size=3)
    crate.apply_translation(way / np.linalg.norm(way) * rng.uniform(30, 60))
    solids = [
        manifold3d.Manifold(manifold3d.Mesh64(m.vertices, m.faces.astype(np.uint64))) for m in (ball, crate)
    ]
    wanted = solids[0].min_gap(solids[1], 100.0)
    assert 0 < wanted < 100
    assert clearance_mm(boundary(ball), boundary(crate), 100.0) == pytest.approx(wanted, abs=1e-5)


def test_strays_come_off_the_clearance_and_far_bodies_read_the_limit():
    a, b = boundary(box((2.0, 2, 2)), 0.25), boundary(box((2.0, 2, 2), (5, 0, 0)), 0.5)
    assert clearance_mm(a, b, 10.0) == pytest.approx(3 - 0.75)
    assert clearance_mm(a, b, 1.5) == 1.5
    assert boxes_are_near(a.box_mm, b.box_mm, 2.3) and not boxes_are_near(a.box_mm, b.box_mm, 2.2)
    assert are_apart(a, b, 2.2) and not are_apart(a, b, 2.3)
    far = replace(b, stray_mm=np.full(12, 3.1))
    assert clearance_mm(a, far, 10.0) < 0 and not are_apart(a, far, 0.0)


def test_a_body_inside_another_or_through_it_is_not_apart():
    crate, small = boundary(box((20.0, 20, 20))), boundary(box((2.0, 2, 2), (1, 2, 3)))
    assert clearance_mm(crate, small, 20.0) == pytest.approx(6.0)
    assert not are_apart(crate, small, 1.0) and not are_apart(small, crate, 1.0)
    through = boundary(box((60.0, 2, 2)))
    assert clearance_mm(crate, through, 20.0) == 0.0 and not are_apart(crate, through, 0.0)


def test_winding_numbers_of_a_box_and_a_ball():
    ball = trimesh.creation.icosphere(subdivisions=2, radius=5.0)
    for mesh in (box((3.0, 5, 7)), ball):
        inside, outside = np.array([(0.0, 0, 0), (1.2, 1, -2)]), np.array([(9.0, 0, 0), (2, 2, 30)])
        assert winding_numbers(mesh.triangles, inside) == pytest.approx(1.0)
        assert winding_numbers(mesh.triangles, outside) == pytest.approx(0.0, abs=1e-12)


def test_outside_a_tube_stays_what_is_far_and_nothing_near():
    """A plate 40 × 20 and a tube of radius 5 along its long side: 15 × 40 and half a size more are left."""
    corners = np.array([[(0.0, 0, 0), (40, 0, 0), (40, 20, 0)], [(0.0, 0, 0), (40, 20, 0), (0, 20, 0)]])
    plate = Boundary(corners, np.array([0.1, 0.2]), corners[:, 2])
    line = np.array([(-10.0, 0, 0), (50, 0, 0)])
    rest = outside_tube(plate, line, 5.0, 0.5)
    x, y, _ = rest.corners_mm.reshape(-1, 3).T
    assert 4.5 <= y.min() < 5.0
    edges = rest.corners_mm[:, 1:] - rest.corners_mm[:, :1]
    area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1).sum() / 2
    assert 15 * 40 <= area < 15.5 * 40
    assert set(rest.stray_mm) == {0.1, 0.2}
    assert len(rest.marks_mm) == 2
    assert len(outside_tube(plate, line, 30.0, 5.0).corners_mm) == 0


def test_two_plates_that_meet_at_an_edge_are_apart_outside_a_tube_around_it_and_not_if_they_meet_again():
    crate, beside = boundary(box((10.0, 10, 1))), boundary(box((10.0, 10, 1), (9.9, 0, 0.5)))
    line = np.array([(5.0, -5.0, 0.5), (5, 5, 0.5)])
    assert not are_apart(crate, beside, 1e-3)
    assert are_apart(*(outside_tube(x, line, 2.5, 0.5) for x in (crate, beside)), 1e-3)
    deeper = boundary(box((10.0, 10, 1), (4.0, 0, 0.5)))
    assert not are_apart(*(outside_tube(x, line, 2.5, 0.5) for x in (crate, deeper)), 1e-3)
