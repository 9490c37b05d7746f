"""Where new metal goes: the stretches of a seam that stand open wider than a weld closes.

The first piece's edges are asked every :data:`SPACING_MM` and at both ends.  A
place with gap g and step h *stands open* where g is wider than the weld closes,
or, unless the pieces lap, h is more than :data:`STEP_FROM_MM`: a step of two
inches is a hole of two inches, however narrow the gap.  Open places next to
each other make a *run* [s0, s1]; its end, where both come to their limits, is
found by bisection.  With t(s) the length along the second edge at the facing
place, the filler's other side is [t(s1), t(s0)]: the edges run against each
other, both with the metal on their left.

**Corners.**  The plane square to the first edge at its very end seldom meets
the second edge at its own.  A run that reaches the end of its edge, and comes
within :data:`REACH` times the opening (and one spacing) of the second edge's
end, is taken from corner to corner, so that two fillers that come to the same
two corners share a border and close it.  Further away it would run out into a
wedge with slanting cross lines: it ends where the last place is faced, and what
is left is a corner patch's (:mod:`model.cornerholes`).

A run's end is of one of four kinds: ``opening`` (both corners lie at a window
or door opening, a free edge), ``bead`` (a weld closes the seam from there on),
``filler`` (another filler shares it), ``corner`` (anything else, a lap not yet
trimmed too: something is left open there).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial import cKDTree

from .built import Built
from .edges import SAME_PLACE_MM, Edge, Edges, joined
from .fit import faced_places, read_across
from .layout import METAL
from .plancheck import LEAST_FILLER_MM
from .seams import HINGE, SKIN, STRIP, WINDOW_SEAM, Seam, seam_edges

CLOSED_KINDS = (SKIN, WINDOW_SEAM, STRIP, HINGE)
SPACING_MM = 6.0  # of the places at which a seam is asked whether it is open
SHORTEST_MM = 2.0  # assumed: a weld bridges a shorter run
STEP_FROM_MM = 3.175  # 1/8 in: less is drawn flush with hammer and dolly; common practice, no source
REACH = 4.0  # assumed; of the opening's width: how far a filler goes on past the last facing place
_JUMP = 4.0  # a facing place that moves on so many times as fast as its own is on another stretch

OPENING, BEAD, FILLER, CORNER = "opening", "bead", "filler", "corner"


def is_closed_by_metal(seam: Seam) -> bool:
    """Return whether new metal goes into a seam where it stands open."""
    return seam.kind in CLOSED_KINDS


def closes_from_mm(built: Built) -> float:
    """Return the gap from which the plan puts new metal in, where it asks for any. [mm]

    By default the widest gap a butt weld closes, but never so narrow that
    two root gaps leave nothing between them.
    """
    plan = built.plan
    if plan.new_metal is not None and plan.new_metal.closes_from_mm is not None:
        return plan.new_metal.closes_from_mm
    return max(widest_weld_mm(built), 2 * plan.root_gap_mm + LEAST_FILLER_MM)


def widest_weld_mm(built: Built) -> float:
    """Return the widest gap that a butt weld closes on this car; see findings' GAP_SOURCE. [mm]"""
    return max(built.shape.car.gauge_mm, built.plan.root_gap_mm, built.plan.kerf_mm) + 0.1


@dataclass(frozen=True, eq=False)
class Run:
    """One stretch of one seam to be closed.

    Attributes
    ----------
    laid : Edges
        Edges of both pieces, each joined where they run on.
    first, second : int
        The edges of the first and of the second piece along it.
    first_mm, second_mm : (start, end)
        Lengths along them at the run's start and end; ``second_mm`` falls.
    ends : (start, end)
        ``opening``, ``bead`` or ``corner``.
    gap_mm, step_mm : float
        Widest gap; step of the greatest size, with its sign.
    """

    seam: Seam
    laid: Edges
    first: int
    second: int
    first_mm: tuple[float, float]
    second_mm: tuple[float, float]
    ends: tuple[str, str]
    gap_mm: float
    step_mm: float


