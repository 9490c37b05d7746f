"""The tacked roof against its plan: from points on a car to what a person does about it."""

import json
from dataclasses import fields, replace
from functools import lru_cache

import jsonschema
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from model import tacked as records
from model.carfile import demo_car_path, demo_plan_path, demo_tacked_path, read_car
from model.errors import MeasureError, PlanError
from model.evaluate import build_checked
from model.files import packaged_schema
from model.layout import METAL, ROOF
from model.markedpoints import marked_points
from model.moves import RigidMove
from model.output.tackedhtml import demo_tacked_roof
from model.output.tackedtext import tacked_text
from model.plan import Plan
from model.planfile import read_plan
from model.posts import landing_point, miss_in_plane
from model.tacked import TackedPoint, TackedRoof
from model.tackedfit import (
    CORNERS,
    bend_shapes,
    fitted,
    fitted_from_file,
    reading_variance_mm2,
    roof_corners_mm,
)

CARS = ("coupe", "pickup")
FAR_APART = {
    "coupe": (
        "windshield, gutter, right",
        "windshield, gutter, left",
        "door, gutter, right",
        "door, gutter, left",
        "quarter, gutter, right",
        "quarter, gutter, left",
        "B post, crown",
        "rear quarter, gutter, right",
        "rear quarter, gutter, left",
    ),
    "pickup": (
        "windshield, gutter, right",
        "windshield, gutter, left",
        "door, gutter, right",
        "door, gutter, left",
        "door, crown",
        "back, head, right",
        "back, head, left",
        "back, gutter, right",
        "back, gutter, left",
    ),
}
INCH = 25.4


@lru_cache(maxsize=4)
def built_demo(name):
    car = read_car(demo_car_path(name))
    return build_checked(car, read_plan(demo_plan_path(name), car))


def tacked_so(built, names, move=lambda points: points, amounts=(0.0, 0.0, 0.0), only="xyz", slips=()):
    """Return the points of a roof that was bent and moved so, measured without error."""
    known = marked_points(built)
    planned = np.array([known[name].planned_mm for name in names])
    bent = planned + bend_shapes(planned, roof_corners_mm(built)) @ np.array(amounts)
    at = move(bent)
    for name, axis, mm in slips:
        at[names.index(name), axis] += mm
    points = (
        TackedPoint(name=n, at_mm=tuple(v if a in only else None for a, v in zip("xyz", p, strict=True)))
        for n, p in zip(names, at.tolist(), strict=True)
    )
    return TackedRoof(points=tuple(points), tape_mm=built.shape.car.tape_mm)


def shifted(x=0.0, y=0.0, z=0.0):
    return lambda points: points + np.array([x, y, z])


def turned(built, deg, shift=(0.0, 0.0, 0.0)):
    """Return a turn about the middle of the roof's corners, after scipy."""
    turn, centre = Rotation.from_rotvec(deg, degrees=True), roof_corners_mm(built).mean(axis=0)
    return lambda points: centre + shift + turn.apply(points - centre)


@pytest.mark.parametrize("name", CARS)
def test_a_roof_as_planned_needs_nothing(name):
    built = built_demo(name)
    report = fitted(built, tacked_so(built, FAR_APART[name]))
    assert report.advice[0] == "The roof stands where the plan puts it, within what the tape can tell."
    assert not any(bend.shows for bend in report.bends) and report.left_out == ()
    for post in report.posts:
        assert post.miss_fore_aft_mm.value == pytest.approx(post.miss_fore_aft_planned_mm, abs=1e-6)
        assert post.gap_mm.value == pytest.approx(post.gap_planned_mm, abs=1e-6)
        assert (post.gap_min_mm, post.gap_max_mm) == pytest.approx((post.gap_planned_mm,) * 2, abs=1e-6)


@pytest.mark.parametrize("name", CARS)
def test_any_move_comes_back_exactly(name):
    built = built_demo(name)
    move = turned(built, (0.5, -0.3, 0.4), (4.0, -3.0, 6.0))
    report = fitted(built, tacked_so(built, FAR_APART[name], move))
    found = RigidMove(np.array(report.rotation), np.array(report.translation_mm))
    corners = roof_corners_mm(built)
    assert found.points(corners) == pytest.approx(move(corners), abs=1e-9)
    assert (report.roll_deg.value, report.pitch_deg.value, report.yaw_deg.value) == pytest.approx(
        (0.5, -0.3, 0.4)
    )
    for corner_name, corner in zip(CORNERS, corners, strict=True):
        place, off = report.place(corner_name), move(corner) - corner
        undo = (place.back_mm.value, place.right_mm.value, place.raise_mm.value)
        assert undo == pytest.approx(tuple(-off), abs=1e-9)


