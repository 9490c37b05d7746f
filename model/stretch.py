"""The best stretch of a post for its cut: the straightest that is long enough, against where the plan cuts.

A cut needs, along the axis, what it removes from mark to mark and a post's
width at either end, over which the ends are clamped in line.  Let r(σ) be the
axis over its arc length σ and L the length needed.  The *sagitta* of a stretch
is how far the axis strays from its chord c,

    sagitta(σ) = max over λ in [0, L] of |(r(σ + λ) − r(σ)) × c|,

R (1 − cos(L / 2R)) on a circle of radius R.  The best stretch has the least
sagitta of all that lie where the post may be cut (as the car file says) and
clear of the corners of the openings beside it.  Where stretches are as
straight as each other to within :data:`SAME_MM`, the one nearest to the
plan's is taken, so that a straight post is told to be cut where the plan cuts
it.  How the section changes along a post is not measured and plays no part.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .built import Built
from .measured import VIEWS
from .placing import PostKey
from .postlines import PostLine
from .report import Finding, PostReport, PostStretch
from .shape import CarShape, GlassOpening
from .units import shown

CLAMP_WIDTHS = 1.0  # of the post, at either end of what is cut out; assumed
SAME_MM = 0.01
LIMIT_SOURCE = "half the wall, common practice, no source"
_PLACES = 801  # along the axis
_STARTS = 201
_INSIDE = 61  # along a stretch


def sagitta_mm(points_mm) -> np.ndarray:
    """Return how far lines stray from their chords; (..., n, 3) gives (...). [mm]"""
    points = np.asarray(points_mm, float)
    away = points - points[..., :1, :]
    chord = away[..., -1, :] / np.linalg.norm(away[..., -1, :], axis=-1, keepdims=True)
    along = np.einsum("...ni,...i->...n", away, chord)
    return np.linalg.norm(away - along[..., None] * chord[..., None, :], axis=-1).max(axis=-1)


@lru_cache(maxsize=64)
def _axis(line: PostLine) -> tuple[np.ndarray, np.ndarray]:
    """Return points of a post's axis (n, 3) and their lengths along it from the foot (n,). [mm]"""
    s = np.linspace(0.0, 1.0, _PLACES)
    points = line.lines(np.repeat(s[:, None], 5, axis=1))[:, 0]
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return points, np.concatenate([[0.0], np.cumsum(steps)])


def _sagittas_mm(points, along, starts, needed_mm):
    """Return the sagitta of every stretch of the needed length that begins at ``starts``. [mm]"""
    places = starts[:, None] + np.linspace(0.0, needed_mm, _INSIDE)
    return sagitta_mm(np.stack([np.interp(places, along, points[:, k]) for k in range(3)], axis=-1))


def best_stretch(line: PostLine, low_mm: float, high_mm: float, needed_mm: float, planned_mm: float):
    """Return where the straightest stretch begins and its sagitta, or None where none is long enough.

    Parameters
    ----------
    low_mm, high_mm : float
        Heights z between which it has to lie, on the axis.
    needed_mm : float
        Its length along the axis.
    planned_mm : float
        Where the plan's own stretch begins, along the axis from its foot.

    Returns
    -------
    (start, sagitta) or None
        Along the axis from its foot. [mm]
    """
    points, along = _axis(line)
    first, last = (float(np.interp(z, points[:, 2], along)) for z in (low_mm, high_mm))
    if last - first < needed_mm:
        return None
    if line.is_straight:
        return float(np.clip(planned_mm, first, last - needed_mm)), 0.0
    starts = np.linspace(first, last - needed_mm, _STARTS)
    if starts[0] <= planned_mm <= starts[-1]:
        starts = np.append(starts, planned_mm)
    found = _sagittas_mm(points, along, starts, needed_mm)
    as_good = np.nonzero(found <= found.min() + SAME_MM)[0]
    at = as_good[np.abs(starts[as_good] - planned_mm).argmin()]
    return float(starts[at]), float(found[at])


