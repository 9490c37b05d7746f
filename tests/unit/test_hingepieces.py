"""Hinge pieces: what a leaned post gets around its hinge, by hand and on the shipped cars."""

from dataclasses import replace

import numpy as np
import pytest
from shipped_plans import closed_plan

from model.bodies import posts_of
from model.carfile import demo_car_names, demo_car_path, demo_closed_way_path, read_car
from model.evaluate import build_checked, fit_report_of
from model.fillerruns import widest_weld_mm
from model.fillers import fillers_of
from model.hingepieces import LEAST_MM, built_up_mm, hinge_piece, hinge_pieces
from model.hingepieceseams import hinge_bead_names
from model.interference import interference_of
from model.outside.knowncars import tan
from model.outside.leanedposts import HAND_DROP, LEAN, H, laid_back
from model.plan import WAYS
from model.planfile import read_plan
from model.postlines import PostLine
from model.seams import HINGE
from model.weldplan import weld_plan
from model.weldruns import is_box

ROOT_MM, WELD_MM = 0.8, 1.3
TURN_DEG = float(np.degrees(np.arctan(H * tan(LEAN) / (H - HAND_DROP)))) - LEAN
HALF_MM = 25.4  # of the post laid back by hand, fore-and-aft


def by_hand():
    """Return the piece of a post laid back from 32°, 2 in wide, cut around square to it."""
    return hinge_piece(("A", "right"), laid_back("square"), WELD_MM, ROOT_MM)


def test_the_corners_of_a_piece_are_those_of_two_boxes_turned_about_the_hinge():
    """In the foot's frame, p rearward and z up the post, a corner edge of the foot runs at p = ±w / 2, one of
    the loose end along (sin a, cos a) through ±w / 2 (cos a, −sin a), so at z at ±w / (2 cos a) + z tan a."""
    piece = by_hand()
    up = np.array(piece.ends.hinge.foot.normal)
    rearward = np.array([up[2], 0.0, -up[0]])
    at = piece.box.corners_mm - np.array(piece.ends.hinge.point_mm)
    p, z = at @ rearward, at @ up
    height = LEAST_MM + 2 * ROOT_MM
    np.testing.assert_allclose(z, [[ROOT_MM] * 4, [height - ROOT_MM] * 4], atol=1e-9)
    a = np.radians(TURN_DEG)
    side = np.array([-1.0, -1.0, 1.0, 1.0])  # front outer, front inner, rear inner, rear outer
    np.testing.assert_allclose(p[0], side * HALF_MM, atol=1e-9)
    above = side * HALF_MM / np.cos(a) + (height - ROOT_MM) * np.tan(a)
    np.testing.assert_allclose(p[1], above, atol=1e-9)
    np.testing.assert_allclose(at[..., 1], np.tile([19.05, -19.05, -19.05, 19.05], (2, 1)), atol=1e-9)


def test_what_comes_off_the_loose_end_fills_the_mouth_up_to_the_piece():
    piece = by_hand()
    line, move = piece.ends.line, piece.ends.lower_move
    own = move.points(line.lines(line.crossing(piece.ends.hinge.loose)))
    gap = piece.ends.hinge.foot.height_above(own)
    assert piece.mouth_mm == pytest.approx(gap.max())
    expected = (LEAST_MM + 2 * ROOT_MM - gap) / np.cos(np.radians(TURN_DEG))
    np.testing.assert_allclose(piece.back_mm(), expected, atol=1e-9)


def test_a_chord_of_the_turn_is_what_the_mouth_is_wider_than_the_kerf():
    """A place of the front wall, at w / 2 from the axis, goes along 2 (w / 2) sin(a / 2); that chord stands
    off the foot's plane by a / 2, so the mouth is the kerf and w / 2 · sin a, less what the kerf turns."""
    a = np.radians(TURN_DEG)
    chord = 2 * HALF_MM * np.sin(a / 2)
    assert by_hand().mouth_mm == pytest.approx(1.2 + chord * np.cos(a / 2), abs=0.01)


def test_walls_are_flat_trapeziums_whose_areas_and_metal_are_those_by_hand():
    """Side walls: mean of both rims times the length; front and rear: slanted by their own corners' run."""
    piece = by_hand()
    a, depth, width = np.radians(TURN_DEG), 38.1, 2 * HALF_MM
    height = LEAST_MM + 2 * ROOT_MM
    assert max(piece.box.flat_wall(i).twist_mm for i in range(4)) < 1e-9
    run = np.array([-1, 1]) * (HALF_MM / np.cos(a) - HALF_MM) + (height - ROOT_MM) * np.tan(a)
    front, rear = depth * np.hypot(LEAST_MM, run)
    side = (width + width / np.cos(a)) / 2 * LEAST_MM
    np.testing.assert_allclose(piece.box.wall_areas_mm2, [front, side, rear, side], rtol=1e-9)
    metal = piece.box.wall_areas_mm2.sum() * 1.5  # outside: at the four corners the walls share their metal
    assert piece.box.metal_mm3 == pytest.approx(metal - 4 * 1.5**2 * LEAST_MM, rel=2e-3)


def test_no_piece_where_a_weld_closes_the_mouth_or_the_loose_end_is_too_short():
    ends = laid_back("square")
    wide = by_hand().mouth_mm
    assert hinge_piece(("A", "right"), ends, wide + 1e-6, ROOT_MM) is None
    assert hinge_piece(("A", "right"), ends, wide - 1e-6, ROOT_MM) is not None
    low = replace(ends.plane, point_mm=np.array(ends.hinge.point_mm) + 12.0 * ends.plane.normal)
    assert hinge_piece(("A", "right"), replace(ends, plane=low), WELD_MM, ROOT_MM) is None


