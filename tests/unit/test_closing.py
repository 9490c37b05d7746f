"""The closed roof as it is cut: what laps comes off, by hand on flat cars, and everything still adds up."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
from invented_cars import box_car, cell_area_mm2, grid_area_mm2, mirrored_car, tan, wedge_car
from shipped_plans import closed_plan

from model import spoiltcuts
from model.built import build
from model.carfile import demo_car_names, demo_car_path, demo_closed_path, demo_closed_way_path, read_car
from model.closing import closed
from model.cutback import REASON
from model.cutdepths import CLIMB, FOLD, LEAST_WIDTH_MM, NO_TAIL, STEEPEST, TAPER, tail_of
from model.edges import Edge, Edges
from model.evaluate import build_checked
from model.fillerruns import BEAD, STEP_FROM_MM, Run
from model.fillers import fillers_of, least_radius_mm
from model.fillertips import tip_width_mm
from model.interference import interference_of
from model.layout import METAL, WASTE
from model.plan import NewMetal, Plan, RoofMove, WindowMove
from model.planfile import read_plan
from model.seams import seam_reports, seams_of
from model.sheets import waste_area_mm2
from model.spoiltcuts import GIVES_WAY_MM
from model.stepwise import at_once
from model.trimlines import trims_of
from model.trimmings import is_cut_off, part_cut_off

ROOT, KERF = 0.8, 1.2


@lru_cache
def as_cut(name):
    """Return the closed plan that ships for a car, its laps still there, nothing to be cut back."""
    car = read_car(demo_car_path(name))
    plan = read_plan(demo_closed_path(name), car)
    return build(car, replace(plan, new_metal=replace(plan.new_metal, cut_back_mm=0.0)))


@lru_cache
def pushed_back():
    """The wedge 50 mm lower and its roof 80 mm to the rear: its back laps over the body's."""
    roof = RoofMove(front_drop_mm=50, rear_drop_mm=50, fore_aft=-80.0)
    plan = Plan(roof=roof, kerf_mm=KERF, root_gap_mm=ROOT, new_metal=NewMetal(cut_back_mm=0.0))
    return build(wedge_car(), plan)


def window_down(flange_mm, down_mm=6.0):
    window = WindowMove(down_mm=down_mm, flange_mm=flange_mm)
    metal = NewMetal(cut_back_mm=0.0)
    return build(box_car(), Plan(window=window, kerf_mm=KERF, root_gap_mm=ROOT, new_metal=metal))


def cut_off(built):
    return [cell for cell in built.layout.cells if is_cut_off(cell.part)]


def test_a_rectangle_falls_off_the_back():
    """By hand, as the trim line has it: gap = ((d + g) tan c + s) sin c + g cos c with s = −80, c = 20°.

    A strip g − gap deep comes off between the rear window's opening (300, with corners of 40 at its
    top) and the corner, at y = 700 − (240 + d + g) tan 14° at the edge, which leans in by
    cos c tan 14° on the way up the back; and h below the line the opening's corner turns in.
    """
    built = pushed_back()
    trimmed = closed(built)
    sin_c, cos_c = np.sin(np.radians(20)), np.cos(np.radians(20))
    gap = (50.8 * tan(20) - 80) * sin_c + ROOT * cos_c
    depth, width = ROOT - gap, 700 - 290.8 * tan(14) - 300
    top = max(corner.up_mm for corner in built.shape.rear_window.opening.corners)
    h = 290.8 + depth * cos_c - (top - 40)
    in_the_corner = (40 * h - (h * np.sqrt(1600 - h**2) + 1600 * np.arcsin(h / 40)) / 2) / cos_c
    by_hand = depth * (width - depth * cos_c * tan(14) / 2) + in_the_corner
    cells = cut_off(trimmed)
    assert {cell.part for cell in cells} == {part_cut_off("roof")}
    assert {(cell.role, cell.carrier) for cell in cells} == {(WASTE, "body")}
    on_back = [cell for cell in cells if cell.grid.name == "back"]
    assert [cell_area_mm2(cell) for cell in on_back] == pytest.approx([by_hand, by_hand], rel=1e-5)
    seams = {seam.name: seam for seam in seam_reports(trimmed)}
    for side in ("right", "left"):
        seam = seams[f"C {side}, back skin"]
        assert (seam.gap_mm.min, seam.gap_mm.max) == pytest.approx((ROOT, ROOT), abs=1e-6)
        trim = next(t for t in trimmed.trims if t.seam == seam.name)
        assert trim.area_mm2 == pytest.approx(by_hand - in_the_corner, abs=0.5)


