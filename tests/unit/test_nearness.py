"""How near places lie to a flat piece, over it and beside its edge.  By the kernel: exact closed plans."""

import numpy as np
import pytest
from invented_cars import box_car

from model.built import build
from model.nearness import distances_mm
from model.plan import Plan, RoofMove


@pytest.fixture(scope="module")
def boxed():
    """The box car lowered plumb by 60 mm: all its panels are planes."""
    return build(box_car(), Plan(roof=RoofMove(front_drop_mm=60, rear_drop_mm=60, fore_aft=6.0)))


def outline_mm(built, piece):
    """Return the corners of a piece's box, in place."""
    cells = built.layout.parts[piece]
    points = np.concatenate([chain.point_mm for c in cells for chain in built.layout.chains_of[id(c)]])
    moved = built.moves[cells[0].carrier].points(points)
    return moved.min(axis=0), moved.max(axis=0)


def test_over_and_beside_a_flat_roof(boxed):
    low, high = outline_mm(boxed, "roof")
    edge = np.array([(low[0] + high[0]) / 2, high[1], high[2]])  # on the gutter
    offs = np.array([(0, 0, 3.0), (0, 3.0, 4.0), (0, -2.0, 5.0), (7.0, 0, 1.5)])
    by_hand = [3.0, 5.0, 5.0, 1.5]  # over the corner; off it both ways; over the roof; over the corner
    assert distances_mm(boxed, "roof", edge + offs) == pytest.approx(by_hand, abs=1e-6)


def test_far_from_all_outlines_nothing_is_near(boxed):
    low, high = outline_mm(boxed, "roof")
    assert np.isinf(distances_mm(boxed, "roof", [high + 500.0])).all()
