"""A pie cut beside a post: closed forms, where the ends land worked out anew, what it changes."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from invented_cars import flat_car
from sample_reports import validator
from test_report_schema import as_json

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked, evaluate, fit_report_of
from model.output.html import posts_html
from model.output.text import report_text
from model.plan import Plan, PostLean, PostPieCut, RoofMove
from model.plandict import plan_from_dict, plan_to_dict
from model.planfile import read_plan, write_plan
from model.plansettings import plan_with_settings
from model.weldplan import weld_plan

CASES = [("coupe", "A"), ("coupe", "C"), ("pickup", "A"), ("pickup", "rear corner")]


@lru_cache
def given(name):
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_plan_path(name), car)


@lru_cache
def built(name, post=None):
    car, plan = given(name)
    return build_checked(car, plan.changed(pie_cuts=(PostPieCut(post=post),) if post else ()))


@lru_cache
def reported(name, post=None):
    return fit_report_of(built(name, post))


@pytest.mark.parametrize(("name", "post"), CASES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_mouth_and_waste_in_closed_form(name, post, side):
    """Mouth 2 L sin(θ/2), between marks that are a root gap apart once closed; area L² sin θ / 2 + L g."""
    cut, gap = reported(name, post).post(post, side).pie_cut, given(name)[1].root_gap_mm
    end, loose, stays = (np.array(p) for p in (cut.end_mm, cut.loose_mm, cut.stays_mm))
    assert cut.leg_mm == pytest.approx(np.linalg.norm(loose - end), abs=1e-9)
    angle = np.radians(cut.turn_deg)
    assert cut.mouth_mm == pytest.approx(2 * cut.leg_mm * np.sin(angle / 2), abs=1e-9)
    inner = np.sqrt(np.linalg.norm(stays - end) ** 2 - gap**2)  # the side that stays, its root gap put back
    assert inner == pytest.approx(cut.leg_mm, abs=1e-9)
    across = np.cross(loose - end, stays - end)
    whole = angle + np.arctan2(gap, cut.leg_mm)
    assert np.linalg.norm(across) == pytest.approx(
        cut.leg_mm * np.hypot(cut.leg_mm, gap) * np.sin(whole), rel=1e-9
    )
    assert cut.area_mm2 == pytest.approx(cut.leg_mm**2 * np.sin(angle) / 2 + cut.leg_mm * gap, abs=1e-6)
    sign = 1 if side == "left" else -1
    assert sign * (stays - loose)[1] > 0  # drawn inboard


@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_ends_meet_across_where_they_are_worked_out_anew(name, post):
    """The turned cut, found from its marks' turn; the moved axis as a line of many points through it."""
    for side in ("right", "left"):
        found = reported(name, post).post(post, side)
        assert abs(found.miss_across_mm) < 1e-9
        ends, pie = built(name, post).ends[post, side], found.pie_cut
        end = np.array(pie.end_mm)
        before = np.array(pie.loose_mm) - end
        axis = np.array([1.0, 0, 0]) - before[0] * before / (before @ before)
        axis /= np.linalg.norm(axis)
        landed = built(name, post).moves[f"{post} {side} lower"].points(np.array(pie.loose_mm)) - end
        turn = np.arctan2(axis @ np.cross(before, landed), before @ landed)
        assert abs(np.degrees(turn)) == pytest.approx(pie.turn_deg, abs=1e-9)
        k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        rotation = np.eye(3) + np.sin(turn) * k + (1 - np.cos(turn)) * k @ k
        centre = end + rotation @ (ends.plane.point_mm - end)
        normal = rotation @ ends.plane.normal
        axis_points = ends.move.points(ends.line.frame(np.linspace(0, 1, 200001))[0])
        height = (axis_points - centre) @ normal
        crossing = int(np.nonzero(np.diff(np.sign(height)))[0][-1])
        share = height[crossing] / (height[crossing] - height[crossing + 1])
        at = axis_points[crossing] + share * (axis_points[crossing + 1] - axis_points[crossing])
        miss = at - centre
        rearward = rotation @ (np.array([1.0, 0, 0]) - ends.plane.normal[0] * ends.plane.normal)
        rearward /= np.linalg.norm(rearward)
        assert miss @ rearward == pytest.approx(found.miss_fore_aft_mm, abs=1e-6)
        assert np.linalg.norm(miss - (miss @ rearward) * rearward) < 1e-6


@pytest.mark.parametrize(("name", "post"), CASES)
def test_choosing_it_changes_seams_weld_and_waste_and_leaves_the_sheet(name, post):
    before, after = reported(name), reported(name, post)
    cuts = [after.post(post, side).pie_cut for side in ("right", "left")]
    seams = [seam for seam in after.seams if seam.kind == "pie cut"]
    assert [seam.name for seam in seams] == [f"{post} {side}, pie cut" for side in ("right", "left")]
    for seam, cut in zip(seams, cuts, strict=True):
        assert seam.length_mm == pytest.approx(cut.leg_mm, abs=1e-6)
        assert (seam.gap_mm.min, seam.gap_mm.max) == pytest.approx([given(name)[1].root_gap_mm] * 2, abs=1e-9)
        assert max(abs(seam.step_mm.min), abs(seam.step_mm.max)) < 1e-9
    kinds = after.totals.weld_by_kind_mm
    assert kinds["pie cut"] == pytest.approx(sum(cut.leg_mm for cut in cuts), abs=1e-6)
    assert after.totals.weld_mm == pytest.approx(sum(kinds.values()))
    waste = after.totals.removed_area_mm2 - before.totals.removed_area_mm2
    assert waste == pytest.approx(sum(cut.area_mm2 for cut in cuts), abs=1e-4)
    for seam in before.seams:
        if seam.kind != "post":
            assert after.seam(seam.name).gap_mm == seam.gap_mm
    for side in ("right", "left"):
        assert before.post(post, side).chosen == ("leave",) and "pie cut" in after.post(post, side).chosen
        told = next(r for r in before.post(post, side).remedies if r.kind == "pie cut")
        cut = after.post(post, side).pie_cut
        assert told.numbers["mouth_mm"] == pytest.approx(cut.mouth_mm, abs=1e-9)
        assert told.numbers["kink_deg"] == pytest.approx(cut.turn_deg, abs=1e-9)
        assert told.seams[0].length_mm == pytest.approx(
            after.seam(f"{post} {side}, pie cut").length_mm, abs=1e-6
        )


