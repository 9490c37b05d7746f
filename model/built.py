"""A plan carried out: every part of the car with the move that puts it in its new place."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .cuts import Cut, lower_cut, upper_cut
from .errors import PlanError
from .layingout import layout_of, layout_steps
from .layout import BODY, WINDOW, Layout, Shift
from .leans import Lean, hinge_of, hinge_point_mm, lean_of
from .measured import Car
from .moves import IDENTITY, RigidMove, translation
from .panelreport import PanelFit
from .panelseams import panel_problem
from .piecuts import PieCut, pie_cut_beside
from .placing import PostKey, RoofPlace, WindowPlace, lean_move, roof_place, shift_mm, window_place
from .plan import Plan
from .posts import PostEnds, check_cuts, cut_plane, post_ends
from .roofparts import CENTRE, RoofParts, roof_parts
from .shape import CarShape, shape_of
from .stepwise import at_once
from .trimmings import Trimming
from .trimreport import TrimLine
from .units import shown
from .ways import as_way
from .windowfit import fitted_window


@dataclass(frozen=True, eq=False)
class Built:
    """Geometry of one plan on one car.

    ``moves`` has one entry for every piece (``body``, ``roof``, …); ``ends``
    is empty where the roof is not cut.  ``roof`` is the move of a roof in one
    piece, ``parts`` are what it is split into.  ``panel_fit`` is None where
    nothing was left to be fitted.  ``trims`` is what was trimmed off the pieces
    of ``layout``; None: they are as they were cut.
    """

    shape: CarShape
    plan: Plan
    roof: RoofPlace
    parts: RoofParts
    window: WindowPlace
    panel_fit: PanelFit | None
    ends: dict[PostKey, PostEnds]
    shifts: tuple[Shift, ...]
    leans: tuple[Lean, ...]
    lower: Cut | None
    upper: Cut | None
    layout: Layout
    moves: dict[str, RigidMove]
    trims: tuple[TrimLine, ...] | None = None
    pie_cuts: tuple[PieCut, ...] = ()

    def trimmed(self, trimmings: tuple[Trimming, ...], trims: tuple[TrimLine, ...]) -> Built:
        """Return the plan with strips cut off its pieces, and what the report says of them."""
        return at_once(self.trimming_steps(trimmings, trims))

    def trimming_steps(
        self, trimmings: tuple[Trimming, ...], trims: tuple[TrimLine, ...]
    ) -> Generator[None, None, Built]:
        """Do :meth:`trimmed` grid by grid."""
        layout = yield from laying_out(self, trimmings)
        return replace(self, layout=layout, trims=trims)

    def upper_piece(self, key: PostKey) -> str:
        """Return the piece that carries the upper end of a post."""
        name = f"{' '.join(key)} upper"
        return name if name in self.moves else self.part_over(key)

    def part_over(self, key: PostKey) -> str:
        """Return the part of the roof over a post."""
        return self.parts.part_of_post(self.shape.lines[key])

    def lower_piece(self, key: PostKey) -> str:
        """Return the piece that carries the lower end of a post."""
        name = f"{' '.join(key)} lower"
        return name if name in self.moves else BODY


def laying_out(built: Built, trimmings: tuple[Trimming, ...]) -> Generator[None, None, Layout]:
    """Return the layout of a plan with strips cut off its pieces, grid by grid."""
    plan = built.plan
    return layout_steps(
        built.shape,
        built.lower,
        built.upper,
        plan.window.flange_mm if plan.window else None,
        max(plan.kerf_mm, plan.root_gap_mm),
        built.shifts,
        built.leans,
        built.parts.lines,
        trimmings,
    )


@lru_cache(maxsize=8)
def remembered_shape(car: Car) -> CarShape:
    """Return the car's geometry, worked out once per car."""
    return shape_of(car)


@dataclass(frozen=True, eq=False)
class Placed:
    """Where a plan puts the roof, and the ends of every post; all that limits a drop."""

    roof: RoofPlace
    parts: RoofParts
    ends: dict[PostKey, PostEnds]
    pie_cuts: tuple[PieCut, ...] = ()


