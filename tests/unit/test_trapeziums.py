"""A blank's four straight sides and two diagonals: closed forms, shapely's distances, the shipped strips."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
from sample_reports import sample_filler, sample_report

from model.blanks import blank_of
from model.carfile import demo_car_path, demo_split_path, read_car
from model.evaluate import build_checked, fit_report_of
from model.fillers import fillers_of
from model.metalblanks import filler_blank, with_blanks
from model.output.blankpicture import fact_lines
from model.output.text import report_text
from model.outside.knownsheets import cylinder_sheet, frustum_sheet, torus_sheet
from model.plan import NewMetal
from model.planfile import read_plan
from model.sheetpatch import Sheet
from model.trapeziums import OFF_MM, trapezium_of


def plane_sheet(corners):
    """Return the flat quadrilateral start first, start second, end second, end first, with its own normal."""
    a, d, c, b = (np.array(corner, float) for corner in corners)
    u, v = (x[..., None] for x in np.meshgrid(np.linspace(0, 1, 4), np.linspace(0, 1, 5), indexing="ij"))
    points = (1 - u) * (1 - v) * a + u * (1 - v) * b + u * v * c + (1 - u) * v * d
    normal = np.cross(c - a, d - b)
    return Sheet(points_mm=points, normals=np.broadcast_to(normal / np.linalg.norm(normal), points.shape))


def test_a_flat_trapezium_is_its_own_tape_measures():
    a, b, c, d = (0, 0, 0), (400, 0, 0), (380, 60, 0), (30, 45, 0)
    found = trapezium_of(blank_of(plane_sheet([a, d, c, b]), trim_mm=12.7, gauge_mm=1))
    assert found.along_mm == pytest.approx((400, np.hypot(350, 15)), abs=1e-6)
    assert found.ends_mm == pytest.approx((np.hypot(30, 45), np.hypot(20, 60)), abs=1e-6)
    assert found.diagonals_mm == pytest.approx((np.hypot(380, 60), np.hypot(370, 45)), abs=1e-6)
    assert found.off_mm < 1e-6 and found.is_enough


def test_a_wedge_to_a_point_is_a_triangle():
    found = trapezium_of(
        blank_of(plane_sheet([(0, 0, 0), (0, 30, 0), (400, 0, 0), (400, 0, 0)]), trim_mm=0, gauge_mm=1)
    )
    slant = np.hypot(400, 30)
    assert found.along_mm == pytest.approx((400, slant), abs=1e-4)
    assert found.ends_mm == pytest.approx((30, 0), abs=1e-4)
    assert found.diagonals_mm == pytest.approx((400, slant), abs=1e-4) and found.is_enough


def test_a_bent_strip_is_as_long_as_its_middle():
    found = trapezium_of(blank_of(cylinder_sheet(500, 20, 60, rows=41), trim_mm=0, gauge_mm=2))
    arc = np.radians(20) * 499
    assert found.along_mm == pytest.approx((arc, arc), abs=0.001)
    assert found.ends_mm == pytest.approx((60, 60), abs=0.001)
    assert found.diagonals_mm == pytest.approx((np.hypot(60, arc),) * 2, abs=0.001)


# A frustum's flat is a ring's sector: slant s, radius R outside, its arc as long as the rim's.
@pytest.mark.parametrize("turn_deg, is_enough", [(12, True), (60, False)])
def test_a_cone_strays_by_the_sagitta_of_its_outer_arc(turn_deg, is_enough):
    large, small, height = 400.0, 340.0, 200.0
    slant = np.hypot((large - small) / 2, height)
    outer = large / 2 * slant / ((large - small) / 2)
    inner, angle = outer - slant, np.radians(turn_deg) * large / 2 / outer
    found = trapezium_of(
        blank_of(frustum_sheet(large, small, height, angle_deg=turn_deg), trim_mm=0, gauge_mm=1e-6)
    )
    chords = 2 * np.array([outer, inner]) * np.sin(angle / 2)
    across = np.sqrt(outer**2 + inner**2 - 2 * outer * inner * np.cos(angle))  # law of cosines
    lengths = sorted([*found.along_mm, *found.ends_mm])
    assert lengths == pytest.approx(sorted([*chords, slant, slant]), abs=0.01)
    assert found.diagonals_mm == pytest.approx((across, across), abs=0.01)
    assert found.off_mm == pytest.approx(outer * (1 - np.cos(angle / 2)), abs=0.004)
    assert (found.off_mm <= OFF_MM) == is_enough == found.is_enough


def test_what_has_to_be_stretched_is_never_a_trapezium_however_straight():
    dome = blank_of(torus_sheet(600, 250, 4, 60, 66), trim_mm=0, gauge_mm=1)
    assert trapezium_of(dome).is_enough
    found = trapezium_of(replace(dome, max_stretch=0.0021))
    assert found.off_mm <= OFF_MM and not found.is_enough


@lru_cache
def split_pickup():
    car = read_car(demo_car_path("pickup"))
    plan = replace(read_plan(demo_split_path("pickup"), car), new_metal=NewMetal())
    built = build_checked(car, plan)
    report = fit_report_of(built)
    strips = tuple(m for m in report.new_metal if m.kind == "strip" and m.name.endswith("roof"))
    return built, with_blanks(replace(report, new_metal=strips), built)


def test_strips_of_a_split_roof_are_marked_out_straight():
    """Across: the spread less two root gaps.  Off the flat as shapely finds it, both ways."""
    built, report = split_pickup()
    fillers = {filler.name: filler for filler in fillers_of(built)}
    lengthwise = [m for m in report.new_metal if m.pieces[0].split()[1] == m.pieces[1].split()[1]]
    assert len(report.new_metal) == 4 and len(lengthwise) == 2
    for metal in report.new_metal:
        found = metal.trapezium
        assert found.is_enough
        whole = report.split.spread_mm if metal in lengthwise else report.split.lengthen_mm
        assert found.ends_mm == pytest.approx((whole - 2 * built.plan.root_gap_mm,) * 2, abs=0.05)
        blank = filler_blank(fillers[metal.name], 12.7)
        first, second = blank.sides_mm[2:]
        straight = shapely.Polygon([first[0], first[-1], second[-1], second[0]])
        apart = shapely.hausdorff_distance(
            straight.exterior, shapely.Polygon(blank.outline_mm).exterior, densify=0.005
        )
        assert found.off_mm == pytest.approx(apart, abs=1e-3)
        assert straight.exterior.is_ccw is False  # start at the right with the first piece below


def test_the_report_tells_the_sides_of_what_may_be_marked_out():
    near = replace(sample_filler().trapezium, off_mm=0.4, is_enough=True)
    text = report_text(sample_report(new_metal=(sample_filler(trapezium=near),)))
    assert '10-1/4" (260.4)' in text and '1-3/16" (30.2)' in text and '10-5/16" (262.0)' in text
    assert "marked out straight" in text and max(map(len, text.splitlines())) <= 100
    assert "marked out straight" not in report_text(sample_report())


def test_the_drawing_says_the_sides_where_they_will_do():
    strip = blank_of(cylinder_sheet(500, 20, 60, rows=41), trim_mm=0, gauge_mm=2)
    assert any("four straight sides" in line for line in fact_lines(strip, "mm"))
    cone = blank_of(frustum_sheet(400, 250, 200, angle_deg=200), trim_mm=0, gauge_mm=1)
    assert not any("four straight sides" in line for line in fact_lines(cone, "mm"))
