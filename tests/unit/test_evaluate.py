"""One call, one record: sums that must hold on any car, refusals, and what one measured point touches."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from invented_cars import box_car, cell_area_mm2, flat_car, varied_car, varied_plan, with_point_moved

from model.built import build_on
from model.carfile import demo_car_names, demo_car_path, demo_plan_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked, evaluate, report_of
from model.limits import limits_of
from model.measured import KeepOut
from model.plan import GivenPlane, Plan, PostCut, PostShift, RoofMove, WindowMove
from model.planfile import read_plan
from model.shape import shape_of

KEYS = [*demo_car_names(), 1, 6, 7]


@lru_cache(maxsize=16)
def built_of(key):
    if isinstance(key, int):
        return build_checked(varied_car(key), varied_plan(varied_car(key), key))
    car = read_car(demo_car_path(key))
    return build_checked(car, read_plan(demo_plan_path(key), car))


@lru_cache(maxsize=16)
def report(key):
    return report_of(built_of(key))


@pytest.mark.parametrize("key", KEYS)
def test_weld_is_the_sum_of_its_seams(key):
    r = report(key)
    t = r.totals
    assert t.weld_mm == pytest.approx(sum(s.length_mm for s in r.seams), abs=1e-6)
    assert t.weld_mm == pytest.approx(sum(t.weld_by_kind_mm.values()), abs=1e-6)
    assert t.weld_mm == pytest.approx(sum(t.weld_by_side_mm.values()), abs=1e-6)
    for s in r.seams:
        assert s.length_mm == pytest.approx(s.edge_mm - s.over_post_mm, abs=1e-9)
        assert 0 <= s.facing_mm <= s.edge_mm + 1e-6 and s.length_mm > 0
        if s.gap_mm:
            assert s.gap_mm.min <= s.gap_mm.mean <= s.gap_mm.max
            gaps = [x.gap_mm for x in s.stations]
            assert (min(gaps), max(gaps)) == pytest.approx((s.gap_mm.min, s.gap_mm.max), abs=1e-9)
    assert len({(s.name, s.side) for s in r.seams}) == len(r.seams)


@pytest.mark.parametrize("key", KEYS)
def test_every_post_has_its_seam_and_its_bead(key):
    r = report(key)
    for p in r.posts:
        assert r.seam(f"{p.post} {p.side}, post").length_mm == pytest.approx(p.bead_mm, abs=1e-6)
        axis = p.edges[0]
        assert axis.edge == "axis"
        assert (axis.take_out_mm, axis.removed_mm) == (p.take_out_mm, p.removed_mm)
        assert axis.lower_mm[2] == pytest.approx(p.cut_height_mm, abs=1e-6)
        assert p.removed_mm > p.take_out_mm > 0


@pytest.mark.parametrize("key", KEYS)
def test_skin_area_is_kept_plus_removed(key):
    """Against the cells of the layout, integrated apart: metal and waste; the removed share is the waste."""
    cells = built_of(key).layout.cells
    waste = sum(cell_area_mm2(c) for c in cells if c.role == "waste")
    metal = sum(cell_area_mm2(c) for c in cells if c.role == "metal")
    t = report(key).totals
    assert t.skin_area_mm2 == pytest.approx(waste + metal, rel=1e-4)
    assert t.removed_area_mm2 == pytest.approx(waste, rel=1e-3)


@pytest.mark.parametrize("key", KEYS)
def test_rear_opening_keeps_its_shape(key):
    assert built_of(key).plan.window is not None
    assert report(key).window.rear_opening_change_mm < 1e-9


def test_roof_height_against_a_dense_lattice():
    built = built_of("coupe")
    u = np.linspace(0, 1, 401)
    uv = np.stack(np.meshgrid(u, u, indexing="ij"), axis=-1).reshape(-1, 2)
    points = built.shape.skin.grids["roof"].point(uv)
    t = report("coupe").totals
    assert t.height_before_mm == pytest.approx(points[:, 2].max(), abs=0.01)
    assert t.height_after_mm == pytest.approx(built.moves["roof"].points(points)[:, 2].max(), abs=0.01)


def test_no_plan_reports_the_car_as_it_stands():
    for car in (flat_car(), varied_car(2)):
        r = evaluate(car)
        assert r.posts == () and r.seams == () and r.interference == ()
        assert {f.kind for f in r.findings} <= {"left and right differ"}  # the varied car's sides do
        assert r.totals.weld_mm == 0 and r.totals.removed_area_mm2 == pytest.approx(0, abs=1e-6)
        assert r.totals.height_after_mm == pytest.approx(r.totals.height_before_mm, abs=1e-9)
        assert r.window.rear_rake_after_deg == pytest.approx(r.window.rear_rake_before_deg, abs=1e-12)
        assert r.window.windshield_height_after_mm == pytest.approx(
            r.window.windshield_height_before_mm, abs=1e-12
        )


def test_the_same_plan_gives_the_same_report_twice():
    """The second of a shape worked out anew, of which nothing is remembered."""
    car, plan = varied_car(6), varied_plan(varied_car(6), 6)
    anew = build_on(shape_of(car), plan)
    assert anew is not build_checked(car, plan)
    assert evaluate(car, plan).to_json() == report_of(anew).to_json()


# ---------------------------------------------------------------- refusals

DOWN = RoofMove(front_drop_mm=40.0, rear_drop_mm=40.0)
REFUSED = [
    (Plan(car="another", roof=DOWN), r"car must be 'flat cab'; this plan was drawn for 'another'"),
    (Plan(roof=RoofMove(front_drop_mm=-1.0)), r"front_drop must be between .* and .* on this car; got"),
    (Plan(roof=RoofMove(fore_aft=1e4)), r"fore_aft must be between .* on this car; got 10000"),
    (Plan(roof=DOWN, kerf_mm=9.0), r"kerf must be between .*6"),
    (Plan(roof=DOWN, root_gap_mm=-0.1), r"root_gap must be between"),
    (Plan(window=WindowMove(lay_down_deg=50.0)), r"lay_down must be between -10° and 45°; got 50°"),
    (Plan(window=WindowMove(flange_mm=1.0)), r"flange must be between"),
    (Plan(window=WindowMove(forward_mm=5000.0)), r"window_forward must be between"),
    (Plan(window=WindowMove(down_mm=2000.0)), r"window_down must be between"),
    (Plan(window=WindowMove(flange_mm=150.0)), r"flange .*"),
    (Plan(roof=DOWN, cuts=(PostCut(post="B", height_mm=50.0),)), r"cut_height\.B.*must be between"),
    (Plan(roof=RoofMove(front_drop_mm=300.0, rear_drop_mm=300.0)), r"drop must be at most"),
    (
        Plan(roof=DOWN, shifts=(PostShift(post="A", by=10.0),)),
        r"shift\.A\.right cannot be done: this post does not stand between two side openings",
    ),
    (Plan(roof=DOWN, shifts=(PostShift(post="C", by=10.0),)), r"shift\.C\.right cannot be done"),
    (Plan(roof=DOWN, shifts=(PostShift(post="B", by=240.0),)), r"shift\.B\.right must be less than"),
]


@pytest.mark.parametrize(("plan", "words"), REFUSED, ids=[words[:24] for _, words in REFUSED])
def test_refusals_name_the_parameter_and_the_limit(plan, words):
    with pytest.raises(ValueError, match=words) as refused:
        evaluate(flat_car(), plan)
    assert refused.value.next_step


@pytest.mark.parametrize("key", ["coupe", "pickup"])
def test_a_drop_at_its_limit_is_taken_and_past_it_refused(key):
    car = read_car(demo_car_path(key))
    plan = Plan(roof=RoofMove(front_drop_mm=40.0, rear_drop_mm=50.0))
    for which, other in (("front_drop", "rear_drop"), ("rear_drop", "front_drop")):
        limit = limits_of(car, plan)[which][1]
        held = {f"{other}_mm": getattr(plan.roof, f"{other}_mm")}
        build_checked(car, Plan(roof=RoofMove(**held, **{f"{which}_mm": limit - 0.05})))
        with pytest.raises(ValueError, match="drop"):
            build_checked(car, Plan(roof=RoofMove(**held, **{f"{which}_mm": limit + 0.05})))


def test_both_cuts_of_every_post_stay_on_its_stretch():
    for key in KEYS:
        built = built_of(key)
        for ends in built.ends.values():
            post = ends.line.post
            for s in (ends.s_lower, ends.s_upper):
                z = ends.line.lines(s)[0, 2]
                assert post.cut_from_mm - 1e-6 <= z <= post.cut_to_mm + 1e-6


# ---------------------------------------------------------------- findings


def kinds(r):
    return {f.kind for f in r.findings}


def test_windshield_six_inches():
    """WAC 204-10-024 (V): 152.4 mm of plumb glass; 300 mm pane: a drop of 147.6 leaves just that."""
    cut = (
        PostCut(post="A", height_mm=150.0),
        PostCut(post="B", height_mm=150.0),
        PostCut(post="C", height_mm=150.0),
    )

    def after(drop):
        return evaluate(flat_car(), Plan(roof=RoofMove(front_drop_mm=drop, rear_drop_mm=drop), cuts=cut))

    assert "windshield height" not in kinds(after(147.6))
    low = after(147.61)
    found = next(f for f in low.findings if f.kind == "windshield height")
    assert found.measured == pytest.approx(152.39, abs=1e-6) and found.limit == pytest.approx(152.4)
    assert "WAC 204-10-024" in found.source


def test_narrow_flange():
    """3/4 in keeps weld and grinding off the glass seat.  Common practice, no source."""
    assert "narrow flange" in kinds(evaluate(flat_car(), Plan(window=WindowMove(flange_mm=18.0))))
    assert "narrow flange" not in kinds(evaluate(flat_car(), Plan(window=WindowMove(flange_mm=19.05))))


def test_metal_to_be_put_in_where_a_plan_lifts():
    """Box, front 0, rear 60: at A's front edge (30 ahead of the hinge) the roof rises by 30 tan f."""
    r = evaluate(box_car(), Plan(roof=RoofMove(front_drop_mm=0, rear_drop_mm=60, fore_aft="straight-down")))
    f = np.tan(np.radians(r.totals.roof_pitch_deg))
    found = [x for x in r.findings if x.kind == "metal to be put in"]
    assert {x.where for x in found} == {"A right", "A left"}
    assert found[0].measured == pytest.approx(30 * f, abs=1e-6)


