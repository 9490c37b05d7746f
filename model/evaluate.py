"""evaluate(car, plan) → Report: the one call that everything else uses."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from functools import lru_cache

import numpy as np

from .built import Built, build
from .carfindings import car_findings
from .closing import closed
from .doorfindings import door_findings
from .doors import side_glass
from .doorwelds import door_seams
from .errors import PlanError
from .fillers import fillers_of, filling
from .fillerseams import closed_seam_reports, new_metal_reports
from .findings import findings_of
from .glass import window_report
from .gridplaces import derivatives_at
from .hingepieces import hinge_pieces
from .hingepieceseams import hinge_piece_reports
from .interference import looking
from .leanreport import edge_name, lean_report
from .limits import check_ranges, refused_drop
from .measured import Car
from .metalblanks import with_blanks
from .metalfindings import metal_findings
from .occupant import effective_headroom_mm
from .panelfindings import panel_findings
from .piecutreport import PieCutReport
from .piecuts import pie_cut_report
from .plan import Plan
from .plandict import plan_to_dict
from .postlines import EDGES
from .postpiecemarks import hinge_piece_report, post_piece_report
from .postpieces import closed_posts
from .postpieceseams import post_piece_reports
from .posts import PostEnds
from .remedies import chosen_remedies, remedies_of, remedy_text
from .report import EdgeMark, LeanReport, PostReport, Report, RoofPart, SplitReport, Totals
from .seams import seam_reports
from .shape import CarShape
from .sheets import metal_area_mm2, waste_area_mm2
from .skin import Grid
from .stepwise import in_steps
from .stretch import post_stretch, stretch_findings
from .trimlines import trimming
from .view import view_report
from .viewfindings import view_findings


def evaluate(car: Car, plan: Plan | None = None) -> Report:
    """Return every number of a plan on a car; without a plan, of the car as it stands.

    Raises
    ------
    MeasureError
        If the car cannot be right.
    PlanError
        If the plan cannot be built on this car.
    """
    return report_of(build_checked(car, plan or Plan()))


def build_checked(car: Car, plan: Plan) -> Built:
    """Return the geometry of a plan that lies inside the car's limits; what laps is off if it is to be."""
    return closed(cut_and_set(car, plan))


def cut_and_set(car: Car, plan: Plan) -> Built:
    """Return a plan as it stands once the roof is set down: cut and moved, nothing trimmed yet.

    Raises
    ------
    MeasureError, PlanError
        As :func:`evaluate`.
    """
    check_ranges(car, plan)
    try:
        return build(car, plan)
    except PlanError as refusal:
        if plan.roof is None or "puts the upper cut" not in refusal.message:
            raise
        raise refused_drop(car, plan, refusal) from refusal


def report_of(built: Built) -> Report:
    """Return the report of a plan that has been carried out."""
    return with_slow_numbers(with_blanks(fit_report_of(built), built), built)


@lru_cache(maxsize=8)
def fit_report_of(built: Built) -> Report:
    """Return the report without what runs into what."""
    report = moving_report_of(built)
    return replace(report, posts=tuple(_with_remedies(built, post) for post in report.posts))


def moving_report_of(built: Built) -> Report:
    """Return the report without what runs into what and without remedies, for a slider that does not wait."""
    return reporting(built).result()


@in_steps(maxsize=8)
def reporting(built: Built) -> Generator[None, None, Report]:
    """Do :func:`moving_report_of` in steps."""
    car, plan = built.shape.car, built.plan
    yield from filling(built).steps()
    fillers = fillers_of(built)
    pieced = closed_posts(built)
    yield
    posts = tuple(_post_report(built, key) for key in built.ends)
    is_closed = fillers or pieced or hinge_pieces(built)
    seams = closed_seam_reports(built, fillers) if is_closed else seam_reports(built)
    yield
    new_metal = (
        *new_metal_reports(fillers, seams, plan.root_gap_mm),
        *post_piece_reports(built, seams),
        *hinge_piece_reports(built, seams),
    )
    yield
    report = Report(
        car={"name": car.name, "unit": car.unit, "tape_mm": car.tape_mm, "gauge_mm": car.gauge_mm},
        plan=plan_to_dict(plan),
        posts=posts,
        seams=tuple(seams),
        interference=(),
        window=window_report(built),
        view=view_report(built),
        totals=_totals(built, seams),
        findings=(),
        new_metal=new_metal,
        split=_split_report(built),
    )
    return replace(report, findings=_findings(built, report))


