"""What brings the ends of a post together, as records: shift, pie cut, lean, leave; with what each costs.

Let m be the miss fore-and-aft and n the miss across, f the roof's pitch.

* *shift*: the upper end goes by s = −m along the rail, with the piece of rail
  over it; a strip of |s| less the blade's kerf changes sides.  The opening
  behind loses s, the rail over the door ahead grows by s: with a roof that
  follows the windshield and does not pitch, d (tan a_A − tan a_B).  Under a
  pitch the miss of an upright post is m + z tan f at z above the cut, so a strip that would also
  stand the post plumb again is a trapezium, its widths told at the cut and at
  the gutter.  Seams: the rail ahead of the piece, behind it and beside the
  strip, and the gutter over both.
* *pie cut*: the lower end drawn in by a wedge out of the sheet round the corner
  (:mod:`model.piecuts`, as the plan's own would be): mouth 2 leg sin(kink / 2), its
  leg from the cut to the foot.  Seam: its leg once.
* *lean*: the lower end cut around at a hinge and turned by the plan's own solver
  (:mod:`model.placing`, :mod:`model.hinges`): fore-and-aft until m is none, or both
  ways until m and n are.  Seam: around the box at the hinge; the sheet beside
  it costs its own width more, which is not counted here.
* *leave*: the misses as they are.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely

from .built import Built, rail_shift
from .cuts import Station
from .errors import PlanError
from .layingout import rail_line
from .leanreport import lean_report
from .leans import hinge_of, hinge_point_mm
from .moves import IDENTITY
from .piecuts import pie_cut_beside, pie_cut_report
from .placing import PostKey, lean_move
from .plan import MEET, MEET_BOTH_WAYS, PostLean
from .posts import PostEnds, post_ends
from .report import Remedy, RemedySeam
from .shape import CarShape
from .skin import Grid
from .units import shown

SHIFT, PIE_CUT, LEAN, LEAVE = "shift", "pie cut", "lean", "leave"
WAYS_OF = {MEET: "fore-and-aft", MEET_BOTH_WAYS: "both ways"}
ENDS_MEET = "Ends meet."
NOTHING_TO_DRAW_IN = "cannot be done: a pie cut draws in, and by more than the blade is wide."


def remedies_of(built: Built, key: PostKey) -> tuple[Remedy, ...]:
    """Return every remedy for one post's misses, :data:`LEAVE` last; only that where its ends meet."""
    ends = built.ends[key]
    fore_aft, across = ends.miss_mm
    least = ends.line.post.wall_mm / 2
    found = []
    if abs(fore_aft) > least:
        back = "rearward" if fore_aft > 0 else "forward"
        found += [_shift(built, key, ends, fore_aft), _lean(built, key, ends, fore_aft, back, MEET)]
    if abs(across) > least:
        over = "in" if across > 0 else "out"
        found += [_pie_cut(built, ends, across), _lean(built, key, ends, across, over, MEET_BOTH_WAYS)]
    leave = Remedy(
        kind=LEAVE,
        way="",
        by_mm=0.0,
        numbers={"miss_fore_aft_mm": fore_aft, "miss_across_mm": across},
        seams=(),
        reason="",
        text="leave it",
    )
    return (*found, leave)


def chosen_remedies(built: Built, key: PostKey) -> tuple[str, ...]:
    """Return the kinds of remedy that the plan has chosen; :data:`LEAVE` where it leaves a miss."""
    ends = built.ends[key]
    chosen = {
        SHIFT: ends.shift_mm != 0,
        LEAN: ends.hinge is not None,
        PIE_CUT: any(pie.key == key for pie in built.pie_cuts),
    }
    found = tuple(kind for kind, is_chosen in chosen.items() if is_chosen)
    if not found and max(map(abs, ends.miss_mm)) > ends.line.post.wall_mm / 2:
        return (LEAVE,)
    return found


def remedy_text(remedies: tuple[Remedy, ...]) -> str:
    """Return in a few words what brings the ends of a post together."""
    shift = [r.text for r in remedies if r.kind == SHIFT]
    across = [r for r in remedies if r.kind in (PIE_CUT, LEAN) and r.way in ("in", "out")]
    inward = [r.text for r in across if not r.reason]
    words = [*shift, *([", or ".join(inward)] if inward else [])]
    if not words:
        return ENDS_MEET
    text = "; ".join(words) + "."
    return text[0].upper() + text[1:]


def _shift(built: Built, key: PostKey, ends: PostEnds, miss_mm: float) -> Remedy:
    unit, by = built.shape.car.unit, -miss_mm
    way = "rearward" if by > 0 else "forward"
    rise = float(ends.move.points(ends.line.ends_mm[1, 0])[2] - ends.plane_in_place.point_mm[2])
    numbers = {
        "miss_at_cut_mm": miss_mm,
        "miss_at_gutter_mm": miss_mm + rise * float(np.tan(np.radians(built.roof.pitch_deg))),
    }
    seams, reason = (), ""
    opening = max(built.plan.kerf_mm, built.plan.root_gap_mm)
    try:
        shift = rail_shift(built.shape, key, ends.shift_mm + by, opening)
        seams = _rail_seams(built, key, shift)
    except PlanError as refusal:
        reason = refusal.message
    else:
        strips = [(low, high) for low, high, what in shift.bounds if what == "strip"]
        numbers |= {"door_rail_mm": by, "opening_behind_mm": -by}
        if strips:
            ((low, high),) = strips
            numbers |= {"strip_mm": high - low, "strip_from_x_mm": low, "strip_to_x_mm": high}
            numbers |= {"strip_moves_mm": shift.strip_moves_mm}
    return Remedy(
        kind=SHIFT,
        way=way,
        by_mm=abs(by),
        numbers=numbers,
        seams=seams,
        reason=reason,
        text=f"shift the upper end {shown(abs(by), unit)} {way}, or let in a strip",
    )


