"""Holes at the corners of the closed roof: where ends of fillers lie around one, and how it is to be closed.

An end of a filler runs from a corner of one piece to a corner of another.
Where the first piece meets a third one across a second filler, and the second
piece meets that third one too, the ends lie head to tail around a hole:

        A ---- base ---- B          A, B: corners of two pieces, the *base* end between them
        |                |          sides: ends of two more fillers, each to the third piece
        W1 -- its edge - W2         W1 to W2: a stretch of the third piece's own edge

One of the two sides may be missing, where a weld closes what is between the
base's corner and the third piece; the hole then runs out there.  The third piece may
be one of the two, where its edge turns a corner.

A hole has four borders: the base end, the stretch that faces it, and the two
sides.  Each border of the new sheet lies one root gap g from what is beyond
it, in the tangent planes there: P(s) = E(s) + g T × N.  Two borders meet where
the two lines P come nearest each other (:func:`_where_lines_meet`: they leave
the same piece's tangent plane, and miss by hundredths), and share what is
missing.  Where a side is missing the sheet ends where it becomes narrower than
:func:`model.fillertips.tip_width_mm`, a root gap from either of base and third
piece: the tip of the hole beyond is *welded up*.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .edges import SAME_PLACE_MM, Edge, Edges, stretch
from .fillerruns import CORNER, STEP_FROM_MM, Run
from .fillertips import tip_width_mm
from .fit import faced_places, read_across
from .foursides import Border
from .numeric import cross
from .seams import Seam

NAME = "corner"
KIND = "corner patch"
WELDED_UP = "welded up"
_STATION_MM = 5.0  # greatest length along a border between two places
_LEAST_PLACES = 9
_ROUNDS = 12  # of Newton's method for where two lines come nearest
_SEARCHED = 25  # places along a base
_HALVINGS = 25  # of the stretch in which a hole runs out


@dataclass(frozen=True, eq=False)
class OpenEnd:
    """An end of a filler at no other metal: its corners on the two pieces, and the filler's border there."""

    filler: int
    name: str
    thickness_mm: float
    end: int
    corner_mm: np.ndarray  # (2, 3), first piece first
    pieces: tuple[str, str]
    run: Run
    border: Edge  # metal on the left

    @property
    def mouth_mm(self) -> float:
        """Straight width."""
        return float(np.linalg.norm(self.border.point_mm[-1] - self.border.point_mm[0]))


@dataclass(frozen=True, eq=False)
class CornerHole:
    """One hole: the run across it, its four borders, and the ends around it."""

    run: Run  # first edge: the base; second: the third piece's
    borders: tuple[Border, Border, Border, Border]  # v = 0, v = 1, u = 0, u = 1
    base: OpenEnd
    sides: tuple[OpenEnd | None, OpenEnd | None]  # at the run's start and end


def open_ends(fillers) -> list[OpenEnd]:
    """Return every end of a filler that lies at no other metal."""
    out = []
    for k, filler in enumerate(fillers):
        run = filler.run
        for end in (0, 1):
            if filler.ends[end] == CORNER:
                along = np.array([run.first_mm[end], run.second_mm[end]])
                corner = run.laid.at(np.array([run.first, run.second]), along)[0]
                out.append(
                    OpenEnd(
                        k,
                        filler.name,
                        filler.thickness_mm,
                        end,
                        corner,
                        run.seam.pieces,
                        run,
                        filler.border(f"u{end}"),
                    )
                )
    return out


def corner_holes(fillers, root_gap_mm: float, closes_from_mm: float) -> list[CornerHole]:
    """Return every hole between an end of a filler, one or two more ends, and an edge of a piece.

    An end bounds one hole; the widest ends are asked first.
    """
    ends, out, used = open_ends(fillers), [], set()
    for base in sorted(ends, key=lambda end: -end.mouth_mm):
        free = [end for end in ends if id(end) not in used and end is not base]
        if id(base) in used:
            continue
        hole = _hole_at(base, free, root_gap_mm, closes_from_mm)
        if hole is not None:
            out.append(hole)
            used |= {id(base), *(id(side) for side in hole.sides if side is not None)}
    return sorted(out, key=lambda hole: hole.base.filler)


