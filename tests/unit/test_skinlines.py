"""Lengths and crowns of lines on the skin, against many chords."""

import numpy as np
import pytest
from invented_cars import box_car, varied_car

from model.skin import skin_of
from model.skinlines import crown_mm, line_length_mm

LINES = [((0, 0), (1, 1)), ((0.1, 0.9), (0.95, 0.2)), ((0.3, 0), (0.3, 1)), ((0.9, 0.5), (0.05, 0.5))]


def points_along(grid, line, count):
    share = np.linspace(0, 1, count)[:, None]
    return grid.point(np.array(line[0], float) + share * np.subtract(line[1], line[0]))


@pytest.mark.parametrize("seed", [0, 3])
@pytest.mark.parametrize("line", LINES)
def test_against_chords(seed, line):
    for grid in skin_of(varied_car(seed)).grids.values():
        p = points_along(grid, line, 40001)
        chords = np.linalg.norm(np.diff(p, axis=0), axis=1).sum()
        assert line_length_mm(grid, *line) == pytest.approx(chords, rel=1e-7)
        along = (p[-1] - p[0]) / np.linalg.norm(p[-1] - p[0])
        off = p - p[0] - ((p - p[0]) @ along)[:, None] * along
        assert crown_mm(grid, *line) == pytest.approx(np.linalg.norm(off, axis=1).max(), abs=1e-6)


@pytest.mark.parametrize("line", LINES)
def test_either_way_is_the_same(line):
    grid = skin_of(varied_car(0)).grids["roof"]
    back = line[::-1]
    assert line_length_mm(grid, *back) == pytest.approx(line_length_mm(grid, *line), rel=1e-12)
    assert crown_mm(grid, *back) == pytest.approx(crown_mm(grid, *line), abs=1e-8)


def test_a_flat_panel_has_no_crown():
    grid = skin_of(box_car()).grids["side right"]
    assert crown_mm(grid, (0, 0), (1, 1)) == pytest.approx(0, abs=1e-6)
