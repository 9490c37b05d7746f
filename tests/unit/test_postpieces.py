"""Post pieces: what a post whose ends miss gets between its stubs, by hand and on the shipped cars."""

from dataclasses import replace

import numpy as np
import pytest
from invented_cars import mirrored_car, mirrored_plan
from shipped_plans import closed_plan
from test_posts import curved, ends, post

from model.evaluate import build_checked, fit_report_of
from model.fillers import fillers_of
from model.interference import interference_of
from model.moves import translation
from model.output.html import seams_html
from model.postpieces import CLIMB, LEAST_MM, closed_post, closed_posts
from model.postpieceseams import seam_names
from model.seams import POST

NO_SHEET = np.empty((0, 3))
ROOT_MM, WELD_MM = 0.8, 1.3
UPRIGHT = ((0.0, 600.0, 0.0), (0.0, 600.0, 400.0))


def closed(axis=UPRIGHT, move=None, sheet=NO_SHEET, clear_mm=0.9, **changed):
    made = ends(post("right", axis, **changed), move or translation(z_mm=-60.0))
    return closed_post(("B", "right"), made, sheet, clear_mm, WELD_MM, ROOT_MM)


def test_ends_that_meet_get_no_piece():
    assert closed() is None
    assert closed(move=translation(y_mm=0.7, z_mm=-60.0)) is None  # less than half its wall of 1.5
    assert closed(move=translation(y_mm=0.8, z_mm=-60.0)) is not None


def test_an_oblique_piece_by_hand():
    """Upright, 60 × 40 × 1.5; the upper end lands 20 inboard: 1 in 3 asks for 60 of length, all off the lower
    stub but the opening of 0.8.  Its side walls are 60 wide and √(60² + 20²) high, the others 40 by the same
    shear in their own plane: 40 · 60."""
    found = closed(move=translation(y_mm=-20.0, z_mm=-60.0))
    assert found.ends.miss_mm == pytest.approx((0.0, 20.0))
    assert found.back_mm == pytest.approx((60.0 + 2 * ROOT_MM - 0.8, 0.0))
    assert found.box.height_mm == pytest.approx(60.0)
    assert found.climb == pytest.approx(1 / CLIMB) and found.set_in_mm == 0.0
    slope = np.hypot(60.0, 20.0)
    assert found.box.wall_areas_mm2 == pytest.approx([40 * 60, 60 * slope, 40 * 60, 60 * slope], rel=1e-9)
    lower, upper = found.cut_back_mm()
    np.testing.assert_allclose(lower, found.back_mm[0], atol=1e-9)
    np.testing.assert_allclose(upper, 0.0, atol=1e-9)
    low = found.ends.line.lines(found.s_lower)
    np.testing.assert_allclose(low[:, 2], 150.0 - found.back_mm[0], atol=1e-9)
    np.testing.assert_allclose(found.box.corners_mm[0] - low[1:], np.tile([0, 0, ROOT_MM], (4, 1)), atol=1e-9)


@pytest.mark.parametrize(("across_mm", "share"), [(-20.0, 1.0), (20.0, 0.0)])
def test_the_stub_from_which_the_piece_leaves_the_skin_is_cut_back(across_mm, share):
    found = closed(move=translation(y_mm=across_mm, z_mm=-60.0))
    assert found.back_mm[0] == pytest.approx(share * sum(found.back_mm))
    fore_aft = closed(move=translation(x_mm=20.0, z_mm=-60.0))
    assert fore_aft.back_mm[0] == pytest.approx(fore_aft.back_mm[1]) == pytest.approx(sum(found.back_mm) / 2)


def test_a_small_miss_gets_a_piece_of_the_least_length():
    found = closed(move=translation(x_mm=2.0, z_mm=-60.0))
    assert found.box.height_mm == pytest.approx(LEAST_MM)


def test_a_stub_goes_no_further_than_the_post_may_be_cut():
    found = closed(move=translation(y_mm=-50.0, z_mm=-60.0))  # 150 asked for, 90 there are above z = 60
    assert found.back_mm == pytest.approx((90.0, 0.0)) and found.climb > 1 / CLIMB


def sheet_at(rearward_mm=0.0, inboard_mm=0.0, z_mm=150.0):
    """Return one place of sheet beside the upright post's axis."""
    return np.array([(rearward_mm, 600.0 - inboard_mm, z_mm)])


def test_a_stub_is_cut_back_below_the_sheet_that_enters_it():
    """A place 30 below the cut, within the box: the stub ends 30.9 below; outside of it by more than 0.9,
    nothing; within 0.9 of it, sheet makes a piece no reason, but is kept clear of where there is one."""
    inside = closed(sheet=sheet_at(inboard_mm=-19.0, z_mm=120.0))
    assert inside.back_mm == pytest.approx((30.9, 0.0))
    assert closed(sheet=sheet_at(inboard_mm=-21.0, z_mm=138.0)) is None
    assert closed(sheet=sheet_at(inboard_mm=-20.5, z_mm=138.0)) is None
    moved = translation(x_mm=2.0, z_mm=-60.0)
    assert closed(sheet=sheet_at(inboard_mm=-20.5, z_mm=110.0), move=moved).back_mm[0] == pytest.approx(40.9)
    assert closed(sheet=sheet_at(inboard_mm=-21.0, z_mm=110.0), move=moved).back_mm[0] < 10.0
    above = closed(sheet=sheet_at(rearward_mm=10.0, z_mm=165.0))  # 14.2 above the upper end's face
    assert above.back_mm == pytest.approx((0.0, 14.2 + 0.9))


