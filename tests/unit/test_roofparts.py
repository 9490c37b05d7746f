"""A roof split into parts: what moves where, what stays as it was, what is refused."""

from dataclasses import replace

import numpy as np
import pytest
from invented_cars import mirrored_car, mirrored_plan, varied_car, varied_plan, wedge_car

from model.carfile import demo_car_names, demo_car_path, demo_plan_path, demo_split_path, read_car
from model.display import patches_of
from model.errors import PlanError
from model.evaluate import build_checked, evaluate, report_of
from model.layout import METAL
from model.markedpoints import marked_points
from model.measured import Driver
from model.output.placenotes import place_notes
from model.outside.flatcabs import D
from model.outside.flatsplit import FALL, split_report
from model.plan import MEET, STRAIGHT_DOWN, Plan, PostShift, RoofMove, RoofSplit
from model.planfile import read_plan
from model.plansettings import plan_with_settings
from model.roofparts import is_roof
from model.silhouette import VIEWS, drawing_of, side_drawing
from model.viewparts import parts_of

BOTH = RoofSplit(spread_mm=MEET, lengthen_mm=MEET)
DOWN = RoofMove(front_drop_mm=D, rear_drop_mm=D, fore_aft=STRAIGHT_DOWN)


def case(key):
    if isinstance(key, int):
        car = varied_car(key)
        return car, varied_plan(car, key)
    car = read_car(demo_car_path(key))
    return car, read_plan(demo_plan_path(key), car)


def shipped(name):
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_split_path(name), car)


# ---------------------------------------------------------------- a split of nothing changes nothing


@pytest.mark.parametrize("key", [*demo_car_names(), 1, 6])
def test_parts_that_do_not_go_apart_are_the_roof_in_one_piece(key):
    car, plan = case(key)
    whole = evaluate(car, plan)
    split = evaluate(car, plan.changed(split=RoofSplit(spread_mm=0.0, lengthen_mm=0.0)))
    assert split.posts == whole.posts
    assert split.window == whole.window
    assert split.view == whole.view
    drop = {"weld_mm", "weld_by_kind_mm", "weld_by_side_mm", "removed_area_mm2"}
    for name, value in vars(whole.totals).items():
        if name not in drop:
            assert getattr(split.totals, name) == value, name
    assert split.totals.removed_area_mm2 == pytest.approx(whole.totals.removed_area_mm2, rel=1e-6)
    between = [s for s in split.seams if all(map(is_roof, s.pieces))]
    assert between
    assert split.totals.weld_mm - sum(s.length_mm for s in between) == pytest.approx(
        whole.totals.weld_mm, abs=0.02
    )
    for seam in between:
        assert (seam.gap_mm.min, seam.gap_mm.max) == pytest.approx((0, 0), abs=1e-9), seam.name
        assert (seam.step_mm.min, seam.step_mm.max) == pytest.approx((0, 0), abs=1e-9), seam.name
    kinds = [{f.kind for f in report.findings} for report in (whole, split)]
    assert kinds[1] <= kinds[0]
    volumes = [sorted(i.volume_mm3 for i in report.interference) for report in (whole, split)]
    assert volumes[1] == pytest.approx(volumes[0], rel=2e-3)


# ---------------------------------------------------------------- meeting


@pytest.mark.parametrize("name", demo_car_names())
def test_the_shipped_plans_bring_the_side_posts_together(name):
    car, plan = shipped(name)
    report, unshifted = evaluate(car, plan), evaluate(car, plan.changed(shifts=()))
    sides = [p for p in unshifted.posts if p.side != "centre"]
    assert np.mean([p.miss_across_mm for p in sides]) == pytest.approx(0, abs=1e-7)
    for end in (min, max):
        post = end({p.post for p in sides}, key=lambda n: report.post(n, "right").edges[0].lower_mm[0])
        both = [report.post(post, side).miss_fore_aft_mm for side in ("right", "left")]
        assert np.mean(both) == pytest.approx(0, abs=1e-7)
    whole = evaluate(car, read_plan(demo_plan_path(name), car))

    def largest(found):
        return max(
            abs(miss)
            for p in found.posts
            if p.side != "centre"
            for miss in (p.miss_fore_aft_mm, p.miss_across_mm)
        )

    assert largest(report) < 6 < 25 < largest(whole)


@pytest.mark.parametrize("key", [0, 3, 7])
def test_a_mirrored_car_splits_alike(key):
    car = varied_car(key)
    plan = replace(varied_plan(car, key), split=BOTH, shifts=(), cuts=())
    own, other = build_checked(car, plan), build_checked(mirrored_car(car), mirrored_plan(plan))
    assert other.parts.spread_mm == pytest.approx(own.parts.spread_mm, abs=1e-7)
    assert other.parts.forward_mm == pytest.approx(own.parts.forward_mm, abs=1e-7)
    assert other.parts.rearward_mm == pytest.approx(own.parts.rearward_mm, abs=1e-7)
    swap = {"right": "left", "left": "right", "centre": "centre"}
    for (post, side), ends in own.ends.items():
        mirrored_ends = other.ends[post, swap[side]]
        assert mirrored_ends.miss_mm[0] == pytest.approx(ends.miss_mm[0], abs=1e-7)
        turn = -1 if side == "centre" else 1
        assert mirrored_ends.miss_mm[1] == pytest.approx(turn * ends.miss_mm[1], abs=1e-7)


