"""A post's lines: plain numbers against splines in arrays, crossings against a bracketed root."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from model.measured import Post
from model.postlines import PostLine

AXES = {
    "straight": ((100.0, 700.0, 900.0), (300.0, 640.0, 1400.0)),
    "bent": ((100.0, 700.0, 900.0), (190.0, 680.0, 1100.0), (300.0, 640.0, 1400.0)),
    "curved": ((100.0, 700.0, 900.0), (170.0, 690.0, 1060.0), (250.0, 665.0, 1230.0), (300.0, 640.0, 1400.0)),
}
TILTED = np.array([0.2, -0.3, 0.9])


@pytest.fixture(params=AXES)
def line(request):
    return PostLine(
        Post(
            name="A",
            side="right",
            axis_mm=AXES[request.param],
            width_mm=50.0,
            depth_mm=40.0,
            wall_mm=1.5,
            cut_from_mm=950.0,
            cut_to_mm=1350.0,
            cut_at_mm=1100.0,
        )
    )


@pytest.mark.parametrize("s", [-0.2, 0.0, 0.31, 0.5, 1.0, 1.1])
def test_one_place_is_as_among_many(line, s):
    one, many = line.frame(s), line.frame([s, 0.77])
    for own, other in zip(one, many, strict=True):
        assert own.shape == (1, 3)
        assert own[0] == pytest.approx(other[0], abs=1e-12)
    assert line.axis_point(s) == pytest.approx(one[0][0], abs=1e-12)
    assert line.middle_point(s) == pytest.approx(line.lines(np.full(5, s))[0], abs=1e-12)


def test_frame_is_square_and_points_as_said(line):
    _, t, w, d = (v[0] for v in line.frame(0.4))
    assert np.array([t, w, d]) @ np.array([t, w, d]).T == pytest.approx(np.eye(3), abs=1e-12)
    assert t[2] > 0
    assert w[0] > 0
    assert d[1] < 0  # the car's middle lies to the left of a post of the right side


def test_axis_goes_through_what_was_measured(line):
    points = np.array(line.post.axis_mm)
    chords = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    for place, point in zip(chords / chords[-1], points, strict=True):
        assert line.axis_point(float(place)) == pytest.approx(point, abs=1e-10)


def test_crossings_lie_in_the_plane_and_are_those_of_a_bracketed_root(line):
    offset = float(TILTED @ line.middle_point(0.45)) + 3.0
    found = line.crossings(TILTED, offset)
    assert line.lines(found) @ TILTED == pytest.approx(np.full(5, offset), abs=1e-10)
    many = np.linspace(0, 1, 17)  # not-a-knot through these, as the lines are
    corners = CubicSpline(many, line.lines(np.repeat(many[:, None], 5, axis=1)))
    for k in range(5):
        root = brentq(lambda s, k=k: corners(s)[k] @ TILTED - offset, 0.0, 1.0, xtol=1e-14)
        assert found[k] == pytest.approx(root, abs=1e-11)
    assert line.middle_crossing(TILTED, offset) == pytest.approx(found[0], abs=1e-13)


def test_level_crossing_of_a_straight_post_is_its_share(line):
    if line.is_straight:
        assert line.axis_at_height(1025.0) == pytest.approx(0.25, abs=1e-14)
    assert line.middle_point(line.axis_at_height(1025.0))[2] == pytest.approx(1025.0, abs=1e-10)


def test_a_line_along_the_plane_crosses_it_nowhere():
    line = PostLine(
        Post(
            name="A",
            side="right",
            axis_mm=((0.0, 0.0, 0.0), (0.0, 0.0, 100.0)),
            width_mm=50.0,
            depth_mm=40.0,
            wall_mm=1.5,
            cut_from_mm=10.0,
            cut_to_mm=90.0,
            cut_at_mm=50.0,
        )
    )
    assert np.isnan(line.middle_crossing(np.array([1.0, 0.0, 0.0]), 5.0))
