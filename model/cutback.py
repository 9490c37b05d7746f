"""Which old sheet is cut back along runs that get new metal, and its new edge.

How deep is in :mod:`model.cutdepths`.  Runs that meet at a crease are cut back
alike, and their new edges end at one place of it; so a cut goes on to corners
further away than a filler does, up to :data:`REACH` times the opening.  Along a gutter nothing is
cut back: it is the car's line.

The new edge is the old one moved back by d within the skin: P − d T × N, then
to the nearest place of the skin (off by d³ / 6R²: 0.01 mm for 1/2 in at R 180).
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass

import numpy as np

from .built import Built
from .cutdepths import (
    LEAST_MM,
    NO_TAIL,
    SPACING_MM,
    TAPER,
    depths_of,
    folds_of,
    grid_at,
    shared_tail,
    tail_of,
)
from .edgepaths import Path, paths_of
from .edges import Edges
from .fillerruns import BEAD, CORNER, Run, closes_from_mm, is_closed_by_metal, runs_of
from .layout import SHARED
from .newedges import NewEdge
from .numeric import cross, dot, unit
from .seams import Seam, seam_edges, seams_of
from .trimlines import Stretch, trimmed_sides

SHORTEST_MM = 38.1  # 1-1/2 in: a shorter run that ends in a bead is left as it is; assumed
REACH = 12.0  # as a run's, for a cut: up to the crease all the same; assumed
MATCHED_MM = 30.0  # from a crease within which a new edge is led to the place it shares there; assumed
_RAMP = 6.0  # of the way that it is led: over how much of the edge, at least
REASON = "cut back, so that the new metal is at least 1/2 in wide and climbs no steeper than 1 in 3"


@dataclass(frozen=True, eq=False)
class CutBack:
    """A strip that comes off one piece of a seam: the new edge, and the same as a stretch to be told."""

    seam: Seam
    which: int
    new: NewEdge
    stretch: Stretch


def cut_back_steps(
    built: Built, left_alone: frozenset[str] = frozenset(), folded: frozenset[str] = frozenset()
) -> Generator[None, None, list[CutBack]]:
    """Return all that is cut back along the runs of a plan that gets new metal, seam by seam.

    Seams that are left alone and seams that are only folded are given by name.
    """
    wanted = built.plan.new_metal.cut_back_mm
    if wanted == 0:
        return []
    limit = closes_from_mm(built)
    runs = []
    for seam in seams_of(built):
        if is_closed_by_metal(seam) and not seam.name.endswith("at the gutter"):
            runs += runs_of(built, seam, limit, REACH)
            yield
    groups = _groups(built, runs)
    out = []
    for group in groups:
        if any(runs[k].seam.name in left_alone or _is_short(runs[k]) for k in group):
            continue
        own = [runs[k] for k in group]
        is_folded = any(run.seam.name in folded for run in own)
        depths = folds_of(built, own) if is_folded else depths_of(built, own, wanted)
        for run in own:
            tails = [tail_of(built, run, end) if wanted is None else NO_TAIL for end in (0, 1)]
            for which, d in enumerate(depths):
                if d > LEAST_MM:
                    own_tails = [shared_tail(tail, d, sum(depths)) for tail in tails]
                    out.append(_side(built, run, which, d, own_tails))
            yield
    return [cut for side in _matched(built, out) for cut in side]


def _is_short(run: Run) -> bool:
    """Return whether a run is all ends: the depth would taper before it is reached."""
    return BEAD in run.ends and abs(run.first_mm[1] - run.first_mm[0]) < SHORTEST_MM


def _ends_on_borders(built, run) -> list[tuple]:
    """Return for either end of a run and either piece what crease it comes to there, None for none."""
    out = []
    for end in (0, 1):
        for which, (edge, along) in enumerate(((run.first, run.first_mm), (run.second, run.second_mm))):
            sides, move = trimmed_sides(built, run.seam, which)
            point, _, _ = run.laid.at(np.array([edge]), np.array([along[end]]))
            grid = grid_at(sides, move, point[0])
            uv = grid.foot(move.inverse().points(point)).uv[0]
            out.append(_border_key(grid, uv, run.seam.pieces[which]) if run.ends[end] == CORNER else None)
    return out


def _border_key(grid, uv, piece):
    """Return (curve, place along it, piece) of a place on a border; one for both grids that share it."""
    for name, axis, value in (("u0", 0, 0.0), ("u1", 0, 1.0), ("v0", 1, 0.0), ("v1", 1, 1.0)):
        if abs(uv[axis] - value) < 1e-7:
            own = (grid.name, name)
            for a, border_a, b, border_b in SHARED:
                if own in ((a, border_a), (b, border_b)):
                    return (a, border_a), round(float(uv[1 - axis]), 5), piece
    return None


def _groups(built, runs: list[Run]) -> list[list[int]]:
    """Return the runs that meet at creases, group by group."""
    group = list(range(len(runs)))
    seen: dict[tuple, int] = {}
    for k, run in enumerate(runs):
        for key in _ends_on_borders(built, run):
            if key is None:
                continue
            if key in seen and runs[seen[key]].seam.pieces == run.seam.pieces:
                old, new = group[k], group[seen[key]]
                group = [new if g == old else g for g in group]
            seen.setdefault(key, k)
    return [[k for k, g in enumerate(group) if g == wanted] for wanted in dict.fromkeys(group)]


@dataclass(eq=False)
class _Side:
    """One side of a run, being cut back: places on the skin of the uncut car, in the order of its path."""

    run: Run
    which: int
    depth_mm: float
    path: Path
    along_mm: np.ndarray
    grid: object
    uv: np.ndarray
    ends: list


def _side(built, run, which, depth_mm, tails) -> _Side:
    edge, (start, end) = ((run.first, run.first_mm), (run.second, run.second_mm))[which]
    length, way = abs(end - start), np.sign(end - start)
    low, high = -tails[0].reach_mm, length + tails[1].reach_mm
    along_run = np.linspace(low, high, max(9, int(np.ceil((high - low) / SPACING_MM)) + 1))
    s = start + along_run * way
    point, tangent, normal = run.laid.at(np.full(len(s), edge), s)
    taper = min(TAPER * depth_mm, length / 2)
    depth = np.full(len(s), depth_mm)
    for kind, tail, off in zip(run.ends, tails, (along_run, length - along_run), strict=True):
        if kind == BEAD:
            within = tail.depth_mm + (depth_mm - tail.depth_mm) * _smooth(off / taper)
            beyond = tail.depth_mm * _smooth(1 + off / max(tail.reach_mm, 1e-9))
            depth = np.minimum(depth, np.where(off >= 0, within, beyond))
    sides, move = trimmed_sides(built, run.seam, which)
    paths = paths_of(Edges(seam_edges(built, run.seam)[which]))
    path = min(paths, key=lambda p: p.nearest(point)[1].max())
    along = path.nearest(point)[0]
    out = cross(tangent, unit(normal - dot(normal, tangent)[:, None] * tangent))
    grid = grid_at(sides, move, point[len(point) // 2])
    uv = grid.foot(move.inverse().points(point - depth[:, None] * out)).uv
    keys = _ends_on_borders(built, run)[which::2]
    if np.median(np.diff(along)) < 0:
        along, uv, keys = along[::-1], uv[::-1], keys[::-1]
    return _Side(run, which, depth_mm, path, along, grid, uv, keys)


def _smooth(x):
    """Return 0 up to x = 0, 1 from x = 1 on, and between them a step with level ends."""
    x = np.clip(x, 0.0, 1.0)
    return x * x * (3 - 2 * x)


def _matched(built, sides: list[_Side]) -> Iterable[list[CutBack]]:
    """Return the sides as cut backs; those that come to one place of a crease end at one place of it."""
    ends: dict[tuple, list[tuple[_Side, int]]] = {}
    for side in sides:
        for end, key in zip((0, -1), side.ends, strict=True):
            if key is not None:
                ends.setdefault(key, []).append((side, end))
    exact = {id(side): [False, False] for side in sides}
    for meeting in ends.values():
        if len(meeting) == 2:
            reached = [_where_it_crosses(side, end) for side, end in meeting]
            if None in reached:
                continue
            middle = sum(t for _, _, t in reached) / 2
            for (side, end), (axis, value, t) in zip(meeting, reached, strict=True):
                _lead_to(side, end, axis, value, t, middle)
                exact[id(side)][0 if end == 0 else 1] = True
    for side in sides:
        yield [_cut_back(built, side, *exact[id(side)])]


def _where_it_crosses(side, end):
    """Return (axis, its value, place along) where a new edge, carried on, comes to the grid's border."""
    inside = np.nonzero((np.abs(side.uv - np.round(side.uv)) > 1e-9).all(axis=1))[0]
    if len(inside) < 3:
        return None
    order = inside if end == 0 else inside[::-1]
    at, way = side.uv[order[0]], side.uv[order[0]] - side.uv[order[2]]
    border = np.round(side.uv[end])
    axis = int(np.argmin(np.abs(side.uv[end] - border)))
    if abs(way[axis]) < 1e-12:
        return None
    share = (border[axis] - at[axis]) / way[axis]
    return axis, border[axis], float(at[1 - axis] + share * way[1 - axis])


