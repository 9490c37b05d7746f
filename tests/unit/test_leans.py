"""Leaned posts: where they may be hinged, how they turn, what is cut loose with them; refusals."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from model.carfile import demo_car_path, demo_laid_back_path, read_car
from model.errors import PlanError
from model.evaluate import build_checked, report_of
from model.hinges import hinge_at
from model.leanreport import lean_report
from model.measured import Post
from model.moves import pitch_about, translation, turn_between
from model.output.text import report_text
from model.placing import lean_move
from model.plan import STRAIGHT_DOWN, Plan, PostCut, PostLean, RoofMove
from model.plandict import plan_from_dict, plan_to_dict
from model.planfile import plan_toml, read_plan
from model.plansettings import plan_with_settings
from model.postlines import PostLine
from model.posts import cut_plane, post_ends

CARS = ("coupe", "pickup")


@pytest.fixture(scope="module", params=CARS)
def laid_back(request):
    car = read_car(demo_car_path(request.param))
    return build_checked(car, read_plan(demo_laid_back_path(request.param), car))


@pytest.fixture(scope="module")
def coupe():
    return read_car(demo_car_path("coupe"))


def leaned(way="meet", cut_in=51.0, post="A", **changed):
    return Plan(
        roof=RoofMove(front_drop_mm=57.15, rear_drop_mm=76.2, fore_aft=STRAIGHT_DOWN),
        cuts=(PostCut(post=post, height_mm=round(cut_in * 25.4, 6)),) if cut_in else (),
        leans=(PostLean(post=post, lean=way, **changed),),
    )


def bent(side):
    sign = 1.0 if side == "right" else -1.0
    axis = ((0.0, 600.0, 0.0), (50.0, 590.0, 130.0), (130.0, 565.0, 270.0), (250.0, 520.0, 400.0))
    return PostLine(
        Post(
            name="A",
            side=side,
            axis_mm=tuple((x, sign * y, z) for x, y, z in axis),
            width_mm=60.0,
            depth_mm=40.0,
            wall_mm=1.5,
            cut_from_mm=60.0,
            cut_to_mm=340.0,
            cut_at_mm=260.0,
        )
    )


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("plane", ["level", "square"])
def test_a_bent_post_meets_as_a_search_in_space_says(side, plane):
    """Three unknowns, two turns and how far up the axis, found by least squares on where the points are."""
    line = bent(side)
    cut = cut_plane(line, PostCut(post="A", plane=plane))
    roof = translation(0, 0, -45.0) @ pitch_about((300, 0, 500), 0.7)
    hinge = line.frame(line.axis_at_height(40.0))[0][0]
    move = lean_move(PostLean(post="A", lean="meet-both-ways"), line, cut, roof, hinge)
    ends = post_ends(line, cut, roof, kerf_mm=1.2, root_gap_mm=0.8, lower_move=move)
    assert ends.miss_mm == pytest.approx((0, 0), abs=1e-8)

    def apart(x):
        side_view, front_view, s = x
        c, d = np.cos(front_view), np.sin(front_view)
        roll = np.array([[1, 0, 0], [0, c, -d], [0, d, c]])
        turned = pitch_about((0, 0, 0), np.degrees(side_view)).rotation @ roll @ (cut.point_mm - hinge)
        return hinge + turned - roof.points(line.frame(s)[0][0])

    found = least_squares(apart, [0.05, 0.0, 0.7], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert np.abs(found.fun).max() < 1e-8
    assert ends.s_take[0] == pytest.approx(found.x[2], abs=1e-9)
    np.testing.assert_allclose(
        move.points(cut.point_mm), roof.points(line.frame(found.x[2])[0][0]), atol=1e-7
    )


def test_a_post_leaned_fore_and_aft_keeps_its_miss_across():
    line = bent("right")
    cut, roof = cut_plane(line, PostCut(post="A", plane="level")), translation(0, 0, -45.0)
    hinge = line.frame(0.1)[0][0]
    move = lean_move(PostLean(post="A"), line, cut, roof, hinge)
    ends = post_ends(line, cut, roof, kerf_mm=1.2, root_gap_mm=0.8, lower_move=move)
    fore_aft, across = ends.miss_mm
    landing = roof.points(line.lines(ends.s_take)[0])
    assert fore_aft == pytest.approx(0, abs=1e-9)
    assert across == pytest.approx(-(landing - move.points(cut.point_mm))[1], abs=1e-9)
    assert np.allclose(move.rotation[1], [0, 1, 0])


def test_a_given_lean_is_the_lean_afterwards():
    line = bent("left")
    cut, hinge = cut_plane(line, PostCut(post="A", plane="level")), line.frame(0.1)[0][0]
    move = lean_move(PostLean(post="A", lean=33.0), line, cut, translation(0, 0, -45.0), hinge)
    reach = move.points(cut.point_mm) - hinge
    assert np.degrees(np.arctan2(reach[0], reach[2])) == pytest.approx(33.0, abs=1e-12)


def test_least_turn_between_directions():
    a, b = np.array([1.0, 2.0, 2.0]), np.array([0.5, -1.0, 3.0])
    move = turn_between((3.0, 4.0, 5.0), a, b)
    np.testing.assert_allclose(move.vectors(a / 3), b / np.linalg.norm(b), atol=1e-14)
    np.testing.assert_allclose(move.vectors(np.cross(a, b)), np.cross(a, b), atol=1e-13)
    np.testing.assert_allclose(move.rotation @ move.rotation.T, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(move.points((3.0, 4.0, 5.0)), (3.0, 4.0, 5.0), atol=1e-14)


@pytest.mark.parametrize("turn_deg", [-8.0, -0.5, 0.0, 0.5, 8.0])
@pytest.mark.parametrize(("kerf", "gap"), [(1.6, 0.8), (0.5, 1.4)])
def test_the_wedge_leaves_the_blade_its_kerf_and_the_weld_its_gap(turn_deg, kerf, gap):
    """All over what is cut: sawn out at least the kerf, left open at least the root gap, and both just so."""
    point, up = np.array([10.0, 600.0, 40.0]), np.array([0.5, -0.2, 1.0])
    up = up / np.linalg.norm(up)
    along = np.array([1.0, 0.0, 0.0]) - up[0] * up
    across = np.cross(up, along)
    reach = point + np.array([[-30.0, 20.0], [45.0, -15.0]]) @ np.array([along, across])
    move = pitch_about(point, turn_deg)
    hinge = hinge_at(point, up, move, reach, kerf_mm=kerf, root_gap_mm=gap)
    share = np.linspace(0, 1, 41)[:, None]
    low = reach[0] + share * (reach[1] - reach[0])
    normal = np.array(hinge.loose.normal)
    high = low - np.outer(hinge.loose.height_above(low) / (normal @ up), up)
    sawn = hinge.foot.height_above(high)
    left = hinge.foot.height_above(move.points(high))
    assert min(sawn.min() - kerf, left.min() - gap) == pytest.approx(0, abs=1e-6)
    if abs(turn_deg) > 1:
        assert sawn.min() == pytest.approx(kerf, abs=0.05)
        assert left.min() == pytest.approx(gap, abs=0.05)


def test_the_ends_of_a_laid_back_car_meet_and_nothing_runs_into_anything(laid_back):
    report = report_of(laid_back)
    for post in (p for p in report.posts if p.lean):
        assert post.miss_fore_aft_mm == pytest.approx(0, abs=1e-8)
        assert post.miss_across_mm == pytest.approx(0, abs=1e-8)
        assert post.lean.lean_side_after_deg > post.lean.lean_side_before_deg + 5
        assert post.lean.edges[0].foot_mm == pytest.approx(post.lean.hinge_mm, abs=1e-9)
        # A straight post: H and the reach are what the closed form has them for.
        hinge = np.array(post.lean.hinge_mm)
        length = np.linalg.norm(np.array(post.edges[0].lower_mm) - hinge)
        axis = np.array(laid_back.shape.lines[post.post, post.side].post.axis_mm)
        up = (axis[1] - axis[0]) / np.linalg.norm(axis[1] - axis[0])
        assert post.take_out_mm == pytest.approx(post.lean.height_mm / up[2] - length, abs=1e-8)
    names = {piece for item in report.interference for piece in item.pieces}
    assert not [name for name in names if name.endswith("lower")]
    hinges = [seam for seam in report.seams if seam.kind == "hinge"]
    assert {seam.pieces for seam in hinges} == {("body", lean.piece) for lean in laid_back.leans}
    for seam in hinges:
        assert seam.facing_mm == pytest.approx(seam.edge_mm)
        assert 0.5 < seam.gap_mm.min <= seam.gap_mm.max < 15
    assert report.window.windshield_rake_after_deg > report.window.windshield_rake_before_deg + 3
    text = report_text(report)
    assert "POSTS: LEANED" in text and "holds nothing until it is welded" in text
    assert max(map(len, text.splitlines())) <= 100


def test_the_windshield_is_laid_back_with_the_posts_beside_it(laid_back):
    panes = [c for c in laid_back.layout.cells if c.part.startswith("pane windshield")]
    assert {c.carrier for c in panes if c.carrier != "roof"} <= {lean.piece for lean in laid_back.leans}


def test_a_lean_that_changes_nothing_leaves_every_number_of_the_post(coupe):
    """Leaned to the lean it has: cut around, but nothing turns."""
    plain = build_checked(coupe, leaned(cut_in=50.0).changed(leans=()))
    line, plane = plain.shape.lines["A", "right"], plain.ends["A", "right"].plane
    built = build_checked(coupe, leaned(cut_in=50.0, hinge_mm=1090.0))
    hinge = np.array(built.ends["A", "right"].hinge.point_mm)
    reach = plane.point_mm - hinge
    still = build_checked(
        coupe,
        leaned(way=float(np.degrees(np.arctan2(reach[0], reach[2]))), cut_in=50.0, hinge_mm=1090.0),
    )
    for side in ("right", "left"):
        old, new = plain.ends["A", side], still.ends["A", side]
        np.testing.assert_allclose(new.take_out_mm, old.take_out_mm, atol=1e-6)
        np.testing.assert_allclose(new.miss_mm, old.miss_mm, atol=1e-6)
    gaps = [mark.gap_mm for mark in lean_report(still.ends["A", "right"]).edges]
    assert gaps == pytest.approx([1.2] * 5, abs=1e-6)
    assert line.is_straight


@pytest.mark.parametrize(
    ("plan", "rule"),
    [
        (leaned(post="C", cut_in=None), "this post has no side glass behind it"),
        (leaned(cut_in=None, hinge_mm=1130.0), "hinge_height.A.right must be between .*; got"),
        (leaned(hinge_mm=1000.0), "hinge_height.A.right must be between"),
        (leaned(cut_in=42.0), "no height is both.*Cut this post higher"),
        (leaned(way=60.0), "must turn the lower end by at most 20 degrees"),
        (leaned(post="Q", cut_in=None), "must name a post"),
        (leaned(way=89.0), "must be at most 75 degrees from plumb"),
        (leaned(way="meat"), "must be meet or meet-both-ways"),
    ],
)
def test_a_lean_that_cannot_be_is_refused(coupe, plan, rule):
    from model.plancheck import check_plan

    with pytest.raises(PlanError, match=rule):
        check_plan(plan, coupe)
        build_checked(coupe, plan)


def test_a_post_between_two_openings_is_cut_loose_on_its_side_alone(coupe):
    built = build_checked(coupe, leaned(way=2.0, post="B", cut_in=50.0))
    for side in ("right", "left"):
        cells = built.layout.parts[f"B {side} lower"]
        assert {c.grid.name for c in cells} == {f"side {side}"}
        x = np.concatenate([c.grid.point(np.array(c.polygon.exterior.coords))[:, 0] for c in cells])
        assert 37 * 25.4 < x.min() and x.max() < 43.5 * 25.4


def test_lean_settings_one_by_one(coupe):
    plan = plan_with_settings(leaned().changed(leans=()), ["lean.A=meet", "hinge_height.A=43"], coupe)
    assert plan.leans == (PostLean(post="A", lean="meet", hinge_mm=pytest.approx(43 * 25.4)),)
    plan = plan_with_settings(plan, ["lean.A.left=37.5"], coupe)
    assert plan.lean_of("A", "left").lean == 37.5 and plan.lean_of("A", "right").lean == "meet"
    assert plan.lean_of("A", "left").hinge_mm == pytest.approx(43 * 25.4)
    assert plan_with_settings(plan, ["lean.A=none"], coupe).leans == ()
    with pytest.raises(PlanError, match="must come after a lean"):
        plan_with_settings(Plan(), ["hinge_height.A=43"], coupe)
    with pytest.raises(PlanError, match="must be given with both sides"):
        plan_with_settings(plan_with_settings(Plan(), ["lean.A=meet"], coupe), ["lean.A.left=none"], coupe)


def test_a_leaned_plan_comes_back_from_its_file_and_its_dict(coupe, tmp_path):
    plan = leaned(way="meet-both-ways", hinge_mm=1092.2).changed(
        leans=(
            PostLean(post="A", lean="meet-both-ways", hinge_mm=1092.2),
            PostLean(post="divider", lean=36.5),
        )
    )
    path = tmp_path / "plan.toml"
    path.write_text(plan_toml(plan, "in"), encoding="utf-8")
    assert read_plan(path, coupe) == replace(plan, name=plan.name)
    assert plan_from_dict(plan_to_dict(plan)) == plan
    path.write_text(plan_toml(plan, "in").replace('lean = "meet-both-ways"\n', ""), encoding="utf-8")
    with pytest.raises(PlanError, match="must give cut, cut_height, shift or lean|must come with a lean"):
        read_plan(path, coupe)