def _rail_seams(built: Built, key: PostKey, shift) -> tuple[RemedySeam, ...]:
    grid = built.shape.skin.grids[f"side {key[1]}"]
    pieces = [(low, high, what) for low, high, what in shift.bounds if what != "trimming"]
    places = {"rail ahead": shift.bounds[0][0], "rail behind": shift.bounds[-1][1]}
    if len(pieces) == 2:  # the strip is let in on the side that the post leaves
        places["strip beside the post"] = shift.front_mm if shift.by_mm >= 0 else shift.rear_mm
    glass, seams = _glass_of(built.shape, grid), []
    for name, x in places.items():
        line = shapely.LineString(rail_line(built.shape, grid, Station(x))).difference(glass)
        seams.append(RemedySeam(name=name, length_mm=_length_mm(grid.point(shapely.get_coordinates(line)))))
    for low, high, what in pieces:
        start, end = np.interp([low, high], *_along_gutter(grid))
        name = "gutter over the post" if what == "upper" else "gutter over the strip"
        seams.append(RemedySeam(name=name, length_mm=float(end - start)))
    return tuple(seams)


@lru_cache(maxsize=16)
def _glass_of(shape: CarShape, grid: Grid) -> shapely.Geometry:
    """Return the openings of a grid as one region of its (u, v)."""
    return shapely.union_all([o.outline.polygon for o in shape.openings if o.outline.grid is grid])


@lru_cache(maxsize=16)
def _along_gutter(grid: Grid):
    """Return x and the length from the front at places along a side's gutter, worked out once. [mm]"""
    place = np.linspace(0, 1, 401)
    gutter = grid.point(np.stack([place, np.ones(401)], axis=1))
    return gutter[:, 0], np.append(0.0, np.cumsum(np.linalg.norm(np.diff(gutter, axis=0), axis=1)))


def _length_mm(points) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _pie_cut(built: Built, ends: PostEnds, miss_mm: float) -> Remedy:
    way = "in" if miss_mm > 0 else "out"
    numbers, seams, reason, pie = {}, (), "", None
    try:
        pie = pie_cut_beside(
            built.shape.car, ends.line, ends.plane, ends.relative, kerf_mm=built.plan.kerf_mm
        )
    except PlanError as refusal:
        reason = refusal.message
    else:
        reason = "" if pie else NOTHING_TO_DRAW_IN
    text = f"draw the lower end {way} with a pie cut"
    if pie is not None:
        report = pie_cut_report(pie, built.plan.root_gap_mm)
        numbers = {
            "mouth_mm": report.mouth_mm,
            "leg_mm": report.leg_mm,
            "count": 1.0,
            "kink_deg": report.turn_deg,
            "from_z_mm": report.loose_mm[2],
            "to_z_mm": report.end_mm[2],
            "area_mm2": report.area_mm2,
        }
        seams = (RemedySeam(name="pie cut", length_mm=pie.leg_mm),)
        mouth = shown(pie.mouth_mm, built.shape.car.unit)
        text = f"draw the lower end {way} with a pie cut {mouth} wide in the sheet round the corner"
    return Remedy(
        kind=PIE_CUT, way=way, by_mm=abs(miss_mm), numbers=numbers, seams=seams, reason=reason, text=text
    )


def _lean(built: Built, key: PostKey, ends: PostEnds, miss_mm: float, way: str, word: str) -> Remedy:
    """Return the lower end leaned as the plan's own would be, hinged as low as it can be."""
    plan, unit = built.plan, built.shape.car.unit
    gaps = {"kerf_mm": plan.kerf_mm, "root_gap_mm": plan.root_gap_mm}
    numbers, seams, reason, text = {}, (), "", "lean its lower end from a hinge"
    try:
        if ends.lower_move is not IDENTITY:
            raise PlanError(f"lean.{key[0]}.{key[1]}", "cannot be done: its lower end is turned already.")
        lean = PostLean(post=key[0], side=key[1], lean=word)
        point = hinge_point_mm(built.shape, key, lean, ends.plane)
        move = lean_move(lean, ends.line, ends.plane, ends.move, point)
        hinge = hinge_of(built.shape, key, point, move, **gaps)
    except PlanError as refusal:
        reason = refusal.message
    else:
        leaned = post_ends(
            ends.line, ends.plane, ends.move, shift_mm=ends.shift_mm, lower_move=move, hinge=hinge, **gaps
        )
        report = lean_report(leaned)
        numbers = {
            "turn_deg": report.turn_deg,
            "hinge_z_mm": report.hinge_mm[2],
            "wedge_mm": report.mouth_mm,
            "lean_side_after_deg": report.lean_side_after_deg,
            "lean_front_after_deg": report.lean_front_after_deg,
            "take_out_mm": float(leaned.take_out_mm[0]),
        }
        corners = ends.line.lines(ends.line.crossing(hinge.foot))[1:]
        around = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())
        seams = (RemedySeam(name="hinge, post", length_mm=around),)
        place, mouth = shown(report.hinge_mm[2], unit), shown(report.mouth_mm, unit)
        text = (
            f"lean its lower end {WAYS_OF[word]} from a hinge at z {place}, wedge {mouth} wide at the mouth"
        )
    return Remedy(
        kind=LEAN, way=way, by_mm=abs(miss_mm), numbers=numbers, seams=seams, reason=reason, text=text
    )