def _hole_at(base, others, root_gap_mm, closes_from_mm):
    beside = [_beside(base.corner_mm[k], others, closes_from_mm) for k in (0, 1)]
    near = [end for end in beside if end is not None]
    reach_mm = float(np.hypot(closes_from_mm, STEP_FROM_MM))  # across a bead, which may have a step
    if not near:
        return None
    third, which = near[0]
    piece, run = third.pieces[which], third.run
    number = (run.first, run.second)[which]
    edge = stretch(run.laid, number, 0.0, float(run.laid.length_mm[number]))
    laid = Edges([base.border, edge])
    places = []
    for k, end in enumerate(beside):
        if end is not None and end[0].pieces[end[1]] != piece:
            return None
        at = base.corner_mm[k] if end is None else end[0].corner_mm[end[1]]
        along, off = nearest_along(laid, 1, at)
        if off > (reach_mm if end is None else SAME_PLACE_MM):
            return None
        places.append(along)
    if np.linalg.norm(base.border.point_mm[0] - base.corner_mm[0]) > np.linalg.norm(
        base.border.point_mm[0] - base.corner_mm[1]
    ):
        beside, places = beside[::-1], places[::-1]
    if places[0] <= places[1]:
        return None  # the third piece's edge has to run against the base
    sides = tuple(None if end is None else end[0] for end in beside)
    return _hole(base, sides, laid, places, piece, root_gap_mm)


def _beside(corner_mm, others, within_mm):
    """Return (end, which of its corners lies at the third piece) of the nearest other end at a corner."""
    found = [
        (float(np.linalg.norm(end.corner_mm[k] - corner_mm)), end, 1 - k) for end in others for k in (0, 1)
    ]
    found = [each for each in found if each[0] <= within_mm]
    return min(found, key=lambda each: each[0])[1:] if found else None


def nearest_along(laid: Edges, edge: int, point_mm) -> tuple[float, float]:
    """Return the length along an edge at the place nearest to a point, and how far off the point is. [mm]"""
    own = slice(laid.starts[edge], laid.starts[edge + 1])
    points, along = laid.point_mm[own], laid.along_mm[own]
    run = np.diff(points, axis=0)
    part = np.clip(((point_mm - points[:-1]) * run).sum(axis=1) / (run**2).sum(axis=1), 0.0, 1.0)
    i = int(np.linalg.norm(points[:-1] + part[:, None] * run - point_mm, axis=1).argmin())
    s = along[i] + part[i] * (along[i + 1] - along[i])
    for _ in range(4):
        at, tangent, _ = laid.at(np.array([edge]), np.array([s]))
        s = float(np.clip(s + (point_mm - at[0]) @ tangent[0], 0.0, along[-1]))
    return s, float(np.linalg.norm(laid.at(np.array([edge]), np.array([s]))[0][0] - point_mm))


@dataclass(frozen=True, eq=False)
class _Line:
    """The line one root gap out from an edge, within the tangent planes of its metal."""

    laid: Edges
    edge: int
    gap_mm: float

    @property
    def length_mm(self) -> float:
        return float(self.laid.length_mm[self.edge])

    def at(self, along_mm):
        """Return points (n, 3) and frames (n, 3, 3): out of the metal, along, out of the car."""
        along_mm = np.atleast_1d(np.asarray(along_mm, float))
        point, tangent, normal = self.laid.at(np.full(len(along_mm), self.edge), along_mm)
        out = cross(tangent, normal)
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        return point + self.gap_mm * out, np.stack([out, tangent, cross(out, tangent)], axis=1)

    def slope(self, along_mm, by_mm=1e-3):
        """Return the derivative of the points over the length, (3,)."""
        a, b = self.at([along_mm - by_mm, along_mm + by_mm])[0]
        return (b - a) / (2 * by_mm)


def _hole(base, sides, laid, places, piece, root_gap_mm) -> CornerHole | None:
    low, high = _Line(laid, 0, root_gap_mm), _Line(laid, 1, root_gap_mm)
    lines = [None if side is None else _side_line(side, root_gap_mm) for side in sides]
    corners = []  # for each end of the run: (s on the base, t on the third piece, places on the side, 2)
    for k, line in enumerate(lines):
        start = (0.0, low.length_mm)[k]
        if line is None:
            wide_mm = tip_width_mm(base.thickness_mm) + 2 * root_gap_mm
            found = _where_it_runs_out(laid, k, root_gap_mm, wide_mm)
            if found is None:
                return None
            corners.append((*found, None))
            continue
        inward = root_gap_mm * (1 if k == 0 else -1)
        s, x0 = _where_lines_meet(low, line, start + inward, _end_near(line, low, start))
        t, x1 = _where_lines_meet(high, line, places[k] - inward, _end_near(line, high, places[k]))
        corners.append((s, t, (x0, x1)))
    s, t = ([corner[i] for corner in corners] for i in (0, 1))
    if s[1] <= s[0] or t[1] >= t[0]:
        return None
    borders = _borders(low, high, lines, corners)
    s, t = (np.clip(x, 0.0, line.length_mm).tolist() for x, line in ((s, low), (t, high)))
    gap, step = _read(laid, s)
    seam = Seam(f"{NAME} of {base.run.seam.name}", KIND, base.run.seam.side, (base.name, piece), (), (), ())
    ends = tuple(WELDED_UP if side is None else CORNER for side in sides)
    run = Run(seam, laid, 0, 1, tuple(s), tuple(t), ends, gap, step)
    return CornerHole(run, borders, base, sides)