@pytest.mark.parametrize(("flange_mm", "piece"), [(19.05, "body"), (40.0, "window panel")])
def test_the_piece_that_the_trim_line_is_on_is_cut(flange_mm, piece):
    """Lower edge of a panel 6 mm down in a plumb plane: outlines with round corners, by shapely."""
    trimmed = closed(window_down(flange_mm))
    assert {cell.part for cell in cut_off(trimmed)} == {part_cut_off(piece)}
    round_body, round_panel = 40 + flange_mm + KERF, 40 + flange_mm
    inner = shapely.box(-300, 120, 300, 384).buffer(-40)
    body = inner.buffer(round_body, quad_segs=400)
    panel = shapely.affinity.translate(inner, 0, -6).buffer(round_panel, quad_segs=400)
    if piece == "body":
        off = panel.buffer(ROOT, quad_segs=400).difference(body).area
    else:  # what is left is a root gap inside the body's edge
        off = panel.difference(body.buffer(-ROOT, quad_segs=400)).area
    found = sum(cell_area_mm2(cell) for cell in cut_off(trimmed))
    assert found == pytest.approx(off, rel=2e-3)
    seam = next(s for s in seam_reports(trimmed) if s.name == "window panel to body")
    assert seam.gap_mm.min == pytest.approx(ROOT, abs=0.01)


@pytest.mark.parametrize("name", demo_car_names())
def test_where_pieces_lapped_they_stand_the_root_gap_apart(name):
    built = as_cut(name)
    trimmed = build_checked(built.shape.car, built.plan)
    root = built.plan.root_gap_mm
    before, after = ({s.name: s for s in seam_reports(b)} for b in (built, trimmed))
    assert set(before) == set(after)
    assert trimmed.trims == trims_of(built) == trims_of(trimmed)
    lapped = {trim.seam for trim in trimmed.trims}
    assert lapped and {n for n, s in before.items() if s.gap_mm and s.gap_mm.min < -0.1} == lapped
    for seam in lapped:
        assert after[seam].gap_mm.min == pytest.approx(root, abs=0.05)
        assert after[seam].facing_mm == pytest.approx(after[seam].edge_mm, rel=1e-6)
        stations = np.array([s.at_mm for s in after[seam].stations])
        gap = np.array([s.gap_mm for s in after[seam].stations])
        line = np.concatenate([[s.line_mm for s in t.stations] for t in trimmed.trims if t.seam == seam])
        near = np.linalg.norm(stations[:, None] - line[None], axis=2).min(axis=1) < 2
        if near.any():  # where the seam's own first piece was trimmed
            assert gap[near] == pytest.approx(np.full(near.sum(), root), abs=0.05)
    shared = {i.pieces for i in interference_of(trimmed)}
    assert not [pair for pair in shared if not any(p.startswith("post") for p in pair)]


@pytest.mark.parametrize("key", [*demo_car_names(), "wedge"])
def test_areas_are_put_back_to_the_stock_skin(key):
    """Cells of every grid by quadrature; what more waste there is has the areas that the trim lines say."""
    built = pushed_back() if key == "wedge" else as_cut(key)
    trimmed = closed(built)
    for grid in built.shape.skin.grids.values():
        cells = [cell for cell in trimmed.layout.cells if cell.grid is grid]
        assert shapely.union_all([c.polygon for c in cells]).area == pytest.approx(1, abs=1e-9)
        assert sum(map(cell_area_mm2, cells)) == pytest.approx(grid_area_mm2(grid), rel=1e-5)
    off = sum(map(cell_area_mm2, cut_off(trimmed)))
    assert waste_area_mm2(trimmed) - waste_area_mm2(built) == pytest.approx(off, rel=1e-3)
    assert sum(trim.area_mm2 for trim in trimmed.trims) == pytest.approx(off, rel=0.02)
    for cell in cut_off(trimmed):
        assert cell.polygon.area > 0 and not cell.polygon.interiors


def test_nothing_is_trimmed_without_new_metal_and_nothing_twice():
    built = pushed_back()
    bare = build(wedge_car(), replace(built.plan, new_metal=None))
    assert closed(bare) is bare and bare.trims is None
    assert closed(closed(built)) is closed(built)
    roof = RoofMove(front_drop_mm=20, rear_drop_mm=20)
    open_only = build(wedge_car(), Plan(roof=roof, new_metal=NewMetal(cut_back_mm=0.0)))
    assert closed(open_only).trims == () and not cut_off(closed(open_only))