@dataclass(frozen=True, eq=False)
class SeamLines:
    """The edges of one seam, joined where they run on.

    ``firsts`` and ``seconds`` are indices into ``laid``; ``loops`` those that come back to their start.
    """

    laid: Edges
    firsts: tuple[int, ...]
    seconds: tuple[int, ...]
    loops: frozenset[int]


def lines_of(built: Built, seam: Seam) -> SeamLines | None:
    """Return the joined edges of a seam; None where one piece has none."""
    first, second = (joined(edges) for edges in seam_edges(built, seam))
    if not first or not second:
        return None
    at = np.concatenate([edge.point_mm for edge, _ in first])
    second = [(_begun_far_from(edge, at) if is_loop else edge, is_loop) for edge, is_loop in second]
    lines = [*first, *second]
    numbers = range(len(lines))
    return SeamLines(
        Edges([edge for edge, _ in lines]),
        tuple(numbers[: len(first)]),
        tuple(numbers[len(first) :]),
        frozenset(k for k in numbers if lines[k][1]),
    )


def _begun_far_from(edge: Edge, points_mm) -> Edge:
    """Return a closed edge begun where it is furthest from some points."""
    start = int(cKDTree(points_mm).query(edge.point_mm[:-1])[0].argmax())
    order = np.append(np.roll(np.arange(len(edge.point_mm) - 1), -start), start)
    return Edge(edge.point_mm[order], edge.normal[order])


def runs_of(built: Built, seam: Seam, closes_from_mm: float, reach: float = REACH) -> list[Run]:
    """Return every stretch of a seam whose gap is wider than a weld closes."""
    lines = lines_of(built, seam)
    if lines is None:
        return []
    at_opening = _opening_nodes(built)
    runs = []
    for first in lines.firsts:
        runs += _runs_along(seam, lines, first, closes_from_mm, at_opening, reach)
    return runs


@lru_cache(maxsize=4)
def _opening_nodes(built) -> cKDTree:
    """Return a tree of where lines end on the openings, on every piece in place. [mm]"""
    nodes = [np.full((1, 3), 1e9)]  # nowhere, for a car without openings
    for chain in built.layout.chains:
        if chain.line.startswith("opening"):
            for cell in (chain.left, chain.right):
                if cell is not None and cell.role == METAL:
                    nodes.append(built.moves[cell.carrier].points(chain.point_mm[[0, -1]]))
    return cKDTree(np.concatenate(nodes))


@dataclass(frozen=True, eq=False)
class _Places:
    """Places along one edge and what faces them; gap and step nan where nothing does."""

    s: np.ndarray
    edge: np.ndarray
    t: np.ndarray
    gap: np.ndarray
    step: np.ndarray
    across: np.ndarray  # straight to the facing place

    def past_mm(self, closes_from_mm: float) -> np.ndarray:
        """Return how far gap or step is past what a weld closes; nan where nothing faces."""
        past = np.fmax(self.gap - closes_from_mm, np.abs(self.step) - STEP_FROM_MM)
        return np.where(self.gap > 0, past, self.gap - closes_from_mm)


def _places(lines, first, s) -> _Places:
    laid = lines.laid
    s = np.asarray(s, float)
    point, tangent, normal = laid.at(np.full(len(s), first), s)
    edge, t = faced_places(laid, np.array(lines.seconds), point, tangent)
    facing, facing_normal = np.full((2, len(s), 3), np.nan)
    is_faced = edge >= 0
    facing[is_faced], _, facing_normal[is_faced] = laid.at(edge[is_faced], t[is_faced])
    gap, step, _, _ = read_across(point, tangent, normal, facing, facing_normal)
    return _Places(s, edge, t, gap, step, np.linalg.norm(facing - point, axis=1))


