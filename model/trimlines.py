"""Where two pieces lap: which of them is trimmed, along which line, and how much falls off.

Along a seam let g be the gap (below zero: a lap) and r the root gap.  Where
g < r along a stretch that laps somewhere, the trim line is the curve of the
points p of the trimmed piece's skin whose gap from the edge that stays is r:
with O on that edge, T its direction, N the mean of its normal and of the
trimmed skin's at p, square to T, and D = T × N out of the metal that stays,

    (p − O)·T = 0      (p − O)·D = r

which is how the seam will be read after trimming (:mod:`model.fit`).  O is
the place itself or its facing point; p is found by stepping r − (p − O)·D
along D and going to the nearest place of the skin, over and over (each time
the rest shrinks by sin² of the angle between skin and D).  The depth is p's
distance from the trimmed edge, square to it: for parallel edges r − g.  A
stretch ends where g = r (found between stations in proportion), or at the
edge's end, to which the depth is carried on in a straight line.

With the two pieces apart by a step s the line is where they would lap if they
were pressed together along N; over a rounded corner that direction turns, and
the gap left is then right to a fraction of s only.  On 104 made-up plans
(153 stretches) the gap after trimming was within 0.01 mm of r in the median
of every stretch but two, which were off by 0.4 and 0.5 mm.

**Which piece.**  The looser one: a strip before a post's upper end, that
before the window panel, the panel before the roof, the roof before the body.
It comes to the bench, and it is the one that is scribed from the other, which
stays.  Only a window panel keeps its flange: where trimming would leave less
than 3/4 in of metal beside the glass, the piece around it is trimmed instead.
Common practice, no source.

**What falls off**: the area between edge and line on the skin, as triangles
between stations (a fan of chords: errs by the square of their length over the
edge's radius).  Checked against rectangles and rings, and by integrating the
surface itself between the two curves.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from .built import Built
from .edgepaths import Path, marks_on, paths_of, way_along
from .edges import Edges
from .fit import Facing, Meeting, meetings
from .layout import WINDOW
from .moves import RigidMove
from .numeric import cross, dot, unit
from .seams import Seam, Side, looseness, seam_edges, seams_of
from .stepwise import at_once
from .trimreport import TrimLine, TrimStation

STEPS = 30  # at most, towards the root gap
LEAST_LAP_MM = 0.1  # assumed: less is a stroke of the file
FLANGE_KEPT_MM = 19.05  # of a window panel beside its glass; common practice, no source
GOES_ON_MM = 60.0  # assumed: how far a line is carried on past its ends, to where the piece ends
LOOSER = "it is the looser piece: scribe it from the one that stays"
KEEPS_FLANGE = "trimming the window panel would leave less than 3/4 in of flange beside the glass"


@dataclass(frozen=True, eq=False)
class Stretch:
    """One lapping stretch: edge and line of the trimmed piece station by station, lengths rising."""

    path: Path
    along_mm: np.ndarray  # (n,)
    edge_mm: np.ndarray  # (n, 3)
    line_mm: np.ndarray  # (n, 3)
    normal: np.ndarray  # (n, 3), of the skin at the line
    depth_mm: np.ndarray  # (n,)
    lap_mm: float
    apart_mm: float
    carried_on: Callable[[], tuple[np.ndarray, np.ndarray]]  # what gives goes_on_mm, for few ask for it

    @cached_property
    def goes_on_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """The line carried on past its ends, outwards, each (m, 3)."""
        return self.carried_on()

    @property
    def area_mm2(self) -> float:
        """Area between edge and line."""
        e, t = self.edge_mm, self.line_mm
        halves = ((e[:-1], e[1:], t[1:]), (e[:-1], t[1:], t[:-1]))
        return float(sum(np.linalg.norm(cross(b - a, c - a), axis=1).sum() / 2 for a, b, c in halves))


def trims_of(built: Built) -> tuple[TrimLine, ...]:
    """Return every trim line of a plan, seam by seam; of a trimmed one, those that it was trimmed along."""
    return at_once(trimming(built))


def trimming(built: Built) -> Generator[None, None, tuple[TrimLine, ...]]:
    """Do :func:`trims_of` seam by seam."""
    if built.trims is not None:
        return built.trims
    lines = []
    for seam, met in lapping_seams(built):
        yield
        lines += trims_along(built, seam, met)
    return tuple(lines)


def trims_along(built: Built, seam: Seam, met: Meeting) -> list[TrimLine]:
    """Return the trim lines of one seam; ``met`` as :func:`lapping_seams` has it."""
    which, reason = piece_to_trim(built, seam, met)
    sides, move = trimmed_sides(built, seam, which)
    found = stretches_of(built, seam, met, which)
    return [trim_line(built, seam, which, reason, sides, move, stretch) for stretch in found]


def lapping_seams(built: Built) -> list[tuple[Seam, Meeting]]:
    """Return the seams in the skin that lap somewhere, and how their edges meet."""
    seams = seams_of(built)
    met = meetings([Facing(*map(tuple, seam_edges(built, seam))) for seam in seams])
    return [(seam, m) for seam, m in zip(seams, met, strict=True) if _lap_mm(m) > LEAST_LAP_MM]


def _lap_mm(met):
    return float(-np.nanmin(np.append(met.gap_mm, 0.0)))


def piece_to_trim(built: Built, seam: Seam, met: Meeting) -> tuple[int, str]:
    """Return the index in ``seam.pieces`` of the piece that is trimmed, and why."""
    looser = int(looseness(seam.pieces[1]) > looseness(seam.pieces[0]))
    if seam.pieces[looser] == WINDOW:
        depth = _lap_mm(met) + built.plan.root_gap_mm
        if built.plan.window.flange_mm - depth < FLANGE_KEPT_MM:
            return 1 - looser, KEEPS_FLANGE
    return looser, LOOSER


def trimmed_sides(built: Built, seam: Seam, which: int) -> tuple[tuple[Side, ...], RigidMove]:
    """Return the trimmed piece's edges as they lie in the skin, and that piece's move."""
    sides = (seam.first, seam.facing)[which]
    return sides, built.moves[sides[0].cell.carrier]


def stretches_of(built: Built, seam: Seam, met: Meeting, which: int) -> list[Stretch]:
    """Return where the trimmed piece has to come off along one seam."""
    root = built.plan.root_gap_mm
    edges = seam_edges(built, seam)
    paths = [paths_of(Edges(each)) for each in edges]
    first, trimmed, others = paths[0], paths[which], paths[1 - which]
    sides, move = trimmed_sides(built, seam, which)
    grids = [side.chain.grid for side in sides]
    out = []
    for path in first:
        at = np.concatenate([np.nonzero(met.edge == k)[0] for k in path.edges])
        need = np.where(met.faces[at], root - met.gap_mm[at], -1.0)
        for run in _runs(need > 0):
            if (root - need[run]).min() < -LEAST_LAP_MM:
                out.append(_stretch(met, at, need, run, which, root, trimmed, others, grids, move))
    return out


def _runs(wanted):
    """Return the stretches in which all are wanted, as slices."""
    limits = np.nonzero(np.diff(np.concatenate([[False], wanted, [False]])))[0]
    return [slice(a, b) for a, b in zip(limits[::2], limits[1::2], strict=True)]


def _stretch(met, at, need, run, which, root, trimmed, others, grids, move):
    stations = at[run]
    from_mm = (met.at_mm, met.facing_mm)[which]
    start = from_mm[stations]
    found = [path.nearest(start) for path in trimmed]
    k = min(range(len(trimmed)), key=lambda k: found[k][1].max())
    path, near = trimmed[k], found[k][0]
    stays, far = _places_that_stay(met, stations, which, others)
    line, normal = _at_root_gap(*stays, start, root, _edge_of(path, near), grids, move)
    along, depth = path.nearest(line)
    edge = _edge_of(path, along)
    # Ends: where the gap is the root gap, or carried on to the end of what faces.
    limits, depths = np.array([_end(met, at, need, run, path, from_mm, along, depth, k) for k in (0, -1)]).T
    q, t, n = path.at(limits)
    ends, end_normals, _ = _on_skin(q - depths[:, None] * cross(t, n), _edge_of(path, limits), grids, move)
    along, depth, line, normal = (
        np.concatenate([extra[:1], own, extra[1:]])
        for extra, own in ((limits, along), (depths, depth), (ends, line), (end_normals, normal))
    )
    outward = (0, -1) if along[-1] >= along[0] else (-1, 0)
    carried_on = partial(_both_ends, outward, *far, met.weight_mm[stations], root, edge, grids, move)
    order = np.argsort(along, kind="stable")
    order = order[np.append(True, np.diff(along[order]) > 1e-6)]
    along, depth, line, normal = along[order], depth[order], line[order], normal[order]
    return Stretch(
        path=path,
        along_mm=along,
        edge_mm=path.at(along)[0],
        line_mm=line,
        normal=normal,
        depth_mm=depth,
        lap_mm=float(-met.gap_mm[stations].min()),
        apart_mm=float(np.abs(met.step_mm[stations]).max()),
        carried_on=carried_on,
    )


def _places_that_stay(met, stations, which, others):
    """Return the places on the edge that stays, its directions and normals, each (n, 3); its paths there.

    The second is, for every place, the path it lies on and the length along that.
    """
    points = (met.facing_mm, met.at_mm)[which][stations]
    found = [path.nearest(points) for path in others]
    nearest = np.argmin([off for _, off in found], axis=0)
    out = np.empty((3, *points.shape))
    for k in np.unique(nearest):
        here = nearest == k
        out[:, here] = others[k].at(found[k][0][here])
    at = np.array([found[k][0][i] for i, k in enumerate(nearest)])
    return out, ([others[k] for k in nearest], at)


def _both_ends(outward, paths, at, spacing_mm, *how):
    """Return a line's next places past both of its ends, in the order of its lengths."""
    return tuple(_carried_on(paths, at, end, spacing_mm[end], *how) for end in outward)


