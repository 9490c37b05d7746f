"""Trim lines: rectangles by hand, the gap after trimming, areas integrated on the skin, marks on the car."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
from invented_cars import box_car, mirrored_car, tan, wedge_car

from model.built import build
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.edges import Edge, Edges
from model.evaluate import evaluate
from model.fit import Facing, meetings
from model.output.html import seams_html
from model.plan import Plan, RoofMove, WindowMove
from model.planfile import read_plan
from model.seams import seam_edges
from model.sheets import surface_area_mm2
from model.trimlines import (
    KEEPS_FLANGE,
    LOOSER,
    lapping_seams,
    piece_to_trim,
    stretches_of,
    trimmed_sides,
    trims_of,
)

ROOT, KERF = 0.8, 1.2


@lru_cache
def demo(name):
    car = read_car(demo_car_path(name))
    return build(car, read_plan(demo_plan_path(name), car))


@lru_cache
def pushed_back():
    """The wedge 50 mm lower and its roof 80 mm to the rear: its back laps over the body's."""
    roof = RoofMove(front_drop_mm=50, rear_drop_mm=50, fore_aft=-80.0)
    return build(wedge_car(), Plan(roof=roof, kerf_mm=KERF, root_gap_mm=ROOT))


def stretches(built):
    """Return every lapping seam with what is trimmed of it and its stretches."""
    out = []
    for seam, met in lapping_seams(built):
        which, _ = piece_to_trim(built, seam, met)
        out.append((seam, which, stretches_of(built, seam, met, which)))
    return out