def _lead_to(side, end, axis, value, reached, wanted):
    """Move the end of a new edge along the border to the wanted place, less and less away from it."""
    uv = side.uv.copy()
    off = np.abs(side.along_mm - side.along_mm[end])
    speed = np.linalg.norm(side.grid.tangents(side.uv[[end]])[2 - axis][0])
    reach = max(MATCHED_MM, _RAMP * abs(wanted - reached) * speed)
    ramp = np.clip(1 - off / reach, 0.0, 1.0)
    uv[:, 1 - axis] += (wanted - reached) * ramp * ramp * (3 - 2 * ramp)
    keep = (np.abs(side.uv - np.round(side.uv)) > 1e-9).all(axis=1)
    keep |= off > reach
    keep[end] = True
    uv[end, axis], uv[end, 1 - axis] = value, wanted
    side.uv, side.along_mm = uv[keep], side.along_mm[keep]


def _cut_back(built, side, *exact) -> CutBack:
    seam, which = side.run.seam, side.which
    sides, move = trimmed_sides(built, seam, which)
    point, _, _, normal = side.grid.frame(side.uv)
    line = move.points(point)
    nowhere = np.empty((0, 3))
    new = NewEdge(
        seam.pieces[which], sides, move, side.path, side.along_mm, line, (nowhere, nowhere), tuple(exact)
    )
    edge = side.path.at(side.along_mm)[0]
    told = Stretch(
        path=side.path,
        along_mm=side.along_mm,
        edge_mm=edge,
        line_mm=line,
        normal=move.vectors(normal),
        depth_mm=np.linalg.norm(line - edge, axis=1),
        lap_mm=0.0,
        apart_mm=abs(side.run.step_mm),
        carried_on=lambda: (nowhere, nowhere),
    )
    return CutBack(seam, which, new, told)
