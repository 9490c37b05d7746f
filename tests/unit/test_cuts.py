"""The two cuts as drawn lines on every grid."""

import numpy as np
import pytest
from invented_cars import box_car, flat_car, tan, varied_car, varied_plan

from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from model.evaluate import build_checked
from model.plan import Plan, PostCut, RoofMove
from model.planfile import read_plan
from model.tracing import trace

SEEDS = [1, 3, 6, 14, 15]
MORE = [pytest.param(s, marks=pytest.mark.heavy) for s in range(28) if s not in SEEDS]


@pytest.mark.parametrize("key", [*demo_car_names(), *SEEDS, *MORE])
def test_lines_stay_on_their_cut(key):
    """Samples on it to 1e-6, at most 13 mm apart, chords within 0.012 mm (design: 0.01)."""
    if isinstance(key, int):
        built = build_checked(varied_car(key), varied_plan(varied_car(key), key))
    else:
        car = read_car(demo_car_path(key))
        built = build_checked(car, read_plan(demo_plan_path(key), car))
    for grid in built.shape.skin.grids.values():
        for cut in (built.lower, built.upper):
            for uv in trace(grid, cut.on(grid)):
                points = grid.point(uv)
                assert np.abs(cut.height_above(grid, points)).max() < 1e-6
                assert np.linalg.norm(np.diff(points, axis=0), axis=1).max() < 13.0
                middle = grid.point((uv[1:] + uv[:-1]) / 2)
                assert np.abs(cut.height_above(grid, middle)).max() < 0.012


def smooth(s):
    s = np.clip(s, 0, 1)
    return 6 * s**5 - 15 * s**4 + 10 * s**3


@pytest.mark.parametrize("rake", [0.0, 30.0])
def test_shares_of_the_posts_along_a_side(rake):
    """A at 70 + z tan a, B at 750, C at 1430, each 60 wide: its own plane holds within 60 of the axis, at the
    point's own height; between, the quintic smooth step."""
    built = build_checked(flat_car(rake_deg=rake), Plan(roof=RoofMove(front_drop_mm=20, rear_drop_mm=20)))
    zones = built.shape.zones["side right"]
    assert zones.keys == (("A", "right"), ("B", "right"), ("C", "right"))
    for z in (80.0, 240.0, 400.0):
        x = np.linspace(-50, 1600, 331)
        points = np.stack([x, np.full_like(x, 650.0), np.full_like(x, z)], axis=1)
        a = 70 + z * tan(rake)
        past_a = smooth((x - (a + 60)) / (750 - 60 - (a + 60)))
        past_b = smooth((x - 810) / (1370 - 810))
        expected = np.stack([1 - past_a, past_a - past_b, past_b], axis=1)
        np.testing.assert_allclose(zones.weights(points), expected, atol=1e-4)  # axes are tabulated
        np.testing.assert_allclose(zones.weights(points).sum(axis=1), 1, atol=1e-12)


def test_a_cut_goes_from_post_to_post_by_the_shares():
    """Box, A cut at 200, B at 260, C at 230, level: the lower cut at x is at Σ w z."""
    cuts = tuple(PostCut(post=p, height_mm=z) for p, z in (("A", 200.0), ("B", 260.0), ("C", 230.0)))
    built = build_checked(box_car(), Plan(roof=RoofMove(front_drop_mm=20, rear_drop_mm=20), cuts=cuts))
    grid = built.shape.skin.grids["side left"]
    (line,) = trace(grid, built.lower.on(grid))
    x, _, z = grid.point(line).T
    past_a, past_b = smooth((x - 130) / 560), smooth((x - 810) / 560)
    np.testing.assert_allclose(z, 200 + 60 * past_a - 30 * past_b, atol=1e-5)
    assert np.ptp(x) == pytest.approx(1500, abs=1e-9)


@pytest.mark.parametrize("cut", ["level", "square"])
def test_rise_of_a_step_is_that_of_the_height(cut):
    """Where one post's plane holds alone, a step's rise is the height's own change."""
    car = read_car(demo_car_path("coupe"))
    built = build_checked(car, read_plan(demo_plan_path("coupe"), car).changed(cut=cut))
    grid = built.shape.skin.grids["side right"]
    own = built.upper.on(grid)
    points = grid.lattice_mm.reshape(-1, 3)
    alone = own.zones.weights(points).max(axis=1) == 1.0
    assert alone.sum() > 20
    ways = np.random.default_rng(4).normal(size=points.shape)
    height, rise = own.height_and_rise(points, ways)
    np.testing.assert_allclose(height, own.height_above(points), atol=1e-10)
    np.testing.assert_allclose(own.lattice_heights(grid).ravel(), height, atol=1e-10)
    ahead = own.height_above(points + 1e-3 * ways)
    still_alone = alone & (own.zones.weights(points + 1e-3 * ways).max(axis=1) == 1.0)
    np.testing.assert_allclose((ahead - height)[still_alone] / 1e-3, rise[still_alone], atol=1e-7)