def test_interference_is_a_finding():
    body = KeepOut(
        name="roll bar",
        shape="cylinder",
        at_mm=(700.0, -300.0, 430.0),
        to_mm=(700.0, 300.0, 430.0),
        radius_mm=20.0,
    )
    r = evaluate(box_car(keep_outs=(body,)), Plan(roof=DOWN))
    found = [x for x in r.findings if x.kind == "interference"]
    assert len(found) == len(r.interference) >= 1
    assert "roll bar" in found[0].where and found[0].measured == r.interference[0].depth_mm


# ---------------------------------------------------------------- one measured point


@lru_cache(maxsize=8)
def moved_by_5(hoop, row, axis):
    car = read_car(demo_car_path("pickup"))
    plan = Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=62))
    step = [0.0, 0.0, 0.0]
    step[axis] = 5.0
    return evaluate(car, plan), evaluate(with_point_moved(car, hoop, row, tuple(step)), plan)


def changes(a, b):
    posts = {
        (p.post, p.side): max(
            abs(p.take_out_mm - b.post(p.post, p.side).take_out_mm),
            abs(p.miss_fore_aft_mm - b.post(p.post, p.side).miss_fore_aft_mm),
        )
        for p in a.posts
    }
    other = {(s.name, s.side): s for s in b.seams}
    seams = {
        (s.name, s.side): max(
            abs(s.length_mm - other[s.name, s.side].length_mm),
            abs(s.gap_mm.max - other[s.name, s.side].gap_mm.max)
            if s.gap_mm and other[s.name, s.side].gap_mm
            else 0,
        )
        for s in a.seams
    }
    return posts, seams


