"""Glass before and after: closed forms on flat cars, shape kept on measured ones."""

import numpy as np
import pytest
from invented_cars import flat_car, tan, varied_car, varied_plan

from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from model.evaluate import build_checked
from model.glass import carrier_of, middle_of, moved_outline, opening_change_mm, pane_height, window_report
from model.plan import Plan, PostCut, RoofMove, WindowMove
from model.planfile import read_plan


def built_of(key):
    if isinstance(key, int):
        return build_checked(varied_car(key), varied_plan(varied_car(key), key))
    car = read_car(demo_car_path(key))
    return build_checked(car, read_plan(demo_plan_path(key), car))


@pytest.mark.parametrize("key", [*demo_car_names(), 3, 6, 9])
def test_every_distance_in_the_rear_opening_stays(key):
    """All points, not the sampled ones, and at 1e-9: the panel is one rigid piece."""
    built = built_of(key)
    rear = built.shape.rear_window
    before = rear.outline.grid.point(rear.outline.loop_uv)[::3]
    after = moved_outline(built, rear, before)
    d = [np.linalg.norm(p[:, None] - p[None], axis=2) for p in (before, after)]
    assert np.abs(d[1] - d[0]).max() < 1e-9
    assert opening_change_mm(built) < 1e-9
    assert np.linalg.norm(after - before, axis=1).min() > 1  # and it did move


def test_a_rear_window_that_is_cut_across_does_not_keep_its_shape():
    """No panel: the opening's upper half comes down by 50, the lower one stays: 50 at the most."""
    built = build_checked(flat_car(), Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=50)))
    assert opening_change_mm(built) > 40
    rear = built.shape.rear_window
    assert set(carrier_of(built, rear, rear.outline.grid.point(rear.outline.loop_uv))) == {"body", "roof"}


@pytest.mark.parametrize(
    ("rake", "drop", "rear_drop"), [(30.0, 50.0, 50.0), (0.0, 40.0, 40.0), (38.0, 60.0, 85.0)]
)
def test_windshield_of_a_flat_car(rake, drop, rear_drop):
    """Bottom (100 tan a, 100), top (400 tan a, 400); the top goes with the roof's move."""
    built = build_checked(
        flat_car(rake_deg=rake), Plan(roof=RoofMove(front_drop_mm=drop, rear_drop_mm=rear_drop))
    )
    bottom, top = np.array([100 * tan(rake), 0, 100.0]), np.array([400 * tan(rake), 0, 400.0])
    moved = built.moves["roof"].points(top)
    w = window_report(built)
    assert w.windshield_height_before_mm == pytest.approx(np.linalg.norm(top - bottom), abs=1e-6)
    assert w.windshield_height_after_mm == pytest.approx(np.linalg.norm(moved - bottom), abs=1e-6)
    assert w.windshield_plumb_after_mm == pytest.approx(moved[2] - 100, abs=1e-6)
    assert w.windshield_rake_after_deg == pytest.approx(
        np.degrees(np.arctan2(moved[0] - bottom[0], moved[2] - 100)), abs=1e-6
    )
    if drop == rear_drop:
        assert w.windshield_height_after_mm == pytest.approx(
            (300 - drop) / np.cos(np.radians(rake)), abs=1e-6
        )


def test_two_panes_are_measured_each_at_its_own_middle():
    built = build_checked(flat_car(divider=True), Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=50)))
    for pane, y in zip(built.shape.windshield, (250.0, -250.0), strict=True):
        bottom, top = middle_of(pane.outline)
        assert (bottom[1], top[1]) == pytest.approx((y, y), abs=1e-6)
        assert (bottom[2], top[2]) == pytest.approx((100, 400), abs=1e-6)
        assert pane_height(built, pane).plumb_mm == pytest.approx((300, 250), abs=1e-6)


def test_without_a_window_panel_the_window_rides_with_what_it_lies_in():
    """Cut at 100, below the rear window's 120: it goes down whole, with the roof."""
    from model.plan import PostCut

    cuts = tuple(PostCut(post=p, height_mm=100.0) for p in "ABC")
    built = build_checked(flat_car(), Plan(roof=RoofMove(front_drop_mm=10, rear_drop_mm=10), cuts=cuts))
    rear = built.shape.rear_window
    assert set(carrier_of(built, rear, rear.outline.grid.point(rear.outline.loop_uv))) == {"roof"}
    assert opening_change_mm(built) < 1e-9
    assert window_report(built).rear_rake_after_deg == pytest.approx(0, abs=1e-6)


def test_window_panel_alone():
    built = build_checked(flat_car(), Plan(window=WindowMove(forward_mm=30, down_mm=12, lay_down_deg=0)))
    w = window_report(built)
    assert (w.rear_forward_mm, w.rear_down_mm) == (30, 12)
    assert w.windshield_height_after_mm == w.windshield_height_before_mm
    assert built.moves.keys() == {"body", "window panel"}


def test_a_pane_whose_bottom_is_cut_out_ends_at_the_cut():
    """Pickup, windshield bottom z = 45 in; A cut at 1131 mm, 65 mm straight down, gap 1.2 square to the cut:
    the glass begins at the upper cut, which lands at 1131 + 1.2 or the root gap, and its top comes down
    by 65."""
    car = read_car(demo_car_path("pickup"))
    move = RoofMove(front_drop_mm=65, rear_drop_mm=65, fore_aft="straight-down")
    plan = Plan(roof=move, cuts=(PostCut(post="A", height_mm=1131.0),), kerf_mm=1.2, root_gap_mm=0.8)
    built = build_checked(car, plan)
    pane = pane_height(built, built.shape.windshield[0])
    assert 1131 < pane.bottom_before[2] < 1131 + 65
    assert pane.bottom_after[2] == pytest.approx(1131.8, abs=1e-3)
    assert pane.top_after[2] == pytest.approx(pane.top_before[2] - 65, abs=1e-9)


def test_side_glass_is_measured_halfway_along_it_though_it_stands_plumb():
    """A pane in a plane y = constant has no middle across the car; a level roof takes its drop from it."""
    built = build_checked(flat_car(), Plan(roof=RoofMove(front_drop_mm=50.0, rear_drop_mm=50.0)))
    sides = [o for o in built.shape.openings if o.outline.grid.kind == "side"]
    assert len(sides) > 1
    for opening in sides:
        bottom, top = middle_of(opening.outline)
        x = opening.outline.grid.point(opening.outline.loop_uv)[:, 0]
        assert bottom[0] == pytest.approx((x.min() + x.max()) / 2) == top[0]
        before, after = pane_height(built, opening).plumb_mm
        assert before - after == pytest.approx(50.0)