def test_given_lengths_are_halved():
    plan = Plan(roof=DOWN, split=RoofSplit(spread_mm=20.0, lengthen_mm=30.0))
    built = build_checked(wedge_car(), plan)
    at = np.array([10.0, 20.0, 30.0])
    for name, apart in {
        "roof front right": (-15, 10, 0),
        "roof front left": (-15, -10, 0),
        "roof rear right": (15, 10, 0),
        "roof rear left": (15, -10, 0),
    }.items():
        moved = built.moves[name].points(at)
        assert moved - built.roof.move.points(at) == pytest.approx(apart, abs=1e-12)
    assert set(built.moves) == {"body", *built.parts.moves}


@pytest.mark.parametrize(
    ("split", "names"),
    [
        (RoofSplit(spread_mm=12.0), {"roof right", "roof left"}),
        (RoofSplit(lengthen_mm=12.0), {"roof front", "roof rear"}),
    ],
)
def test_one_cut_makes_two_parts(split, names):
    built = build_checked(wedge_car(), Plan(roof=DOWN, split=split))
    assert set(built.moves) == {"body", *names}
    assert {c.carrier for c in built.layout.cells if c.role == METAL} == {"body", *names}
    seams = [s for s in report_of(built).seams if set(s.pieces) == names]
    assert {s.kind for s in seams} == {"strip"}


def test_a_centre_post_stays_on_the_centreline():
    plan = Plan(roof=DOWN, split=RoofSplit(spread_mm=40.0, lengthen_mm=30.0))
    built = build_checked(wedge_car(divider=True), plan)
    ends = built.ends["divider", "centre"]
    assert ends.miss_mm[1] == pytest.approx(0, abs=1e-9)
    assert built.upper_piece(("divider", "centre")) == "divider centre upper"
    apart = ends.move.translation_mm - built.roof.move.translation_mm
    assert apart == pytest.approx((-15, 0, 0), abs=1e-12)
    report = report_of(built)  # the piece has no skin, and nothing runs into it
    assert not [i for i in report.interference if "divider centre upper" in " ".join(i.pieces)]
    assert report.seam("divider centre, post").pieces == ("body", "divider centre upper")


def test_shifted_posts_go_with_their_own_part():
    plan = Plan(roof=DOWN, split=BOTH, shifts=(PostShift(post="B"),))
    report = evaluate(wedge_car(), plan)
    for side in ("right", "left"):
        post = report.post("B", side)
        assert post.shift_mm == pytest.approx(split_report().split.parts[0].forward_mm, abs=1e-7)
        assert post.miss_fore_aft_mm == pytest.approx(0, abs=1e-7)
        assert report.seam(f"B {side}, {side} to upper").pieces == (f"roof front {side}", f"B {side} upper")


# ---------------------------------------------------------------- what else moves


def test_headroom_is_under_the_part_over_the_seat():
    """The roof z = 480 − (x − x_f) tan f goes forward: the line from the seat meets it lower."""
    seat = (500.0, 350.0, -400.0)
    car = replace(wedge_car(), seat_mm=seat, driver=Driver(stature_mm=1750.0))
    apart = 60.0
    plans = [Plan(roof=DOWN), Plan(roof=DOWN, split=RoofSplit(spread_mm=80.0, lengthen_mm=apart))]
    whole, split = (evaluate(car, plan) for plan in plans)
    slope = np.tan(np.radians(FALL))
    lower = apart / 2 * slope / (np.cos(np.radians(8)) + np.sin(np.radians(8)) * slope)
    assert whole.totals.headroom_after_mm - split.totals.headroom_after_mm == pytest.approx(lower, abs=1e-9)
    rooms = [report.view.head.clearance_after_mm for report in (whole, split)]
    assert rooms[0] - rooms[1] == pytest.approx(apart / 2 * slope, abs=1e-9)


def test_the_view_keeps_to_the_eyes_plane():
    """The wedge's windshield has a level upper edge: what is spread shows it at the very same height."""
    car = replace(wedge_car(), seat_mm=(900.0, 350.0, -400.0))
    plans = [Plan(roof=DOWN), Plan(roof=DOWN, split=RoofSplit(spread_mm=80.0))]
    whole, split = (evaluate(car, plan).view.sights for plan in plans)
    assert [s.up_after_deg for s in split] == pytest.approx([s.up_after_deg for s in whole], abs=1e-9)
    assert split[0].up_after_deg < split[0].up_before_deg