def test_seams_keep_their_pieces_and_edges_lie_on_metal():
    trimmed = closed(as_cut("pickup"))
    for seam in seams_of(trimmed):
        for which, sides in enumerate((seam.first, seam.second)):
            for side in sides:
                assert side.cell.role == METAL and side.cell.part == seam.pieces[which]
                assert side.cell in (side.chain.left, side.chain.right)


def test_a_mirrored_car_is_cut_alike():
    built = as_cut("coupe")
    other = build(mirrored_car(built.shape.car), replace(built.plan, car=""))
    ours, theirs = (sorted(map(cell_area_mm2, cut_off(closed(b)))) for b in (built, other))
    assert ours == pytest.approx(theirs, rel=1e-3)
    ours, theirs = (sorted(s.length_mm for s in seam_reports(closed(b))) for b in (built, other))
    assert ours == pytest.approx(theirs, rel=1e-4)


# ---------------------------------------------------------------- cut back for new metal


@lru_cache
def lowered(cut_back_mm, front_mm=60.0, closes_from_mm=None, forward_mm=6.0):
    """The box car lowered plumb, its roof 6 mm forward: nothing meets out of plane but front and back."""
    roof = RoofMove(front_drop_mm=front_mm, rear_drop_mm=front_mm, fore_aft=forward_mm)
    metal = NewMetal(cut_back_mm=cut_back_mm, closes_from_mm=closes_from_mm)
    return build(box_car(), Plan(roof=roof, kerf_mm=KERF, root_gap_mm=ROOT, new_metal=metal))


def test_what_is_cut_back_by_hand():
    """Plumb panels 6 mm out of line: gap r, step 6, so d₁ + d₂ = 3 · 6 + 2r − r, and the width is 18."""
    built = lowered(None)
    trimmed = closed(built)
    fronts = [t for t in trimmed.trims if "front skin" in t.seam]
    assert fronts and all(t.reason == REASON for t in fronts)
    each = (CLIMB * 6 + 2 * ROOT - ROOT) / 2
    for trim in fronts:
        depths = [s.depth_mm for s in trim.stations]
        assert depths == pytest.approx([each] * len(depths), abs=1e-6)
    for filler in fillers_of(trimmed):
        if "front skin" in filler.name or "back skin" in filler.name:
            start, end = filler.border("v0").point_mm, filler.border("v1").point_mm[::-1]
            across = np.abs(start - end)[[0, -1]]
            assert across[:, 2] == pytest.approx([18, 18], abs=1e-5)  # plumb
            assert across[:, 0] == pytest.approx([6, 6], abs=1e-5)  # the step


def test_panels_too_far_out_of_line_are_cut_back_for_a_fold_only():
    """300 mm out of line: no strip climbs that, but one W_f wide is bent down: d₁ + d₂ = W_f + 2r − r."""
    built = lowered(None, forward_mm=300.0)
    trimmed = closed(built)
    fronts = [t for t in trimmed.trims if "front skin" in t.seam]
    width = FOLD * tip_width_mm(built.shape.car.gauge_mm)
    depths = [s.depth_mm for t in fronts for s in t.stations]
    assert depths and depths == pytest.approx([(width + ROOT) / 2] * len(depths), abs=1e-6)
    fillers = [f for f in fillers_of(trimmed) if "front skin" in f.name]
    assert fillers and all(least_radius_mm(f.grid) >= f.thickness_mm for f in fillers)
    uncut = [f for f in fillers_of(closed(lowered(0.0, forward_mm=12.0))) if "front skin" in f.name]
    assert uncut and all(least_radius_mm(f.grid) < f.thickness_mm for f in uncut)


def test_beyond_a_run_that_ends_for_its_step_the_cut_runs_out():
    """Gap r, step 1 in 100: W = 1.5 · 3.175 at the end, so W + 2r − r comes off, and thrice that beyond."""
    x = np.linspace(0, 1000.0, 101)
    up = np.broadcast_to([0.0, 0.0, 1.0], (101, 3))
    first = Edge(np.stack([x, 0 * x, 0 * x], axis=1), up)
    second = Edge(np.stack([x, 0 * x - ROOT, 0.01 * x], axis=1)[::-1], up)
    built = lowered(None)
    seam = seams_of(built)[0]
    start = 100 * STEP_FROM_MM
    ends = (BEAD, "corner")
    run = Run(seam, Edges([first, second]), 0, 1, (start, 1000.0), (1000.0 - start, 0.0), ends, ROOT, 10.0)
    depth = STEEPEST * STEP_FROM_MM + ROOT
    tail = tail_of(built, run, 0)
    assert (tail.depth_mm, tail.reach_mm) == pytest.approx((depth, TAPER * depth), abs=0.01)
    assert tail_of(built, run, 1) == NO_TAIL  # no bead
    flush = replace(run, first_mm=(start / 2, 1000.0), second_mm=(1000.0 - start / 2, 0.0))
    assert tail_of(built, flush, 0) == NO_TAIL  # there for its gap: the depth tapers within the run
    short = replace(run, laid=Edges([first, second]), first_mm=(start, 1000.0), second_mm=(996.0, 0.0))
    assert tail_of(built, short, 0) == NO_TAIL  # 4 mm beyond it are no room for a cut to run out


