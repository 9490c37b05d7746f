"""A cut that runs from post to post with no opening between."""

import pytest
from invented_cars import box_car

from model.evaluate import evaluate
from model.plan import Plan, PostCut, RoofMove


def test_a_cut_below_the_rear_window_is_shared_by_both_posts():
    """Box car, C cut at z = 110, under the window (120): the back is cut from side to side, 1400 mm, less
    both C-posts (40 each); left and right take the same."""
    plan = Plan(
        roof=RoofMove(front_drop_mm=5, rear_drop_mm=5, fore_aft="straight-down"),
        cuts=(PostCut(post="C", height_mm=110.0),),
    )
    report = evaluate(box_car(), plan)
    back = [s for s in report.seams if "back skin" in s.name]
    assert sum(s.edge_mm for s in back) == pytest.approx(1400, abs=0.01)
    assert sum(s.length_mm for s in back) == pytest.approx(1320, abs=0.01)
    by_side = report.totals.weld_by_side_mm
    assert by_side["right"] == pytest.approx(by_side["left"], abs=0.01)