def _carried_on(paths, at, end, spacing_mm, root, edge, grids, move):
    """Return a line's next places past one of its ends, along the edge that stays; outwards, (m, 3)."""
    inward = 1 if end == 0 else -2
    if len(at) < 2 or paths[end] is not paths[inward]:
        return np.empty((0, 3))
    way = np.sign(at[end] - at[inward])
    on = at[end] + way * spacing_mm * np.arange(1, 1 + int(np.ceil(GOES_ON_MM / spacing_mm)))
    on = on[(on >= 0) & (on <= paths[end].length_mm)]
    if not len(on):
        return np.empty((0, 3))
    point, tangent, normal = paths[end].at(on)
    edges = np.full(len(on), edge[end])
    return _at_root_gap(point, tangent, normal, point, root, edges, grids, move)[0]


def _at_root_gap(stays, tangent, normal, start, root, edges, grids, move):
    """Return the trimmed skin's points at the root gap from the places that stay, and the normals there."""
    line, own, uv = _on_skin(start, edges, grids, move)
    for _ in range(STEPS):
        up = normal + own
        up = unit(up - dot(up, tangent)[:, None] * tangent)
        away, r = cross(tangent, up), line - stays
        off = root - dot(r, away)
        to = line + off[:, None] * away - dot(r, tangent)[:, None] * tangent
        line, own, uv = _on_skin(to, edges, grids, move, uv)
        if np.abs(off).max() < 1e-5:
            break
    return line, own


