"""Fillers across slots whose shape is known in closed form, and across the open seams of the demo cars."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from sample_reports import sample_report
from shipped_plans import closed_plan

from model import bodies
from model.carfile import (
    demo_car_names,
    demo_car_path,
    demo_closed_path,
    demo_plan_path,
    demo_split_path,
    read_car,
)
from model.cornerholes import KIND as CORNER_PATCH
from model.edges import Edge, Edges, joined, stretch
from model.evaluate import build_checked, fit_report_of
from model.fillerruns import BEAD, CORNER, OPENING, STEP_FROM_MM, Run, SeamLines, _runs_along
from model.fillers import closes_from_mm, fillers_from_runs, fillers_of
from model.fillerseams import closed_seam_reports, least_radius_mm, shared_borders
from model.fillertips import TIPS, WELDED_UP_MM
from model.interference import interference_of
from model.metalblanks import filler_blank, with_blanks
from model.metalfindings import BREAK_LIMIT_DEG, metal_findings
from model.output.html import seams_html
from model.plan import NewMetal
from model.planfile import read_plan
from model.postpieces import closed_posts
from model.postpieceseams import seam_names
from model.seams import FILLER_SEAM, TIP_SEAM, Seam, seam_reports

ROOT_MM = 0.8
SEAM = Seam("slot", "skin", "centre", ("body", "roof"), (), (), ())


def filler_between(first: Edge, second: Edge, ends=(OPENING, OPENING), root_gap_mm=ROOT_MM):
    """Return the filler between two whole edges."""
    laid = Edges([first, second])
    a, b = laid.length_mm.tolist()
    run = Run(SEAM, laid, 0, 1, (0.0, a), (b, 0.0), ends, 1.0, 0.0)
    return fillers_from_runs([run], root_gap_mm, 1.0)[0]


def along(points, normals):
    """Return both as an edge."""
    return Edge(np.asarray(points, float), np.asarray(normals, float))


def flat_slot(gap_mm=20.0, length_mm=300.0):
    """Return both edges of a straight slot in the plane z = 0, normals up; metal on the left of each."""
    x = np.linspace(0, length_mm, 31)
    up = np.broadcast_to([0.0, 0.0, 1.0], (31, 3))
    first = along(np.stack([x, 0 * x, 0 * x], axis=1), up)
    second = along(np.stack([x[::-1], 0 * x - gap_mm, 0 * x], axis=1), up)
    return first, second


def test_a_straight_gap_in_a_plane_takes_a_rectangle():
    filler = filler_between(*flat_slot(20.0, 300.0))
    assert filler.grid.area_mm2() == pytest.approx(300.0 * (20.0 - 2 * ROOT_MM), rel=1e-12)
    uv = np.random.default_rng(1).uniform(size=(200, 2))
    point, _, _, normal = filler.grid.frame(uv)
    assert np.abs(point[:, 2]).max() < 1e-12 and np.abs(normal - (0, 0, 1)).max() < 1e-12
    assert point[:, 1].min() > -20.0 + ROOT_MM - 1e-9 and point[:, 1].max() < -ROOT_MM + 1e-9


def cylinder_slot(radius_mm, half_rad, length_mm=400.0):
    """Return both edges of a slot along a cylinder about the x-axis, open over ± an angle from the top."""
    x = np.linspace(0, length_mm, 41)

    def line(angle, order):
        normal = np.array([0.0, np.sin(angle), np.cos(angle)])
        points = np.stack([x, np.full(41, radius_mm * normal[1]), np.full(41, radius_mm * normal[2])], axis=1)
        return along(points[::order], np.broadcast_to(normal, (41, 3)))

    return line(half_rad, 1), line(-half_rad, -1)  # the metal of the first is at greater y, on its left


@pytest.mark.parametrize(("radius_mm", "gap_mm"), [(300.0, 20.0), (500.0, 150.0), (60.0, 90.0)])
def test_a_slot_along_a_cylinder_takes_the_cylinder_again(radius_mm, gap_mm):
    half = gap_mm / 2 / radius_mm
    # What a cubic strays from an arc of 2 half: 4/27 · R sin⁶(half/2) / cos²(half/2), from memory.
    cubic_mm = 4 / 27 * radius_mm * np.sin(half / 2) ** 6 / np.cos(half / 2) ** 2
    uv = np.random.default_rng(2).uniform(size=(400, 2))
    whole = filler_between(*cylinder_slot(radius_mm, half), root_gap_mm=0.0).grid
    off = np.hypot(*whole.point(uv)[:, 1:].T) - radius_mm
    assert np.abs(off).max() < 1.05 * cubic_mm + 1e-9
    assert whole.area_mm2() == pytest.approx(400.0 * radius_mm * 2 * half, rel=2e-4)

    # Straight on by the root gap g, an arc of radius R − g cot half, g tan(half/2) proud in the middle.
    filler = filler_between(*cylinder_slot(radius_mm, half)).grid
    middle = filler.point(np.array([[0.3, 0.5]]))[0]
    assert np.hypot(*middle[1:]) - radius_mm == pytest.approx(
        ROOT_MM * np.tan(half / 2), abs=1.05 * cubic_mm + 1e-9
    )
    arc = (radius_mm - ROOT_MM / np.tan(half)) * 2 * half
    assert filler.area_mm2() == pytest.approx(400.0 * arc, rel=2e-4)


def test_a_slot_around_a_sphere_takes_the_sphere_again():
    radius, half, around = 700.0, np.radians(4.0), np.linspace(0.0, np.radians(50.0), 60)

    def parallel(latitude, order):
        normal = np.stack(
            [
                np.cos(latitude) * np.cos(around),
                np.cos(latitude) * np.sin(around),
                np.full(60, np.sin(latitude)),
            ],
            axis=1,
        )
        return along(radius * normal[::order], normal[::order])

    edges = parallel(half, 1), parallel(-half, -1)
    uv = np.random.default_rng(3).uniform(size=(400, 2))
    whole = filler_between(*edges, root_gap_mm=0.0).grid
    point, _, _, normal = whole.frame(uv)
    assert np.abs(np.linalg.norm(point, axis=1) - radius).max() < 1e-4
    assert np.abs(normal - point / np.linalg.norm(point, axis=1)[:, None]).max() < 1e-5
    assert whole.area_mm2() == pytest.approx(radius**2 * around[-1] * 2 * np.sin(half), rel=1e-6)
    middle = filler_between(*edges).grid.point(np.array([[0.5, 0.5]]))[0]
    assert np.linalg.norm(middle) - radius == pytest.approx(ROOT_MM * np.tan(half / 2), abs=1e-4)


def test_areas_agree_with_meshes():
    for filler in demo_fillers("coupe"):
        u, v = np.linspace(0, 1, 401), np.linspace(0, 1, 61)
        uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        k = (np.arange(400)[:, None] * 61 + np.arange(60)).ravel()
        faces = np.concatenate(
            [np.stack([k, k + 1, k + 61], axis=1), np.stack([k + 1, k + 62, k + 61], axis=1)]
        )
        mesh = trimesh.Trimesh(filler.grid.point(uv), faces, process=False)
        assert filler.grid.area_mm2() == pytest.approx(mesh.area, rel=5e-4)


def test_a_run_begins_where_the_gap_is_what_a_weld_closes():
    x = np.linspace(0, 1000.0, 101)
    up = np.broadcast_to([0.0, 0.0, 1.0], (101, 3))
    first = along(np.stack([x, 0 * x, 0 * x], axis=1), up)
    second = along(np.stack([x[::-1], -0.01 * x[::-1], 0 * x], axis=1), up)  # opens by 1 in 100
    lines = SeamLines(Edges([first, second]), (0,), (1,), frozenset())
    (run,) = _runs_along(SEAM, lines, 0, 3.3, NOWHERE)
    assert run.ends == (BEAD, CORNER)
    # Square to the first edge at s the second is 0.01 s away, and its mean normal is up: gap = 0.01 s.
    assert run.first_mm[0] == pytest.approx(330.0, abs=1e-3)
    assert run.first_mm[1] == pytest.approx(1000.0) and run.second_mm[1] == pytest.approx(0.0, abs=1e-9)
    assert run.gap_mm == pytest.approx(10.0, abs=1e-6)


@pytest.mark.parametrize(("short_mm", "begins_mm"), [(60.3, 0.0), (133.7, 133.7)])
def test_a_run_goes_on_to_a_corner_within_reach_and_else_ends_where_its_last_place_is_faced(
    short_mm, begins_mm
):
    """A slot 20 wide, its second edge shorter at its end; within reach are 4 widths and a spacing: 86."""
    first, _ = flat_slot(20.0, 300.0)
    x = np.linspace(300.0, short_mm, 31)
    second = along(np.stack([x, 0 * x - 20.0, 0 * x], axis=1), first.normal)
    lines = SeamLines(Edges([first, second]), (0,), (1,), frozenset())
    (run,) = _runs_along(SEAM, lines, 0, 3.3, NOWHERE)
    assert run.ends == (CORNER, CORNER)
    assert run.first_mm[0] == pytest.approx(begins_mm, abs=0.021)  # an end faces a little past itself
    assert run.second_mm[0] == pytest.approx(300.0 - short_mm, abs=1e-4)


def climbing(gap_mm):
    """Return the edges of a flat slot whose far side climbs by 1 in 100, from flush at x = 0."""
    x = np.linspace(0, 1000.0, 101)
    up = np.broadcast_to([0.0, 0.0, 1.0], (101, 3))
    first = along(np.stack([x, 0 * x, 0 * x], axis=1), up)
    second = along(np.stack([x[::-1], 0 * x - gap_mm, 0.01 * x[::-1]], axis=1), up)
    return SeamLines(Edges([first, second]), (0,), (1,), frozenset())


def test_a_step_too_high_to_be_drawn_flush_stands_open_however_narrow_the_gap():
    (run,) = _runs_along(SEAM, climbing(0.8), 0, 1.7, NOWHERE)
    assert run.ends == (BEAD, CORNER)
    assert run.first_mm[0] == pytest.approx(100 * STEP_FROM_MM, abs=1e-3)
    assert abs(run.step_mm) == pytest.approx(10.0, abs=1e-6) and run.gap_mm == pytest.approx(0.8)
    assert _runs_along(SEAM, climbing(-0.8), 0, 1.7, NOWHERE) == []  # laps: trimmed first


class _Nowhere:
    def query(self, points):
        """Return that nothing is near."""
        return np.full(len(points), np.inf), None


NOWHERE = _Nowhere()


def test_edges_that_run_on_are_joined_and_corners_part_them():
    first, second = flat_slot()
    half = len(first.point_mm) // 2
    parts = [
        along(first.point_mm[half:], first.normal[half:]),
        along(first.point_mm[: half + 1], first.normal[: half + 1]),
    ]
    ((whole, is_loop),) = joined(parts)
    assert not is_loop and np.array_equal(whole.point_mm, first.point_mm)
    corner = along([[300.0, 0, 0], [300.0, 50, 0]], [[0, 0, 1.0]] * 2)
    assert len(joined([*parts, corner])) == 2
    laid = Edges([whole])
    part = stretch(laid, 0, 33.0, 123.0)
    assert Edges([part]).length_mm[0] == pytest.approx(90.0) and part.point_mm[0, 0] == pytest.approx(33.0)


def demo_fillers(name):
    """Return the new metal of that plan."""
    return fillers_of(closed_plan(name))


def test_the_closed_plans_are_the_shipped_plans_with_new_metal():
    for name in demo_car_names():
        car = read_car(demo_car_path(name))
        closed, plain = read_plan(demo_closed_path(name), car), read_plan(demo_plan_path(name), car)
        assert closed.new_metal is not None and plain.new_metal is None
        assert replace(closed, new_metal=None, name=plain.name) == plain


def stands_open(seam, limit_mm):
    """Return whether a seam is anywhere too wide for a weld, or too far out of flush for a hammer."""
    return any(s.gap_mm > limit_mm or (s.gap_mm > 0 and abs(s.step_mm) > STEP_FROM_MM) for s in seam.stations)


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_nothing_wider_than_a_weld_closes_is_left_open(name):
    built = closed_plan(name)
    fillers = fillers_of(built)
    limit, gap = closes_from_mm(built), built.plan.root_gap_mm
    was_open = [s for s in seam_reports(built) if s.kind != "post" and stands_open(s, limit)]
    told = {finding.where for finding in fit_report_of(built).findings if finding.kind in ("gap", "step")}
    patches = {f.name for f in fillers if f.seam.kind == CORNER_PATCH}  # each with a test of its own
    closed = {f.seam.name for f in fillers if f.name not in patches}
    assert closed <= {s.name for s in was_open} <= closed | told  # too narrow for sheet: welded up, and told
    for seam in closed_seam_reports(built, fillers):
        if patches & set(seam.pieces):
            assert seam.gap_mm is None or 0 < seam.gap_mm.min <= seam.gap_mm.max < limit
        elif seam.kind == FILLER_SEAM:
            is_shared = all(piece.startswith("filler") for piece in seam.pieces)
            assert seam.facing_mm == pytest.approx(seam.edge_mm)
            assert abs(seam.step_mm.min) < 1e-3 and abs(seam.step_mm.max) < 1e-3
            assert seam.gap_mm.mean == pytest.approx(0.0 if is_shared else gap, abs=0.1)
            assert -1e-4 < seam.gap_mm.min and seam.gap_mm.max < limit
        elif seam.kind != "post" and seam.gap_mm:
            is_told = seam.kind == TIP_SEAM or seam.name in told
            assert seam.gap_mm.max <= (WELDED_UP_MM if is_told else limit + 1e-6)


def regained_mm(built, seam):
    """Return what lies over the box of a post that is cut back from there, and so is welded by itself."""
    keys = (" ".join(key) for key in closed_posts(built))
    return seam.over_post_mm if seam.name.startswith(tuple(f"{key}," for key in keys)) else 0.0


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_edges_of_fillers_and_what_is_left_make_up_the_open_seams(name):
    built = closed_plan(name)
    fillers = fillers_of(built)
    closed = {seam.name: seam for seam in closed_seam_reports(built, fillers)}
    for seam in (seam for seam in seam_reports(built) if seam.kind != "post"):
        own = [f for f in fillers if (f.seam.name, f.seam.pieces) == (seam.name, seam.pieces)]
        parts = [closed[f"{f.name} to {f.seam.pieces[0]}"] for f in own]
        parts += [closed[name] for name in (seam.name, *(f.name + TIPS for f in own)) if name in closed]
        assert sum(p.edge_mm for p in parts) == pytest.approx(
            seam.edge_mm, abs=0.01
        )  # a bend where it was trimmed
        length_mm = seam.length_mm + regained_mm(built, seam)
        assert sum(p.length_mm for p in parts) == pytest.approx(length_mm, abs=5e-3)


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_fillers_are_tangent_to_their_neighbours_and_lie_the_right_way_out(name):
    report = fit_report_of(closed_plan(name))
    told = {(finding.kind, finding.where) for finding in report.findings}
    for metal in report.new_metal:
        for edge in () if metal.walls else metal.edges:
            is_patch = metal.kind == CORNER_PATCH
            is_told = is_patch and ("tangent break", f"{metal.name} to {edge.piece}") in told
            assert edge.tangent_break_deg < BREAK_LIMIT_DEG / (1 if is_patch else 5) or is_told
            assert edge.off_root_gap_mm < 0.2
    for filler in demo_fillers(name):
        run = filler.run
        if filler.seam.kind == CORNER_PATCH:
            continue
        for which, edge, span in (("v0", run.first, run.first_mm), ("v1", run.second, run.second_mm)):
            border = filler.border(which)
            own = run.laid.at(np.full(9, edge), np.linspace(*span, 9))[2]
            middle = border.normal[len(border.normal) // 2]
            assert middle @ own[4] > np.cos(np.radians(8.0))  # along a curved edge the two middles are apart


@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_fillers_that_come_to_the_same_corners_share_one_border(name):
    fillers = demo_fillers(name)
    found = [each for each in shared_borders(fillers) if each[2].seam.kind != CORNER_PATCH]
    assert len(found) == 4
    for filler, border, other, other_border in found:
        a, b = filler.border(border).point_mm, other.border(other_border).point_mm
        assert np.abs(a - b[::-1]).max() < 5e-5  # as near as the two corners are


def test_totals_are_those_of_the_closed_roof():
    for name in demo_car_names():
        built = closed_plan(name)
        report = fit_report_of(built)
        assert report.totals.weld_mm == pytest.approx(sum(seam.length_mm for seam in report.seams))
        opened = seam_reports(built)
        open_mm = sum(seam.length_mm for seam in opened)
        fillers, more = demo_fillers(name), sum(regained_mm(built, seam) for seam in opened)
        for key, found in closed_posts(built).items():  # two beads for one
            beads = (report.seam(bead).length_mm for bead in seam_names(found))
            more += sum(beads) - next(s.length_mm for s in opened if s.name == f"{' '.join(key)}, post")
        for filler in fillers:  # the second piece's edge on top of the first's, and every shared border
            more += Edges([filler.border("v1")]).length_mm[0]
            if filler.seam.kind == CORNER_PATCH:  # the end that it lies at was no seam before
                more += Edges([filler.border("v0")]).length_mm[0]
        for filler, border, *_ in shared_borders(fillers):
            more += Edges([filler.border(border)]).length_mm[0]
        assert report.totals.weld_mm - open_mm == pytest.approx(more, rel=0.01)


def test_a_filler_is_a_body_that_others_run_into(monkeypatch):
    built = replace(closed_plan("coupe"))  # nothing of it is remembered for other tests
    monkeypatch.setattr(bodies, "closed_posts", lambda built: {})  # stubs as the plan cuts them
    found = interference_of(built, fillers_of(built))
    pieces = {item.pieces for item in found}
    assert any("filler C right, side skin" in pair and "post C right lower" in pair for pair in pieces)
    without = interference_of(built)
    assert [f for f in found if not any("filler" in piece for piece in f.pieces)] == without


def test_a_filler_across_a_flat_slot_is_cut_as_it_lies_and_one_across_a_cylinder_is_rolled():
    flat = filler_blank(filler_between(*flat_slot(40.0, 300.0)), 10.0)
    assert (flat.length_mm, flat.width_mm) == pytest.approx((320.0, 40.0 - 2 * ROOT_MM + 20.0), abs=1e-6)
    assert abs(flat.max_strain) < 1e-9 and abs(flat.crown_mm) < 1e-9
    half = 0.15
    rolled = filler_blank(filler_between(*cylinder_slot(500.0, half)), 0.0)
    middle_radius = 500.0 - ROOT_MM / np.tan(half) - 0.5  # half a gauge inward
    assert rolled.can_be_rolled
    assert (rolled.length_mm, rolled.width_mm) == pytest.approx((400.0, 2 * half * middle_radius), abs=0.01)


def test_the_tightest_bend_is_the_cylinders():
    assert least_radius_mm(filler_between(*flat_slot()).grid) == 1e6
    bent = least_radius_mm(filler_between(*cylinder_slot(300.0, 0.1)).grid)
    assert bent == pytest.approx(300.0 - ROOT_MM / np.tan(0.1), rel=1e-3)


def test_only_what_can_be_formed_has_a_blank():
    plan = closed_plan("coupe").plan
    plan = replace(plan, new_metal=replace(plan.new_metal, cut_back_mm=0.0))
    built = build_checked(closed_plan("coupe").shape.car, plan)
    report = fit_report_of(built)
    tight = next(m for m in report.new_metal if m.least_radius_mm < m.gauge_mm)
    wide = next(m for m in report.new_metal if m.name == "filler B left, side skin")
    tight, wide = with_blanks(replace(report, new_metal=(tight, wide)), built).new_metal
    assert tight.least_radius_mm < tight.gauge_mm and tight.blank_mm is None
    assert wide.blank_mm[0] == pytest.approx(120.7 + 2 * 12.7, abs=1.0)
    assert abs(wide.max_strain) < 0.01 and wide.crown_mm == pytest.approx(2.4, abs=0.1)


@pytest.mark.parametrize(("width_mm", "is_told"), [(12.694, False), (12.7, False), (12.5, True)])
def test_a_filler_that_is_a_stroke_of_the_file_narrower_than_asked_is_not_told(width_mm, is_told):
    """Cut back to 12.7 mm, new edges laid through places of a curved skin leave 12.694 mm on a demo car."""
    metal = replace(
        sample_report().new_metal[0], width_min_mm=width_mm, width_max_mm=width_mm, closes_step_mm=0.0
    )
    found = metal_findings(closed_plan("coupe"), (metal,), ())
    assert ("narrow filler" in {finding.kind for finding in found}) == is_told


def test_strips_of_a_split_roof_close_it_and_what_is_left_open_is_told():
    car = read_car(demo_car_path("pickup"))
    plan = replace(read_plan(demo_split_path("pickup"), car), new_metal=NewMetal())
    report = fit_report_of(build_checked(car, plan))
    strips = [metal for metal in report.new_metal if metal.kind == "strip"]
    assert len(strips) == 9  # with the sheet where they cross
    for metal in strips:
        assert metal.width_max_mm == pytest.approx(metal.closes_gap_mm - 2 * plan.root_gap_mm, abs=0.2)
        assert max(edge.tangent_break_deg for edge in metal.edges) < BREAK_LIMIT_DEG / 5
    told = {finding.where for finding in report.findings if finding.kind == "open corner"}
    assert told == {metal.name for metal in report.new_metal if CORNER in metal.ends}
    unfaced = {finding.where for finding in report.findings if finding.kind == "open gap"}
    for seam in report.seams:
        if seam.kind not in ("post", FILLER_SEAM) and seam.gap_mm:
            assert (seam.edge_mm - seam.facing_mm > 12.0) == (seam.name in unfaced)


def test_every_filler_has_a_row_beside_the_seams():
    html = seams_html(sample_report())
    assert "filler B right, side skin" in html and "0.051 kg" in html and "0.10°" in html
    assert "0.051 kg" not in seams_html(sample_report(new_metal=()))
