"""Posts: lines, planes, take-out, openings, refusals; curved posts against dense numerical paths."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_cars import tan

from model.measured import Post
from model.moves import IDENTITY, pitch_about, translation
from model.plan import GivenPlane, PostCut
from model.postlines import EDGES, PostLine
from model.posts import cut_plane, post_ends


def post(side="right", axis=None, **changed):
    sign = {"right": 1, "left": -1, "centre": 0}[side]
    axis = axis or ((0.0, 600.0 * sign, 0.0), (200.0, 540.0 * sign, 400.0))
    fields = {
        "name": "B",
        "side": side,
        "axis_mm": axis,
        "width_mm": 60.0,
        "depth_mm": 40.0,
        "wall_mm": 1.5,
        "cut_from_mm": 60.0,
        "cut_to_mm": 340.0,
        "cut_at_mm": 150.0,
    }
    return Post(**{**fields, **changed})


def curved(side="right"):
    sign = 1 if side == "right" else -1
    return post(
        side,
        (
            (0.0, 600.0 * sign, 0.0),
            (40.0, 590.0 * sign, 130.0),
            (110.0, 560.0 * sign, 270.0),
            (220.0, 520.0 * sign, 400.0),
        ),
    )


def ends(p, move, plane="level", height=None, kerf=1.2, gap=0.8):
    line = PostLine(p)
    return post_ends(
        line,
        cut_plane(line, PostCut(post=p.name, plane=plane, height_mm=height)),
        move,
        kerf_mm=kerf,
        root_gap_mm=gap,
    )


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("make", [post, curved])
def test_section_frame(side, make):
    line = PostLine(make(side))
    _, t, w, d = line.frame(np.linspace(0, 1, 11))
    eye = np.stack([t, w, d], axis=1)
    np.testing.assert_allclose(
        np.einsum("nij,nkj->nik", eye, eye), np.broadcast_to(np.eye(3), (11, 3, 3)), atol=1e-12
    )
    assert (t[:, 2] > 0).all() and (w[:, 0] > 0).all()
    assert (d[:, 1] * (-1 if side == "right" else 1) > 0).all()  # inboard
    four = line.lines(np.full(5, 0.4))
    np.testing.assert_allclose(four[1:].mean(axis=0), four[0], atol=0.02 if make is curved else 1e-9)
    width = np.linalg.norm(four[EDGES.index("rear outer")] - four[EDGES.index("front outer")])
    depth = np.linalg.norm(four[EDGES.index("front inner")] - four[EDGES.index("front outer")])
    assert (width, depth) == pytest.approx((60, 40), abs=0.05 if make is curved else 1e-9)
    assert four[EDGES.index("rear outer")][0] > four[EDGES.index("front outer")][0]
    assert abs(four[EDGES.index("front inner")][1]) < abs(four[EDGES.index("front outer")][1])


def test_axis_passes_through_every_measured_point():
    p = curved()
    s = np.linspace(0, 1, 100001)
    axis = PostLine(p).frame(s)[0]
    for measured in p.axis_mm:
        assert np.linalg.norm(axis - measured, axis=1).min() < 0.01


@settings(max_examples=40, deadline=None)
@given(
    lean_x=st.floats(-0.8, 0.9),
    lean_in=st.floats(-0.2, 0.5),
    drop=st.floats(1, 90),
    slide=st.floats(-40, 60),
    plane=st.one_of(
        st.sampled_from(["level", "square"]),
        st.builds(GivenPlane, rises_rearward_deg=st.floats(-30, 30), rises_inboard_deg=st.floats(-20, 20)),
    ),
    side=st.sampled_from(["right", "left"]),
)
def test_take_out_and_miss_of_a_straight_post_in_any_plane(lean_x, lean_in, drop, slide, plane, side):
    """No pitch: the upper end's axis meets the plane after L = −D·n / t·n of its length, D the move;
    take-out is L on every line; the miss is D + L t."""
    sign = 1 if side == "right" else -1
    axis = ((0.0, 800.0 * sign, 0.0), (600 * lean_x, sign * (800 - 600 * lean_in), 600.0))
    p = post(side, axis, cut_from_mm=5.0, cut_to_mm=595.0, cut_at_mm=200.0)
    move = np.array([-slide, 0, -drop])
    e = ends(p, translation(*move), plane)
    t = np.array([lean_x, -sign * lean_in, 1.0])
    t /= np.linalg.norm(t)
    if plane == "level":
        n = np.array([0, 0, 1.0])
    elif plane == "square":
        n = t
    else:
        # rises rearward: z grows with x; rises inboard: z grows towards y = 0
        n = np.array([-tan(plane.rises_rearward_deg), sign * tan(plane.rises_inboard_deg), 1.0])
        n /= np.linalg.norm(n)
    length = -(move @ n) / (t @ n)
    np.testing.assert_allclose(e.take_out_mm, length, atol=1e-8)
    miss = move + length * t
    rearward = np.array([1.0, 0, 0]) - n[0] * n
    rearward /= np.linalg.norm(rearward)
    inboard = np.cross(n, rearward)
    inboard *= np.sign(-sign * inboard[1])
    np.testing.assert_allclose(e.miss_mm, [miss @ rearward, miss @ inboard], atol=1e-8)
    assert e.tilt_deg == pytest.approx(0, abs=1e-5)
    # The opening is square to the plane and the removed length lies along the post.
    least = length * (t @ n)
    assert e.opening_mm == pytest.approx(max(0.8, 1.2 - least), abs=1e-9)
    np.testing.assert_allclose(e.removed_mm, length + e.opening_mm / (t @ n), atol=1e-8)


def test_given_plane_rises_as_it_says():
    plane = cut_plane(
        PostLine(post("left")),
        PostCut(post="B", plane=GivenPlane(rises_rearward_deg=10, rises_inboard_deg=5)),
    )
    z = lambda x, y: plane.point_mm[2] - (plane.normal[0] * x + plane.normal[1] * y) / plane.normal[2]  # noqa: E731
    assert z(100, 0) - z(0, 0) == pytest.approx(100 * tan(10))
    assert z(0, 100) - z(0, 0) == pytest.approx(100 * tan(5))  # left post: inboard is +y
    assert plane.height_above(plane.point_mm + 3 * plane.normal) == pytest.approx(3)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("plane", ["level", "square", GivenPlane(rises_rearward_deg=-8, rises_inboard_deg=6)])
def test_a_curved_post_that_pitches_against_dense_numbers(side, plane):
    """Every line sampled 200,001 times; crossings of the plane and of its inverse image by sign change."""
    p = curved(side)
    move = translation(-30, 0, -55) @ pitch_about((100, 0, 200), 2.0)
    e = ends(p, move, plane)
    s = np.linspace(0, 1, 200001)
    for i in range(5):
        points = e.line.lines(np.repeat(s[:, None], 5, axis=1))[:, i]
        low = e.plane.height_above(points)
        up = e.plane.height_above(move.points(points))
        length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        take = np.interp(0, up, length) - np.interp(0, low, length)
        removed = np.interp(e.opening_mm, up, length) - np.interp(0, low, length)
        assert e.take_out_mm[i] == pytest.approx(take, abs=1e-5)
        assert e.removed_mm[i] == pytest.approx(removed, abs=1e-5)
        if i == 0:
            k = np.abs(up).argmin()
            landing = move.points(points[k])
            assert e.drop_mm == pytest.approx(points[k, 2] - landing[2], abs=0.01)
            miss = landing - e.plane.point_mm
            assert np.hypot(*e.miss_mm) == pytest.approx(np.linalg.norm(miss), abs=0.01)
            tangents = np.gradient(points, axis=0)
            tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
            angle = np.degrees(
                np.arccos(np.clip(tangents[np.abs(low).argmin()] @ move.vectors(tangents[k]), -1, 1))
            )
            assert e.tilt_deg == pytest.approx(angle, abs=0.01)
    assert np.ptp(e.take_out_mm) > 0.5  # the slug is a wedge


def test_pitch_takes_a_wedge_out():
    """Upright post, level cut, pitch f about the cut centre after a drop d: the rear edges lose width · tan f
    more than the front ones.  Inverse image of z = z0 under P' = R(P − U) + C: −sin f X + cos f Z = 0 seen
    from U, so along a plumb line at x: take-out = d + x tan f."""
    p = post(axis=((300.0, 600.0, 0.0), (300.0, 600.0, 400.0)), cut_at_mm=100.0)
    f, d = 3.0, 60.0
    move = translation(0, 0, -d) @ pitch_about((300.0, 600.0, 100.0 + d), f)
    e = ends(p, move)
    take = dict(zip(EDGES, e.take_out_mm, strict=True))
    assert take["axis"] == pytest.approx(d, abs=1e-9)
    for edge in ("rear outer", "rear inner"):
        assert take[edge] == pytest.approx(d + 30 * tan(f), abs=1e-9)
    for edge in ("front outer", "front inner"):
        assert take[edge] == pytest.approx(d - 30 * tan(f), abs=1e-9)
    assert e.tilt_deg == pytest.approx(f, abs=1e-9)
    assert e.miss_mm == pytest.approx((0, 0), abs=1e-9)


@pytest.mark.parametrize(("kerf", "gap", "opening"), [(1.2, 0.8, 1.2), (0.5, 0.8, 0.8), (3.0, 0.0, 3.0)])
@pytest.mark.parametrize("plane", ["level", "square"])
def test_a_cut_without_a_drop_opens_by_kerf_or_root_gap(kerf, gap, opening, plane):
    e = ends(post(), IDENTITY, plane, kerf=kerf, gap=gap)
    np.testing.assert_allclose(e.take_out_mm, 0, atol=1e-9)
    assert e.opening_mm == pytest.approx(opening, abs=1e-12)
    above = e.plane.height_above(e.line.lines(e.s_upper))
    np.testing.assert_allclose(above, opening, atol=1e-9)


def test_an_ordinary_cut_opens_by_the_root_gap():
    e = ends(post(), translation(0, 0, -30))
    assert e.opening_mm == pytest.approx(0.8, abs=1e-12)
    moved = e.move.points(e.line.lines(e.s_upper))
    np.testing.assert_allclose(e.plane.height_above(moved), 0.8, atol=1e-9)


def test_the_kerf_counts_only_what_the_drop_does_not_take():
    """A drop of 0.3 takes 0.3 of a 1.2 kerf: the opening is 0.9."""
    assert ends(post(), translation(0, 0, -0.3)).opening_mm == pytest.approx(0.9, abs=1e-9)


def test_bead_runs_around_the_oblique_section():
    """Corners solved by hand: each corner line P + s t through the level plane."""
    p = post()
    e = ends(p, translation(0, 0, -20))
    t = np.array([200, -60, 400.0])
    t /= np.linalg.norm(t)
    w = np.array([1.0, 0, 0]) - t[0] * t
    w /= np.linalg.norm(w)
    d = np.cross(t, w)
    corners = [a * 30 * w + b * 20 * d for a, b in ((-1, -1), (-1, 1), (1, 1), (1, -1))]
    corners = [c - c[2] / t[2] * t for c in corners]
    assert e.bead_mm == pytest.approx(
        sum(np.linalg.norm(corners[i] - corners[i - 1]) for i in range(4)), abs=1e-9
    )


def test_a_cut_off_the_stretch_is_refused():
    with pytest.raises(
        ValueError, match=r"cut_height\.B\.right must be between .*; got .* Choose a height in that stretch"
    ):
        ends(post(), IDENTITY, height=40.0)


def test_an_unknown_plane_is_refused():
    with pytest.raises(ValueError, match="must be level, square or a plane; got 'askew'"):
        ends(post(), IDENTITY, "askew")


def test_the_opening_leaves_room_for_the_kerf_at_the_edge_that_loses_least():
    """Upright post, turned by f about its own cut centre without a drop: the front edges rise by 30 tan f.
    Square to the level lower cut every line then opens by at least the kerf: e = kerf + 30 tan f (take-out is
    plumb and the post upright, so square to the plane too)."""
    p = post(axis=((300.0, 600.0, 0.0), (300.0, 600.0, 400.0)), cut_at_mm=100.0)
    e = ends(p, pitch_about((300.0, 600.0, 100.0), 2.0), kerf=1.2, gap=0.8)
    assert e.opening_mm == pytest.approx(1.2 + 30 * tan(2.0), abs=1e-9)
    assert e.take_out_mm.min() == pytest.approx(-30 * tan(2.0), abs=1e-9)