def _edge_of(path, along):
    """Return the index among the piece's edges of places along a path."""
    k = np.clip(np.searchsorted(path.before_mm, along, side="right") - 1, 0, len(path.edges) - 1)
    return np.array(path.edges)[k]


def _on_skin(points, edges, grids, move, near_uv=None):
    """Return the nearest places of the trimmed piece's own skin, the normals there, and their (u, v).

    ``near_uv``, where they were found before, saves the search.
    """
    place, normal = np.empty((2, *points.shape))
    uv = np.empty((len(points), 2))
    back = move.inverse().points(points)
    of = np.array([id(grid) for grid in grids])[edges]
    for grid in {id(grids[k]): grids[k] for k in edges.tolist()}.values():
        here = of == id(grid)
        foot = grid.foot(back[here], None if near_uv is None else near_uv[here])
        place[here], normal[here], uv[here] = foot.point, foot.normal, foot.uv
    return move.points(place), move.vectors(normal), uv


def _end(met, at, need, run, path, from_mm, along, depth, k):
    """Return length along the trimmed path and depth at one end of a stretch."""
    inner = (run.start, run.stop - 1)[k]
    outer = inner + (-1 if k == 0 else 1)
    if 0 <= outer < len(need) and met.faces[at[outer]] and abs(need[outer]) < 50.0:
        share = need[inner] / (need[inner] - need[outer])
        beyond = path.nearest(from_mm[at[[outer]]])[0][0]
        return float(along[k] + share * (beyond - along[k])), 0.0
    slope, way = 0.0, (-1.0 if k == 0 else 1.0)
    if len(along) > 1:
        next_in = 1 if k == 0 else -2
        slope = (depth[k] - depth[next_in]) / max(abs(along[k] - along[next_in]), 1e-9)
        way = np.sign(along[k] - along[next_in])
    to_end = path.length_mm - along[k] if way > 0 else along[k]
    stands_for = met.weight_mm[at[inner]]
    reach = to_end if to_end < stands_for else stands_for / 2
    return float(along[k] + way * reach), float(max(depth[k] + slope * reach, 0.0))


def trim_line(built, seam, which, reason, sides, move, stretch) -> TrimLine:
    """Return a stretch of the piece ``seam.pieces[which]`` as the report tells it."""
    path, s = stretch.path, stretch.along_mm
    marks = marks_on(built, seam, sides, path, move)
    name, at_mm = "start of this edge", 0.0
    if marks:
        mark = min(
            marks,
            key=lambda m: (max(s[0] - m.along_mm, m.along_mm - s[-1], 0.0), m.name != "centreline", m.name),
        )
        name, at_mm = mark.name, mark.along_mm
    plus, minus = way_along(path, at_mm)
    return TrimLine(
        seam=seam.name,
        piece=seam.pieces[which],
        other=seam.pieces[1 - which],
        reason=reason,
        mark=name,
        mark_mm=tuple(path.at(np.array([at_mm]))[0][0].tolist()),
        plus_way=plus,
        minus_way=minus,
        length_mm=float(s[-1] - s[0]),
        lap_mm=stretch.lap_mm,
        apart_mm=stretch.apart_mm,
        area_mm2=stretch.area_mm2,
        stations=tuple(
            TrimStation(
                edge_mm=tuple(edge),
                line_mm=tuple(line),
                from_mark_mm=float(along - at_mm),
                depth_mm=float(deep),
            )
            for edge, line, along, deep in zip(
                stretch.edge_mm.tolist(), stretch.line_mm.tolist(), s, stretch.depth_mm, strict=True
            )
        ),
    )
