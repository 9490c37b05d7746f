"""Remedies as records: closed forms on a flat cab; the seams of a shift against a plan that does it."""

from dataclasses import replace

import numpy as np
import pytest
from invented_cars import flat_car, tan

from model.built import remembered_shape
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.evaluate import evaluate
from model.plan import Plan, PostLean, PostShift, RoofMove
from model.planfile import read_plan
from model.remedies import SHIFT

D, A, B = 40.0, 32.0, 11.0


@pytest.fixture(scope="module")
def flat():
    car = flat_car(rake_deg=A, tumblehome_deg=B)
    return evaluate(car, Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D), kerf_mm=1.2))


def remedy(post, kind, *ways):
    return next(r for r in post.remedies if r.kind == kind and (not ways or r.way in ways))


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_shift_in_closed_form(flat, side):
    """s = d (tan a_A - tan a_B), the door's rail longer and the opening behind shorter by it; no pitch: no
    trapezium.  Rail seams: up the tumblehome from the opening's edge to the gutter."""
    shift = remedy(flat.post("B", side), "shift")
    s = D * tan(A)
    assert (shift.way, shift.reason) == ("rearward", "")
    assert shift.by_mm == pytest.approx(s, abs=1e-8)
    numbers = shift.numbers
    assert numbers["door_rail_mm"] == pytest.approx(s, abs=1e-8)
    assert numbers["opening_behind_mm"] == pytest.approx(-s, abs=1e-8)
    assert numbers["miss_at_cut_mm"] == pytest.approx(numbers["miss_at_gutter_mm"], abs=1e-9)
    assert numbers["strip_mm"] == pytest.approx(s - 1.2, abs=1e-8)
    strip = next(seam for seam in shift.seams if seam.name == "gutter over the strip")
    assert strip.length_mm == pytest.approx(s - 1.2, abs=0.01)


def test_under_a_pitch_the_strip_is_a_trapezium():
    """z tan f more at the gutter than at the cut."""
    car = flat_car(rake_deg=A)
    report = evaluate(car, Plan(roof=RoofMove(front_drop_mm=30.0, rear_drop_mm=50.0)))
    post = report.post("B", "right")
    numbers = remedy(post, "shift").numbers
    top = car.posts[[p.name for p in car.posts].index("B")].axis_mm[-1]
    f = np.radians(report.totals.roof_pitch_deg)
    rise = top[2] - post.drop_mm - post.cut_height_mm
    grown = numbers["miss_at_gutter_mm"] - numbers["miss_at_cut_mm"]
    assert grown == pytest.approx(rise * np.tan(f), rel=0.02)
    assert grown > 0


def coupe():
    car = read_car(demo_car_path("coupe"))
    return car, read_plan(demo_plan_path("coupe"), car)


BACK, OVER = ("meet", ("forward", "rearward")), ("meet-both-ways", ("in", "out"))


@pytest.mark.parametrize("post, word, ways", [("A", *BACK), ("A", *OVER), ("B", *OVER)])
def test_a_lean_is_what_choosing_it_gives(post, word, ways):
    car, plan = coupe()
    plan = plan.changed(roof=replace(plan.roof, fore_aft="straight-down"), shifts=())
    before = evaluate(car, plan)
    after = evaluate(car, plan.changed(leans=(PostLean(post=post, lean=word),)))
    for side in ("right", "left"):
        told, done = remedy(before.post(post, side), "lean", *ways), after.post(post, side)
        assert told.reason == ""
        given = {
            "turn_deg": done.lean.turn_deg,
            "hinge_z_mm": done.lean.hinge_mm[2],
            "wedge_mm": done.lean.mouth_mm,
            "lean_side_after_deg": done.lean.lean_side_after_deg,
            "lean_front_after_deg": done.lean.lean_front_after_deg,
            "take_out_mm": done.take_out_mm,
        }
        assert told.numbers == pytest.approx(given, abs=1e-6)
        around = after.seam(f"{post} {side}, hinge, post").length_mm
        assert [seam.length_mm for seam in told.seams] == [pytest.approx(around, abs=1e-6)]
        assert abs(done.miss_fore_aft_mm) < 1e-6 and done.chosen == ("lean",)
        assert (abs(done.miss_across_mm) < 1e-6) == (word == "meet-both-ways")


