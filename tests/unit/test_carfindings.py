"""What a measured car says about its own measures: findings in the user's units, worst first."""

import json
from dataclasses import fields, replace

import numpy as np
import pytest
from invented_cars import flat_car, mirrored_car, rectangle
from sample_reports import validator
from test_fairing import with_slip

from model.bothsides import side_differences, side_findings
from model.carcheck import check_car
from model.carfile import demo_car_path, read_car
from model.carfindings import CarCheck, car_check
from model.cutroom import TAKE_OUT_MM, bow_mm, cut_room_findings
from model.diagonals import diagonal_findings
from model.fairing import LIMIT_SD, FairReading, fair_check
from model.files import packaged_schema
from model.output.cells import WIDTH
from model.output.measures import measures_html, measures_lines
from model.postlines import PostLine
from model.shape import shape_of

INCH = 25.4
SCATTER = 0.5 / np.sqrt(12)  # of the flat car's tape


def demo(name):
    return read_car(demo_car_path(name))


def checked(car):
    check_car(car)
    return car_check(shape_of(car))


def with_post(car, name, **changed):
    return replace(car, posts=tuple(replace(p, **changed) if p.name == name else p for p in car.posts))


# ---------------------------------------------------------------- the whole


def test_a_demo_car_as_shipped():
    """Nothing to flag on the pickup; the coupe's measured left side differs: said once for y and x."""
    assert checked(demo("pickup")).findings == ()
    found = checked(demo("coupe")).findings
    assert [f.kind for f in found] == ["left and right differ"] * 2
    assert [f.where for f in found] == ["across (y), quarter, head", "fore-and-aft (x), quarter, mid"]


def test_a_slip_comes_first_and_says_what_to_measure_again():
    """58-13/16 in was read 59-5/16 in."""
    car = with_slip(demo("coupe"), "B post", "gutter", "right", "z", INCH / 2)
    worst = checked(car).findings[0]
    assert (worst.kind, worst.where) == ("off the fair surface", "B post, gutter right, z")
    assert "too high: 59-5/16" in worst.message and "Measure z of this point again." in worst.message
    assert worst.measured == pytest.approx(INCH / 2, abs=worst.limit)
    metric = checked(replace(car, unit="mm")).findings[0]
    assert "1506.5 mm" in metric.message and metric.measured == pytest.approx(worst.measured)


def test_a_whole_inch_is_called_one():
    car = with_slip(demo("pickup"), "door", "mid", "right", "y", -INCH)
    worst = checked(car).findings[0]
    assert worst.where == "door, mid right, y" and "too far in" in worst.message
    assert "near a whole 1 in: was the inch misread?" in worst.message


def test_worst_first_by_how_often_past_the_limit():
    car = with_slip(demo("coupe"), "door", "head", "right", "z", INCH)
    car = with_post(car, "divider", cut_to_mm=46.0 * INCH)
    found = checked(car).findings
    past = [f.measured / f.limit if f.measured > f.limit else 2 - f.measured / f.limit for f in found]
    assert past == sorted(past, reverse=True) and min(past) > 1
    assert {f.kind for f in found} == {"off the fair surface", "no room for a cut", "left and right differ"}


def test_it_is_worked_out_once_for_a_car():
    shape = shape_of(demo("pickup"))
    assert car_check(shape) is car_check(shape)


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_json_keeps_the_contract(name):
    check = checked(with_slip(demo(name), "door", "mid", "right", "y", INCH))
    validator("check").validate(json.loads(json.dumps(check.to_json(), allow_nan=False)))


def test_schema_and_records_have_the_same_fields():
    schema = packaged_schema("check")
    expected = {f.name for f in fields(FairReading)} | {"explained_mm", "found_from_mm", "is_off"}
    assert set(schema["$defs"]["reading"]["properties"]) == expected
    assert {"car", "findings"} <= {f.name for f in fields(CarCheck)} & set(schema["properties"])


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_text_and_html_show_rows_sides_and_findings(name, unit):
    check = checked(with_slip(replace(demo(name), unit=unit), "door", "mid", "right", "y", INCH))
    lines = measures_lines(check)
    assert max(map(len, lines)) <= WIDTH
    text, html = "\n".join(lines), measures_html(check)
    for row in (*demo(name).rows, "front panel"):
        assert any(line.startswith(f"  {row} ") for line in lines), row
    assert ("quarter, gutter" in text) == (name == "coupe")
    assert "off the fair surface" in html and "door, mid right, y" in html