@pytest.mark.parametrize(
    ("move", "said"),
    [
        (shifted(x=-INCH / 8), 'Bring the roof back 1/8" (3.2 mm), ± '),
        (shifted(x=INCH / 8), 'Bring the roof forward 1/8" (3.2 mm), ± '),
        (shifted(y=-INCH / 4), 'Move the roof to the right 1/4" (6.4 mm), ± '),
        (shifted(z=INCH / 4), 'Lower the roof 1/4" (6.4 mm), ± '),
    ],
)
def test_a_plain_shift_is_undone_in_plain_words(move, said):
    built = built_demo("coupe")
    report = fitted(built, tacked_so(built, FAR_APART["coupe"], move))
    assert report.advice[0].startswith(said)
    assert report.advice[1].startswith("As planned, within what the tape can tell: ")
    assert len(report.advice) == 2


def test_a_low_corner_is_raised_and_a_high_one_lowered():
    """Rolled and pitched so that the right rear is a quarter low, the left front as much high."""
    built = built_demo("coupe")
    corners = roof_corners_mm(built)
    length, width = (
        corners[2:, 0].mean() - corners[:2, 0].mean(),
        corners[[1, 3], 1].mean() - corners[[0, 2], 1].mean(),
    )
    quarter = INCH / 4
    pitch, roll = np.degrees(quarter / length), -np.degrees(quarter / width)
    report = fitted(built, tacked_so(built, FAR_APART["coupe"], turned(built, (roll, pitch, 0.0), (0, 0, 0))))
    raises = {
        c: report.place(c).raise_mm.value for c in ("left front", "right front", "left rear", "right rear")
    }
    assert raises["right rear"] == pytest.approx(quarter, rel=0.03)
    assert raises["left front"] == pytest.approx(-quarter, rel=0.03)
    assert any(line.startswith('Raise the right rear 1/4"') for line in report.advice)
    assert any(line.startswith('Lower the left front 1/4"') for line in report.advice)


def test_a_turned_roof_is_told_side_by_side_and_end_by_end():
    built = built_demo("coupe")
    report = fitted(built, tacked_so(built, FAR_APART["coupe"], turned(built, (0, 0, 0.6))))
    text = " ".join(report.advice)
    for order in (
        "Bring the right side back", "Bring the left side forward",
        "Move the front to the right", "Move the rear to the left",
    ):  # fmt: skip
        assert order in text


@pytest.mark.parametrize("name", CARS)
@pytest.mark.parametrize(("bend", "said"), [(0, "Twist"), (1, "Spread"), (2, "Bow")])
def test_a_bend_is_told_as_a_bend(name, bend, said):
    built = built_demo(name)
    report = fitted(built, tacked_so(built, FAR_APART[name], amounts=np.eye(3)[bend] * 7.0))
    assert [b.shows for b in report.bends] == [k == bend for k in range(3)]
    assert report.bends[bend].amount_mm.value == pytest.approx(7.0, abs=1e-6)
    assert report.advice[0].startswith("The roof stands where the plan puts it")
    assert (
        report.advice[-1].startswith(f"{said}, no misplacement:")
        and "Moving the roof does not" in report.advice[-1]
    )
    assert report.left_out == ()


def test_which_corners_a_twist_lifts():
    built = built_demo("coupe")
    right, left = (
        fitted(built, tacked_so(built, FAR_APART["coupe"], amounts=(mm, 0, 0))).advice[-1]
        for mm in (7.0, -7.0)
    )
    assert "right rear and left front stand high" in right
    assert "left rear and right front stand high" in left


def test_a_slip_of_an_inch_is_named_and_the_advice_is_without_it():
    built = built_demo("coupe")
    slips = [("rear quarter, gutter, left", 2, -INCH)]
    report = fitted(built, tacked_so(built, FAR_APART["coupe"], shifted(x=-5.0), slips=slips))
    (wrong,) = report.left_out
    assert (wrong.point, wrong.axis) == ("rear quarter, gutter, left", "z")
    assert wrong.too_much_mm.value == pytest.approx(-INCH, abs=1e-6)
    assert report.place("roof").back_mm.value == pytest.approx(5.0, abs=1e-9)
    assert report.place("left rear").raise_mm.value == pytest.approx(0.0, abs=1e-9)
    assert 'reads 1" (25.4) too low' in tacked_text(report)