def _side_line(side: OpenEnd, root_gap_mm) -> _Line:
    return _Line(Edges([side.border]), 0, root_gap_mm)


def _end_near(line: _Line, other: _Line, along_mm) -> float:
    """Return the length along a line at that end of it which lies nearer a place on another."""
    at = other.at(along_mm)[0][0]
    ends = line.at([0.0, line.length_mm])[0]
    return (0.0, line.length_mm)[int(np.linalg.norm(ends - at, axis=1).argmin())]


def _where_lines_meet(a: _Line, b: _Line, s, x) -> tuple[float, float]:
    """Return the lengths along two lines where they come nearest each other, from a first guess.

    Where they part by more than a right angle they meet before either begins, by a root gap at most.
    """
    for _ in range(_ROUNDS):
        apart = (a.at(s)[0] - b.at(x)[0])[0]
        slopes = np.stack([a.slope(s), -b.slope(x)], axis=1)
        by = np.linalg.lstsq(slopes, -apart, rcond=None)[0]
        s = float(np.clip(s + by[0], -a.gap_mm, a.length_mm + a.gap_mm))
        x = float(np.clip(x + by[1], -b.gap_mm, b.length_mm + b.gap_mm))
    return s, x


def _where_it_runs_out(laid, end, root_gap_mm, wide_mm):
    """Return lengths along base and third piece where, going in from an end, they first are so wide apart.

    A root gap in at the least.
    """

    def apart(s):
        return nearest_along(laid, 1, laid.at(np.array([0]), np.array([s]))[0][0])

    length = float(laid.length_mm[0])
    stops = np.linspace(root_gap_mm, length, _SEARCHED)
    stops = length - stops if end else stops
    outside = next((k for k, s in enumerate(stops) if apart(s)[1] > wide_mm), None)
    if outside is None:
        return None
    low, high = float(stops[max(outside - 1, 0)]), float(stops[outside])
    for _ in range(_HALVINGS if outside else 0):
        middle = (low + high) / 2
        low, high = (low, middle) if apart(middle)[1] > wide_mm else (middle, high)
    return high, apart(high)[0]


def _borders(low: _Line, high: _Line, lines, corners):
    """Return the four borders, v = 0, v = 1, u = 0, u = 1, drawn to the corners that they share."""
    (s0, t0, _), (s1, t1, _) = corners
    nodes = [[low.at(s)[0][0], high.at(t)[0][0]] for s, t, _ in corners]
    for node, line, (_, _, x) in zip(nodes, lines, corners, strict=True):
        if line is not None:
            met = line.at(x)[0]
            node[:] = [(own + side) / 2 for own, side in zip(node, met, strict=True)]
    lengths = [abs(s1 - s0), abs(t1 - t0)]
    count_u = _places(max(lengths))
    widths = [
        float(np.linalg.norm(node[1] - node[0])) if x is None else abs(x[1] - x[0])
        for node, (_, _, x) in zip(nodes, corners, strict=True)
    ]
    count_v = _places(max(widths))
    v = [
        _border(line, np.linspace(a, b, count_u), (nodes[0][k], nodes[1][k]))
        for k, (line, a, b) in enumerate(((low, s0, s1), (high, t0, t1)))
    ]
    u = [
        Border(point_mm=np.linspace(*node, count_v), frames=None)
        if line is None
        else _border(line, np.linspace(*x, count_v), node)
        for line, node, (_, _, x) in zip(lines, nodes, corners, strict=True)
    ]
    return (*v, *u)


def _places(length_mm) -> int:
    return max(_LEAST_PLACES, int(np.ceil(length_mm / _STATION_MM)) + 1)


def _border(line: _Line, along_mm, ends_mm) -> Border:
    """Return a border along a line, what it misses at its ends shared out along it."""
    point, frames = line.at(along_mm)
    part = np.linspace(0, 1, len(along_mm))[:, None]
    off = [end - point[k] for k, end in ((0, ends_mm[0]), (-1, ends_mm[1]))]
    return Border(point_mm=point + (1 - part) * off[0] + part * off[1], frames=frames)


def _read(laid, s):
    """Return the widest gap from base to third piece within a stretch, and the step of the greatest size."""
    along = np.linspace(*s, _SEARCHED)
    point, tangent, normal = laid.at(np.zeros(_SEARCHED, int), along)
    edge, t = faced_places(laid, np.array([1]), point, tangent)
    faced = edge >= 0
    if not faced.any():
        return 0.0, 0.0
    facing, _, facing_normal = laid.at(edge[faced], t[faced])
    gap, step, _, _ = read_across(point[faced], tangent[faced], normal[faced], facing, facing_normal)
    return float(gap.max()), float(step[np.abs(step).argmax()])
