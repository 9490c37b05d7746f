"""The two cuts as drawn lines on every grid."""

import numpy as np
import pytest
from invented_cars import varied_car, varied_plan

from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from model.cuts import trace
from model.evaluate import build_checked
from model.planfile import read_plan

SEEDS = [1, 3, 6, 14, 15]
MORE = [pytest.param(s, marks=pytest.mark.heavy) for s in range(28) if s not in SEEDS]


@pytest.mark.parametrize("key", [*demo_car_names(), *SEEDS, *MORE])
def test_lines_stay_on_their_cut(key):
    """Samples on it to 1e-6, at most 13 mm apart, chords within 0.012 mm of it (design: chord error ≤ 0.01)."""
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