@pytest.mark.parametrize(("name", "post"), CASES)
def test_what_the_sheet_over_the_post_does_is_told(name, post):
    """The middle of the outer face goes along a chord of its own circle about the leg's end: 2 R sin(θ/2)."""
    report = reported(name, post)
    for side in ("right", "left"):
        pie = next(p for p in built(name, post).pie_cuts if p.key == (post, side))
        cut = report.post(post, side).pie_cut
        off = pie.outer_mm - pie.end_mm
        radius = np.linalg.norm(off - (off @ pie.axis) * pie.axis)
        assert cut.sheet_in_mm == pytest.approx(2 * radius * np.sin(np.radians(cut.turn_deg) / 2), abs=1e-9)
        (told,) = [
            f for f in report.findings if (f.kind, f.where) == ("sheet to be drawn in", f"{post} {side}")
        ]
        assert told.measured == cut.sheet_in_mm and f"{cut.turn_deg:.1f}°" in told.message
        assert "before the pull" in told.message
    assert not [f for f in reported(name).findings if f.kind == "sheet to be drawn in"]
    text = " ".join(report_text(report).split())
    assert "it is bent, not cut" in text and "sheet comes in" in text


def test_it_is_welded_before_the_roof_meets_its_post():
    plan = weld_plan(built("coupe", "C"), reported("coupe", "C"))
    tacked = [step.seams for step in plan.steps if step.do == "tack"]
    assert set(tacked[0]) == {"C right, pie cut", "C left, pie cut"}
    assert sum(run.length_mm for seam in plan.seams if seam.kind == "pie cut" for run in seam.runs) == (
        pytest.approx(reported("coupe", "C").totals.weld_by_kind_mm["pie cut"], abs=1e-6)
    )


def test_text_and_schema_have_it():
    report = reported("coupe", "C")
    validator("report").validate(as_json(report.to_json()))
    text = report_text(report)
    assert "POSTS: DRAWN IN" in text and "C right, pie cut" in text and "local codes" in text
    assert "along rear outer" in text and max(map(len, text.splitlines())) <= 100
    assert "C right (the plan: pie cut): Shift" in text and "A right (the plan: leave): Draw" in text
    assert "the plan: pie cut" not in report_text(reported("coupe"))
    assert ">pie cut</td>" in posts_html(report) and ">pie cut</td>" not in posts_html(reported("coupe"))
    assert "POSTS: DRAWN IN" not in report_text(reported("coupe"))


def test_where_there_is_nothing_to_draw_in_there_is_no_cut():
    car = flat_car(rake_deg=20.0)  # no tumblehome: nothing misses across
    plan = Plan(roof=RoofMove(front_drop_mm=40.0, rear_drop_mm=40.0), pie_cuts=(PostPieCut(post="A"),))
    report = evaluate(car, plan)
    assert report.post("A", "right").pie_cut is None
    assert all(seam.kind != "pie cut" for seam in report.seams)
    assert report.to_json()["posts"] == evaluate(car, plan.changed(pie_cuts=())).to_json()["posts"]


def test_what_cannot_be_drawn_in_is_refused():
    car, plan = given("coupe")
    with pytest.raises(PlanError, match="no sheet across the car round the corner"):
        evaluate(car, plan.changed(pie_cuts=(PostPieCut(post="B"),)))
    both = plan.changed(pie_cuts=(PostPieCut(post="A"),), leans=(PostLean(post="A", side="left"),))
    with pytest.raises(PlanError, match="must not come with a lean"):
        plan_with_settings(both, [], car)


def test_files_dicts_and_settings_keep_it(tmp_path):
    car, plan = given("coupe")
    chosen = plan_with_settings(plan, ["pie_cut.C=meet", "pie_cut.A.left=meet"], car)
    assert chosen.pie_cuts == (PostPieCut(post="C"), PostPieCut(post="A", side="left"))
    assert plan_from_dict(plan_to_dict(chosen)) == chosen
    write_plan(chosen, car, tmp_path / "chosen.toml")
    assert read_plan(tmp_path / "chosen.toml", car) == chosen
    fewer = plan_with_settings(chosen, ["pie_cut.C.left=none"], car)
    assert fewer.has_pie_cut("C", "right") and not fewer.has_pie_cut("C", "left")
    assert plan_with_settings(fewer, ["pie_cut.C=none", "pie_cut.A=none"], car) == plan
    with pytest.raises(PlanError, match="must be meet or none"):
        plan_with_settings(plan, ["pie_cut.C=10"], car)
    laid_back = replace(plan, way="laid-back", pie_cuts=(PostPieCut(post="C"), PostPieCut(post="A")))
    found = evaluate(car, laid_back)
    assert found.post("C", "right").chosen == ("pie cut",) and found.post("A", "right").chosen == ("lean",)
