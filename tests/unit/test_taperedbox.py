"""A box between two parallel ends: by hand, against triangles, and against integrals over its walls."""

import numpy as np
import pytest
import trimesh

from model.taperedbox import TaperedBox, flat_wall

SECTION = np.array([(0, 0, 0), (0, 40, 0), (60, 40, 0), (60, 0, 0)], float)


def box(upper, gauge_mm=1.5, lower=SECTION):
    return TaperedBox(np.stack([lower, np.asarray(upper, float)]), gauge_mm)


def twisted():
    turn = np.radians(12.0)
    rotation = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    return box((0.8 * SECTION) @ rotation.T + [25.0, -7.0, 120.0])


def in_space(b):
    """Return the same box turned and moved."""
    axis = np.array([0.3, -0.5, 0.8])
    rotation = trimesh.transformations.rotation_matrix(0.9, axis)[:3, :3]
    return TaperedBox(b.corners_mm @ rotation.T + [700.0, -300.0, 1200.0], b.gauge_mm)


def test_an_upright_box_by_hand():
    b = box(SECTION + [0, 0, 100.0])
    assert b.height_mm == pytest.approx(100.0, rel=1e-14)
    assert b.outside_mm3 == pytest.approx(60 * 40 * 100, rel=1e-14)
    assert b.metal_mm3 == pytest.approx((60 * 40 - 57 * 37) * 100, rel=1e-13)
    assert b.wall_areas_mm2 == pytest.approx([4000, 6000, 4000, 6000], rel=1e-14)
    assert b.perimeter_mm(0) == pytest.approx(200.0)
    wall = b.flat_wall(1)
    np.testing.assert_allclose(wall.corners_mm, [(0, 0), (60, 0), (60, 100), (0, 100)], atol=1e-12)
    assert wall.twist_mm == 0.0


def test_an_oblique_box_has_parallelograms_for_walls():
    """Sheared by (30, 10) over 100: the walls along y are 40 wide and √(30² + 100²) high, those along x
    60 wide and √(10² + 100²) high; the volume is the upright one's; walls 1.5 thick square to themselves."""
    b = box(SECTION + [30.0, 10.0, 100.0])
    along_y, along_x = 40 * np.hypot(30, 100), 60 * np.hypot(10, 100)
    assert b.outside_mm3 == pytest.approx(60 * 40 * 100, rel=1e-13)
    assert b.wall_areas_mm2 == pytest.approx([along_y, along_x] * 2, rel=1e-13)
    assert [b.flat_wall(i).area_mm2 for i in range(4)] == pytest.approx([along_y, along_x] * 2, rel=1e-12)
    thick = [1.5 * np.hypot(30, 100) / 100, 1.5 * np.hypot(10, 100) / 100]  # in the section's plane
    assert b.metal_mm3 == pytest.approx(
        (60 * 40 - (60 - 2 * thick[0]) * (40 - 2 * thick[1])) * 100, rel=1e-12
    )
    flat = b.flat_wall(1).corners_mm
    np.testing.assert_allclose(flat[2] - flat[1], flat[3] - flat[0], atol=1e-9)


def test_a_frustum_by_hand():
    """Halved about its corner's opposite: V = H/3 (A + A/4 + A/2)."""
    b = box(SECTION / 2 + [15, 10, 90.0])
    assert b.outside_mm3 == pytest.approx(90 / 3 * 2400 * (1 + 0.25 + 0.5), rel=1e-13)


@pytest.mark.parametrize("make", [twisted, lambda: box(SECTION + [30.0, 10.0, 100.0])])
def test_volume_against_triangles_over_both_diagonals(make):
    """A bilinear wall halves the volume between its two pairs of triangles: the mean of both is exact."""
    b = in_space(make())
    points = b.corners_mm.reshape(-1, 3)
    ends = [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)]
    volumes = []
    for halves in (((0, 1, 2), (0, 2, 3)), ((0, 1, 3), (1, 2, 3))):
        faces = list(ends)
        for i in range(4):
            quad = (i, (i + 1) % 4, (i + 1) % 4 + 4, i + 4)
            faces += [tuple(quad[k] for k in half) for half in halves]
        mesh = trimesh.Trimesh(points, faces, process=False)
        volumes.append(abs(mesh.volume))
    assert b.outside_mm3 == pytest.approx(np.mean(volumes), rel=1e-12)
    if make is twisted:
        assert abs(volumes[0] - volumes[1]) > 1.0


