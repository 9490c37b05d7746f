"""Where the plan puts the roof and the window panel."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_cars import box_car, flat_car, tan, varied_car, wedge_car

from model.built import build
from model.carfile import demo_car_names, demo_car_path, read_car
from model.moves import IDENTITY, pitch_about, translation
from model.placing import front_posts, rear_posts, roof_place, shift_mm, window_place
from model.plan import Plan, PostCut, PostShift, RoofMove, WindowMove
from model.postlines import PostLine
from model.posts import cut_plane, landing_point, miss_in_plane

CARS = {
    "coupe": None,
    "pickup": None,
    "wedge": wedge_car(),
    "box": box_car(),
    3: varied_car(3),
    6: varied_car(6),
}
for _name in demo_car_names():
    CARS[_name] = read_car(demo_car_path(_name))


def parts(car, cut="level"):
    lines = {(p.name, p.side): PostLine(p) for p in car.all_posts()}
    planes = {k: cut_plane(line, PostCut(post=k[0], plane=cut)) for k, line in lines.items()}
    return lines, planes


def placed(car, roof, cut="level"):
    lines, planes = parts(car, cut)
    return roof_place(car, roof, lines, planes), lines, planes


@pytest.mark.parametrize("key", CARS)
@pytest.mark.parametrize("fore_aft", ["along-windshield", "straight-down", 25.0, -12.0])
@pytest.mark.parametrize(("front", "rear"), [(50.0, 50.0), (40.0, 75.0), (60.0, 35.0), (0.0, 0.0)])
def test_both_drops_are_the_asked_ones(key, fore_aft, front, rear):
    """U is the material point that lands on C: M⁻¹ C lies the front drop above C and the slide behind it."""
    car = CARS[key]
    place, lines, planes = placed(car, RoofMove(front_drop_mm=front, rear_drop_mm=rear, fore_aft=fore_aft))
    c = np.mean([planes[k].point_mm for k in front_posts(car)], axis=0)
    u = place.move.inverse().points(c)
    assert u[2] - c[2] == pytest.approx(front, abs=1e-9)
    assert u[0] - c[0] == pytest.approx(place.forward_mm, abs=1e-9)
    assert u[1] - c[1] == pytest.approx(0, abs=1e-12)
    q = np.array(car.rear_point_mm)
    assert q[2] - place.move.points(q)[2] == pytest.approx(rear, abs=1e-9)
    if fore_aft == "straight-down":
        assert place.forward_mm == 0
    elif fore_aft != "along-windshield":
        assert place.forward_mm == fore_aft
    # Rear down is a positive pitch.
    assert np.sign(round(place.pitch_deg, 12)) == np.sign(rear - front)
    # A rigid move: about y only.
    r = place.move.rotation
    np.testing.assert_allclose(r @ r.T, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(r[1], [0, 1, 0], atol=0)


@pytest.mark.parametrize("key", CARS)
@pytest.mark.parametrize(("front", "rear"), [(50.0, 50.0), (40.0, 75.0)])
def test_along_the_windshield_leaves_no_mean_miss_at_the_a_posts(key, front, rear):
    car = CARS[key]
    place, lines, planes = placed(car, RoofMove(front_drop_mm=front, rear_drop_mm=rear))
    misses = [
        miss_in_plane(lines[k], planes[k], landing_point(lines[k], planes[k], place.move))[0]
        for k in front_posts(car)
    ]
    assert np.mean(misses) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("rake", [0.0, 15.0, 32.0, 45.0])
def test_slide_of_a_straight_post_without_pitch(rake):
    """s = d tan a."""
    place, _, _ = placed(flat_car(rake_deg=rake), RoofMove(front_drop_mm=57.15, rear_drop_mm=57.15))
    assert place.forward_mm == pytest.approx(57.15 * tan(rake), abs=1e-9)
    assert place.pitch_deg == pytest.approx(0, abs=1e-12)


def test_pitch_in_closed_form():
    """Box car, A upright: C = (70, 0, 240), U = (70, 0, 280), Q = (1500, 0, 480): X = 1430, Z = 200.
    X sin f + Z (1 − cos f) = 30."""
    place, _, _ = placed(box_car(), RoofMove(front_drop_mm=40, rear_drop_mm=70, fore_aft="straight-down"))
    f = np.radians(place.pitch_deg)
    assert 1430 * np.sin(f) + 200 * (1 - np.cos(f)) == pytest.approx(30, abs=1e-9)
    assert place.pitch_deg == pytest.approx(np.degrees(30 / 1430), rel=2e-3)


def test_a_pitch_that_does_not_exist_is_refused():
    lines, planes = parts(box_car(length_mm=300.0, posts=("A", "C")))
    with pytest.raises(
        ValueError, match="rear_drop differs from the front drop by .* more than the roof can pitch"
    ):
        roof_place(
            box_car(length_mm=300.0, posts=("A", "C")),
            RoofMove(front_drop_mm=0, rear_drop_mm=2000),
            lines,
            planes,
        )


def test_no_roof_is_identity():
    place, _, _ = placed(box_car(), None)
    assert place.move.is_identity and place.forward_mm == 0 and place.pitch_deg == 0


@pytest.mark.parametrize("key", ["coupe", "wedge", 3, 6])
@pytest.mark.parametrize("post", ["B"])
def test_a_post_that_is_lined_up_has_no_fore_and_aft_miss(key, post):
    car = CARS[key]
    place, lines, planes = placed(car, RoofMove(front_drop_mm=45, rear_drop_mm=60), "square")
    for side in ("right", "left"):
        k = (post, side)
        by = shift_mm("line-up", lines[k], planes[k], place.move)
        landing = landing_point(lines[k], planes[k], place.move @ translation(by))
        assert miss_in_plane(lines[k], planes[k], landing)[0] == pytest.approx(0, abs=1e-9)
        assert by > 5  # the roof went forward, so the end must go back


def test_shift_given_or_none():
    car = CARS["wedge"]
    lines, planes = parts(car)
    assert shift_mm(None, lines["B", "right"], planes["B", "right"], IDENTITY) == 0.0
    assert shift_mm(-7.5, lines["B", "right"], planes["B", "right"], IDENTITY) == -7.5


def test_front_and_rear_posts():
    assert front_posts(CARS["coupe"]) == [("A", "right"), ("A", "left")]
    assert rear_posts(CARS["coupe"]) == [("C", "right"), ("C", "left")]
    assert rear_posts(CARS["pickup"]) == [("rear corner", "right"), ("rear corner", "left")]


# ---------------------------------------------------------------- window panel


@settings(max_examples=40, deadline=None)
@given(lay=st.floats(-10, 45), forward=st.floats(-100, 200), down=st.one_of(st.none(), st.floats(-50, 100)))
def test_window_panel(lay, forward, down):
    pivot, top = np.array([1400.0, 0, 100.0]), np.array([1300.0, 0, 420.0])
    roof = translation(-20, 0, -60) @ pitch_about((0, 0, 0), 1.5)
    w = window_place(WindowMove(forward_mm=forward, down_mm=down, lay_down_deg=lay), pivot, top, roof)
    np.testing.assert_allclose(w.move.points(pivot), pivot - [forward, 0, w.down_mm], atol=1e-9)
    # Lay-down turns the top towards the front: rake from plumb in side view grows by minus the angle.
    before, after = top - pivot, w.move.points(top) - w.move.points(pivot)
    turned = np.degrees(np.arctan2(after[0], after[2]) - np.arctan2(before[0], before[2]))
    assert turned == pytest.approx(-lay, abs=1e-9)
    if down is None:
        assert w.move.points(top)[2] == pytest.approx(roof.points(top)[2], abs=1e-9)
    else:
        assert w.down_mm == down


@pytest.mark.parametrize("key", ["coupe", "pickup", 3, 6])
def test_default_down_puts_the_top_centre_where_the_roof_would_have_put_it(key):
    car = CARS[key]
    window = WindowMove(forward_mm=20, lay_down_deg=3, flange_mm=15)
    plan = Plan(roof=RoofMove(front_drop_mm=45, rear_drop_mm=55), window=window)
    built = build(car, plan)
    low, top = built.shape.centreline_of(built.shape.flange(15))
    assert abs(low[1]) < 1e-9 and abs(top[1]) < 1e-9
    assert built.moves["window panel"].points(top)[2] == pytest.approx(
        built.moves["roof"].points(top)[2], abs=1e-9
    )
    np.testing.assert_allclose(built.window.pivot_mm, low, atol=1e-12)
    np.testing.assert_allclose(
        built.moves["window panel"].points(low), low - [20, 0, built.window.down_mm], atol=1e-9
    )
    laid = built.moves["window panel"].points(top) - built.moves["window panel"].points(low)
    assert laid[0] < (top - low)[0]  # towards the front


@pytest.mark.parametrize("by", ["line-up", 20.0])
def test_a_shifted_post_goes_with_the_roof_after_sliding_along_it(by):
    built = build(
        CARS["wedge"],
        Plan(roof=RoofMove(front_drop_mm=40, rear_drop_mm=60), shifts=(PostShift(post="B", by=by),)),
    )
    roof = built.moves["roof"]
    for side in ("right", "left"):
        own = built.moves[f"B {side} upper"]
        s = built.ends["B", side].shift_mm
        point = np.array([[750.0, 600.0, 400.0]])
        np.testing.assert_allclose(own.points(point), roof.points(point + [s, 0, 0]), atol=1e-10)
        if by == "line-up":
            assert built.ends["B", side].miss_mm[0] == pytest.approx(0, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(x=st.floats(-500, 500), z=st.floats(-500, 500), angle=st.floats(-40, 40), dx=st.floats(-90, 90))
def test_moves_undo_and_chain(x, z, angle, dx):
    move = translation(dx, 0, 3) @ pitch_about((x, 0, z), angle)
    p = np.array([[1.0, 2.0, 3.0], [400.0, -50.0, 700.0]])
    np.testing.assert_allclose(move.inverse().points(move.points(p)), p, atol=1e-9)
    np.testing.assert_allclose(
        pitch_about((x, 0, z), angle).points(np.array([x, 5.0, z])), [x, 5.0, z], atol=1e-9
    )
    np.testing.assert_allclose((move.matrix() @ np.append(p[1], 1))[:3], move.points(p[1]), atol=1e-9)
    # + takes z towards x: what is behind comes down.
    behind = pitch_about((0, 0, 0), 1.0).points(np.array([100.0, 0, 0]))
    assert behind[2] == pytest.approx(-100 * np.sin(np.radians(1.0)), abs=1e-12)
