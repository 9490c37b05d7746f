"""What a leaned post's lower end does, in numbers: hinge, lean before and after, the wedge left open."""

from __future__ import annotations

import numpy as np

from .postlines import EDGES
from .posts import PostEnds
from .report import HingeMark, LeanReport


def lean_report(ends: PostEnds) -> LeanReport | None:
    """Return the report of a leaned post, None of one that stays."""
    if ends.hinge is None:
        return None
    hinge = np.array(ends.hinge.point_mm)
    before, after = ends.plane.point_mm - hinge, ends.plane_in_place.point_mm - hinge
    turn = np.degrees(np.arccos(np.clip((np.trace(ends.lower_move.rotation) - 1) / 2, -1.0, 1.0)))
    marks = hinge_marks(ends)
    landing = ends.line.lines(ends.s_take)[0]
    return LeanReport(
        hinge_mm=ends.hinge.point_mm,
        height_mm=float(landing[2] - hinge[2]),
        turn_deg=float(turn),
        lean_side_before_deg=_lean_deg(before[0], before[2]),
        lean_side_after_deg=_lean_deg(after[0], after[2]),
        lean_front_before_deg=_lean_deg(ends.line.inboard * before[1], before[2]),
        lean_front_after_deg=_lean_deg(ends.line.inboard * after[1], after[2]),
        mouth_mm=max(mark.gap_mm for mark in marks),
        edges=marks,
    )


def hinge_marks(ends: PostEnds) -> tuple[HingeMark, ...]:
    """Return the marks of the two cuts around a hinge, on the axis and on the corner edges."""
    low, high = ends.line.crossing(ends.hinge.foot), ends.line.crossing(ends.hinge.loose)
    foot, loose = ends.line.lines(low), ends.line.lines(high)
    removed = ends.line.lengths(low, high)
    gap = ends.hinge.foot.height_above(ends.lower_move.points(loose))
    return tuple(
        HingeMark(
            edge=edge_name(edge, ends.line.post.side),
            foot_mm=tuple(foot[i].tolist()),
            loose_mm=tuple(loose[i].tolist()),
            removed_mm=float(removed[i]),
            gap_mm=float(gap[i]),
        )
        for i, edge in enumerate(EDGES)
    )


def edge_name(edge: str, side: str) -> str:
    """Return what a corner edge is called in reports: on a centre post, right and left."""
    return edge.replace("outer", "right").replace("inner", "left") if side == "centre" else edge


def _lean_deg(along, up) -> float:
    return float(np.degrees(np.arctan2(along, up)))