def place(shape: CarShape, plan: Plan) -> Placed:
    """Return where the roof goes and where every post is cut, though a cut may leave its post.

    Raises
    ------
    PlanError
        If a lower cut leaves its post, or the drops ask for an impossible pitch.
    """
    plan, lines = as_way(plan, shape.car), shape.lines
    planes = {k: cut_plane(line, plan.cut_of(*k)) for k, line in lines.items()}
    roof = roof_place(shape.car, plan.roof, lines, planes)
    if plan.roof is None:
        return Placed(roof, RoofParts(roof.move), {})
    parts, ends, pies = roof_parts(shape.car, plan.split, roof.move, lines, planes), {}, []
    for key, line in lines.items():
        carried = parts.move_of_post(line)
        by = shift_mm(plan.shift_of(*key), line, planes[key], carried)
        move = carried @ translation(by) if by else carried
        gaps = {"kerf_mm": plan.kerf_mm, "root_gap_mm": plan.root_gap_mm}
        lower, hinge = IDENTITY, None
        lean = plan.lean_of(*key)
        if lean is not None:
            point = hinge_point_mm(shape, key, lean, planes[key])
            lower = lean_move(lean, line, planes[key], move, point)
            hinge = hinge_of(shape, key, point, lower, **gaps)
        if plan.has_pie_cut(*key):
            pie = pie_cut_beside(shape.car, line, planes[key], move, kerf_mm=plan.kerf_mm)
            if pie is not None:
                pies.append(pie)
                lower = pie.move
        ends[key] = post_ends(line, planes[key], move, shift_mm=by, lower_move=lower, hinge=hinge, **gaps)
    return Placed(roof, parts, ends, tuple(pies))


def build(car: Car, plan: Plan) -> Built:
    """Carry out a plan; the last few are remembered, for undo, comparisons and pages ask for one again.

    Raises
    ------
    MeasureError
        If the car's openings miss its skin.
    PlanError
        If the plan cannot be built on this car.
    """
    if plan.car and plan.car != car.name:
        raise PlanError(
            "car", f"must be {car.name!r}; this plan was drawn for {plan.car!r}.", "Load a plan of this car."
        )
    return _remembered_build(car, plan)


@lru_cache(maxsize=8)
def _remembered_build(car, plan):
    return build_on(remembered_shape(car), plan)


def build_on(shape: CarShape, plan: Plan) -> Built:
    """Carry out a plan on a car's geometry, afresh; see :func:`build`."""
    plan = as_way(plan, shape.car)
    placed = place(shape, plan)
    roof, parts, ends = placed.roof, placed.parts, placed.ends
    for post in ends.values():
        check_cuts(post)
    opening_mm = max(plan.kerf_mm, plan.root_gap_mm)
    shifts = tuple(rail_shift(shape, k, e.shift_mm, opening_mm) for k, e in ends.items() if e.shift_mm)
    leans = tuple(lean_of(shape, e) for e in ends.values() if e.hinge)
    for shift in shifts:
        _refuse_shift_over_split(shape.car, shift, parts)
    lower = upper = None
    if ends:
        in_sheet = ends | {pie.key: _as_before(ends[pie.key], plan) for pie in placed.pie_cuts}
        lower, upper = lower_cut(shape.zones, in_sheet), upper_cut(shape.zones, in_sheet)
    outline, flange_mm, carrier = shape.rear_window.outline, None, roof.move
    if plan.window is None:
        carrier = _mover_of_window(shape, upper, roof.move)
    else:
        flange_mm = plan.window.flange_mm
        outline = shape.flange(flange_mm)
    ends_mm = shape.centreline_of(outline)
    if ends and carrier is not IDENTITY:
        carrier = parts.move_on_centreline(ends_mm[1][0])
    layout = layout_of(shape, lower, upper, flange_mm, opening_mm, shifts, leans, parts.lines)
    moves = {BODY: IDENTITY}
    if ends:
        moves |= parts.moves
    for shift in shifts:
        carried = parts.move_of_post(shape.lines[shift.key])
        moves[f"{shift.name} upper"] = carried @ translation(shift.by_mm)
        if any(what == "strip" for _, _, what in shift.bounds):
            moves[f"{shift.name} strip"] = carried @ translation(shift.strip_moves_mm)
    for name, side in ends:
        if side == CENTRE and parts.lines.is_halved:
            moves[f"{name} {side} upper"] = ends[name, side].move
    for lean in leans:
        moves[lean.piece] = ends[lean.key].lower_move
    for pie in placed.pie_cuts:
        moves[f"{' '.join(pie.key)} lower"] = pie.move
    window_move, panel_fit = plan.window, None
    if plan.window is not None and plan.window.is_fitted:
        problem = panel_problem(plan.window, layout, moves, ends_mm, carrier, shape.car)
        window_move, panel_fit = fitted_window(problem)
    window = window_place(window_move, *ends_mm, carrier)
    if plan.window is not None:
        moves[WINDOW] = window.move
    return Built(
        shape=shape,
        plan=plan,
        roof=roof,
        parts=parts,
        window=window,
        panel_fit=panel_fit,
        ends=ends,
        shifts=shifts,
        leans=leans,
        lower=lower,
        upper=upper,
        layout=layout,
        moves=moves,
        pie_cuts=placed.pie_cuts,
    )


