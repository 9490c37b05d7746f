"""How deep old sheet is cut back along a run, for new metal that is wide and gentle enough.

Along a run (:mod:`model.fillerruns`) let g be the gap and h the step at each
place, r the root gap.  With both pieces cut back by d₁ and d₂ the new metal's
width within the skin is g + d₁ + d₂ − 2r.  It is to be at least
:data:`LEAST_WIDTH_MM`, and :data:`CLIMB` times the step, so that it climbs no
steeper than 1 in 3:

    d₁ + d₂ = max over the run of  max(W, 3 |h|) + 2r − g          (0 if that is less)

one depth along the whole run, shared evenly, but a piece gives no more than

* :data:`MOST_MM`,
* half of what there is of it, straight back from the edge to its next edge or
  the next crease,
* of a window panel, what leaves 3/4 in of flange beside the glass,

and what one cannot give the other does.  Where both together cannot, they give
what they can, if that makes the climb no steeper than 1 in 1.5.  If not, or if
that did harm (:mod:`model.spoiltcuts`), the run is only *folded*: cut back so far
that the strip is W_f wide, a tip's width (:mod:`model.fillertips`) and a little.
Such a strip can be bent down from one skin to the other whatever the step,
though what such a run needs is pieces that stand closer to flush.

Where a run ends in a bead because the gap closes, the depth tapers to nothing
within it.  Where it ends because the step becomes one that is drawn flush, the
strip must still be wide enough there to be bent: the depth tapers to that for a
width of max(W_f, 1.5 |h|), and from there on to nothing beyond the run, its *tail*.

Half an inch and 1 in 3 are assumed, and so is half of the piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .built import Built
from .fillerruns import BEAD, STEP_FROM_MM, Run
from .fillertips import tip_width_mm
from .fit import faced_places, read_across
from .layout import WINDOW
from .numeric import cross, dot
from .plancheck import DEEPEST_CUT_BACK_MM
from .trimlines import FLANGE_KEPT_MM, trimmed_sides

LEAST_WIDTH_MM = 12.7  # 1/2 in: a narrower strip is all heat from its two beads; common practice, no source
CLIMB = 3.0  # widths to a step, if the pieces can give that; assumed
STEEPEST = 1.5  # widths to a step, for a cut to be worth making; assumed
FOLD = 1.15  # tip widths, of a fold: so that its tips can be made; assumed
MOST_MM = DEEPEST_CUT_BACK_MM
SHARE = 0.5  # of a piece, at most; assumed
LEAST_MM = 0.5  # assumed: less is not worth a cut
DRIVEN_BY_STEP = 0.9  # of the step that is drawn flush: a bead at such a step is there for it; assumed
TAPER = 3.0  # depths in which a strip runs out before a bead; assumed
SPACING_MM = 2.0  # of the places along a run
_LOOK_MM = 3.0  # steps in which a piece is looked at


def needed_mm(run: Run, root_gap_mm: float, climb: float, least_mm: float = LEAST_WIDTH_MM) -> float:
    """Return by how much both pieces are cut back together, to be ``climb`` times as wide as a step. [mm]"""
    s = np.linspace(*run.first_mm, max(9, int(abs(run.first_mm[1] - run.first_mm[0]) / SPACING_MM)))
    gap, step = _read(run, s)
    if not len(gap):
        return 0.0
    return float((np.maximum(least_mm, climb * np.abs(step)) + 2 * root_gap_mm - gap).max())


def _read(run: Run, s):
    """Return gap and step at lengths along a run's first edge, where its second edge faces it."""
    point, tangent, normal = run.laid.at(np.full(len(s), run.first), s)
    edge, t = faced_places(run.laid, np.array([run.second]), point, tangent)
    known = edge >= 0
    facing, _, facing_normal = run.laid.at(edge[known], t[known])
    return read_across(point[known], tangent[known], normal[known], facing, facing_normal)[:2]


def fold_width_mm(built: Built) -> float:
    """Return how wide a strip is that can be bent over any step. [mm]"""
    return FOLD * tip_width_mm(built.plan.new_metal.gauge_mm or built.shape.car.gauge_mm)


@dataclass(frozen=True)
class Tail:
    """How deep both pieces are cut back together at a run's end, and how far beyond that runs out. [mm]"""

    depth_mm: float
    reach_mm: float


NO_TAIL = Tail(0.0, 0.0)