@pytest.mark.parametrize("name", demo_car_names())
def test_marked_points_go_with_their_part_and_none_lies_on_the_split(name):
    built = build_checked(*shipped(name))
    points = marked_points(built)
    on_whole = marked_points(build_checked(*case(name)))
    assert 8 < len(points) < len(on_whole)
    for point in points.values():
        assert abs(point.before_mm[1]) > 1
        if not point.is_mark:
            part = built.parts.lines.part_at(point.before_mm)
            moved = built.moves[part].points(np.array(point.before_mm))
            assert moved == pytest.approx(point.planned_mm, abs=1e-9)


@pytest.mark.parametrize("name", demo_car_names())
def test_pictures_show_every_part_in_its_place(name):
    car, plan = shipped(name)
    built = build_checked(car, plan)
    report = report_of(built)
    area = {}
    for patch in patches_of(built):
        if patch.role == METAL:
            a, b, c = (patch.point_mm[patch.triangles[:, k]] for k in range(3))
            size = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
            area[patch.carrier] = area.get(patch.carrier, 0.0) + size
            if is_roof(patch.carrier):
                for bound in built.parts.lines.bounds(patch.carrier, patch.point_mm):
                    assert bound.max() < 1e-6
    cells = {piece for piece in built.moves if piece in built.layout.parts}
    assert set(area) == cells
    whole = build_checked(car, plan.changed(split=None))
    one = sum(
        np.linalg.norm(
            np.cross(
                p.point_mm[p.triangles[:, 1]] - p.point_mm[p.triangles[:, 0]],
                p.point_mm[p.triangles[:, 2]] - p.point_mm[p.triangles[:, 0]],
            ),
            axis=1,
        ).sum()
        / 2
        for p in patches_of(whole)
        if p.role == METAL and not p.carrier.startswith("body")
    )
    assert sum(mm2 for piece, mm2 in area.items() if piece != "body") == pytest.approx(one, rel=2e-3)
    notes = place_notes(report)
    for part in built.parts.moves:
        assert "outboard" in notes[part]
    names = [n for part in parts_of(built, report).values() for n, _ in part.get("names", [])]
    assert set(built.parts.moves) <= set(names)
    for view in VIEWS.values():
        assert drawing_of(built, view).svg().count("<path") > 10
    assert "roof" in side_drawing(built, report).svg()


def test_glass_across_a_split_is_told():
    new = {f.where: f.message for f in split_report().findings if f.kind == "new glass"}
    assert 'and 24.9 mm (1") wider' in new["windshield"]
    assert 'and 49.4 mm (1-15/16") longer' in new["quarter glass left"]
    assert "wider" not in new["door glass left"] and "longer" not in new["door glass left"]


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("split", "words"),
    [
        (
            RoofSplit(lengthen_mm=10.0, across_at_mm=760.0),
            "across_at must be clear of .* post B",
        ),
        (RoofSplit(lengthen_mm=10.0, across_at_mm=100.0), "across_at must be between the first and the last"),
        (RoofSplit(spread_mm=-1.0), "spread must be between 0"),
        (RoofSplit(lengthen_mm=301.0), "lengthen must be between 0"),
    ],
)
def test_what_no_roof_can_do_is_refused(split, words):
    with pytest.raises(PlanError, match=words):
        build_checked(wedge_car(), Plan(roof=DOWN, split=split))


def test_a_cut_through_a_shifted_posts_rail_is_refused():
    split = RoofSplit(lengthen_mm=80.0, across_at_mm=820.0)
    plan = Plan(roof=DOWN, split=split, shifts=(PostShift(post="B"),))
    with pytest.raises(PlanError, match="across_at must be clear of the rail that is cut for the shifted"):
        build_checked(wedge_car(), plan)


def test_one_post_a_side_cannot_be_lengthened():
    car = wedge_car(posts=("A",))
    with pytest.raises(PlanError, match="lengthen needs a front and a rear post on either side"):
        build_checked(car, Plan(roof=DOWN, split=RoofSplit(lengthen_mm=10.0)))


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (["spread=meet"], "split must come with a roof"),
        (["front_drop=2", "rear_drop=2", "across_at=40"], "neither spread nor lengthen"),
        (["front_drop=2", "rear_drop=2", "spread=1", "across_at=40"], "across_at must come with lengthen"),
        (["front_drop=2", "rear_drop=2", "spread=13"], "spread must be between"),
        (["front_drop=2", "rear_drop=2", "lengthen=meet", "across_at=150"], "across_at must be between"),
        (["front_drop=2", "rear_drop=2", "spread=apart"], "Or one of: meet, none"),
    ],
)
def test_settings_of_a_split_are_checked(settings, words):
    car = read_car(demo_car_path("coupe"))
    with pytest.raises(PlanError, match=words):
        plan_with_settings(Plan(), settings, car)


def test_settings_make_and_unmake_a_split():
    car = read_car(demo_car_path("coupe"))
    made = plan_with_settings(
        Plan(), ["front_drop=2", "rear_drop=2", "spread=meet", "lengthen=3", "across_at=55"], car
    )
    assert made.split == RoofSplit(spread_mm=MEET, lengthen_mm=76.2, across_at_mm=1397.0)
    unmade = plan_with_settings(made, ["across_at=none", "lengthen=none", "spread=none"], car)
    assert unmade.split is None