def test_the_outer_wall_is_set_in_under_the_sheet_over_it():
    """Sheet 3 inside the outer face half way up: the wall stands 3.9 in, both its corners, at both ends."""
    moved = translation(x_mm=20.0, z_mm=-60.0)
    free = closed(move=moved)
    tight = closed(move=moved, sheet=sheet_at(rearward_mm=10.0, inboard_mm=-17.0, z_mm=150.4))
    assert free.set_in_mm == 0.0 and tight.set_in_mm == pytest.approx(3.9)
    shift = tight.box.corners_mm - free.box.corners_mm
    np.testing.assert_allclose(shift[:, 1:3], 0.0, atol=1e-9)  # the inner corners stay
    np.testing.assert_allclose(shift[:, [0, 3]], np.tile([0.0, -3.9, 0.0], (2, 2, 1)), atol=1e-9)


def test_a_raised_roof_leaves_a_piece_as_long_as_it_stands_open():
    found = closed(move=translation(z_mm=30.0))
    assert found.back_mm == (0.0, 0.0)
    assert found.box.height_mm == pytest.approx(found.ends.opening_mm - 2 * ROOT_MM)
    assert found.box.metal_mm3 == pytest.approx((60 * 40 - 57 * 37) * found.box.height_mm)


def test_a_bent_post_keeps_its_ends_flat_and_parallel():
    made = ends(curved(), translation(x_mm=-15.0, z_mm=-60.0))
    found = closed_post(("B", "right"), made, NO_SHEET, 0.9, WELD_MM, ROOT_MM)
    for end in found.box.corners_mm:
        assert np.ptp(end[:, 2]) < 1e-8  # a level cut
    assert found.box.height_mm == pytest.approx(3 * np.hypot(*made.miss_mm), rel=1e-9)


@pytest.fixture(scope="module", params=["coupe", "pickup"])
def shipped(request):
    """Return a closed plan carried out."""
    return closed_plan(request.param)


def test_on_the_shipped_cars_no_sheet_enters_a_stub_or_a_piece(shipped):
    assert closed_posts(shipped)
    posts = [
        item for item in interference_of(shipped, fillers_of(shipped)) if "post " in "".join(item.pieces)
    ]
    assert posts == []


def test_seams_and_new_metal_of_the_closed_roof_tell_both_beads(shipped):
    built = shipped
    report = fit_report_of(built)
    root = built.plan.root_gap_mm
    beads = {seam.name: seam for seam in report.seams if seam.kind == POST}
    pieces = closed_posts(built)
    assert len(beads) == len(built.ends) + len(pieces)
    by_name = {metal.name: metal for metal in report.new_metal}
    for key, found in pieces.items():
        assert f"{' '.join(key)}, post" not in beads
        for name in seam_names(found):
            gap = beads[name].gap_mm
            assert root - 0.01 - found.set_in_mm < gap.min and gap.max < root * 1.25 + found.set_in_mm, name
            assert beads[name].facing_mm == pytest.approx(beads[name].edge_mm, rel=0.05)
        metal, told = by_name[found.name], report.post(*key).piece
        assert metal.area_mm2 == pytest.approx(found.box.wall_areas_mm2.sum())
        assert metal.mass_kg == pytest.approx(metal.area_mm2 * 1e-6 * 7.85 * found.box.gauge_mm, rel=1e-3)
        assert told.lower_back_mm == found.back_mm[0] and len(told.edges) == 5
        assert [wall.wall for wall in metal.walls][1] in ("inner", "left")
        assert found.name in seams_html(report)
    for key in set(built.ends) - set(pieces):
        assert report.post(*key).piece is None and f"{' '.join(key)}, post" in beads


def test_without_new_metal_no_stub_is_cut_back(shipped):
    car, plan = shipped.shape.car, shipped.plan
    built = build_checked(car, replace(plan, new_metal=None))
    assert closed_posts(built) == {}
    assert all(post.piece is None for post in fit_report_of(built).posts)


def test_a_mirrored_car_has_mirrored_pieces(shipped):
    car, plan = shipped.shape.car, shipped.plan
    right = closed_posts(shipped)
    left = closed_posts(build_checked(mirrored_car(car), mirrored_plan(plan)))
    other = {"right": "left", "left": "right", "centre": "centre"}
    assert len(left) == len(right)
    for (name, side), found in right.items():
        twin = left[name, other[side]]
        np.testing.assert_allclose(twin.back_mm, found.back_mm, atol=1e-6)
        assert twin.set_in_mm == pytest.approx(found.set_in_mm, abs=0.02)
        assert twin.box.metal_mm3 == pytest.approx(found.box.metal_mm3, rel=1e-3)


def test_a_miss_that_a_piece_closes_is_told_as_closed(shipped):
    built, car, plan = shipped, shipped.shape.car, shipped.plan
    found = [(f.kind, f.where, f.message) for f in fit_report_of(built).findings]
    for key, piece in closed_posts(built).items():
        name = " ".join(key)
        assert not [kind for kind, where, _ in found if where == name and kind.startswith("ends miss")]
        (said,) = [
            words for kind, where, words in found if (kind, where) == ("miss closed by a post piece", name)
        ]
        assert said.startswith("Upper end lands ") and f"{piece.name}, " in said
        assert said.endswith("closes it.")
    steps = [f for f in fit_report_of(built).findings if f.kind == "step"]
    for step in steps:
        assert ("hammer and dolly" in step.message) == (step.measured < 3.5), step.where
    open_plan = fit_report_of(build_checked(car, replace(plan, new_metal=None)))
    assert {f.kind for f in open_plan.findings} >= {"ends miss fore-and-aft"}