def test_readings_that_contradict_each_other_are_to_be_measured_first():
    built = built_demo("coupe")
    names = FAR_APART["coupe"]
    slips = [(name, axis, mm) for name, axis, mm in zip(names, (0, 1, 2) * 3, (90, -80, 70) * 3, strict=True)]
    report = fitted(built, tacked_so(built, names, slips=slips))
    assert report.left_out == () and report.doubtful
    assert report.advice[0].startswith("Measure again before you move anything: ")
    assert any("times as much as the tape explains" in note for note in report.notes)


def test_heights_alone_tell_heights():
    built = built_demo("coupe")
    report = fitted(built, tacked_so(built, FAR_APART["coupe"], shifted(1.0, 2.0, -INCH / 4), only="z"))
    assert report.advice[0].startswith('Raise the roof 1/4"')
    assert report.place("roof").back_mm.value is None and report.yaw_deg.value is None
    assert report.advice[-1].startswith("Cannot be told from these points: fore-and-aft")
    level = [p for p in report.posts if p.post in "AC"]
    assert all(p.miss_fore_aft_mm.value is None and p.gap_mm.value is not None for p in level)
    assert any("measure x and y" in note for note in report.notes)


def test_points_along_one_line_are_called_poorly_spread():
    built = built_demo("coupe")
    one_side = [n for n in FAR_APART["coupe"] if n.endswith("right")]
    report = fitted(built, tacked_so(built, one_side))
    assert any(note.startswith("The points are poorly spread") for note in report.notes)
    two = fitted(built, tacked_so(built, one_side[:2], only="z"))
    assert any("on one line" in note for note in two.notes)
    assert any(note.startswith("Nothing checks these readings") for note in two.notes)
    assert two.place("left rear").raise_mm.value is None


def test_mirrored_points_are_named_and_a_mark_of_ones_own_is_not():
    built = built_demo("pickup")
    known, move = marked_points(built), built.moves[ROOF]
    assert known["door, gutter, left"].is_mirrored and not known["door, gutter, right"].is_mirrored
    tacked = tacked_so(built, FAR_APART["pickup"])
    own = known["door, gutter, left"].before_mm
    mark = TackedPoint(name="punch 1", at_mm=tuple(move.points(own)), before_mm=own)
    report = fitted(built, replace(tacked, points=(*tacked.points, mark)))
    (note,) = [n for n in report.notes if n.startswith("Planned from the mirror image")]
    assert "door, gutter, left" in note and "punch 1" not in note
    assert report.points[-1].unexplained_mm == pytest.approx((0, 0, 0), abs=1e-9)


@pytest.mark.parametrize("name", CARS)
def test_marked_points_lie_on_metal_that_moves_with_the_roof(name):
    """Seen from the posts: above the upper cut, and where the roof's own move puts them."""
    built = built_demo(name)
    known = marked_points(built)
    lowest = min(ends.line.lines(ends.s_upper)[0, 2] for ends in built.ends.values())
    for point in known.values():
        assert point.before_mm[2] > lowest - 1.0, point.name
        assert built.moves[ROOF].points(point.before_mm) == pytest.approx(point.planned_mm, abs=1e-9)
    marks = [point for point in known.values() if point.is_mark]
    shifted_posts = {" ".join(shift.key) for shift in built.shifts}
    assert marks and not any(" ".join(p.name.split(", ")[:2]) in shifted_posts for p in marks)
    assert any(cell.role == METAL and cell.carrier == ROOF for cell in built.layout.cells)


@pytest.mark.parametrize("name", CARS)
def test_posts_as_tacked_are_the_plan_s_own_reckoning_of_the_roof_s_true_move(name):
    built = built_demo(name)
    move = turned(built, (0.3, 0.2, -0.3), (3.0, 2.0, 4.0))
    whole = RigidMove(move(np.eye(3)).T - move(np.zeros((1, 3))).T, move(np.zeros((1, 3)))[0])
    report = fitted(built, tacked_so(built, FAR_APART[name], move))
    for post in report.posts:
        ends = built.ends[post.post, post.side]
        landing = landing_point(ends.line, ends.plane, whole @ ends.move)
        miss = miss_in_plane(ends.line, ends.plane, landing)
        assert (post.miss_fore_aft_mm.value, post.miss_across_mm.value) == pytest.approx(miss, abs=1e-6)
        top = ends.line.lines(ends.s_upper)[0]
        gap = ends.plane.height_above(move(ends.move.points(top)[None])[0])
        assert post.gap_mm.value == pytest.approx(gap, abs=1e-6)
        assert post.gap_min_mm <= post.gap_mm.value <= post.gap_max_mm


