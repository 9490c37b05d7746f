"""A mirrored car gives the mirrored report; a car measured from another origin the same."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_cars import (
    mirrored_car,
    mirrored_plan,
    moved_car,
    moved_plan,
    varied_car,
    varied_plan,
    wedge_car,
    with_point_moved,
)

from model.carcheck import check_car
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import MeasureError
from model.evaluate import evaluate
from model.plan import Plan, PostCut, PostShift, RoofMove, WindowMove
from model.planfile import read_plan

KEYS = [
    "coupe",
    "wedge",
    4,
    7,
    *(pytest.param(s, marks=pytest.mark.heavy) for s in range(24) if s not in (4, 7)),
]
OTHER = {"right": "left", "left": "right", "centre": "centre"}


@lru_cache(maxsize=64)
def case(key):
    if key == "wedge":  # made uneven by one point and by its plan
        car = with_point_moved(wedge_car(), "hoop 1", "mid", (3.0, 6.0, 2.0))
        plan = Plan(
            roof=RoofMove(front_drop_mm=45, rear_drop_mm=60),
            window=WindowMove(forward_mm=12, lay_down_deg=1.5),
            cuts=(
                PostCut(post="A", side="left", plane="square"),
                PostCut(post="C", side="right", height_mm=220.0),
            ),
            shifts=(PostShift(post="B", side="left", by=20.0),),
        )
        return car, plan
    if key in ("coupe", "pickup"):
        car = read_car(demo_car_path(key))
        return car, read_plan(demo_plan_path(key), car)
    return varied_car(key), varied_plan(varied_car(key), key)


@lru_cache(maxsize=64)
def reports(key, how):
    car, plan = case(key)
    if how == "mirrored":
        return evaluate(mirrored_car(car), mirrored_plan(plan))
    if how == "moved":
        return evaluate(moved_car(car, 317.25, -41.5), moved_plan(plan, -41.5))
    return evaluate(car, plan)


def swapped(name):
    return " ".join(
        {"right": "left", "left": "right", "right,": "left,", "left,": "right,"}.get(w, w)
        for w in name.split()
    )


def assert_spreads(a, b, tolerance):
    assert (a is None) == (b is None)
    if a is not None:
        assert (a.min, a.mean, a.max) == pytest.approx((b.min, b.mean, b.max), abs=10 * tolerance)


def assert_same(a, b, *, mirror, shift=(0.0, 0.0, 0.0), tolerance=1e-6):
    """Every number of two reports, the second one mirrored or shifted."""
    side = OTHER.get if mirror else lambda s: s
    name = swapped if mirror else lambda n: n
    sign = -1.0 if mirror else 1.0

    def at(p):
        return (p[0] + shift[0], sign * p[1], p[2] + shift[2])

    assert {(p.post, side(p.side)) for p in a.posts} == {(p.post, p.side) for p in b.posts}
    for p in a.posts:
        q = b.post(p.post, side(p.side))
        for field in (
            "lean_side_deg",
            "lean_front_deg",
            "drop_mm",
            "take_out_mm",
            "removed_mm",
            "miss_fore_aft_mm",
            "tilt_deg",
            "shift_mm",
            "bead_mm",
        ):
            assert getattr(p, field) == pytest.approx(getattr(q, field), abs=tolerance), (
                p.post,
                p.side,
                field,
            )
        # The divider has no inboard side: its across direction is −y on either car.
        across = -1.0 if mirror and p.side == "centre" else 1.0
        assert p.miss_across_mm == pytest.approx(across * q.miss_across_mm, abs=tolerance)
        assert p.cut == q.cut and p.cut_height_mm + shift[2] == pytest.approx(q.cut_height_mm, abs=tolerance)
        if p.side != "centre":
            for e, f in zip(p.edges, q.edges, strict=True):
                assert e.edge == f.edge
                assert (e.take_out_mm, e.removed_mm) == pytest.approx(
                    (f.take_out_mm, f.removed_mm), abs=tolerance
                )
                np.testing.assert_allclose(
                    (at(e.lower_mm), at(e.upper_mm)), (f.lower_mm, f.upper_mm), atol=tolerance
                )
    seams = {(name(s.name), side(s.side)): s for s in a.seams}
    assert set(seams) == {(s.name, s.side) for s in b.seams}
    for t in b.seams:
        s = seams[t.name, t.side]
        for field in ("length_mm", "edge_mm", "over_post_mm"):
            assert getattr(s, field) == pytest.approx(getattr(t, field), abs=tolerance), t.name
        # A node on the flange line lies on a chord, up to 0.005 mm off the curve (tracing.CHORD_MM), and
        # which of the two edges that end there faces a place is decided by the last bit.
        loose = 5e-4 if s.kind == "window" else tolerance
        assert_spreads(s.gap_mm, t.gap_mm, loose)
        assert_spreads(s.step_mm, t.step_mm, loose)
    assert len(a.interference) == len(b.interference)
    for x, y in zip(
        sorted(a.interference, key=lambda i: sorted(map(name, i.pieces))),
        sorted(b.interference, key=lambda i: sorted(i.pieces)),
        strict=True,
    ):
        assert sorted(map(name, x.pieces)) == sorted(y.pieces)
        assert x.volume_mm3 == pytest.approx(y.volume_mm3, rel=0.1, abs=5.0)
    for field in vars(a.window):
        if field == "rear_opening_change_mm" and a.window.rear_opening_change_mm > 1e-6:
            # cut through, not moved as one: the largest change between 48 places, which differ in a mirror
            assert a.window.rear_opening_change_mm == pytest.approx(b.window.rear_opening_change_mm, rel=0.02)
        elif field != "rear_pivot_mm":
            assert getattr(a.window, field) == pytest.approx(getattr(b.window, field), abs=tolerance), field
    assert_same_view(a.view, b.view, side, at, tolerance)
    np.testing.assert_allclose(at(a.window.rear_pivot_mm), b.window.rear_pivot_mm, atol=tolerance)
    for field, value in vars(a.totals).items():
        other = getattr(b.totals, field)
        if field == "weld_by_side_mm":
            assert {side(k): v for k, v in value.items()} == pytest.approx(other, abs=10 * tolerance)
        elif field.startswith("height"):
            assert value + shift[2] == pytest.approx(other, abs=tolerance)
        elif "area" in field:
            assert value == pytest.approx(
                other, rel=2e-4 if "removed" in field else 5e-5
            )  # integrated over chords and triangles, which differ
        else:
            assert value == pytest.approx(other, abs=10 * tolerance), field
    assert len(a.findings) == len(b.findings)


def assert_same_view(a, b, side, at, tolerance):
    assert a.to_measure == b.to_measure and len(a.sights) == len(b.sights)
    posts = {(p.post, p.side): p for p in b.posts}
    pairs = [*zip(a.sights, b.sights, strict=True), (a.rear, b.rear), (a.head, b.head)]
    pairs += [(p, posts.pop((p.post, side(p.side)))) for p in a.posts]
    assert not posts
    for one, other in pairs:
        assert (one is None) == (other is None)
        for field, value in vars(one).items() if one is not None else ():
            twin = getattr(other, field)
            if isinstance(value, tuple):
                np.testing.assert_allclose(at(value), twin, atol=tolerance)
            elif isinstance(value, float):
                assert value == pytest.approx(twin, abs=10 * tolerance), field
            elif field != "side":
                assert value == twin, field


@pytest.mark.parametrize("key", KEYS)
def test_mirrored_car_mirrored_report(key):
    assert_same(reports(key, "stock"), reports(key, "mirrored"), mirror=True)


@pytest.mark.parametrize("key", KEYS)
def test_another_origin_changes_nothing(key):
    assert_same(reports(key, "stock"), reports(key, "moved"), mirror=False, shift=(317.25, 0, -41.5))


@pytest.mark.parametrize("key", ["coupe", "pickup"])
@settings(max_examples=4)
@given(x_mm=st.floats(-3000, 3000), z_mm=st.floats(-2000, 2000))
def test_any_origin_on_the_centre_plane_will_do(key, x_mm, z_mm):
    car, plan = case(key)
    moved = evaluate(moved_car(car, x_mm, z_mm), moved_plan(plan, z_mm))
    assert_same(reports(key, "stock"), moved, mirror=False, shift=(x_mm, 0.0, z_mm))


@settings(max_examples=20)
@given(y_mm=st.floats(1.7, 500) | st.floats(-500, -1.7))
def test_an_origin_off_the_centre_plane_is_refused(y_mm):
    """y = 0 is the centreline of a car whose left side is not measured: moved aside, it is no car."""
    car, _ = case("coupe")
    hoops = tuple(
        replace(hoop, right_mm=tuple((x, y + y_mm, z) for x, y, z in hoop.right_mm)) for hoop in car.hoops
    )
    with pytest.raises(MeasureError, match="centre plane y = 0|must have a positive y"):
        check_car(replace(car, hoops=hoops))


def test_mirroring_twice_is_the_same_car():
    car, _ = case(4)
    twice = mirrored_car(mirrored_car(car))
    assert [h.side_mm("right") for h in twice.hoops] == [h.side_mm("right") for h in car.hoops]
    assert {(p.name, p.side): p for p in twice.posts} == {(p.name, p.side): p for p in car.posts}


def test_an_uneven_car_really_reads_differently_left_and_right():
    report = reports("wedge", "stock")
    assert abs(report.post("A", "right").take_out_mm - report.post("A", "left").take_out_mm) > 1
    by_side = report.totals.weld_by_side_mm
    assert abs(by_side["right"] - by_side["left"]) > 1
