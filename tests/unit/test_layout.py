"""Small pieces of the layout: neighbours across shared borders, what carries what."""

import numpy as np
import pytest
from invented_cars import flat_car, varied_car, varied_plan

from model.carfile import demo_car_path, read_car
from model.evaluate import build_checked
from model.layout import METAL
from model.plan import GivenPlane, Plan, PostCut, RoofMove, WindowMove
from model.seams import seam_reports


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


def test_a_line_crossed_at_its_own_sample_gets_no_doubled_sample():
    """The back's slug reaches the flange line where that crosses the centre, at a sample: the node there
    differs from the sample in the last bit, and a chord without a direction spoilt every seam's numbers."""
    cuts = [
        PostCut(
            post="rear corner",
            side=side,
            height_mm=height,
            plane=GivenPlane(rises_rearward_deg=rearward, rises_inboard_deg=inboard),
        )
        for side, height, rearward, inboard in (("right", 1280.0, 2.0, -1.0), ("left", 1230.0, 0.0, -8.0))
    ]
    plan = Plan(
        roof=RoofMove(fore_aft=-17.0),
        window=WindowMove(flange_mm=12.0),
        cuts=tuple(cuts),
    )
    built = build_checked(read_car(demo_car_path("pickup")), plan)
    assert min(np.linalg.norm(np.diff(c.point_mm, axis=0), axis=1).min() for c in built.layout.chains) > 1e-6
    assert all(seam.gap_mm is not None and np.isfinite(seam.gap_mm.mean) for seam in seam_reports(built))