def test_a_lean_in_closed_form():
    """A straight post turned about a hinge H under its landing: tan of the lean after = H tan a / (H - d)."""
    car, plan = coupe()
    post = evaluate(car, plan.changed(roof=replace(plan.roof, fore_aft="straight-down"))).post("A", "right")
    line = remembered_shape(car).lines["A", "right"]
    a = post.lean_side_deg
    assert line.frame(0.0)[1][0] == pytest.approx(line.frame(1.0)[1][0], abs=1e-9)  # straight
    numbers = remedy(post, "lean", "forward", "rearward").numbers
    after, d = numbers["lean_side_after_deg"], plan.roof.front_drop_mm
    low, high = (numbers["hinge_z_mm"], post.cut_height_mm)
    reach = (high - low) / np.cos(np.radians(a))  # of the lower end along the post, seen from the side
    landing = reach * np.cos(np.radians(after)) + d  # of its top above the hinge, before the roof came down
    assert landing * np.tan(np.radians(a)) == pytest.approx(reach * np.sin(np.radians(after)), rel=0.03)


def test_what_cannot_be_leaned_says_why(flat):
    lean = remedy(evaluate(*coupe()).post("C", "right"), "lean", "in", "out")
    assert lean.reason and lean.numbers == {} and lean.seams == ()
    leave = remedy(flat.post("B", "right"), "leave")
    assert leave.numbers["miss_across_mm"] == flat.post("B", "right").miss_across_mm and leave.seams == ()


def test_a_pie_cut_needs_sheet_round_the_corner(flat):
    """The foremost and the rearmost post have it; what stands between two side openings does not."""
    between, first = remedy(flat.post("B", "right"), "pie cut"), remedy(flat.post("A", "right"), "pie cut")
    assert "no sheet across the car" in between.reason and between.seams == () and between.numbers == {}
    assert first.reason == "" and first.way == "in"
    leg, kink = first.numbers["leg_mm"], np.radians(first.numbers["kink_deg"])
    assert first.numbers["mouth_mm"] == pytest.approx(2 * leg * np.sin(kink / 2), abs=1e-9)
    assert [seam.length_mm for seam in first.seams] == [leg]


def test_the_sentence_is_made_of_the_records(flat):
    post = flat.post("B", "right")
    for kind, ways in (("shift", ()), ("lean", ("in",))):
        assert remedy(post, kind, *ways).text.lower() in post.remedy.lower()
    assert "pie cut" not in post.remedy
    first = flat.post("A", "right")
    assert [r.kind for r in first.remedies] == ["pie cut", "lean", "leave"]
    assert remedy(first, "pie cut").text.lower() in first.remedy.lower()


def test_seams_of_a_shift_are_those_of_the_plan_that_does_it():
    """Each length of the remedy against the seam that the carried-out shift is reported with."""
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_plan_path("coupe"), car)
    before, after = evaluate(car, plan.changed(shifts=())), evaluate(car, plan)
    for side in ("right", "left"):
        told = sorted(seam.length_mm for seam in remedy(before.post("B", side), "shift").seams)
        seams = [s for s in after.seams if s.kind == "strip" and s.name.startswith(f"B {side},")]
        done = sorted(seam.length_mm for seam in seams)
        assert told == pytest.approx(done, abs=0.1)
        assert [r.kind for r in after.post("B", side).remedies] == ["pie cut", "lean", "leave"]


def test_what_cannot_slide_says_why():
    car = read_car(demo_car_path("coupe"))
    shift = remedy(evaluate(car, read_plan(demo_plan_path("coupe"), car)).post("C", "right"), "shift")
    assert "does not stand between two side openings" in shift.reason
    assert shift.seams == () and "strip_mm" not in shift.numbers


def test_a_shift_to_where_no_rail_is_has_a_reason_and_refuses_no_report():
    """The roof far to the rear, B slid as far forward as it goes: its miss would bring it past the door."""
    car = read_car(demo_car_path("coupe"))
    plan = Plan(car=car.name, roof=RoofMove(fore_aft=-598.4875), shifts=(PostShift(post="B", by=-184.15),))
    for post in (post for post in evaluate(car, plan).posts if post.post == "B"):
        (shift,) = (remedy for remedy in post.remedies if remedy.kind == SHIFT)
        assert "needs a rail above an opening at x = 326 mm" in shift.reason
        assert shift.seams == () and "strip_mm" not in shift.numbers
