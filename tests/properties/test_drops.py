"""What a drop has to do, whatever the plan: come down by what was asked, close the slug, spare the glass."""

from functools import lru_cache

import numpy as np
import pytest
from drawn_plans import WINDOWS, halved_until_built, plans, roofs
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from invented_cars import box_car, varied_car, wedge_car

from model.built import place, remembered_shape
from model.carfile import demo_car_names, demo_car_path, read_car
from model.evaluate import fit_report_of
from model.layout import WINDOW
from model.plan import ALONG_WINDSHIELD, LEVEL, STRAIGHT_DOWN

CARS = [*demo_car_names(), "box", "wedge", 3, 8]
ROUNDING_MM = 1e-9  # coordinates of a few metres in double precision, a dozen operations each


@lru_cache(maxsize=8)
def car_of(key):
    if isinstance(key, int):
        return varied_car(key)
    return (
        {"box": box_car, "wedge": wedge_car}[key]()
        if key in ("box", "wedge")
        else read_car(demo_car_path(key))
    )


def front_keys(car):
    """Return on either side the post whose foot is furthest forward."""
    keys = []
    for side in ("right", "left"):
        own = [post for post in car.all_posts() if post.side == side]
        keys.append((min(own, key=lambda post: post.axis_mm[0][0]).name, side))
    return keys


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=40)
@given(data=st.data())
def test_both_reference_points_come_down_by_what_was_asked(key, data):
    """The point that lands on the A-posts' cuts, and the car's rear point; the first one as far forward."""
    car = car_of(key)
    plan = data.draw(plans(car))
    placed = place(remembered_shape(car), plan)
    roof, move = plan.roof, placed.roof.move
    cuts = np.array([placed.ends[k].plane.point_mm for k in front_keys(car)])
    for (name, side), point in zip(front_keys(car), cuts, strict=True):
        post = next(p for p in car.all_posts() if (p.name, p.side) == (name, side))
        height = plan.cut_of(name, side).height_mm
        assert point[2] == pytest.approx(post.cut_at_mm if height is None else height, abs=ROUNDING_MM)
    landing = cuts.mean(axis=0)
    came_from = move.inverse().points(landing)
    assert came_from[2] - landing[2] == pytest.approx(roof.front_drop_mm, abs=ROUNDING_MM)
    assert came_from[1] == pytest.approx(landing[1], abs=ROUNDING_MM)
    rear = np.array(car.rear_point_mm)
    assert rear[2] - move.points(rear)[2] == pytest.approx(roof.rear_drop_mm, abs=ROUNDING_MM)
    assert came_from[0] - landing[0] == pytest.approx(placed.roof.forward_mm, abs=ROUNDING_MM)
    if roof.fore_aft != ALONG_WINDSHIELD:
        asked = 0.0 if roof.fore_aft == STRAIGHT_DOWN else roof.fore_aft
        assert placed.roof.forward_mm == pytest.approx(asked, abs=ROUNDING_MM)


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=40)
@given(data=st.data())
def test_the_roof_stays_rigid_and_upright(key, data):
    """Its move turns about a y-parallel only: lengths, and every y, stay."""
    car = car_of(key)
    move = place(remembered_shape(car), data.draw(plans(car))).roof.move
    points = np.array([p for hoop in car.hoops for p in hoop.right_mm])
    moved = move.points(points)
    before, after = (np.linalg.norm(p[:, None] - p, axis=2) for p in (points, moved))
    np.testing.assert_allclose(after, before, atol=ROUNDING_MM)
    np.testing.assert_allclose(moved[:, 1], points[:, 1], atol=ROUNDING_MM)
    assert np.linalg.det(move.rotation) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=40)
@given(data=st.data())
def test_a_larger_drop_never_takes_less_out(key, data):
    """Level cuts, no pitch: on the axis and on the corner edges of every post, whatever the way forward."""
    car = car_of(key)
    plan = data.draw(plans(car, plane=st.just(LEVEL), is_pitched=False))
    other = data.draw(roofs(is_pitched=False))
    less, more = sorted([plan.roof, other], key=lambda roof: roof.front_drop_mm)
    assume(more.front_drop_mm > 0)
    shape = remembered_shape(car)
    shallow, deep = (place(shape, plan.changed(roof=roof)).ends for roof in (less, more))
    for post in shallow:
        assert (deep[post].take_out_mm >= shallow[post].take_out_mm - ROUNDING_MM).all(), post
        assert (deep[post].take_out_mm >= more.front_drop_mm - ROUNDING_MM).all(), post


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=12)
@given(data=st.data())
def test_the_slug_closes_when_the_roof_lands(key, data):
    """Put down, every upper mark lies the opening above the lower cut, square to it: a slug cut by the
    marks, wedge or not, leaves a slit of one width along the axis and all four corner edges."""
    car = car_of(key)
    built = halved_until_built(car, data.draw(plans(car)))
    posts = fit_report_of(built).posts
    assert len(posts) == len(built.ends) > 0
    for post in posts:
        ends = built.ends[post.post, post.side]
        move = built.moves[built.upper_piece((post.post, post.side))]
        lower = np.array([mark.lower_mm for mark in post.edges])
        upper = move.points(np.array([mark.upper_mm for mark in post.edges]))
        assert len(upper) == 5
        np.testing.assert_allclose(ends.plane.height_above(lower), 0.0, atol=ROUNDING_MM)
        np.testing.assert_allclose(ends.plane.height_above(upper), ends.opening_mm, atol=ROUNDING_MM)
        assert ends.opening_mm >= built.plan.root_gap_mm
        # No more metal is left between the marks than the blade takes.
        uncut = ends.plane.height_above(np.array([mark.upper_mm for mark in post.edges]))
        assert uncut.max() >= built.plan.kerf_mm - ROUNDING_MM


@pytest.mark.parametrize("key", CARS)
@settings(max_examples=12)
@given(data=st.data())
def test_no_distance_inside_the_rear_opening_changes(key, data):
    """Stock glass goes back: any two points of the opening stay as far apart, wherever the panel goes."""
    car = car_of(key)
    built = halved_until_built(car, data.draw(plans(car, window=WINDOWS)))
    assert fit_report_of(built).window.rear_opening_change_mm <= ROUNDING_MM
    outline = built.shape.rear_window.outline
    points = outline.grid.point(outline.loop_uv[:: max(1, len(outline.loop_uv) // 150)])
    before, after = (
        np.linalg.norm(p[:, None] - p, axis=2) for p in (points, built.moves[WINDOW].points(points))
    )
    np.testing.assert_allclose(after, before, atol=ROUNDING_MM)
