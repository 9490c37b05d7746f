"""What brings the ends of a post together, as records: shift, pie cut, lean, leave; with what each costs.

Let m be the miss fore-and-aft and n the miss across, h the height of the lower
cut above the post's measured foot, f the roof's pitch.

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
* *lean*: the lower end hinged over at its foot: turn atan(miss / h), wedge miss ×
  section / h at its mouth, the section being the box's depth across and its
  width fore-and-aft.  Seam: three sides of the box.
* *leave*: the misses as they are.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely

from .built import Built, rail_shift
from .cuts import Station
from .errors import PlanError
from .layout import rail_line
from .piecuts import pie_cut_beside, pie_cut_report
from .placing import PostKey
from .posts import PostEnds
from .report import Remedy, RemedySeam
from .skin import Grid
from .units import shown

SHIFT, PIE_CUT, LEAN, LEAVE = "shift", "pie cut", "lean", "leave"
ENDS_MEET = "Ends meet."
NOTHING_TO_DRAW_IN = "cannot be done: a pie cut draws in, and by more than the blade is wide."


def remedies_of(built: Built, key: PostKey) -> tuple[Remedy, ...]:
    """Return every remedy for one post's misses, :data:`LEAVE` last; only that where its ends meet."""
    ends = built.ends[key]
    fore_aft, across = ends.miss_mm
    least = ends.line.post.wall_mm / 2
    found = []
    if abs(fore_aft) > least:
        found += [_shift(built, key, ends, fore_aft), _lean_back(built, ends, fore_aft)]
    if abs(across) > least:
        found += [_pie_cut(built, ends, across), _lean_over(built, ends, across)]
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
    except PlanError as refusal:
        reason = refusal.message
    else:
        strips = [(low, high) for low, high, what in shift.bounds if what == "strip"]
        numbers |= {"door_rail_mm": by, "opening_behind_mm": -by}
        if strips:
            ((low, high),) = strips
            numbers |= {"strip_mm": high - low, "strip_from_x_mm": low, "strip_to_x_mm": high}
            numbers |= {"strip_moves_mm": shift.strip_moves_mm}
        seams = _rail_seams(built, key, shift)
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
    panes = [o.outline.polygon for o in built.shape.openings if o.outline.grid is grid]
    glass, seams = shapely.union_all(panes), []
    for name, x in places.items():
        line = shapely.LineString(rail_line(built.shape, grid, Station(x))).difference(glass)
        seams.append(RemedySeam(name=name, length_mm=_length_mm(grid.point(shapely.get_coordinates(line)))))
    for low, high, what in pieces:
        start, end = np.interp([low, high], *_along_gutter(grid))
        name = "gutter over the post" if what == "upper" else "gutter over the strip"
        seams.append(RemedySeam(name=name, length_mm=float(end - start)))
    return tuple(seams)


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


def _lean_over(built: Built, ends: PostEnds, miss_mm: float) -> Remedy:
    post = ends.line.post
    return _lean(built, ends, miss_mm, post.depth_mm, post.width_mm, "in" if miss_mm > 0 else "out")


def _lean_back(built: Built, ends: PostEnds, miss_mm: float) -> Remedy:
    post = ends.line.post
    way = "rearward" if miss_mm > 0 else "forward"
    return _lean(built, ends, miss_mm, post.width_mm, post.depth_mm, way)


def _lean(built: Built, ends: PostEnds, miss_mm: float, section_mm: float, other_mm: float, way: str):
    """Return the lower end hinged over at its foot, the section's depth first along the lean, then across."""
    foot = float(ends.line.post.axis_mm[0][2])
    height = float(ends.plane.point_mm[2]) - foot
    wedge = abs(miss_mm) * section_mm / height
    mouth = shown(wedge, built.shape.car.unit)
    return Remedy(
        kind=LEAN,
        way=way,
        by_mm=abs(miss_mm),
        numbers={
            "turn_deg": float(np.degrees(np.arctan(abs(miss_mm) / height))),
            "hinge_z_mm": foot,
            "wedge_mm": wedge,
        },
        seams=(RemedySeam(name="wedge around the box", length_mm=2 * section_mm + other_mm),),
        reason="",
        text=f"lean it over from its foot with a wedge {mouth} wide at the mouth",
    )