def test_area_of_a_twisted_wall_against_many_small_triangles():
    b = in_space(twisted())
    for i, area in enumerate(b.wall_areas_mm2):
        p, q, r, s = b.wall_mm(i)
        n = 200
        u, v = (x[..., None] for x in np.meshgrid(*[np.linspace(0, 1, n + 1)] * 2, indexing="ij"))
        grid = (1 - v) * ((1 - u) * p + u * q) + v * ((1 - u) * s + u * r)
        d, e = grid[1:, 1:] - grid[:-1, :-1], grid[1:, :-1] - grid[:-1, 1:]
        assert area == pytest.approx(np.linalg.norm(np.cross(d, e), axis=2).sum() / 2, rel=1e-6)
        assert b.flat_wall(i).area_mm2 == pytest.approx(area, rel=5e-3)


@pytest.mark.parametrize("make", [twisted, lambda: box(SECTION + [30.0, 10.0, 100.0])])
def test_a_flat_walls_lengths_are_those_in_space(make):
    b = in_space(make())
    for i in range(4):
        quad, flat = b.wall_mm(i), b.flat_wall(i)
        a, c = flat.diagonal
        for j, k in ((0, 1), (1, 2), (2, 3), (3, 0), (a, c)):
            in_the_flat = np.linalg.norm(flat.corners_mm[j] - flat.corners_mm[k])
            assert in_the_flat == pytest.approx(np.linalg.norm(quad[j] - quad[k]), abs=1e-9)
        other = [n for n in range(4) if n not in flat.diagonal]
        lengths = [np.linalg.norm(np.subtract(*where[other])) for where in (quad, flat.corners_mm)]
        if make is twisted:
            assert flat.twist_mm > 1.0 and lengths[1] > lengths[0] + 1e-3  # folded, it is shorter across
        else:
            assert flat.twist_mm < 1e-9 and lengths[0] == pytest.approx(lengths[1], abs=1e-9)


def test_twist_of_a_known_corner():
    """A rectangle of 60 × 80 with a corner lifted by 6: the shorter diagonal is the one without it, 100 long,
    and the corner stands 6 off the plane of the other three; without it the wall is flat."""
    lifted = flat_wall([(0, 0, 0), (60, 0, 0), (60, 80, 0), (0, 80, 6)])
    assert lifted.diagonal == (0, 2) and lifted.twist_mm == pytest.approx(6.0, abs=1e-12)
    assert flat_wall([(0, 0, 0), (60, 0, 0), (60, 80, 0), (0, 80, 0)]).twist_mm == 0.0


def test_distances_out_of_flat_walls_are_to_their_planes():
    b = in_space(box(SECTION / 2 + [15, 10, 90.0]))
    points = b.corners_mm.mean(axis=(0, 1)) + np.random.default_rng(3).normal(scale=30.0, size=(200, 3))
    found = b.wall_distances_mm(points)
    inner = b.hollow_distances_mm(points)
    for i in range(4):
        p, q, r, _ = b.wall_mm(i)
        normal = np.cross(q - p, r - p)
        normal *= np.sign(normal @ (p - b.corners_mm.mean(axis=(0, 1)))) / np.linalg.norm(normal)
        np.testing.assert_allclose(found[i], (points - p) @ normal, atol=1e-9)
        np.testing.assert_allclose(inner[i], (points - p) @ normal + b.gauge_mm, atol=1e-9)


def test_a_twisted_wall_is_as_thick_as_its_sheet_at_the_middle_of_its_ends():
    b = twisted()
    ends = []
    for end in (0, 1):
        middles = (b.inner_mm[end] + np.roll(b.inner_mm[end], -1, axis=0)) / 2
        ends.append(np.diagonal(b.wall_distances_mm(middles)))
    np.testing.assert_allclose(ends, -1.5, atol=0.01)