def with_slow_numbers(report: Report, built: Built) -> Report:
    """Return the report with what runs into what, trim lines, the side glass, and the findings."""
    return with_found(report, built, *looking_further(built).result())


def with_found(report: Report, built: Built, interference, trims, panes) -> Report:
    """Return the report with what :func:`looking_further` returns, and the findings anew."""
    welds = door_seams(panes, built.plan.root_gap_mm)
    report = replace(
        report,
        interference=interference,
        trims=trims,
        side_glass=panes,
        door_seams=welds,
        door_frame_weld_mm=sum(seam.length_mm for seam in welds),
    )
    return replace(report, findings=_findings(built, report))


@in_steps(maxsize=8)
def looking_further(built: Built) -> Generator[None, None, tuple]:
    """Return what runs into what, trim lines and the side glass, in steps."""
    interference = yield from looking(built, fillers_of(built))
    trims = yield from trimming(built)
    yield
    return tuple(interference), trims, side_glass(built)


def _findings(built, report):
    found = findings_of(built, report.posts, report.seams, report.interference, report.window)
    is_stock = built.plan.roof is None and built.plan.window is None
    found = (
        *found,
        *stretch_findings(built, report.posts),
        *panel_findings(built),
        *metal_findings(built, report.new_metal, report.seams),
    )
    found = (*found, *view_findings(built, report.view), *door_findings(built, report.side_glass))
    return (*found, *(car_findings(built.shape) if is_stock else ()))


def _split_report(built: Built) -> SplitReport | None:
    parts = built.parts
    if not parts.lines.cuts:
        return None
    return SplitReport(
        spread_mm=parts.spread_mm,
        lengthen_mm=parts.lengthen_mm,
        across_at_mm=parts.lines.across_at_mm,
        parts=tuple(
            RoofPart(name=name, forward_mm=-parts.along_mm(name), outward_mm=parts.spread_mm / 2)
            for name in parts.moves
        ),
    )


def _post_report(built: Built, key) -> PostReport:
    ends: PostEnds = built.ends[key]
    lean_side, lean_front = ends.lean_deg
    miss_fore_aft, miss_across = ends.miss_mm
    take_out, removed = ends.take_out_mm, ends.removed_mm
    lower, upper = ends.line.lines(ends.s_lower), ends.line.lines(ends.s_upper)
    marks = tuple(
        EdgeMark(
            edge=edge_name(edge, key[1]),
            lower_mm=tuple(lower[i].tolist()),
            upper_mm=tuple(upper[i].tolist()),
            take_out_mm=float(take_out[i]),
            removed_mm=float(removed[i]),
        )
        for i, edge in enumerate(EDGES)
    )
    return PostReport(
        post=key[0],
        side=key[1],
        cut=ends.plane.name,
        cut_height_mm=float(ends.plane.point_mm[2]),
        lean_side_deg=lean_side,
        lean_front_deg=lean_front,
        drop_mm=ends.drop_mm,
        take_out_mm=float(take_out[0]),
        removed_mm=float(removed[0]),
        miss_fore_aft_mm=miss_fore_aft,
        miss_across_mm=miss_across,
        tilt_deg=ends.tilt_deg,
        shift_mm=ends.shift_mm,
        bead_mm=ends.bead_mm,
        edges=marks,
        remedy="",
        remedies=(),
        stretch=post_stretch(built, key),
        lean=_lean(built, key),
        pie_cut=_pie_cut(built, key),
        chosen=chosen_remedies(built, key),
        piece=post_piece_report(closed_posts(built).get(key)),
    )