def test_a_given_depth_and_none():
    for depth in (5.0, 0.0):
        built = lowered(depth)
        trimmed = closed(built)
        told = {round(s.depth_mm, 6) for t in trimmed.trims if "front skin" in t.seam for s in t.stations}
        assert told == ({depth} if depth else set())
    assert not cut_off(closed(lowered(0.0)))


@pytest.mark.parametrize("name", demo_car_names())
def test_on_a_measured_car_everything_still_adds_up(name):
    """New edges on curved skins: no lap, areas put back, both pieces given as deep, mirrored alike."""
    bare = as_cut(name)
    plan = replace(bare.plan, new_metal=replace(bare.plan.new_metal, cut_back_mm=None))
    trimmed = closed(build(bare.shape.car, plan))
    mirrored = closed(build(mirrored_car(bare.shape.car), replace(plan, car="")))
    cut = [t for t in trimmed.trims if t.reason == REASON]
    assert len(cut) == len([t for t in mirrored.trims if t.reason == REASON]) > 0
    areas = (sorted(map(cell_area_mm2, cut_off(b))) for b in (trimmed, mirrored))
    assert next(areas) == pytest.approx(next(areas), rel=1e-3)
    for grid in trimmed.shape.skin.grids.values():
        cells = [cell for cell in trimmed.layout.cells if cell.grid is grid]
        assert sum(map(cell_area_mm2, cells)) == pytest.approx(grid_area_mm2(grid), rel=1e-5)
    for seam in seam_reports(trimmed):
        assert seam.kind == "post" or seam.gap_mm is None or seam.gap_mm.min > 0
    for filler in fillers_of(trimmed):
        if any(t.seam == filler.seam.name for t in cut) and "bead" not in filler.ends:
            a, b = filler.border("v0").point_mm, filler.border("v1").point_mm[::-1]
            assert np.linalg.norm(a - b, axis=1).min() > LEAST_WIDTH_MM - 0.01


def nearest_mm(built):
    """Return how near the new metal of every seam beside the C-posts comes to any old sheet."""
    names = {f.seam.name for f in fillers_of(built) if f.seam.name.startswith("C ")}
    return {name: spoiltcuts._nearest_mm(built, name) for name in names}


def test_a_cut_after_which_new_metal_folds_is_not_made(monkeypatch):
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_closed_way_path("coupe", "split"), car)
    assert plan.new_metal.cut_back_mm is None
    built = build(car, plan)
    done = closed(built)
    apart = nearest_mm(done)
    assert len(apart) == 4 and min(apart.values()) > plan.root_gap_mm - GIVES_WAY_MM
    assert not any(spoiltcuts._bends_too_tightly(done, name) for name in apart)

    def none_is_worse(before, after, names):
        yield
        return set()

    monkeypatch.setattr(spoiltcuts, "_with_worse_metal", none_is_worse)
    anew = closed(replace(built))  # nothing of it is remembered
    assert any(spoiltcuts._bends_too_tightly(anew, name) for name in apart)


@pytest.mark.parametrize(
    ("before_mm", "after_mm", "is_undone"),
    [(0.79, 0.3, True), (0.3, 0.3, False), (0.3, 0.2, True), (0.9, 0.7, False)],
)
def test_a_cut_that_brings_new_metal_too_near_to_old_sheet_is_undone(
    monkeypatch, before_mm, after_mm, is_undone
):
    """Too near: by more than it may give way nearer than a root gap, and nearer than before."""
    after = closed_plan("pickup", "forward")
    before = replace(after)
    assert after.plan.root_gap_mm - GIVES_WAY_MM == pytest.approx(0.594, abs=1e-3)
    seams = {filler.seam.name for filler in fillers_of(after)}
    name = min(seams)
    monkeypatch.setattr(
        spoiltcuts, "_nearest_mm", lambda built, _name: before_mm if built is before else after_mm
    )
    assert at_once(spoiltcuts._with_worse_metal(before, after, {name})) == ({name} if is_undone else set())