def _as_before(ends: PostEnds, plan: Plan) -> PostEnds:
    """Return a post's ends as they would be if the lower one had not been drawn in; its sheet is cut so."""
    return post_ends(
        ends.line,
        ends.plane,
        ends.move,
        kerf_mm=plan.kerf_mm,
        root_gap_mm=plan.root_gap_mm,
        shift_mm=ends.shift_mm,
    )


def _mover_of_window(shape, upper, roof_move):
    """The move of a rear window that is not cut out: the roof's, if it lies above the cut."""
    if upper is None:
        return IDENTITY
    outline = shape.rear_window.outline
    heights = upper.height_above(outline.grid, outline.grid.point(outline.loop_uv))
    return roof_move if heights.min() > 0 else IDENTITY


def _refuse_shift_over_split(car, shift, parts):
    """Refuse a roof cut across where a post's piece or its strip is cut out of the rail."""
    at, (low, *_, high) = parts.lines.across_at_mm, shift.stations_mm
    if at is not None and low <= at <= high:
        raise PlanError(
            "across_at",
            f"must be clear of the rail that is cut for the shifted post {shift.name}, from x = "
            f"{shown(low, car.unit)} to {shown(high, car.unit)}; the roof is cut across at "
            f"{shown(at, car.unit)}.",
            "Cut across elsewhere, or shift the post less.",
            value_mm=at,
            limit_mm=low if at - low < high - at else high,
        )


def rail_shift(shape: CarShape, key: PostKey, by_mm: float, kerf_mm: float) -> Shift:
    """Return where the piece of a shifted post is cut out of the rail.

    Raises
    ------
    PlanError
        If the post does not stand between two openings, or the shift is
        wider than the rail beside it.
    """
    name, side = key
    parameter = f"shift.{name}.{side}"
    axis_x = shape.lines[key].lines(np.full(5, 0.5))[0, 0]
    spans = []
    for opening in shape.openings:
        if opening.outline.grid.name == f"side {side}":
            x = opening.outline.grid.point(opening.outline.loop_uv)[:, 0]
            radius = max(c.radius_mm for c in opening.opening.corners)
            spans.append((x.min(), x.max(), radius))
    ahead = [s for s in spans if s[1] < axis_x]
    behind = [s for s in spans if s[0] > axis_x]
    if side == "centre" or not ahead or not behind:
        raise PlanError(
            parameter,
            "cannot be done: this post does not stand between two side openings, so its upper end "
            "cannot be cut loose and slid along the rail.",
            "Leave it where the roof puts it, or move the roof.",
        )
    ahead, behind = max(ahead, key=lambda s: s[1]), min(behind, key=lambda s: s[0])
    front, rear = ahead[1] - ahead[2] - 1.0, behind[0] + behind[2] + 1.0
    room = (behind[1] - behind[2] - rear) if by_mm > 0 else (front - ahead[0] - ahead[2])
    if abs(by_mm) + 2 * kerf_mm > room:
        raise PlanError(
            parameter,
            f"must be less than {room - 2 * kerf_mm:.1f} mm on this car, the rail beside the post; "
            f"got {abs(by_mm):.1f} mm.",
            "Shift it less, or move the roof.",
            value_mm=by_mm,
            limit_mm=room - 2 * kerf_mm,
        )
    return Shift(key=key, front_mm=float(front), rear_mm=float(rear), by_mm=float(by_mm), kerf_mm=kerf_mm)
