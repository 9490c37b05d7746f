"""Small pieces of the layout: neighbours across shared borders, what carries what."""

import numpy as np
import pytest
from invented_cars import flat_car, varied_car, varied_plan

from model.evaluate import build_checked
from model.layout import METAL
from model.plan import Plan, RoofMove, WindowMove


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