def test_a_rectangle_falls_off_the_back():
    """By hand, see flatcabs: gap = ((d + g) tan c + s) sin c + g cos c with s = −80, c = 20°.

    The roof's back edge runs along y from the rear window's opening (300) to its own corner, which
    lies at z = 240 + d + g on the uncut car: 700 − 290.8 tan 14°.  All of it laps; what falls off is
    the rectangle less a triangle at the corner, which leans in by 14°.
    """
    built = pushed_back()
    trims = {t.seam: t for t in trims_of(built)}
    sin_c, cos_c = np.sin(np.radians(20)), np.cos(np.radians(20))
    gap = (50.8 * tan(20) - 80) * sin_c + ROOT * cos_c
    width = 700 - 290.8 * tan(14) - 300
    for side in ("right", "left"):
        trim = trims[f"C {side}, back skin"]
        assert (trim.piece, trim.other, trim.reason) == ("roof", "body", LOOSER)
        assert trim.lap_mm == pytest.approx(-gap, abs=1e-6)
        depths = [s.depth_mm for s in trim.stations]
        assert depths == pytest.approx([ROOT - gap] * len(depths), abs=5e-3)  # the last, at the corner
        assert sorted(depths)[len(depths) // 2] == pytest.approx(ROOT - gap, abs=1e-6)
        assert trim.length_mm == pytest.approx(width, abs=0.02)
        narrower = (ROOT - gap) * cos_c * tan(14)  # so much less at the line, up the leaning corner
        assert trim.area_mm2 == pytest.approx((width - narrower / 2) * (ROOT - gap), abs=0.5)
        developed = shapely.Polygon(  # in the plane of the back: y, and up along it
            [(s.edge_mm[1], s.edge_mm[2] / cos_c) for s in trim.stations]
            + [(s.line_mm[1], s.line_mm[2] / cos_c) for s in trim.stations[::-1]]
        )
        assert trim.area_mm2 == pytest.approx(developed.area, rel=1e-6)
        step = 50 * sin_c - 80 * cos_c
        assert trim.apart_mm == pytest.approx(abs(step), abs=1e-6)


def test_the_mark_on_the_back_is_the_edge_of_the_opening():
    built = pushed_back()
    trim = next(t for t in trims_of(built) if t.seam == "C right, back skin")
    assert trim.mark == "edge of the rear window opening"
    ways = {trim.plus_way, trim.minus_way}
    assert ways == {"to the right", "to the left"}
    for station in trim.stations:  # measured along the edge, which is straight along y
        off = station.edge_mm[1] - trim.mark_mm[1]
        sign = 1.0 if trim.plus_way == "to the right" else -1.0
        assert station.from_mark_mm == pytest.approx(sign * off, abs=1e-6)


def window_down(flange_mm, down_mm=6.0):
    window = WindowMove(down_mm=down_mm, flange_mm=flange_mm)
    return build(box_car(), Plan(window=window, kerf_mm=KERF, root_gap_mm=ROOT))


@pytest.mark.parametrize(("flange_mm", "piece"), [(19.05, "body"), (40.0, "window panel")])
def test_a_window_panel_keeps_its_flange(flange_mm, piece):
    """6 mm lower in a plumb plane: the lower edges lap by 6 − kerf."""
    built = window_down(flange_mm)
    (trim,) = trims_of(built)
    assert trim.piece == piece and trim.reason == (KEEPS_FLANGE if piece == "body" else LOOSER)
    assert trim.mark == "centreline" and abs(trim.mark_mm[1]) < 1e-6
    middle = [s for s in trim.stations if abs(s.from_mark_mm) < 250]
    assert [s.depth_mm for s in middle] == pytest.approx([6 - KERF + ROOT] * len(middle), abs=1e-4)
    assert trim.stations[0].depth_mm == pytest.approx(0, abs=1e-9)
    # Straight part of the lower edge: 600 less two corners of 40; by and by to nothing in the corners.
    assert 520 < trim.length_mm < 520 + np.pi * (40 + flange_mm + KERF)
    assert trim.area_mm2 > 520 * (6 - KERF + ROOT)


def test_area_over_a_rounded_corner_in_closed_form():
    """Lower edge with corners: the panel's outline moved down by d is at r from the line all along.

    What falls off is what lies between the body's edge (radius R = 40 + 19.05 + 1.2) and the line,
    which is the panel's edge (radius 59.05) d lower, grown by r: in a corner at angle a from straight
    down, depth = r + d cos a − kerf to first order in d / R; it ends where d cos a = kerf − r.
    """
    d = 6.0
    (trim,) = trims_of(window_down(19.05, d))
    grown = shapely.box(-300, 120, 300, 384).buffer(-40).buffer(40 + 19.05 + KERF, quad_segs=400)
    panel = shapely.box(-300, 120 - d, 300, 384 - d).buffer(-40).buffer(40 + 19.05 + ROOT, quad_segs=400)
    assert trim.area_mm2 == pytest.approx(panel.difference(grown).area, rel=2e-3)


@pytest.mark.parametrize("key", ["coupe", "pickup", "wedge", "box", "box wide"])
def test_after_trimming_the_gap_is_the_root_gap(key):
    """The trimmed edge put in place of the old one, read by the same rule as every seam."""
    made = {"wedge": pushed_back, "box": lambda: window_down(19.05), "box wide": lambda: window_down(40.0)}
    built = made[key]() if key in made else demo(key)
    count, worst = 0, [0.0, 0.0]
    for seam, which, found in stretches(built):
        edges = seam_edges(built, seam)
        root = built.plan.root_gap_mm
        for stretch in found:
            new = Edge(stretch.line_mm, stretch.normal)
            (met,) = meetings([Facing((new,), tuple(edges[1 - which]))])
            inner = np.zeros(len(met.gap_mm), bool)
            inner[3:-3] = True  # at its ends the line runs into the edge with a bend
            inner &= met.faces
            assert inner.any()
            worst[0] = max(worst[0], np.abs(met.gap_mm[inner] - root).max())
            worst[1] = max(worst[1], np.median(np.abs(met.gap_mm[inner] - root)))
            count += 1
    assert count
    assert worst[0] < 0.06 and worst[1] < 0.01


@pytest.mark.parametrize("key", ["coupe", "pickup", "wedge"])
def test_area_integrated_on_the_skin_between_edge_and_line(key):
    """The stretch's outline taken back into (u, v) of its grid and filled with triangles."""
    built = pushed_back() if key == "wedge" else demo(key)
    checked = 0
    for seam, which, found in stretches(built):
        sides, move = trimmed_sides(built, seam, which)
        grid = sides[0].chain.grid
        for stretch in found:
            if stretch.depth_mm.max() < 2 or any(s.chain.grid is not grid for s in sides):
                continue
            fine = np.linspace(stretch.along_mm[0], stretch.along_mm[-1], 400)
            edge = stretch.path.at(fine)[0]
            line = np.stack([np.interp(fine, stretch.along_mm, stretch.line_mm[:, k]) for k in range(3)], 1)
            loop = grid.foot(move.inverse().points(np.concatenate([edge, line[::-1]]))).uv
            polygon = shapely.Polygon(loop).buffer(0)
            triangles = shapely.constrained_delaunay_triangles(polygon).geoms
            corners = np.array([np.asarray(t.exterior.coords)[:3] for t in triangles])
            assert stretch.area_mm2 == pytest.approx(surface_area_mm2(grid, corners), rel=0.01)
            checked += 1
    assert checked


def test_a_mirrored_car_is_trimmed_alike():
    built = demo("coupe")
    car = mirrored_car(built.shape.car)
    other = build(car, replace(built.plan, car=""))
    ours, theirs = (trims_of(b) for b in (built, other))
    key = lambda t: (round(t.area_mm2), round(t.length_mm))  # noqa: E731
    for a, b in zip(sorted(ours, key=key), sorted(theirs, key=key), strict=True):
        assert a.area_mm2 == pytest.approx(b.area_mm2, rel=1e-3)
        assert a.lap_mm == pytest.approx(b.lap_mm, abs=1e-4)


def test_the_report_has_them_and_a_stock_car_has_none():
    built = demo("coupe")
    report = evaluate(built.shape.car, built.plan)
    assert report.trims == trims_of(built)
    for trim in report.trims:
        seam = report.seam(trim.seam)
        assert {trim.piece, trim.other} == set(seam.pieces)
        assert trim.lap_mm <= -seam.gap_mm.min + 1e-9
        along = [s.from_mark_mm for s in trim.stations]
        assert along == sorted(along) and trim.length_mm == pytest.approx(along[-1] - along[0])
    assert evaluate(built.shape.car).trims == ()


def test_the_notebook_lists_them_under_the_seams():
    from sample_reports import sample_report

    html = seams_html(sample_report(new_metal=()))
    assert html.count("<table") == 2 and 'data-place="window panel to roof"' in html
    assert "centreline" in html and "1' 4&quot;" in html and "5 in² (32 cm²)" in html
    assert seams_html(sample_report(trims=(), new_metal=())).count("<table") == 1


def test_paths_join_head_to_tail_and_find_the_nearest_place():
    from model.edgepaths import paths_of

    def straight(a, b):
        points = np.linspace(a, b, 5)
        return Edge(points, np.tile([0.0, 0.0, 1.0], (5, 1)))

    corner = [
        straight((0, 0, 0), (100, 0, 0)),
        straight((100, 50, 0), (100, 80, 0)),
        straight((100, 0, 0), (100, 50, 0)),
    ]
    (path,) = paths_of(Edges(corner))
    assert path.edges == (0, 2, 1) and path.length_mm == pytest.approx(180)
    along, off = path.nearest(np.array([[30.0, -4.0, 0.0], [103.0, 60.0, 0.0]]))
    assert along == pytest.approx([30, 160]) and off == pytest.approx([4, 3])
    assert path.at(np.array([160.0]))[0][0] == pytest.approx([100, 60, 0])