# ---------------------------------------------------------------- left against right


def test_side_differences_count_outward():
    """Quarter, gutter: 58-1/8, 22-5/8, 57-15/16 on the left against 58, 22-13/16, 58 on the right."""
    differences = {(d.place, d.row): d for d in side_differences(demo("coupe"))}
    d = differences["quarter", "gutter"]
    assert (d.x_mm, d.y_mm, d.z_mm) == pytest.approx((INCH / 8, -3 * INCH / 16, -INCH / 16))
    assert len(differences) == 3 * 6 and not side_differences(demo("pickup"))


def test_a_centreline_that_is_off_is_said_once():
    """3 mm too far left: y is 3 more on the right, 3 less on the left, −6 between the two, all over."""
    car = mirrored_car(flat_car())
    hoops = []
    for hoop in car.hoops:
        shifted = [
            tuple((x, y + 3.0 * (y != 0), z) for x, y, z in points)
            for points in (hoop.right_mm, hoop.left_mm)
        ]
        hoops.append(replace(hoop, right_mm=shifted[0], left_mm=shifted[1]))
    car = replace(car, hoops=tuple(hoops), panels=())
    (found,) = side_findings(car, fair_check(car))
    assert found.measured == pytest.approx(6.0) and found.where.startswith("across (y), ")
    assert found.limit == pytest.approx(LIMIT_SD * np.sqrt(2) * SCATTER)
    assert "6.0 mm" in found.message and "The whole side does" in found.message
    assert "centreline" in found.message


# ---------------------------------------------------------------- posts


def circular_axis(radius_mm, z_from, z_to, count, y=600.0):
    """Points on a circle in the xz plane whose tangent is plumb at the middle."""
    middle = (z_from + z_to) / 2
    z = np.linspace(z_from, z_to, count)
    return tuple((float(500 + np.sqrt(radius_mm**2 - (h - middle) ** 2) - radius_mm), y, float(h)) for h in z)


def test_the_bow_of_a_circle_is_its_sagitta():
    """h = R − √(R² − c²/4), chord c = 300 on R = 2000: 5.633 mm; a straight post has none."""
    post = replace(flat_car().posts[1], axis_mm=circular_axis(2000.0, 100.0, 400.0, 7))
    assert bow_mm(PostLine(post), 0.0, 1.0) == pytest.approx(2000 - np.sqrt(2000**2 - 150**2), abs=0.01)
    straight = replace(post, axis_mm=(post.axis_mm[0], post.axis_mm[-1]))
    assert bow_mm(PostLine(straight), 0.0, 1.0) == pytest.approx(0.0, abs=1e-9)


def room_findings(car):
    check_car(car)
    return cut_room_findings(shape_of(car), SCATTER)


def test_a_bowed_post_is_flagged_with_its_straightest_place():
    """Straight below 300 mm, bent above: over 136 mm from 280 it bows more than its wall of 1.5 mm."""
    axis = tuple((750.0, 610.0, float(z)) for z in range(0, 301, 50))
    axis += ((765.0, 610.0, 360.0), (800.0, 610.0, 440.0))
    car = with_post(flat_car(), "B", axis_mm=axis, cut_at_mm=280.0)
    (found,) = room_findings(car)
    assert found.kind == "post bowed at the cut" and found.where == "B right"
    assert found.measured > found.limit == 1.5
    assert "move cut_at there" in found.message
    assert not room_findings(with_post(car, "B", cut_at_mm=120.0))


def test_a_post_bent_all_along_has_no_place():
    axis = circular_axis(900.0, 0.0, 440.0, 9, y=610.0)
    (found,) = room_findings(with_post(flat_car(), "B", axis_mm=axis))
    assert "no place to cut it as a straight box" in found.message
    needed = TAKE_OUT_MM + 60.0
    assert found.measured == pytest.approx(900 - np.sqrt(900**2 - needed**2 / 4), abs=0.05)


