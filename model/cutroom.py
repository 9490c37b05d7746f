"""Posts with no place to cut: the stretch too short, the axis bowed, the section standing in an opening.

Before any plan the cut is taken as a 3 in take-out with a post's width above it to fit the ends up over.
Over that length the axis strays from its chord by its *bow*; a bow of a whole wall leaves walls that would
meet edge to edge with nothing to weld on.  The axis is a cubic through the measured points, straight
through two.
"""

from __future__ import annotations

import numpy as np
import shapely

from .fairing import LIMIT_SD
from .report import Finding
from .shape import CarShape
from .units import shown

TAKE_OUT_MM = 76.2  # assumed: 3 in along the post, until a plan says
ROOM_SOURCE = (
    "assumed: a 3 in take-out, and the post's width above it to fit the ends up; common practice, no source"
)
BOW_SOURCE = "geometry: walls offset by a whole wall do not meet"
OPENING_SOURCE = "geometry: a post stands beside an opening; both as the tape reads them"
_PLACES = 97  # along the stretch that may be cut, and along a bow


def cut_room_findings(shape: CarShape, scatter_mm: float) -> list[Finding]:
    """Return what is wrong with each measured post as a place to cut; mirrored ones are not told twice."""
    measured = {(post.name, post.side) for post in shape.car.posts}
    found = []
    for key, line in shape.lines.items():
        if key in measured:
            found += [_too_short(shape.car, line), _bowed(shape.car, line)]
            found += [_in_opening(shape, line, opening, scatter_mm) for opening in shape.openings]
    return [f for f in found if f is not None]


def bow_mm(line, s_from: float, s_to: float) -> float:
    """Return how far a post's axis strays from the chord between two parameters, at the most. [mm]"""
    points = line.frame(np.linspace(s_from, s_to, _PLACES))[0]
    chord = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
    off = points - points[0]
    return float(np.linalg.norm(off - np.outer(off @ chord, chord), axis=1).max())


def _stretch(line):
    """Return parameters along the stretch that may be cut, and lengths along the axis from its foot."""
    post = line.post
    s = np.linspace(line.axis_at_height(post.cut_from_mm), line.axis_at_height(post.cut_to_mm), _PLACES)
    chords = np.linalg.norm(np.diff(line.frame(s)[0], axis=0), axis=1)
    return s, np.concatenate([[0.0], np.cumsum(chords)])


def _needed_mm(line):
    return TAKE_OUT_MM + line.post.width_mm


def _where(line):
    return f"{line.post.name} {line.post.side}"


def _too_short(car, line):
    _, along = _stretch(line)
    needed = _needed_mm(line)
    if along[-1] >= needed:
        return None
    left = along[-1] - line.post.width_mm
    most = f"plan for a take-out of at most {shown(left, car.unit)} here" if left > 0 else "do not cut here"
    return Finding(
        kind="no room for a cut",
        where=_where(line),
        message=f"Only {shown(along[-1], car.unit)} of this post may be cut, and a usual cut takes "
        f"{shown(needed, car.unit)}: measure cut_from and cut_to again, or {most}.",
        measured=float(along[-1]),
        limit=needed,
        unit="mm",
        source=ROOM_SOURCE,
    )


def _bowed(car, line):
    post, unit = line.post, car.unit
    s, along = _stretch(line)
    needed = min(_needed_mm(line), along[-1])
    starts = along[along <= along[-1] - needed + 1e-9]

    def bow_from(start):
        return bow_mm(line, *np.interp([start, start + needed], along, s))

    at = min(float(np.interp(line.axis_at_height(post.cut_at_mm), s, along)), starts[-1])
    bow = bow_from(at)
    if bow <= post.wall_mm:
        return None
    bows = [bow_from(start) for start in starts]
    best = int(np.argmin(bows))
    height = float(line.frame(np.interp(starts[best], along, s))[0][0, 2])
    if bows[best] <= post.wall_mm:
        advice = (
            f"straightest from height {shown(height, unit)}, where it bows {shown(bows[best], unit, 32)}: "
            "move cut_at there"
        )
    else:
        advice = (
            f"even from height {shown(height, unit)}, its straightest place, it bows "
            f"{shown(bows[best], unit, 32)}: no place to cut it as a straight box"
        )
    return Finding(
        kind="post bowed at the cut",
        where=_where(line),
        message=f"Bows {shown(bow, unit, 32)} over the {shown(needed, unit)} of the cut; {advice}. "
        "Measure the axis again at each height, and at one more.",
        measured=bow,
        limit=post.wall_mm,
        unit="mm",
        source=BOW_SOURCE,
    )


def _in_opening(shape, line, opening, scatter_mm):
    """Flag a corner edge hard under the skin that, looked at square to the skin, stands inside an opening."""
    s, _ = _stretch(line)
    corners = line.lines(s[::12, None] + np.zeros(5))[:, 1:].reshape(-1, 3)
    grid, reach = opening.outline.grid, min(line.post.width_mm, line.post.depth_mm) / 2
    near = grid.is_near(corners, reach)
    if not near.any():
        return None
    foot = grid.foot(corners[near])
    loop = opening.outline.loop_uv
    inside = foot.is_square & (np.abs(foot.distance_mm) < reach)
    inside &= shapely.contains_xy(shapely.Polygon(loop), foot.uv[:, 0], foot.uv[:, 1])
    if not inside.any():
        return None
    depth = _distances_mm(foot.point[inside], grid.point(loop))
    worst, limit = int(depth.argmax()), LIMIT_SD * np.sqrt(2) * scatter_mm
    if depth[worst] <= limit:
        return None
    unit, height = shape.car.unit, float(corners[near][inside][worst, 2])
    return Finding(
        kind="post in an opening",
        where=f"{_where(line)}, {opening.name}",
        message=f"The box stands {shown(float(depth[worst]), unit)} inside the opening at height "
        f"{shown(height, unit)}: measure the section, its middle, and the opening's edge there.",
        measured=float(depth[worst]),
        limit=float(limit),
        unit="mm",
        source=OPENING_SOURCE,
    )


def _distances_mm(points, loop):
    """Return how far points, (n, 3), lie from a closed line through (m, 3)."""
    along = np.roll(loop, -1, axis=0) - loop
    off = points[:, None] - loop
    share = np.clip(np.einsum("nmk,mk->nm", off, along) / np.einsum("mk,mk->m", along, along), 0, 1)
    return np.linalg.norm(off - share[:, :, None] * along, axis=2).min(axis=1)