def _lean(built: Built, key) -> LeanReport | None:
    found = lean_report(built.ends[key])
    return found and replace(found, piece=hinge_piece_report(hinge_pieces(built).get(key)))


def _with_remedies(built: Built, post: PostReport) -> PostReport:
    remedies = remedies_of(built, (post.post, post.side))
    return replace(post, remedy=remedy_text(remedies), remedies=remedies)


def _pie_cut(built: Built, key) -> PieCutReport | None:
    return next((pie_cut_report(p, built.plan.root_gap_mm) for p in built.pie_cuts if p.key == key), None)


def _totals(built: Built, seams) -> Totals:
    by_kind: dict[str, float] = {}
    by_side: dict[str, float] = {}
    for seam in seams:
        by_kind[seam.kind] = by_kind.get(seam.kind, 0.0) + seam.length_mm
        by_side[seam.side] = by_side.get(seam.side, 0.0) + seam.length_mm
    plan, roof = built.plan, built.shape.skin.grids["roof"]
    pies = sum(pie.area_mm2(plan.root_gap_mm) for pie in built.pie_cuts)
    removed = waste_area_mm2(built) + pies
    headroom = [stock_headroom_mm(built.shape), headroom_mm(built)]
    return Totals(
        weld_mm=float(sum(by_kind.values())),
        weld_by_kind_mm=by_kind,
        weld_by_side_mm=by_side,
        front_drop_mm=plan.roof.front_drop_mm if plan.roof else 0.0,
        rear_drop_mm=plan.roof.rear_drop_mm if plan.roof else 0.0,
        roof_forward_mm=built.roof.forward_mm,
        roof_pitch_deg=built.roof.pitch_deg,
        height_before_mm=stock_height_mm(roof),
        height_after_mm=roof_height_mm(built),
        headroom_before_mm=headroom[0],
        headroom_after_mm=headroom[1],
        skin_area_mm2=metal_area_mm2(built.shape),
        removed_area_mm2=removed,
    )


def headroom_mm(built: Built) -> float | None:
    """Return effective headroom under the roof where the plan puts it. [mm]"""
    car = built.shape.car
    if car.seat_mm is None or not built.ends:
        return stock_headroom_mm(built.shape)
    return effective_headroom_mm(built.shape.skin.grids["roof"], car.gauge_mm, car.seat_mm, built.parts)


@lru_cache(maxsize=8)
def stock_headroom_mm(shape: CarShape) -> float | None:
    """Return effective headroom of the car as it stands, worked out once. [mm]"""
    car = shape.car
    if car.seat_mm is None:
        return None
    return effective_headroom_mm(shape.skin.grids["roof"], car.gauge_mm, car.seat_mm)


@lru_cache(maxsize=8)
def stock_height_mm(roof: Grid) -> float:
    """Return the height of the roof as it stands, worked out once. [mm]"""
    return highest_mm(roof, np.array([0.0, 0.0, 1.0]))


def roof_height_mm(built: Built) -> float:
    """Return the height of the roof where the plan puts it. [mm]"""
    roof, move = built.shape.skin.grids["roof"], built.parts.whole  # its parts go apart level
    return float(highest_mm(roof, move.rotation.T[:, 2]) + move.translation_mm[2])


def highest_mm(grid: Grid, direction) -> float:
    """Return the greatest extent of a grid along a direction: Newton from the best lattice point. [mm]"""
    heights = grid.lattice_mm @ direction
    i, j = np.unravel_index(heights.argmax(), heights.shape)
    uv, best = grid.lattice_uv[i, j], float(heights.max())
    for _ in range(20):
        rises = derivatives_at(grid, *uv.tolist()) @ direction
        best = max(best, float(rises[0, 0]))
        bend = np.array([[rises[2, 0], rises[1, 1]], [rises[1, 1], rises[0, 2]]])
        if np.linalg.det(bend) <= 0:
            break
        step = np.linalg.solve(bend, [rises[1, 0], rises[0, 1]])
        last, uv = uv, np.clip(uv - np.clip(step, -0.05, 0.05), 0, 1)
        if np.abs(uv - last).max() < 1e-12:
            break
    return best