def test_a_short_stretch_says_what_it_allows():
    """100 mm may be cut; less the width of 60 mm leaves a take-out of 40 mm."""
    car = with_post(flat_car(), "B", cut_from_mm=200.0, cut_to_mm=300.0)
    (found,) = room_findings(car)
    assert (found.kind, found.where) == ("no room for a cut", "B right")
    assert found.measured == pytest.approx(100.0) and found.limit == pytest.approx(TAKE_OUT_MM + 60.0)
    assert "at most 40.0 mm" in found.message


def test_a_post_wider_than_the_metal_between_two_openings():
    """The B-post's faces lie at 720 and 780; the door glass ends at 700, here at 735: 15 mm inside it."""
    car = flat_car()
    posts = tuple(replace(p, axis_mm=tuple((x, y + 18, z) for x, y, z in p.axis_mm)) for p in car.posts)
    car = replace(car, posts=posts)
    assert not room_findings(car)
    openings = tuple(
        replace(o, corners=rectangle((400.0, 60.0), (735.0, 400.0), 20.0)) if o.name == "door glass" else o
        for o in car.openings
    )
    found = [f for f in room_findings(replace(car, openings=openings)) if f.where.startswith("B")]
    assert [f.where for f in found] == ["B right, door glass right"]
    assert found[0].kind == "post in an opening"
    assert found[0].measured == pytest.approx(15.0, abs=0.2)


# ---------------------------------------------------------------- diagonals


def with_corner(car, name, number, across_mm=0.0, up_mm=0.0, side=None):
    openings = []
    for o in car.openings:
        if o.name == name and side in (None, o.side):
            corners = list(o.corners)
            c = corners[number]
            corners[number] = replace(c, across_mm=c.across_mm + across_mm, up_mm=c.up_mm + up_mm)
            o = replace(o, corners=tuple(corners))
        openings.append(o)
    return replace(car, openings=tuple(openings))


def test_diagonals_of_a_misread_corner():
    """Rear window ±300 by 120 … 384, its upper right corner read 10 mm too far out: by Pythagoras
    √(610² + 264²) − √(600² + 264²) = 9.17 mm.  Four corners of σ each: limit 4.5 · 2 σ, but for the slant."""
    car = flat_car()
    assert not diagonal_findings(car, SCATTER)
    (found,) = diagonal_findings(with_corner(car, "rear window", 2, across_mm=10.0), SCATTER)
    assert found.where == "rear window"
    assert found.measured == pytest.approx(np.hypot(610, 264) - np.hypot(600, 264), abs=1e-9)
    assert found.limit == pytest.approx(LIMIT_SD * 2 * SCATTER, rel=1e-9)
    assert "upper left" in found.message and "upper right" in found.message
    assert "Measure the upper" in found.message and "10.0 mm" in found.message


def test_a_shifted_centreline_is_no_disagreement():
    car = flat_car()
    moved = [
        replace(o, corners=tuple(replace(c, across_mm=c.across_mm + 4.0) for c in o.corners))
        if o.name == "rear window"
        else o
        for o in car.openings
    ]
    assert not diagonal_findings(replace(car, openings=tuple(moved)), SCATTER)


def test_right_and_left_openings_measured_apart_are_compared():
    """The left one listed the other way round; one corner 8 mm too high: √(250² + …) by Pythagoras."""
    car = flat_car()
    right = next(o for o in car.openings if o.name == "quarter glass")
    left = replace(right, side="left", corners=right.corners[::-1])
    both = replace(car, openings=(*car.openings, left))
    assert not diagonal_findings(both, SCATTER)
    high = right.corners[2].up_mm - right.corners[0].up_mm
    (found,) = diagonal_findings(with_corner(both, "quarter glass", 2, up_mm=8.0, side="right"), SCATTER)
    assert found.where == "quarter glass, right and left"
    assert found.measured == pytest.approx(np.hypot(250, high + 8) - np.hypot(250, high), abs=1e-9)
    assert "right upper rear and the left upper rear corner" in found.message


@pytest.mark.parametrize("name", ["coupe", "pickup"])
@pytest.mark.parametrize("number", range(4))
def test_half_an_inch_at_any_corner_of_a_demo_rear_window(name, number):
    car = demo(name)
    opening = next(o for o in car.openings if o.role == "rear window")
    slipped = with_corner(car, opening.name, number, across_mm=INCH / 2)
    (found,) = diagonal_findings(slipped, car.tape_mm / np.sqrt(12))
    assert found.measured > found.limit and ("upper" if number > 1 else "lower") in found.message