def test_a_skin_point_changes_the_skin_beside_it_and_no_post():
    """Posts are measured by their own axes: a mid-height point of the rear hoop, right, moves no post number;
    it changes the right rear seams, and the left side and the front hardly
    (through the averaged parameters only)."""
    before, after = moved_by_5("back", "mid", 0)
    posts, seams = changes(before, after)
    assert max(posts.values()) < 1e-9
    touched = {k for k, v in seams.items() if v > 0.2}
    assert touched and all("rear corner right" in k[0] for k in touched), touched
    assert seams["A left, side skin", "left"] < 0.05 and seams["A left, front skin", "left"] < 0.05
    assert before.totals.roof_pitch_deg == after.totals.roof_pitch_deg


def test_the_rear_point_changes_the_pitch():
    """5 mm rearward on the rear point lengthens X: the pitch falls by about 5 / X of it; A's take-out is
    unchanged at its own drop, the rear corner's follows the pitch."""
    car = read_car(demo_car_path("pickup"))
    hoop, row = car.rear_point
    before, after = moved_by_5(hoop, row, 0)
    x = car.rear_point_mm[0] - np.mean([before.post("A", s).edges[0].lower_mm[0] for s in ("right", "left")])
    assert after.totals.roof_pitch_deg / before.totals.roof_pitch_deg == pytest.approx(1 - 5 / x, abs=5e-4)
    assert after.post("A", "right").drop_mm == pytest.approx(before.post("A", "right").drop_mm, abs=0.05)
    assert after.post("rear corner", "right").take_out_mm < before.post("rear corner", "right").take_out_mm