def test_the_doubt_of_a_post_s_miss_and_gap_is_that_of_many_roofs():
    built = built_demo("coupe")
    names, random = FAR_APART["coupe"], np.random.default_rng(11)
    exact = tacked_so(built, names)
    sd = np.sqrt(2 * reading_variance_mm2(built.shape.car.tape_mm))
    held = []
    for _ in range(250):
        noisy = tuple(
            replace(p, at_mm=tuple(np.array(p.at_mm) + random.normal(0, sd, 3))) for p in exact.points
        )
        for post in fitted(built, replace(exact, points=noisy)).posts:
            found = (post.miss_fore_aft_mm, post.miss_across_mm, post.gap_mm)
            planned = (post.miss_fore_aft_planned_mm, post.miss_across_planned_mm, post.gap_planned_mm)
            held.append([abs(f.value - p) <= f.plus_minus for f, p in zip(found, planned, strict=True)])
    assert np.mean(held, axis=0) == pytest.approx(
        [0.95] * 3, abs=0.025
    )  # 250 roofs, three standard deviations


def test_a_finer_tape_gives_a_smaller_doubt():
    built = built_demo("coupe")
    coarse = tacked_so(built, FAR_APART["coupe"])
    assert reading_variance_mm2(1.5) == pytest.approx(2 * 1.5**2 / 12)
    doubt = [
        fitted(built, t).stands_up_mm.plus_minus
        for t in (coarse, replace(coarse, tape_mm=coarse.tape_mm / 2))
    ]
    assert doubt[1] / doubt[0] == pytest.approx(np.sqrt((1 + 1 / 4) / 2))


def test_a_reading_a_foot_off_is_refused():
    built = built_demo("coupe")
    slips = [("B post, crown", 2, 12.5 * INCH)]
    with pytest.raises(MeasureError, match=r'"B post, crown", z must be within 11-13/16".*got 72-7/16"'):
        fitted(built, tacked_so(built, FAR_APART["coupe"], slips=slips))


def test_a_roof_that_was_not_lowered_has_no_marked_points():
    car = read_car(demo_car_path("coupe"))
    with pytest.raises(PlanError, match="roof must be lowered by the plan"):
        marked_points(build_checked(car, Plan()))


def test_json_keeps_the_contract_and_schema_and_records_agree():
    schema = packaged_schema("tacked")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    built = built_demo("coupe")
    for only in ("xyz", "z"):
        values = fitted(built, tacked_so(built, FAR_APART["coupe"], only=only)).to_json()
        values = json.loads(json.dumps(values, allow_nan=False))
        validator.validate(values)
    assert set(schema["properties"]) == {field.name for field in fields(records.TackedReport)}
    by_schema = {
        "estimate": records.Estimate,
        "place": records.Place,
        "bend": records.Bend,
        "left_out": records.LeftOut,
        "post": records.PostAsTacked,
        "point_as_tacked": records.PointAsTacked,
    }
    for key, record in by_schema.items():
        assert set(schema["$defs"][key]["properties"]) == {field.name for field in fields(record)}, key
    values["bends"][0]["kind"] = "wobble"
    assert not validator.is_valid(values)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_text_fits_the_page_and_warns(unit):
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_plan_path("coupe"), car)
    report = replace(fitted_from_file(car, plan, demo_tacked_path("coupe")), unit=unit)
    text = tacked_text(report)
    assert max(map(len, text.splitlines())) <= 100
    for words in (
        "WHAT TO DO",
        "can drop",
        "licensed practice",
        "fire watch",
        "READINGS LEFT OUT",
        "POSTS AS TACKED",
    ):
        assert words in text


def test_the_roofs_that_ship_show_a_slip_and_a_twist():
    coupe, pickup = (demo_tacked_roof(name).report for name in CARS)
    assert [(w.point, w.axis) for w in coupe.left_out] == [("rear quarter, head, left", "z")]
    assert not any(bend.shows for bend in coupe.bends)
    assert pickup.left_out == () and [bend.shows for bend in pickup.bends] == [True, False, False]
    assert not any(note.startswith("Planned from the mirror image") for note in pickup.notes)


def test_the_notebook_s_view_says_the_same():
    view = demo_tacked_roof("coupe")
    html = view._repr_html_()
    assert "Bring the roof back 1/8&quot;" in html and "rear quarter, head, left reads" in html
    assert html.count("<table>") == html.count("</table>") == 3