@pytest.mark.parametrize(("off_mm", "has_piece"), [(1e-6, False), (-1e-6, True)])
def test_a_mouth_of_two_walls_is_built_up_and_a_wider_one_gets_a_piece(off_mm, has_piece):
    """The post by hand with a wall of half its mouth, a hair more or less."""
    ends = laid_back("square")
    wall_mm = by_hand().mouth_mm / 2 + off_mm
    post = replace(ends.line.post, wall_mm=wall_mm)
    ends = replace(ends, line=PostLine(post))
    assert built_up_mm(ends) == 2 * wall_mm
    assert (hinge_piece(("A", "right"), ends, built_up_mm(ends), ROOT_MM) is not None) == has_piece


CASES = [(car, way) for car in demo_car_names() for way in WAYS]


@pytest.fixture(params=CASES, ids=lambda case: "-".join(case))
def built(request):
    return closed_plan(*request.param)


def _steepest_wall_deg(built, report, key):
    """Of the wall whose rims lie furthest apart: atan((h (1/cos a − 1) + z tan a) / L)."""
    a, post = np.radians(report.post(*key).lean.turn_deg), built.ends[key].line.post
    half = max(post.width_mm, post.depth_mm) / 2
    run = half * (1 / np.cos(a) - 1) + (LEAST_MM + built.plan.root_gap_mm) * np.tan(a)
    return float(np.degrees(np.arctan2(run, LEAST_MM)))


def test_every_hinge_of_a_closed_plan_is_closed(built):
    report = fit_report_of(built)
    pieces, root = hinge_pieces(built), built.plan.root_gap_mm
    leaned = {key for key, ends in built.ends.items() if ends.hinge is not None}
    beads = {seam.name: seam for seam in report.seams if seam.kind == HINGE and is_box(seam)}
    metal = {m.name: m for m in report.new_metal}
    assert len(beads) == len(leaned) + len(pieces)
    for key, piece in pieces.items():
        told = report.post(*key).lean.piece
        assert told.name == piece.name and told.length_mm == pytest.approx(piece.box.height_mm)
        assert len(told.edges) == 5
        np.testing.assert_allclose([e.back_mm for e in told.edges], piece.back_mm())
        for name in hinge_bead_names(piece):
            gap, step = beads[name].gap_mm, beads[name].step_mm
            assert root - 0.005 < gap.min and gap.max < root + 0.03, name
            assert max(abs(step.min), abs(step.max)) < 0.2, name
            assert beads[name].facing_mm == pytest.approx(beads[name].edge_mm, rel=0.05)
        own = metal[piece.name]
        assert own.area_mm2 == pytest.approx(piece.box.wall_areas_mm2.sum())
        assert own.mass_kg == pytest.approx(own.area_mm2 * 1e-6 * 7.85 * own.gauge_mm, rel=1e-3)
        assert sum(wall.area_mm2 for wall in own.walls) == pytest.approx(own.area_mm2)
        turned = max(edge.tangent_break_deg for edge in own.edges)
        assert turned < _steepest_wall_deg(built, report, key) + 0.5  # the post's own bend
    told = {
        f.where: f.message for f in report.findings if f.kind == "gap" and f.where.endswith("hinge, post")
    }
    for key in leaned - set(pieces):
        seam = report.seam(f"{' '.join(key)}, hinge, post")
        assert seam.gap_mm.max <= 2 * built.ends[key].line.post.wall_mm + 0.01
        assert (seam.name in told) == (seam.gap_mm.max > widest_weld_mm(built))
        assert "build its edges up with weld" in told.pop(seam.name, "build its edges up with weld")
    assert not told


def test_no_sheet_runs_into_a_piece_or_into_a_loose_end(built):
    found = interference_of(built, fillers_of(built))
    assert [item for item in found if "hinge piece" in "".join(item.pieces)] == []
    assert [item for item in found if "post " in "".join(item.pieces)] == []
    names = {body.name for _, body in posts_of(built)}
    assert {piece.name for piece in hinge_pieces(built).values()} <= names


def test_the_weld_plan_has_both_beads_with_four_faces_each():
    built = closed_plan("coupe", "laid-back")
    report = fit_report_of(built)
    plan = weld_plan(built, report)
    pieces = hinge_pieces(built)
    divider = plan.seam("divider centre, hinge, post")  # built up: one bead all around, of four faces
    assert len(divider.runs) == 4 and divider.name in plan.steps[0].seams
    assert len(pieces) == 4
    for key, piece in pieces.items():
        wall = built.ends[key].line.post.wall_mm
        for name in hinge_bead_names(piece):
            seam = plan.seam(name)
            assert [run.part for run in seam.runs] == ["front face", "rear face", "inner face", "outer face"]
            assert sum(run.length_mm for run in seam.runs) == pytest.approx(seam.length_mm, rel=1e-6)
            assert seam.sheet_mm == (wall, wall) and name in plan.steps[0].seams
    assert report.totals.weld_mm == pytest.approx(sum(seam.length_mm for seam in report.seams))


def test_without_new_metal_a_hinge_is_welded_as_it_stands_and_told_as_a_gap():
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_closed_way_path("coupe", "laid-back"), car)
    built = build_checked(car, replace(plan, new_metal=None))
    assert hinge_pieces(built) == {}
    report = fit_report_of(built)
    assert report.post("A", "right").lean.piece is None
    assert ("gap", "A right, hinge, post") in {(f.kind, f.where) for f in report.findings}