def tail_of(built, run: Run, end) -> Tail:
    """Return what is cut back at and beyond an end of a run that is a bead for its step."""
    if run.ends[end] != BEAD:
        return NO_TAIL
    gap, step = _read(run, np.array([run.first_mm[end]]))
    if not len(gap) or abs(step[0]) < DRIVEN_BY_STEP * STEP_FROM_MM:
        return NO_TAIL
    width = max(fold_width_mm(built), STEEPEST * abs(step[0]))
    depth = float(width + 2 * built.plan.root_gap_mm - gap[0])
    lengths = run.laid.length_mm[[run.first, run.second]]
    room = min(
        (run.first_mm[0], lengths[1] - run.second_mm[0])
        if end == 0
        else (lengths[0] - run.first_mm[1], run.second_mm[1])
    )
    reach = min(TAPER * depth, float(room))
    return Tail(depth, reach) if reach > depth > LEAST_MM else NO_TAIL


def shared_tail(tail: Tail, depth_mm, whole_mm) -> Tail:
    """Return one piece's share of a tail, no deeper than it is cut back anyway."""
    return Tail(min(tail.depth_mm * depth_mm / whole_mm, depth_mm), tail.reach_mm)


def depths_of(built: Built, runs: list[Run], wanted_mm: float | None) -> tuple[float, float]:
    """Return how deep both pieces are cut back along runs that are cut alike. [mm]"""
    root = built.plan.root_gap_mm
    need = 2 * wanted_mm if wanted_mm is not None else max(needed_mm(run, root, CLIMB) for run in runs)
    if need <= 2 * LEAST_MM:
        return 0.0, 0.0
    most = [min(_most_mm(built, run, which) for run in runs) for which in (0, 1)]
    if wanted_mm is None and sum(most) < max(needed_mm(run, root, STEEPEST) for run in runs):
        return folds_of(built, runs)
    return _given(need, most)


def folds_of(built: Built, runs: list[Run]) -> tuple[float, float]:
    """Return how deep both pieces are cut back along runs that are only folded. [mm]"""
    root, width = built.plan.root_gap_mm, fold_width_mm(built)
    need = max(needed_mm(run, root, 0.0, width) for run in runs)
    most = [min(_most_mm(built, run, which) for run in runs) for which in (0, 1)]
    if need <= LEAST_MM or sum(most) < need:
        return 0.0, 0.0
    return _given(need, most)


def _given(need, most):
    """Return what either piece gives of what is needed, evenly as far as it can."""
    first = min(need / 2, most[0])
    second = min(need - first, most[1])
    return min(need - second, most[0]), second


def _most_mm(built, run, which) -> float:
    """Return how much one piece can give along a run. [mm]"""
    piece = run.seam.pieces[which]
    most = min(MOST_MM, SHARE * _room_mm(built, run, which))
    if piece == WINDOW:
        most = min(most, max(built.plan.window.flange_mm - FLANGE_KEPT_MM, 0.0))
    return most


def _room_mm(built, run, which) -> float:
    """Return how far a piece goes on straight back from its edge along a run, at least. [mm]"""
    sides, move = trimmed_sides(built, run.seam, which)
    edge, (start, end) = ((run.first, run.first_mm), (run.second, run.second_mm))[which]
    s = np.linspace(start, end, 12)[1:-1]
    point, tangent, normal = run.laid.at(np.full(len(s), edge), s)
    back = move.inverse()
    at, inward = back.points(point), back.vectors(-cross(tangent, normal))
    looks = np.arange(1, int(2 * MOST_MM / _LOOK_MM) + 1) * _LOOK_MM
    grid = grid_at(sides, move, point[len(point) // 2])
    uv = grid.foot(at).uv
    _, du, dv = grid.tangents(uv)
    a, b, c = dot(du, du), dot(du, dv), dot(dv, dv)
    p, q = dot(inward, du), dot(inward, dv)
    way = np.stack([c * p - b * q, a * q - b * p], axis=1) / (a * c - b * b)[:, None]
    places = (uv[:, None] + looks[None, :, None] * way[:, None]).reshape(-1, 2)
    cells = [c.polygon for c in built.layout.parts[run.seam.pieces[which]] if c.grid is grid]
    inside = shapely.contains_xy(shapely.union_all(cells), *places.T).reshape(len(s), -1)
    return float(looks[np.argmin(np.append(inside, np.zeros((len(s), 1), bool), axis=1), axis=1) - 1].min())


def grid_at(sides, move, place_mm):
    """Return the grid on which an edge of a piece lies at a place."""
    off = [np.linalg.norm(move.points(s.chain.point_mm) - place_mm, axis=1).min() for s in sides]
    return sides[int(np.argmin(off))].chain.grid