def test_a_post_point_changes_its_own_post_and_no_other():
    car = read_car(demo_car_path("pickup"))
    plan = Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=62))
    posts = []
    for p in car.all_posts():
        if (p.name, p.side) == ("rear corner", "right"):
            axis = [list(q) for q in p.axis_mm]
            axis[-1][0] += 5.0
            p = replace(p, axis_mm=tuple(map(tuple, axis)))
        posts.append(p)
    a, b = evaluate(car, plan), evaluate(replace(car, posts=tuple(posts)), plan)
    moved, _ = changes(a, b)
    assert moved.pop(("rear corner", "right")) > 0.2
    assert max(moved.values()) < 1e-9


def test_given_plane_reaches_the_report():
    r = evaluate(
        flat_car(),
        Plan(roof=DOWN, cuts=(PostCut(post="B", side="left", plane=GivenPlane(rises_rearward_deg=10)),)),
    )
    assert r.post("B", "left").cut == "given" and r.post("B", "right").cut == "level"
    marks = {e.edge: e.lower_mm for e in r.post("B", "left").edges}
    rise = marks["rear outer"][2] - marks["front outer"][2]
    assert rise == pytest.approx(60 * np.tan(np.radians(10)), abs=1e-9)


def test_a_lower_cut_off_its_post_is_not_blamed_on_a_drop():
    car = read_car(demo_car_path("pickup"))
    plan = Plan(roof=RoofMove(front_drop_mm=65, rear_drop_mm=65), cuts=(PostCut(post="A", height_mm=1101.0),))
    with pytest.raises(PlanError, match=r"^cut_height\.A\.right must be between 1130\.3 and 1460\.5 mm"):
        evaluate(car, plan)


def test_a_finding_too_small_for_the_tape_is_not_told_as_nothing():
    """The coupe's own plan has laps and steps of a few tenths of a millimetre at the shifted posts."""
    car = read_car(demo_car_path("coupe"))
    report = evaluate(car, read_plan(demo_plan_path("coupe"), car))
    messages = [f.message for f in report.findings]
    assert any('under 1/32"' in m for m in messages)
    assert not [m for m in messages if ' 0" ' in m]