def _runs_along(seam, lines, first, closes_from_mm, at_opening, reach=REACH):
    length = float(lines.laid.length_mm[first])
    count = max(8, int(np.ceil(length / SPACING_MM)))
    places = _places(lines, first, np.linspace(0.0, length, count + 1))
    with np.errstate(invalid="ignore"):
        is_open = places.past_mm(closes_from_mm) > 0
        goes_on = np.abs(np.diff(places.t)) < _JUMP * np.diff(places.s) + SPACING_MM
    goes_on &= (np.diff(places.edge) == 0) & is_open[1:] & is_open[:-1]
    starts = np.nonzero(is_open & ~np.append(False, goes_on))[0]
    finals = np.nonzero(is_open & ~np.append(goes_on, False))[0]
    out = []
    for a, b in zip(starts, finals, strict=True):
        ends = [
            _end_of_run(lines, first, places, k, way, closes_from_mm, reach) for k, way in ((a, -1), (b, 1))
        ]
        (s0, t0, kind0), (s1, t1, kind1) = ends
        if s1 - s0 < SHORTEST_MM or t0 - t1 < SHORTEST_MM:
            continue
        second = int(places.edge[a])
        kinds = [
            OPENING if kind == CORNER and _is_free(lines, first, second, s, t, at_opening) else kind
            for s, t, kind in ends
        ]
        steps = places.step[a : b + 1]
        widest = float(places.gap[a : b + 1].max())
        step = float(steps[np.abs(steps).argmax()])
        out.append(Run(seam, lines.laid, first, second, (s0, s1), (t0, t1), tuple(kinds), widest, step))
    return out


def _end_of_run(lines, first, places, k, way, closes_from_mm, reach):
    """Return (s, t, kind) of the end of a run whose last place is k, going ``way`` along the first edge."""
    s, t, edge = float(places.s[k]), float(places.t[k]), int(places.edge[k])
    limit = 0.0 if way < 0 else float(lines.laid.length_mm[first])
    past = places.past_mm(closes_from_mm)
    beyond = past[k + way :: way] if 0 <= k + way < len(places.s) else np.empty(0)
    if len(beyond) and beyond[0] <= 0:
        return _where_it_closes(lines, first, places, k, way, closes_from_mm)
    reach_mm = reach * float(places.across[k]) + SPACING_MM
    end = float(lines.laid.length_mm[edge]) if way < 0 else 0.0  # the second edge runs the other way
    is_last = not len(beyond) or np.isnan(beyond).all() or (len(beyond) == 1 and places.edge[k + way] == edge)
    if is_last and edge not in lines.loops and abs(limit - s) <= reach_mm and abs(end - t) <= reach_mm:
        return limit, end, CORNER
    if len(beyond) and np.isnan(beyond[0]):
        return *_where_facing_ends(lines, first, places, k, way), CORNER
    return s, t, CORNER


def _where_facing_ends(lines, first, places, k, way):
    """Return the last place between k and the next that is faced, and the place that faces it there."""
    low, high, t = float(places.s[k]), float(places.s[k + way]), float(places.t[k])
    for _ in range(5):  # 9 places at a time: a millionth of a spacing
        s = np.linspace(low, high, 9)
        found = _places(lines, first, s)
        is_faced = np.logical_and.accumulate(found.edge == places.edge[k])
        if is_faced.all() or not is_faced[0]:
            break  # it is within rounding of either end
        last = int(is_faced.sum()) - 1
        low, high, t = float(s[last]), float(s[last + 1]), float(found.t[last])
    return low, min(
        max(t, 0.0), float(lines.laid.length_mm[places.edge[k]])
    )  # an end faces a little past itself


def _where_it_closes(lines, first, places, k, way, closes_from_mm):
    """Return the place between k and the next at which a weld closes what is left, and what end that is."""
    low, high = float(places.s[k]), float(places.s[k + way])
    t = float(places.t[k])
    for _ in range(5):  # 9 places at a time: a millionth of a spacing
        s = np.linspace(low, high, 9)
        found = _places(lines, first, s)
        with np.errstate(invalid="ignore"):
            shut = np.nonzero(~(found.past_mm(closes_from_mm) > 0))[0]
        j = int(shut[0]) if len(shut) else len(s) - 1
        low, high = float(s[max(j - 1, 0)]), float(s[j])
        t = float(found.t[max(j - 1, 0)])
    return low, t, CORNER if found.gap[j] <= 0 else BEAD


def _is_free(lines, first, second, s, t, at_opening):
    """Return whether both corners of a run's end lie at an opening."""
    points, _, _ = lines.laid.at(np.array([first, second]), np.array([s, t]))
    return bool((at_opening.query(points)[0] < SAME_PLACE_MM).all())
