"""How two edges meet, on edges made by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.edges import Edge
from model.fit import Facing, meetings
from model.moves import RigidMove, pitch_about, translation
from model.outside.curves import arc_edge


def edge(start, direction, normal, length=200.0, count=9):
    """A straight edge; metal on the left of ``direction`` seen from outside."""
    d, n = np.array(direction, float), np.array(normal, float)
    points = np.array(start, float) + np.linspace(0, length, count)[:, None] * d / np.linalg.norm(d)
    return Edge(points, np.repeat(n[None] / np.linalg.norm(n), count, axis=0))


def meeting(first, others):
    (met,) = meetings([Facing((first,), tuple(others))])
    return met


def any_turn(seed):
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.linalg.det(q))


# T × N points out of the metal.  With N = z and the metal at y < 0, B = +y, so T = N × B … = −x.
def first_edge(**k):
    return edge((100, 0, 0), (-1, 0, 0), (0, 0, 1), **k)


def second_edge(y, z, normal=(0, 0, 1), **k):
    return edge((-100, y, z), (1, 0, 0), normal, **k)


@pytest.mark.parametrize(("y", "z"), [(3.0, 0.0), (3.0, 0.5), (3.0, -0.5), (-2.0, 0.0), (-2.0, 0.7)])
def test_parallel_edges_in_parallel_planes(y, z):
    """Gap is y (negative: overlap), step is z (positive: the second stands proud)."""
    m = meeting(first_edge(), [second_edge(y, z)])
    assert m.faces.all()
    np.testing.assert_allclose(m.gap_mm, y, atol=1e-12)
    np.testing.assert_allclose(m.step_mm, z, atol=1e-12)
    # Each flat skin, carried on, passes the other edge at height ∓z: equal and opposite angles.
    expected = np.degrees(np.arctan2(-z, y)) if y > 0 else np.degrees(np.arctan2(z, -y))
    np.testing.assert_allclose(np.abs(m.angle_first_deg), abs(expected), atol=1e-10)
    np.testing.assert_allclose(m.angle_first_deg, -m.angle_second_deg, atol=1e-10)


def test_weights_and_places_cover_the_edge():
    m = meeting(first_edge(length=205.0), [second_edge(1.0, 0.0, length=205.0)])
    assert m.weight_mm.sum() == pytest.approx(205.0, abs=1e-12)
    assert m.along_mm.min() > 0 and m.along_mm.max() < 205.0
    assert np.ptp(np.diff(m.along_mm)) < 1e-10 and np.diff(m.along_mm).max() <= 12.0


@pytest.mark.parametrize("seed", range(4))
def test_a_fair_arc_reads_the_same_however_it_lies(seed):
    move = RigidMove(any_turn(seed), np.array([100.0, -50.0, 7.0]))
    first, second = arc_edge(500, -0.1, is_first=True), arc_edge(500, 0.1, is_first=False)
    turned = [Edge(move.points(e.point_mm), move.vectors(e.normal)) for e in (first, second)]
    a, b = meeting(first, [second]), meeting(turned[0], [turned[1]])
    assert a.faces.all() and np.ptp(a.gap_mm) < 1e-12
    np.testing.assert_allclose(a.angle_first_deg, np.degrees(0.1), atol=1e-10)
    for field in ("gap_mm", "step_mm", "angle_first_deg", "angle_second_deg"):
        np.testing.assert_allclose(getattr(a, field), getattr(b, field), atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    y=st.floats(0.5, 8.0),
    z=st.floats(-3.0, 3.0),
    tilt_first=st.floats(-25, 25),
    tilt_second=st.floats(-25, 25),
    sign=st.sampled_from([1.0, -1.0]),
)
def test_tilted_planes_and_reading_from_the_other_side(y, z, tilt_first, tilt_second, sign):
    """Hand: N = unit(n1 + n2) in the y-z plane, B square to it; gap = r·B, step = r·N.

    From the other side the gap stays, the step changes sign and the angles change places.
    """
    y = sign * y
    n1 = np.array([0, np.sin(np.radians(tilt_first)), np.cos(np.radians(tilt_first))])
    n2 = np.array([0, np.sin(np.radians(tilt_second)), np.cos(np.radians(tilt_second))])
    first = edge((100, 0, 0), (-1, 0, 0), n1)
    second = second_edge(y, z, n2)
    m, back = meeting(first, [second]), meeting(second, [first])
    mean = np.radians((tilt_first + tilt_second) / 2)
    n, b = np.array([np.sin(mean), np.cos(mean)]), np.array([np.cos(mean), -np.sin(mean)])
    np.testing.assert_allclose(m.gap_mm, np.array([y, z]) @ b, atol=1e-9)
    np.testing.assert_allclose(m.step_mm, np.array([y, z]) @ n, atol=1e-9)
    np.testing.assert_allclose(back.gap_mm[::-1], m.gap_mm, atol=1e-9)
    np.testing.assert_allclose(back.step_mm[::-1], -m.step_mm, atol=1e-9)
    np.testing.assert_allclose(back.angle_first_deg[::-1], m.angle_second_deg, atol=1e-8)
    np.testing.assert_allclose(back.angle_second_deg[::-1], m.angle_first_deg, atol=1e-8)


def test_edges_that_do_not_face():
    m = meeting(first_edge(), [edge((500, 3, 0), (1, 0, 0), (0, 0, 1))])
    assert not m.faces.any()
    assert np.isnan(m.gap_mm).all() and np.isnan(m.step_mm).all()


def test_an_edge_half_of_which_faces():
    """The second edge covers x from 3 to 103 of an edge from −100 to 100."""
    m = meeting(first_edge(), [edge((3, 2, 0), (1, 0, 0), (0, 0, 1), length=100.0)])
    np.testing.assert_array_equal(m.faces, m.at_mm[:, 0] > 3)
    assert m.weight_mm[m.faces].sum() == pytest.approx(97.0, abs=12.0)


def test_the_nearest_of_several_edges_faces():
    m = meeting(first_edge(), [second_edge(9.0, 0.0), second_edge(2.0, 0.1), second_edge(4.0, 0.0)])
    np.testing.assert_allclose(m.gap_mm, 2.0, atol=1e-12)


def test_facing_is_taken_square_to_the_first_edge_not_at_like_places():
    """The second edge runs at 10° in the plane: y = 2 + (x + 100) tan 10° read at each x."""
    t = np.radians(10)
    second = edge((-110, 2 - 10 * np.tan(t), 0), (np.cos(t), np.sin(t), 0), (0, 0, 1), length=240.0)
    m = meeting(first_edge(), [second])
    np.testing.assert_allclose(m.gap_mm, 2 + (m.at_mm[:, 0] + 100) * np.tan(t), atol=1e-9)


def test_a_lay_down_sinks_the_ends_of_a_bowed_edge():
    """A lower edge bowed in plan by an arc of R = 2000, turned by 5° about its middle: the end at
    half-width 300 lies 22.63 mm ahead of the hinge, and sinks by 22.63 sin 5°."""
    angle = np.linspace(-0.15, 0.15, 61)
    points = np.stack([2000 * np.cos(angle) - 2000, 2000 * np.sin(angle), 0 * angle], axis=1)
    normals = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    body = Edge(points[::-1], normals[::-1])  # T = −y, N = +x: T × N points up, metal below
    move = translation(0, 0, 1.0) @ pitch_about((0, 0, 0), -5.0)
    panel = Edge(move.points(points), move.vectors(normals))
    m = meeting(body, [panel])
    assert m.faces.sum() >= len(m.faces) - 2
    # Body edge at x = −lead; the panel's is turned there: dx = lead (1 − cos 5°), dz = 1 − lead sin 5°
    # (the ends lie ahead of the hinge; top towards the front, so what is ahead goes down).
    # T ≈ level, N ≈ rearward and level: gap ≈ dz up to the square-to-T and mean-normal corrections.
    lead = 2000 - np.sqrt(2000**2 - m.at_mm[:, 1] ** 2)
    np.testing.assert_allclose(m.gap_mm, 1.0 - lead * np.sin(np.radians(5.0)), atol=0.03)
    assert m.gap_mm.min() < -0.8 < 0.9 < m.gap_mm.max()
