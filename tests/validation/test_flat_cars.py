"""Cars of flat panels, their whole report worked by hand.

The wedge (:func:`invented_cars.wedge_car`): sides y = ±(700 − z tan b) with b = 14°, windshield x = z tan a
with a = 32°, back x = 1500 − z tan c with c = 20°, roof falling 3°; every cut level at z = 240; drop d = 50
front and rear, so no pitch; slide s = d tan a forward; opening g = root gap 0.8 (the drop takes more than the
kerf).  The upper cut is level at 240 + d + g and lands at 240 + g.

Side seam.  T = x, N = (0, cos b, sin b), B = (0, −sin b, cos b).  From a point of the lower edge to the upper
one: r = (0, −(d + g) tan b, g):
    gap  = r·B = (d + g) tan b sin b + g cos b = d tan b sin b + g / cos b
    step = r·N = −(d + g) sin b + g sin b = −d sin b           (the upper skin stands in)
Front seam.  The roof goes down in the windshield's own plane: gap g / cos a, step 0.
Back seam.  N = (cos c, 0, sin c), B = (−sin c, 0, cos c), r = (−(d + g) tan c − s, 0, g):
    gap  = ((d + g) tan c + s) sin c + g cos c
    step = −((d + g) tan c + s) cos c + g sin c = −d sin c − s cos c

Lengths: the lower edge from opening to opening or to the corner of the car, less the post's own section.  A
post of width w and depth h covers w / w_x of a level line along x and h / d_y of one along y; w and d are the
section's unit axes: w_x = √(1 − t_x²), d = t × w.
"""

from functools import lru_cache

import numpy as np
import pytest
from invented_cars import box_car, flat_car, tan, wedge_car

from model.evaluate import evaluate
from model.plan import Plan, RoofMove, WindowMove

A, B_, C = 32.0, 14.0, 20.0
D, G, KERF = 50.0, 0.8, 1.2
S = D * tan(A)
CUT = 240.0
LEANS = {"A": A, "B": 0.0, "C": -C}


def sin(x):
    return np.sin(np.radians(x))


def cos(x):
    return np.cos(np.radians(x))


@lru_cache(maxsize=2)
def wedge():
    plan = Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D), kerf_mm=KERF, root_gap_mm=G)
    return evaluate(wedge_car(), plan)


def section(lean):
    t = np.array([tan(lean), -tan(B_), 1.0])
    t /= np.linalg.norm(t)
    w = np.array([1.0, 0, 0]) - t[0] * t
    w /= np.linalg.norm(w)
    return t, w, np.cross(t, w)


def door_front_x():
    """The door glass' raked front edge, at the cut: from (200 + 30 tan a, 60) to (450, top)."""
    top = 0.85 * wedge_car().hoops[-1].right_mm[2][2]
    low = 200 + 30 * tan(A)
    return low + (CUT - 60) / (top - 60) * (450 - low)


