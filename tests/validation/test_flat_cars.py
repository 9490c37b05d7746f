"""Cars of flat panels, every post and seam on both sides by hand; see :mod:`model.outside.flatcabs`."""

import numpy as np
import pytest
from invented_cars import flat_car, tan

from model.evaluate import evaluate
from model.outside.flatcabs import (
    CUT,
    FLANGE,
    HALF,
    KERF,
    LEANS,
    A,
    C,
    D,
    G,
    S,
    bead_of_wedge_post,
    box_with_window,
    cos,
    over_post,
    pitched_box,
    side_edges,
    sin,
)
from model.outside.flatcabs import B as B_
from model.outside.flatcabs import wedge_report as wedge
from model.plan import Plan, RoofMove, WindowMove


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("post", ["A", "B", "C"])
def test_posts(side, post):
    p = wedge().post(post, side)
    a, b = tan(LEANS[post]), tan(B_)
    assert p.take_out_mm == pytest.approx(D * np.sqrt(1 + a * a + b * b), abs=1e-9)
    assert p.removed_mm == pytest.approx((D + G) * np.sqrt(1 + a * a + b * b), abs=1e-9)
    assert p.miss_fore_aft_mm == pytest.approx(D * a - S, abs=1e-8)
    assert p.miss_across_mm == pytest.approx(D * b, abs=1e-9)
    assert p.bead_mm == pytest.approx(bead_of_wedge_post(LEANS[post]), abs=1e-9)
    assert wedge().seam(f"{post} {side}, post").length_mm == pytest.approx(p.bead_mm, abs=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("post", ["A", "B", "C"])
def test_side_seams(side, post):
    seam = wedge().seam(f"{post} {side}, side skin")
    low, high = side_edges()[post]
    over = over_post(LEANS[post])[0]
    assert seam.edge_mm == pytest.approx(high - low, abs=0.01)
    assert seam.over_post_mm == pytest.approx(over, abs=0.01)
    assert seam.length_mm == pytest.approx(high - low - over, abs=0.01)
    gap = D * tan(B_) * sin(B_) + G / cos(B_)
    assert (seam.gap_mm.min, seam.gap_mm.mean, seam.gap_mm.max) == pytest.approx((gap,) * 3, abs=2e-4)
    assert (seam.step_mm.min, seam.step_mm.mean, seam.step_mm.max) == pytest.approx(
        (-D * sin(B_),) * 3, abs=2e-4
    )
    for station in seam.stations:  # parallel sheets: equal and opposite angles
        assert station.angle_first_deg == pytest.approx(-station.angle_second_deg, abs=1e-3)
        assert station.at_mm[2] == pytest.approx(CUT, abs=2e-4)
    # The upper edge came forward by s: so much of the lower one's rear end has nothing in front of it.
    assert seam.facing_mm == pytest.approx(seam.edge_mm - S, abs=12.0) if post == "B" else True


@pytest.mark.parametrize("side", ["right", "left"])
def test_front_and_back_seams(side):
    front, back = wedge().seam(f"A {side}, front skin"), wedge().seam(f"C {side}, back skin")
    assert front.edge_mm == pytest.approx(HALF - 460, abs=0.01)
    assert front.over_post_mm == pytest.approx(over_post(A)[1], abs=0.01)
    assert (front.gap_mm.min, front.gap_mm.max) == pytest.approx((G / cos(A),) * 2, abs=1e-6)
    assert (front.step_mm.min, front.step_mm.max) == pytest.approx((0, 0), abs=1e-6)
    assert back.edge_mm == pytest.approx(HALF - 300, abs=0.01)
    assert back.over_post_mm == pytest.approx(over_post(-C)[1], abs=0.01)
    gap = ((D + G) * tan(C) + S) * sin(C) + G * cos(C)
    assert (back.gap_mm.min, back.gap_mm.max) == pytest.approx((gap,) * 2, abs=1e-6)
    assert (back.step_mm.min, back.step_mm.max) == pytest.approx((-D * sin(C) - S * cos(C),) * 2, abs=1e-6)


def test_weld_by_side():
    """Half of it on either side; the total is among the outside checks.  No other seam exists."""
    totals = wedge().totals
    assert totals.weld_by_side_mm == pytest.approx(
        {"right": totals.weld_mm / 2, "left": totals.weld_mm / 2}, abs=1e-6
    )
    assert len(wedge().seams) == 2 * (3 + 1 + 1 + 3)


def test_findings_name_what_misses():
    found = {(f.kind, f.where): f for f in wedge().findings}
    for side in ("right", "left"):
        assert ("ends miss fore-and-aft", f"A {side}") not in found
        assert found["ends miss fore-and-aft", f"B {side}"].measured == pytest.approx(S, abs=1e-6)
        assert found["ends miss across", f"C {side}"].measured == pytest.approx(D * tan(B_), abs=1e-6)
        assert found["gap", f"C {side}, back skin"].measured == pytest.approx(
            ((D + G) * tan(C) + S) * sin(C) + G * cos(C), abs=1e-6
        )
        assert found["step", f"C {side}, back skin"].measured == pytest.approx(
            D * sin(C) + S * cos(C), abs=1e-6
        )
    assert ("windshield height", "windshield") not in found
    assert not [k for k in found if k[0] == "interference"]


# ---------------------------------------------------------------- upright box with a pitch


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize(("post", "x"), [("A", 70.0), ("B", 750.0), ("C", 1430.0)])
def test_upright_posts_under_a_roof_that_pitches(side, post, x):
    """U = (70, 240 + 40); the inverse image of the level cut under P' = R(P − U) + C is the line
    z = U_z + (x − U_x) tan f: take-out 40 + (x − 70) tan f at the axis, ± 30 tan f at the edges.
    Its point at x lands (x − 70) / cos f behind C: miss (x − 70)(1 / cos f − 1).  Tilt f."""
    f = pitched_box().totals.roof_pitch_deg
    assert 1430 * sin(f) + 200 * (1 - cos(f)) == pytest.approx(30, abs=1e-9)
    p = pitched_box().post(post, side)
    assert p.take_out_mm == pytest.approx(40 + (x - 70) * tan(f), abs=1e-8)
    by_edge = {e.edge: e.take_out_mm for e in p.edges}
    for edge, shift in (("front outer", -30), ("front inner", -30), ("rear outer", 30), ("rear inner", 30)):
        assert by_edge[edge] == pytest.approx(40 + (x + shift - 70) * tan(f), abs=1e-8)
    assert p.miss_fore_aft_mm == pytest.approx((x - 70) * (1 / cos(f) - 1), abs=1e-8)
    assert p.miss_across_mm == pytest.approx(0, abs=1e-9)
    assert p.tilt_deg == pytest.approx(f, abs=1e-9)
    # The opening is square to the level plane: along the post, which the roof turned by f, g / cos f.
    assert p.removed_mm - p.take_out_mm == pytest.approx(G / cos(f), abs=1e-8)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("post", ["A", "B", "C"])
def test_plumb_sides_close_to_the_root_gap_all_along(side, post):
    seam = pitched_box().seam(f"{post} {side}, side skin")
    assert (seam.gap_mm.min, seam.gap_mm.max) == pytest.approx((G, G), abs=1e-6)
    assert (seam.step_mm.min, seam.step_mm.max) == pytest.approx((0, 0), abs=1e-6)


def test_a_window_panel_that_comes_down_with_the_roof():
    """The weld's length is among the outside checks; six posts of 200 each."""
    r = box_with_window()
    assert r.totals.weld_by_kind_mm["post"] == pytest.approx(6 * 200, abs=1e-9)
    assert sum(r.totals.weld_by_kind_mm.values()) == pytest.approx(r.totals.weld_mm, abs=1e-9)
    # Above the cut it opens by the kerf only.
    assert r.seam("window panel to roof").gap_mm.max == pytest.approx(KERF, abs=1e-6)
    assert r.window.rear_opening_change_mm < 1e-9
    assert r.window.rear_down_mm == pytest.approx(D, abs=1e-9)


@pytest.mark.parametrize(("lay", "rear"), [(3.0, 0.0), (6.5, 20.0)])
def test_rear_rake_after_lay_down(lay, rear):
    """Rake from plumb −c before, −c − lay-down after: top towards the front."""
    car = flat_car(rear_deg=rear)
    plan = Plan(
        roof=RoofMove(front_drop_mm=30, rear_drop_mm=30), window=WindowMove(forward_mm=25, lay_down_deg=lay)
    )
    w = evaluate(car, plan).window
    assert w.rear_rake_before_deg == pytest.approx(-rear, abs=1e-6)
    assert w.rear_rake_after_deg == pytest.approx(-rear - lay, abs=1e-6)
    assert w.rear_opening_change_mm < 1e-9
    assert w.rear_forward_mm == 25 and w.rear_lay_down_deg == lay
    np.testing.assert_allclose(
        w.rear_pivot_mm,
        [1500 - (120 - FLANGE * cos(rear)) * tan(rear), 0, 120 - FLANGE * cos(rear)],
        atol=1e-6,
    )


def test_centre_divider():
    """A straight post of side ``centre`` in the windshield: lean a, no front lean, no miss."""
    report = evaluate(
        flat_car(rake_deg=A, divider=True), Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D))
    )
    p = report.post("divider", "centre")
    assert p.take_out_mm == pytest.approx(D / cos(A), abs=1e-9)
    assert (p.miss_fore_aft_mm, p.miss_across_mm) == pytest.approx((0, 0), abs=1e-9)
    assert [e.edge for e in p.edges] == ["axis", "front right", "front left", "rear left", "rear right"]
    # 80 of skin between the panes, 24 of it the divider's own depth.
    assert report.seam("divider centre, front skin").length_mm == pytest.approx(80 - 24, abs=0.01)
    assert report.seam("divider centre, post").length_mm == pytest.approx(2 * (30 / cos(A) + 24), abs=1e-9)
