"""How far old sheet is cut back so that new metal can flow from one piece to the other.

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
what they can, if that makes the climb no steeper than 1 in 1.5; if not, nothing
is cut back: what such a run needs is pieces that stand closer to flush.  Runs that meet at a
crease are cut back alike, and their new edges end at one place of it.  Where a
run ends in a bead the depth tapers to nothing within it.  Along a gutter
nothing is cut back: it is the car's line.

The new edge is the old one moved back by d within the skin: P − d T × N, then
to the nearest place of the skin (off by d³ / 6R²: 0.01 mm for 1/2 in at R 180).

Half an inch and 1 in 3 are assumed, and so is half of the piece.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass

import numpy as np
import shapely

from .built import Built
from .edgepaths import Path, paths_of
from .edges import Edges
from .fillerruns import BEAD, CORNER, Run, closes_from_mm, is_closed_by_metal, runs_of
from .fillers import fillers_of, filling
from .fit import faced_places, read_across
from .layout import METAL, SHARED, WINDOW
from .nearness import distances_mm
from .newedges import NewEdge
from .numeric import cross, dot, unit
from .plancheck import DEEPEST_CUT_BACK_MM
from .seams import Seam, seam_edges, seams_of
from .trimlines import FLANGE_KEPT_MM, Stretch, lapping_seams, trimmed_sides

LEAST_WIDTH_MM = 12.7  # 1/2 in: a narrower strip is all heat from its two beads; common practice, no source
CLIMB = 3.0  # widths to a step, if the pieces can give that; assumed
STEEPEST = 1.5  # widths to a step, for a cut to be worth making; assumed
MOST_MM = DEEPEST_CUT_BACK_MM
SHARE = 0.5  # of a piece, at most; assumed
LEAST_MM = 0.5  # assumed: less is not worth a cut
SHORTEST_MM = 38.1  # 1-1/2 in: a shorter run that ends in a bead is left as it is; assumed
TAPER = 3.0  # depths in which a strip runs out before a bead; assumed
SPACING_MM = 2.0  # of the places of a new edge
MATCHED_MM = 30.0  # from a crease within which a new edge is led to the place it shares there; assumed
_RAMP = 6.0  # of the way that it is led: over how much of the edge, at least
GIVES_WAY_MM = 0.2  # of a root gap: where two fillers share a corner; see DEVELOPERS
_ACROSS = 9  # places across a filler at which its distance from old sheet is looked up
_LOOK_MM = 3.0  # steps in which a piece is looked at
_AT_END_MM = 0.5
REASON = "cut back, so that the new metal is at least 1/2 in wide and climbs no steeper than 1 in 3"


@dataclass(frozen=True, eq=False)
class CutBack:
    """A strip that comes off one piece of a seam: the new edge, and the same as a stretch to be told."""

    seam: Seam
    which: int
    new: NewEdge
    stretch: Stretch


@dataclass(eq=False)
class _Plan:
    """A run, and how deep its two pieces are cut back."""

    run: Run
    depths: tuple[float, float] = (0.0, 0.0)


def cut_back_steps(
    built: Built, left_alone: frozenset[str] = frozenset()
) -> Generator[None, None, list[CutBack]]:
    """Return all that is cut back along the runs that get new metal, but for some seams; seam by seam."""
    wanted = built.plan.new_metal.cut_back_mm
    if wanted == 0:
        return []
    limit = closes_from_mm(built)
    runs = []
    for seam in seams_of(built):
        if is_closed_by_metal(seam) and not seam.name.endswith("at the gutter"):
            runs += runs_of(built, seam, limit)
            yield
    groups = _groups(built, runs)
    out = []
    for group in groups:
        if any(runs[k].seam.name in left_alone or _is_short(runs[k]) for k in group):
            continue
        depths = depths_of(built, [runs[k] for k in group], wanted)
        for k in group:
            out += [_side(built, runs[k], which, d) for which, d in enumerate(depths) if d > LEAST_MM]
            yield
    return [cut for side in _matched(built, out) for cut in side]


def _is_short(run: Run) -> bool:
    """Return whether a run is all ends: the depth would taper before it is reached."""
    return BEAD in run.ends and abs(run.first_mm[1] - run.first_mm[0]) < SHORTEST_MM


def spoilt_steps(before: Built, after: Built, cuts: list[CutBack]) -> Generator[None, None, frozenset[str]]:
    """Return the seams that cutting back left worse.

    Lapping, or open in more stretches than before; or with new metal that
    comes nearer to old sheet than a root gap, and nearer than it did.
    """
    limit = closes_from_mm(before)
    names = {cut.seam.name for cut in cuts}
    runs: list[dict] = [{}, {}]
    for found, built in zip(runs, (before, after), strict=True):
        for seam in seams_of(built):
            if seam.name in names:
                found[seam.name] = runs_of(built, seam, limit)
                yield
    laps = {seam.name for seam, _ in lapping_seams(after)}
    worse = {
        name
        for name in names
        if name in laps or name not in runs[1] or len(runs[0][name]) < len(runs[1][name])
    }
    yield
    return frozenset(worse | (yield from _crowded(before, after, names - worse)))


def _crowded(before: Built, after: Built, names: set[str]) -> Generator[None, None, set[str]]:
    """Return the seams whose new metal comes too near to old sheet, and nearer than it did."""
    least = after.plan.root_gap_mm - GIVES_WAY_MM
    out = set()
    yield from filling(after).steps()
    for name in names:
        yield
        apart = _nearest_mm(after, name)
        if apart < least and apart < _nearest_mm(before, name) - LEAST_MM / 10:
            out.add(name)
    return out


def _nearest_mm(built: Built, name: str) -> float:
    """Return how near the new metal of one seam comes to any old sheet. [mm]"""
    pieces = {cell.part for cell in built.layout.cells if cell.role == METAL}
    apart = [np.inf]
    for filler in fillers_of(built):
        if filler.seam.name == name:
            across = np.linspace(0.0, 1.0, _ACROSS)
            uv = np.stack(np.meshgrid(filler.grid.breaks_u, across, indexing="ij"), axis=-1)
            points = filler.grid.point(uv.reshape(-1, 2))
            apart += [float(distances_mm(built, piece, points).min()) for piece in sorted(pieces)]
    return min(apart)


def needed_mm(run: Run, root_gap_mm: float, climb: float) -> float:
    """Return by how much both pieces are cut back together, to be ``climb`` times as wide as a step. [mm]"""
    s = np.linspace(*run.first_mm, max(9, int(abs(run.first_mm[1] - run.first_mm[0]) / SPACING_MM)))
    point, tangent, normal = run.laid.at(np.full(len(s), run.first), s)
    edge, t = faced_places(run.laid, np.array([run.second]), point, tangent)
    known = edge >= 0
    if not known.any():
        return 0.0
    facing, _, facing_normal = run.laid.at(edge[known], t[known])
    gap, step, _, _ = read_across(point[known], tangent[known], normal[known], facing, facing_normal)
    return float((np.maximum(LEAST_WIDTH_MM, climb * np.abs(step)) + 2 * root_gap_mm - gap).max())


def depths_of(built: Built, runs: list[Run], wanted_mm: float | None) -> tuple[float, float]:
    """Return how deep both pieces are cut back along runs that are cut alike. [mm]"""
    root = built.plan.root_gap_mm
    need = 2 * wanted_mm if wanted_mm is not None else max(needed_mm(run, root, CLIMB) for run in runs)
    if need <= 2 * LEAST_MM:
        return 0.0, 0.0
    most = [min(_most_mm(built, run, which) for run in runs) for which in (0, 1)]
    if wanted_mm is None and sum(most) < max(needed_mm(run, root, STEEPEST) for run in runs):
        return 0.0, 0.0
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
    grid = _grid_at(sides, move, point[len(point) // 2])
    uv = grid.foot(at).uv
    _, du, dv = grid.tangents(uv)
    a, b, c = dot(du, du), dot(du, dv), dot(dv, dv)
    p, q = dot(inward, du), dot(inward, dv)
    way = np.stack([c * p - b * q, a * q - b * p], axis=1) / (a * c - b * b)[:, None]
    places = (uv[:, None] + looks[None, :, None] * way[:, None]).reshape(-1, 2)
    cells = [c.polygon for c in built.layout.parts[run.seam.pieces[which]] if c.grid is grid]
    inside = shapely.contains_xy(shapely.union_all(cells), *places.T).reshape(len(s), -1)
    return float(looks[np.argmin(np.append(inside, np.zeros((len(s), 1), bool), axis=1), axis=1) - 1].min())


def _grid_at(sides, move, place_mm):
    """Return the grid on which an edge of a piece lies at a place."""
    off = [np.linalg.norm(move.points(s.chain.point_mm) - place_mm, axis=1).min() for s in sides]
    return sides[int(np.argmin(off))].chain.grid


def _ends_on_borders(built, run) -> list[tuple]:
    """Return for either end of a run and either piece what crease it comes to there, None for none."""
    out = []
    for end in (0, 1):
        for which, (edge, along) in enumerate(((run.first, run.first_mm), (run.second, run.second_mm))):
            sides, move = trimmed_sides(built, run.seam, which)
            point, _, _ = run.laid.at(np.array([edge]), np.array([along[end]]))
            grid = _grid_at(sides, move, point[0])
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


def _side(built, run, which, depth_mm) -> _Side:
    edge, (start, end) = ((run.first, run.first_mm), (run.second, run.second_mm))[which]
    length = abs(end - start)
    share = np.linspace(0.0, 1.0, max(9, int(np.ceil(length / SPACING_MM)) + 1))
    s = start + share * (end - start)
    point, tangent, normal = run.laid.at(np.full(len(s), edge), s)
    taper = min(TAPER * depth_mm, length / 2)
    depth = np.full(len(s), depth_mm)
    for kind, off in zip(run.ends, (share * length, (1 - share) * length), strict=True):
        if kind == BEAD:
            x = np.clip(off / taper, 0.0, 1.0)
            depth *= x * x * (3 - 2 * x)
    sides, move = trimmed_sides(built, run.seam, which)
    paths = paths_of(Edges(seam_edges(built, run.seam)[which]))
    path = min(paths, key=lambda p: p.nearest(point)[1].max())
    along = path.nearest(point)[0]
    out = cross(tangent, unit(normal - dot(normal, tangent)[:, None] * tangent))
    grid = _grid_at(sides, move, point[len(point) // 2])
    uv = grid.foot(move.inverse().points(point - depth[:, None] * out)).uv
    keys = _ends_on_borders(built, run)[which::2]
    if np.median(np.diff(along)) < 0:
        along, uv, keys = along[::-1], uv[::-1], keys[::-1]
    return _Side(run, which, depth_mm, path, along, grid, uv, keys)


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