SIDE_EDGES = {"A": (CUT * tan(A), door_front_x()), "B": (700.0, 800.0), "C": (1050.0, 1500 - CUT * tan(C))}
HALF = 700 - CUT * tan(B_)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("post", ["A", "B", "C"])
def test_posts(side, post):
    p = wedge().post(post, side)
    a, b = tan(LEANS[post]), tan(B_)
    assert p.take_out_mm == pytest.approx(D * np.sqrt(1 + a * a + b * b), abs=1e-9)
    assert p.removed_mm == pytest.approx((D + G) * np.sqrt(1 + a * a + b * b), abs=1e-9)
    assert p.miss_fore_aft_mm == pytest.approx(D * a - S, abs=1e-8)
    assert p.miss_across_mm == pytest.approx(D * b, abs=1e-9)
    _, w, d = section(LEANS[post])
    t = section(LEANS[post])[0]
    flat = [30 * i * w + 20 * j * d for i, j in ((-1, -1), (-1, 1), (1, 1), (1, -1))]
    flat = [q - q[2] / t[2] * t for q in flat]
    assert p.bead_mm == pytest.approx(sum(np.linalg.norm(flat[i] - flat[i - 1]) for i in range(4)), abs=1e-9)
    assert wedge().seam(f"{post} {side}, post").length_mm == pytest.approx(p.bead_mm, abs=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("post", ["A", "B", "C"])
def test_side_seams(side, post):
    seam = wedge().seam(f"{post} {side}, side skin")
    low, high = SIDE_EDGES[post]
    over = 60 / section(LEANS[post])[1][0]
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
    assert front.over_post_mm == pytest.approx(40 / abs(section(A)[2][1]), abs=0.01)
    assert (front.gap_mm.min, front.gap_mm.max) == pytest.approx((G / cos(A),) * 2, abs=1e-6)
    assert (front.step_mm.min, front.step_mm.max) == pytest.approx((0, 0), abs=1e-6)
    assert back.edge_mm == pytest.approx(HALF - 300, abs=0.01)
    assert back.over_post_mm == pytest.approx(40 / abs(section(-C)[2][1]), abs=0.01)
    gap = ((D + G) * tan(C) + S) * sin(C) + G * cos(C)
    assert (back.gap_mm.min, back.gap_mm.max) == pytest.approx((gap,) * 2, abs=1e-6)
    assert (back.step_mm.min, back.step_mm.max) == pytest.approx((-D * sin(C) - S * cos(C),) * 2, abs=1e-6)


def test_weld_total():
    """Everything above, left and right; no other seam exists."""
    sides = sum(high - low - 60 / section(LEANS[p])[1][0] for p, (low, high) in SIDE_EDGES.items())
    front = HALF - 460 - 40 / abs(section(A)[2][1])
    back = HALF - 300 - 40 / abs(section(-C)[2][1])
    beads = sum(wedge().post(p, "right").bead_mm for p in "ABC")
    totals = wedge().totals
    assert totals.weld_by_kind_mm == pytest.approx(
        {"skin": 2 * (sides + front + back), "post": 2 * beads}, abs=0.1
    )
    assert totals.weld_mm == pytest.approx(2 * (sides + front + back + beads), abs=0.1)
    assert totals.weld_by_side_mm == pytest.approx(
        {"right": totals.weld_mm / 2, "left": totals.weld_mm / 2}, abs=1e-6
    )
    assert len(wedge().seams) == 2 * (3 + 1 + 1 + 3)


def test_totals_and_glass():
    """Windshield pane from z = 100 to 400 in its plane: (300 − d) / cos a after, rake unchanged.
    Roof highest at its front edge, 480.  Rear window, cut across, plumb 300 of its rake −c."""
    t, w = wedge().totals, wedge().window
    assert (t.roof_forward_mm, t.roof_pitch_deg) == pytest.approx((S, 0), abs=1e-9)
    assert (t.height_before_mm, t.height_after_mm) == pytest.approx((480, 430), abs=1e-6)
    assert w.windshield_height_before_mm == pytest.approx(300 / cos(A), abs=1e-6)
    assert w.windshield_height_after_mm == pytest.approx((300 - D) / cos(A), abs=1e-6)
    assert (w.windshield_plumb_before_mm, w.windshield_plumb_after_mm) == pytest.approx((300, 250), abs=1e-6)
    assert (w.windshield_rake_before_deg, w.windshield_rake_after_deg) == pytest.approx((A, A), abs=1e-6)
    assert w.rear_rake_before_deg == pytest.approx(-C, abs=1e-6)
    # Removed: a band d + g high all round, less the openings across it.
    band = D + G
    z = CUT + band / 2  # middle of every trapezium
    top = 0.85 * wedge_car().hoops[-1].right_mm[2][2]
    low = 200 + 30 * tan(A)
    door = low + (z - 60) / (top - 60) * (450 - low)
    side = (door - z * tan(A) + 100 + 1500 - z * tan(C) - 1050) * band / cos(B_)
    half = 700 - z * tan(B_)
    ends = (half - 460) * band / cos(A) + (half - 300) * band / cos(C)
    assert t.removed_area_mm2 == pytest.approx(2 * (side + ends), rel=1e-4)


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


@lru_cache(maxsize=2)
def pitched_box():
    plan = Plan(
        roof=RoofMove(front_drop_mm=40, rear_drop_mm=70, fore_aft="straight-down"),
        kerf_mm=KERF,
        root_gap_mm=G,
    )
    return evaluate(box_car(), plan)


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


def test_box_weld_and_window_seam():
    """d = 50 all round, no slide.  Sides: A from 0 to the door glass' raked edge at z = 240 (x = 200 + 250 ·
    180 / 348 on its way from (200, 60) to (450, 408)), B 100, C 450; front 700 − 460, back to the kerf line
    at 300 + flange + kerf; each less its post (60 along x, 40 along y).  Posts 200 each.

    Window: the kerf line's perimeter 2 (600 + 264) − 8·40 + 2π (40 + flange + kerf), less the slug on
    either side of it, d + g high."""
    flange = 19.05
    plan = Plan(
        roof=RoofMove(front_drop_mm=D, rear_drop_mm=D),
        window=WindowMove(flange_mm=flange),
        kerf_mm=KERF,
        root_gap_mm=G,
    )
    r = evaluate(box_car(), plan)
    door = 200 + 250 * 180 / 348
    skin = door - 60 + 40 + 390 + (240 - 40) + (700 - 300 - flange - KERF - 40)
    window = 2 * 864 - 320 + 2 * np.pi * (40 + flange + KERF) - 2 * (D + G)
    assert r.totals.weld_by_kind_mm["skin"] == pytest.approx(2 * skin, abs=0.05)
    assert r.totals.weld_by_kind_mm["window"] == pytest.approx(window, abs=0.03)
    assert r.totals.weld_by_kind_mm["post"] == pytest.approx(6 * 200, abs=1e-9)
    assert r.totals.weld_mm == pytest.approx(2 * skin + window + 1200, abs=0.1)
    body = r.seam("window panel to body")
    # Down with the roof: above the cut it opens by the kerf only, below it laps by d − kerf.
    assert r.seam("window panel to roof").gap_mm.max == pytest.approx(KERF, abs=1e-6)
    assert body.gap_mm.min == pytest.approx(KERF - D, abs=0.01)
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
        w.rear_pivot_mm, [1500 - (120 - 19.05 * cos(rear)) * tan(rear), 0, 120 - 19.05 * cos(rear)], atol=1e-6
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
