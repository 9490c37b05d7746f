"""Welds of a door's upper frame: a box cut by hand, and what report and weld plan make of it."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from sample_reports import sample_pane, sample_report, validator
from test_report_schema import as_json

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.doors import side_glass
from model.doorwelds import SECTION_MM, door_seams, leg_bead_mm
from model.evaluate import build_checked, report_of
from model.output.text import report_text
from model.output.weldtext import weld_text
from model.planfile import read_plan
from model.weldplan import weld_plan

W, H = SECTION_MM


@pytest.mark.parametrize("lean_deg", [0.0, 14.0, 32.0, -35.0])
def test_a_leg_cut_level_in_closed_form(lean_deg):
    """2 (w / cos a + d), as of a post; and in any plane, the box's outline found corner by corner."""
    level = leg_bead_mm(-np.tan(np.radians(lean_deg)), 0.0)
    assert level == pytest.approx(2 * (W / np.cos(np.radians(lean_deg)) + H), abs=1e-9)
    t = np.array([np.sin(np.radians(lean_deg)), 0.2, np.cos(np.radians(lean_deg))])
    t /= np.linalg.norm(t)
    w = np.array([1.0, 0, 0]) - t[0] * t
    w /= np.linalg.norm(w)
    d, n = np.cross(t, w), np.array([0.1, -0.3, 1.0])
    corners = [i * W / 2 * w + j * H / 2 * d for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    cut = np.array([c - (c @ n) / (t @ n) * t for c in corners])  # along the axis onto the plane n·P = 0
    around = np.linalg.norm(cut - np.roll(cut, 1, axis=0), axis=1).sum()
    assert leg_bead_mm(n @ w / (n @ t), n @ d / (n @ t)) == pytest.approx(around, abs=1e-9)


def parts(**changed):
    pane = sample_pane(**changed)
    return {seam.part: seam for seam in door_seams((pane,), 0.8)}


def test_corners_and_rail():
    corner = sample_pane().corners[0]
    still = replace(corner, jog_mm=0.0, angle_after_deg=corner.angle_before_deg)
    right_angle = replace(corner, jog_mm=5.0, angle_after_deg=90.0)
    assert set(parts(corners=(still,), rail_before_mm=500.0, rail_after_mm=500.5)) == {"front leg"}
    mitred = parts(corners=(right_angle,), rail_before_mm=500.0, rail_after_mm=480.0)
    assert set(mitred) == {"front leg", "front corner"}
    assert mitred["front corner"].length_mm == pytest.approx(2 * (W * np.sqrt(2) + H), abs=1e-9)
    for change, corners, count in ((30.0, (still,), 2), (30.0, (right_angle,), 1), (-30.0, (still,), 1)):
        rail = parts(corners=corners, rail_before_mm=500.0, rail_after_mm=500.0 + change)["rail"]
        assert (rail.count, rail.length_mm) == (count, pytest.approx(count * 2 * (W + H)))
    assert door_seams((sample_pane(kind="fixed", legs=()),), 0.8) == ()


@lru_cache
def carried_out(name):
    car = read_car(demo_car_path(name))
    built = build_checked(car, read_plan(demo_plan_path(name), car))
    return built, report_of(built)


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_the_shell_keeps_its_total(name):
    built, report = carried_out(name)
    welding = weld_plan(built, report)
    doors = [pane for pane in side_glass(built) if pane.kind == "door"]
    assert report.door_seams == welding.door_seams and len(doors) == 2
    assert {seam.part for seam in report.door_seams} >= {"front leg", "rear leg"}
    assert report.door_frame_weld_mm == welding.door_frame_mm
    assert welding.door_frame_mm == pytest.approx(sum(seam.length_mm for seam in report.door_seams))
    shell = sum(seam.length_mm for seam in report.seams)
    assert report.totals.weld_mm == pytest.approx(shell) == pytest.approx(welding.length_mm)
    assert "door frame" not in report.totals.weld_by_kind_mm
    right, left = (
        sum(s.length_mm for s in report.door_seams if s.side == side) for side in ("right", "left")
    )
    assert right == pytest.approx(left, rel=0.02) and right > 4 * (W + H)
    validator("report").validate(as_json(report.to_json()))
    validator("weld").validate(as_json(welding.to_json()))
    assert "DOOR FRAMES: WHAT IS WELDED" in report_text(report) and "assumed" in weld_text(welding)
    assert "DOOR FRAMES" not in report_text(sample_report(door_seams=()))
