"""One place of a grid against many at once, and its derivatives against scipy's own spline."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from model.built import remembered_shape
from model.carfile import demo_car_path, read_car
from model.gridplaces import derivatives_at, outward_at

PLACES = [(0.0, 0.0), (1.0, 1.0), (0.37, 0.81), (-0.01, 0.5), (0.62, 1.01)]


@pytest.fixture(scope="module", params=["coupe", "pickup"])
def grids(request):
    return remembered_shape(read_car(demo_car_path(request.param))).skin.grids.values()


@pytest.mark.parametrize("place", PLACES)
def test_one_place_is_as_among_many(grids, place):
    for grid in grids:
        jet = grid.jet(np.array([place]))
        found = derivatives_at(grid, *place)
        for (i, j), own in {
            (0, 0): jet.point,
            (1, 0): jet.du,
            (0, 1): jet.dv,
            (2, 0): jet.duu,
            (1, 1): jet.duv,
            (0, 2): jet.dvv,
        }.items():
            assert found[i, j] == pytest.approx(own[0], rel=1e-12, abs=1e-8)
        assert outward_at(grid, found) == pytest.approx(grid.normal(np.array([place]))[0], abs=1e-12)


@pytest.mark.parametrize("place", PLACES[:3])
def test_derivatives_are_those_of_the_spline_through_the_poles(grids, place):
    u, v = place
    for grid in grids:
        found = derivatives_at(grid, u, v)
        for i in range(3):
            along = BSpline(grid.knots_u, grid.poles_mm, grid.degree_u)(u, nu=i)
            for j in range(3):
                own = BSpline(grid.knots_v, along, grid.degree_v)(v, nu=j)
                assert found[i, j] == pytest.approx(own, rel=1e-10, abs=1e-7)
