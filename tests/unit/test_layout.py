"""Small pieces of the layout: lengths of curves, neighbours across shared borders, what carries what."""

import numpy as np
import pytest
from invented_cars import flat_car, varied_car, varied_plan

from model.evaluate import build_checked
from model.layout import METAL, chord_lengths
from model.plan import Plan, RoofMove, WindowMove


@pytest.mark.parametrize("count", [9, 17, 65])
def test_length_of_an_arc_from_few_samples(count):
    """Quarter circle of R = 300: chords alone are short by θ²/24; corrected, by order θ⁴."""
    angle = np.linspace(0, np.pi / 2, count)
    points = 300 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    step = angle[1]
    exact = 300 * np.pi / 2
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    assert chords / exact - 1 == pytest.approx(-(step**2) / 24, rel=0.01)
    assert abs(chord_lengths(points).sum() / exact - 1) < 3 * step**4 / 640


def test_length_of_a_straight_line_is_its_chords():
    points = np.array([[0, 0, 0], [1, 0, 0], [5, 0, 0], [12.0, 0, 0]])
    np.testing.assert_allclose(chord_lengths(points), [1, 4, 7], atol=1e-12)
    np.testing.assert_allclose(chord_lengths(points[:2]), [1])


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_neighbours_across_the_gutter_and_the_corners(seed):
    """The cell over a shared border touches the chain; where the car ends there is none; and it is mutual."""
    built = build_checked(varied_car(seed), varied_plan(varied_car(seed), seed))
    layout = built.layout
    car = built.shape.car
    for chain in layout.chains:
        if not chain.line.startswith("border") or chain.length_mm < 1:
            continue
        other = layout.neighbour(chain)
        border = chain.line.split()[1]
        ends = border in ("u0", "u1") and chain.grid.kind in ("side", "roof")
        open_end = ends and car.panel("front" if border == "u0" else "back") is None
        belt = border == "v0" and chain.grid.kind in ("side", "front", "back")
        assert (other is None) == (belt or open_end)
        if other is not None:
            middle = chain.point_mm[len(chain.point_mm) // 2][None]
            assert np.linalg.norm(other.grid.foot(middle).point - middle) < 1e-6
            assert other.grid is not chain.grid


def test_metal_moves_with_its_own_piece_and_glass_with_the_metal_around_it():
    plan = Plan(roof=RoofMove(front_drop_mm=40, rear_drop_mm=40), window=WindowMove(forward_mm=10))
    built = build_checked(flat_car(), plan)
    for cell in built.layout.cells:
        if cell.role == METAL:
            assert cell.carrier == cell.part in built.moves
        elif cell.role == "pane":
            expected = {"window panel"} if "rear window" in cell.part else {"body", "roof"}
            assert cell.carrier in expected
        else:
            assert cell.carrier == "body"