def post_stretch(built: Built, key: PostKey) -> PostStretch:
    """Return the best stretch of a cut post against the plan's."""
    ends, line = built.ends[key], built.shape.lines[key]
    post = line.post
    points, along = _axis(line)
    clamp = CLAMP_WIDTHS * post.width_mm
    needed = float(ends.removed_mm[0]) + 2 * clamp
    lower = float(np.interp(ends.plane.point_mm[2], points[:, 2], along))
    planned = float(np.clip(lower - clamp, 0.0, along[-1] - min(needed, along[-1])))
    corners = corner_heights_mm(built.shape, key)
    low, high = max(post.cut_from_mm, corners[0]), min(post.cut_to_mm, corners[1])
    at_plan = 0.0
    if not line.is_straight:
        at_plan = float(_sagittas_mm(points, along, np.array([planned]), min(needed, along[-1]))[0])
    best = best_stretch(line, low, high, needed, planned)

    def height(place_mm):
        return float(np.interp(place_mm, along, points[:, 2]))

    return PostStretch(
        needed_mm=needed,
        clear_from_mm=low,
        clear_to_mm=high,
        from_mm=None if best is None else height(best[0]),
        to_mm=None if best is None else height(best[0] + needed),
        cut_at_mm=None if best is None else height(best[0] + clamp),
        sagitta_mm=None if best is None else best[1],
        at_plan_sagitta_mm=at_plan,
    )


@lru_cache(maxsize=64)
def corner_heights_mm(shape: CarShape, key: PostKey) -> tuple[float, float]:
    """Return between which heights a post stands clear of the corners of the openings beside it. [mm]"""
    middle = shape.lines[key].frame(0.5)[0][0]
    lows, highs = [-np.inf], [np.inf]
    for opening, axis in _beside(shape, key, middle):
        across = VIEWS[opening.opening.view].index(axis)
        corners = [(c.across_mm, c.up_mm)[:: 1 - 2 * across] for c in opening.opening.corners]
        radii = [c.radius_mm for c in opening.opening.corners]
        order = sorted(range(len(corners)), key=lambda i: corners[i][1])
        for pair, found, sign in ((order[:2], lows, 1.0), (order[-2:], highs, -1.0)):
            near = min(pair, key=lambda i: abs(corners[i][0] - middle[axis]))
            found.append(corners[near][1] + sign * radii[near])
    return float(max(lows)), float(min(highs))


def _beside(shape, key, middle) -> list[tuple[GlassOpening, int]]:
    """Return the openings next to a post, each with the coordinate across it: x (0) or y (1)."""
    side = key[1]
    if side != "centre":
        found = _next_to(shape, f"side {side}", 0, middle[0])
        beside = [(o, 0) for o in found if o is not None]
        pane = _next_to(shape, "front", 1, middle[1])[0 if side == "right" else 1]
        return beside if found[0] is not None or pane is None else [*beside, (pane, 1)]
    return [(o, 1) for o in _next_to(shape, "front", 1, middle[1]) if o is not None]


def _next_to(shape, grid_name, axis, at_mm):
    """Return the openings of a grid next below and next above a place along one coordinate, or None."""
    spans = []
    for opening in shape.openings:
        view = VIEWS[opening.opening.view]
        if opening.outline.grid.name == grid_name and axis in view:
            across = view.index(axis)
            places = [(c.across_mm, c.up_mm)[across] for c in opening.opening.corners]
            spans.append(((min(places) + max(places)) / 2, opening))
    below = [s for s in spans if s[0] < at_mm]
    above = [s for s in spans if s[0] > at_mm]
    return (
        max(below, key=lambda s: s[0])[1] if below else None,
        min(above, key=lambda s: s[0])[1] if above else None,
    )


def stretch_findings(built: Built, posts: tuple[PostReport, ...]) -> list[Finding]:
    """Return where a straighter stretch of a post is to be had, or none that is long enough."""
    unit, found = built.shape.car.unit, []
    for post in posts:
        stretch, limit = post.stretch, built.shape.lines[post.post, post.side].post.wall_mm / 2
        where = f"{post.post} {post.side}"
        if stretch.sagitta_mm is None:
            continue
        if stretch.at_plan_sagitta_mm - stretch.sagitta_mm > limit:
            found.append(
                Finding(
                    kind="crooked stretch",
                    where=where,
                    message=f"Cut at z {shown(stretch.cut_at_mm, unit)} the post is "
                    f"{shown(stretch.at_plan_sagitta_mm - stretch.sagitta_mm, unit, 32)} straighter.",
                    measured=stretch.at_plan_sagitta_mm - stretch.sagitta_mm,
                    limit=limit,
                    unit="mm",
                    source=LIMIT_SOURCE,
                )
            )
    return found
