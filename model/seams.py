"""What is welded: every seam of a plan, its edges, its length and how it fits.

A cell of waste (a slug, the kerf around the window panel, the trimmings of a
shifted post) lies between two pieces; its borders with them are the two sides
of a seam.  Two pieces that touch with nothing between them make a seam too, and so
do the parts of a split roof: its opening takes a strip.
A post's box makes one of its own: four straight edges in the cut plane, and,
if it is leaned, four more around its hinge.

Length of a bead: the edge of the first piece, counted once, not both faces of
the sheet.  Skin that lies over the outer face of a post's box (over its front
or rear face, on the front and back of the car) is welded with the box and is
not counted again.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .built import Built
from .edges import Edge
from .fit import Facing, Meeting, edge_of, joined_meetings
from .layout import BODY, METAL, PANE, WASTE, WINDOW, Cell, Chain
from .moves import IDENTITY
from .numeric import cross_of_two
from .piecuts import PieCut, closed_sides_mm
from .placing import PostKey
from .posts import PostEnds
from .report import SeamReport, SeamStation, Spread
from .roofparts import is_roof
from .trimmings import TRIM_END, is_cut_off, is_trimmed, stands_for

SKIN, POST, WINDOW_SEAM, STRIP, HINGE = "skin", "post", "window", "strip", "hinge"
PIE_CUT = "pie cut"
FILLER_SEAM = "filler"  # a seam between a piece and a filler, or between two fillers
TIP_SEAM = "tip"  # what is welded up before the tip of a filler, between the two pieces it closes
_FIRST = {BODY: 0, WINDOW: 2}


@dataclass(frozen=True, eq=False)
class Side:
    """A chain as the edge of one piece."""

    chain: Chain
    cell: Cell


@dataclass(frozen=True, eq=False)
class Seam:
    """Two pieces, and the chains of the uncut skin that become their edges.

    ``first`` and ``second`` were cut apart from each other; ``facing`` is
    where, once all has moved, an edge of the second piece is looked for.
    """

    name: str
    kind: str
    side: str
    pieces: tuple[str, str]
    first: tuple[Side, ...]
    second: tuple[Side, ...]
    facing: tuple[Side, ...]
    post: PostKey | None = None


@lru_cache(maxsize=8)
def seams_of(built: Built) -> tuple[Seam, ...]:
    """Return every seam in the skin; the posts' own are :func:`post_seams`."""
    found: dict[tuple[str, str, str, tuple[str, str]], tuple[list[Side], ...]] = {}
    rails = tuple(f"trimming {s.name}" for s in built.shifts)
    for cell in built.layout.cells:
        if cell.role == WASTE and not cell.part.startswith(rails) and not is_cut_off(cell.part):
            _between(built, cell, found)
    for chain in built.layout.chains:
        _touching(built, chain, found)
    for shift in built.shifts:
        _around_shift(built, shift, found)
    seams = []
    names = [key[0] for key in found]
    for (place, kind, side, pieces), (first, second, facing) in found.items():
        if names.count(place) > 1:  # one cut, two pieces above it
            place = f"{place}, {pieces[1]}"
        post = next((k for k in built.ends if place.startswith(" ".join(k) + ",")), None)
        if kind == WINDOW_SEAM:  # once moved, any part of the panel's border may face the shell
            facing = _panel_border(built)
        seams.append(Seam(place, kind, side, pieces, tuple(first), tuple(second), tuple(facing), post))
    return tuple(sorted(seams, key=lambda s: (s.kind != SKIN, s.kind, s.name)))


def _panel_border(built):
    cells = built.layout.parts[WINDOW]
    around = [Side(c, cell) for cell in cells for c in built.layout.chains_of[id(cell)]]
    return [side for side in around if stands_for(side.chain.line) == "flange"]


def looseness(part: str) -> float:
    """Return how loose a piece is: strip, upper end, window panel, roof, leaned end, body, in that order."""
    if part.endswith("lower"):
        return 0.5
    return _FIRST.get(part, 1 if is_roof(part) else 3 if part.endswith("upper") else 4)


def _between(built, cell, found):
    """Add the seam across one cell of waste: the piece that stays, and the one that faces it most."""
    sides: dict[str, list[Side]] = {}
    for chain, other in _around(built, cell):
        if other.role == METAL:
            sides.setdefault(other.part, []).append(Side(chain, other))
    if not sides:
        return
    a, *others = sorted(sides, key=looseness)
    if others:
        b = max(others, key=lambda part: _length_mm(sides[part]))
        _add(found, cell.part, cell.grid, (a, b), sides[a], sides[b])
    elif a != WINDOW:  # the other side of the cut lies beyond more waste
        beyond = {part: edges for part, edges in _beyond(built, cell).items() if part != a}
        if beyond:
            b = max(beyond, key=lambda part: _length_mm(beyond[part]))
            _add(found, cell.part, cell.grid, (a, b), sides[a], [], beyond[b])


def _length_mm(sides):
    return sum(side.chain.length_mm for side in sides)


def _beyond(built, cell):
    """Return the metal edges of the waste cells next to a waste cell, by part.

    Across the centreline lies the other half of the same slug, not its far side.
    """
    out: dict[str, list[Side]] = {}
    for chain, waste in _around(built, cell):
        if chain.line not in ("middle", "split") and waste.role == WASTE:
            for further, metal in _around(built, waste):
                if metal.role == METAL:
                    out.setdefault(metal.part, []).append(Side(further, metal))
    return out


def _around(built, cell):
    """Return the chains around a cell and what lies across, beyond what is trimmed off beside it.

    Across the border of a grid nothing does: at a gutter the kerf is open, not a seam.
    """
    found = []
    for chain in built.layout.chains_of[id(cell)]:
        other = chain.beside(cell)
        if other is None:
            continue
        if not is_cut_off(other.part):
            found.append((chain, other))
            continue
        for side in _edges_beside(built, chain, other):
            if all(side.chain is not known for known, _ in found):
                found.append((side.chain, side.cell))
    return found


def _touching(built, chain, found):
    """Add the seam along a cut line that has two pieces beside it and nothing between."""
    left, right = chain.left, chain.right
    if left is None or right is None or PANE in (left.role, right.role):
        return
    if left.role == METAL and left.part == right.part:
        return
    a, b = (_edges_beside(built, chain, cell) for cell in (chain.left, chain.right))
    if not a or not b or a[0].cell.part == b[0].cell.part:
        return
    parts = [sides[0].cell.part for sides in (a, b)]
    what = "split" if all(map(is_roof, parts)) else "cut"
    if looseness(parts[0]) > looseness(parts[1]) or (
        what == "split" and parts[0].split()[::-1] > parts[1].split()[::-1]
    ):
        a, b, parts = b, a, parts[::-1]
    _add(found, f"{what} {parts[0]}", chain.grid, tuple(parts), a, b)


def _edges_beside(built, chain, cell, passed=()) -> list[Side]:
    """Return the metal edges on one side of a line: the line itself, or what trimming made of it."""
    if cell is None or cell.role == METAL:
        return [] if cell is None else [Side(chain, cell)]
    if not is_cut_off(cell.part) or any(cell is other for other in passed):
        return []
    own, wanted = [], stands_for(chain.line)
    for further in built.layout.chains_of[id(cell)]:
        if further is not chain and is_trimmed(further.line):
            if stands_for(further.line) in (wanted, stands_for(TRIM_END)):
                own += _edges_beside(built, further, further.beside(cell), (*passed, cell))
    return own if any(stands_for(side.chain.line) == wanted for side in own) else []


def _around_shift(built, shift, found):
    """Add the seams of a shifted post: the rail ahead, behind, between, and the gutter above.

    The strip comes from one side of the post's piece and goes to the other,
    so its edges meet others than those they were cut from.
    """
    upper, strip, roof = f"{shift.name} upper", f"{shift.name} strip", built.part_over(shift.key)
    edges: dict[tuple[str, str], list[Side]] = {}
    gutter: dict[str, list[Side]] = {upper: [], strip: [], roof: []}
    for cell in built.layout.parts[f"trimming {shift.name}"]:
        middle = cell.grid.point(np.array(cell.polygon.representative_point().coords))[0, 0]
        for chain, other in _around(built, cell):
            if other.role == METAL and stands_for(chain.line) == "shift":
                where = "front" if chain.point_mm[:, 0].mean() > middle else "rear"  # of the metal
                edges.setdefault((other.part, where), []).append(Side(chain, other))
    grid = built.shape.skin.grids[f"side {shift.key[1]}"]
    low, high = shift.bounds[0][0], shift.bounds[-1][1]
    border = "v0" if grid.side == "right" else "v1"
    for chain in built.layout.chains:
        for cell in (cell for cell in (chain.left, chain.right) if cell is not None and cell.role == METAL):
            line = stands_for(chain.line)
            if line == "border v1" and chain.grid is grid and cell.part in (upper, strip):
                gutter[cell.part].append(Side(chain, cell))
            if line == f"border {border}" and chain.grid.name == "roof":
                if low < chain.point_mm[:, 0].mean() < high:
                    gutter[roof].append(Side(chain, cell))
    pairs = [((roof, "rear"), (upper, "front")), ((roof, "front"), (upper, "rear"))]
    if gutter[strip]:
        at = 0 if shift.by_mm >= 0 else 1  # the side of the post to which the strip goes
        beside, own = (("rear", "front"), ("front", "rear"))[at]
        pairs[at] = ((roof, beside), (strip, own))
        pairs.append(((upper, own), (strip, beside)))
    for first, second in pairs:
        _add(found, "shift ", grid, (first[0], second[0]), edges[first], edges[second])
    for piece in (upper, strip):
        if gutter[piece]:
            _add(found, "gutter ", grid, (piece, roof), gutter[piece], gutter[roof])


def _add(found, place, grid, pieces, first, second, facing=None):
    what, _, rest = place.partition(" ")
    side = grid.side
    if pieces[1] == WINDOW:
        name, kind = f"{WINDOW} to {pieces[0]}", WINDOW_SEAM
    elif what == "slug":
        name, kind = f"{rest}, {grid.kind} skin", SKIN
        side = rest.split()[-1]
    elif what == "hinge":
        name, kind = f"{rest}, hinge, {grid.kind} skin", HINGE
        side = rest.split()[-1]
    elif what in ("cut", "split"):
        name, kind = f"{pieces[0]} to {pieces[1]}, {grid.name}", SKIN if what == "cut" else STRIP
    else:
        post = " ".join(next(p for p in pieces if p != BODY and not is_roof(p)).split()[:-1])
        a, b = (p.split()[-1] for p in pieces)
        name, kind = f"{post}, {a} to {b}{' at the gutter' if what == 'gutter' else ''}", STRIP
    edges = found.setdefault((name, kind, side, pieces), ([], [], []))
    for target, new in zip(edges, (first, second, second if facing is None else facing), strict=True):
        seen = {id(s.chain) for s in target}
        target.extend(s for s in new if id(s.chain) not in seen)


def seam_edges(built: Built, seam: Seam) -> tuple[list[Edge], list[Edge]]:
    """Return the edges of both pieces where the plan puts them."""
    return tuple(
        [edge_of(s.chain, s.cell, built.moves[s.cell.carrier]) for s in sides]
        for sides in (seam.first, seam.facing)
    )


def seam_reports(built: Built) -> list[SeamReport]:
    """Return length, gap and step of every seam in the skin, then around the box of every post."""
    seams = seams_of(built)
    laid = [(seam, [Facing(*map(tuple, seam_edges(built, seam)))]) for seam in seams]
    return reports_along(built, laid + post_box_facings(built))


def post_box_facings(
    built: Built, pieced: Container[PostKey] = (), pieced_at_hinge: Container[PostKey] = ()
) -> list[tuple[Seam, list[Facing]]]:
    """Return the seam around the box of every post, and of every hinge, and which edge faces which.

    A post between whose ends a piece is let in (``pieced``) has none of its own at the cut, one
    around whose hinge a piece is let in none at the hinge.
    """
    boxes = [
        (_box_seam(built, key), [Facing((a,), (b,)) for a, b in zip(*post_edges(ends), strict=True)])
        for key, ends in built.ends.items()
        if key not in pieced
    ]
    hinges = [
        (_hinge_seam(built, key), [Facing((a,), (b,)) for a, b in zip(*hinge_edges(ends), strict=True)])
        for key, ends in built.ends.items()
        if ends.hinge and key not in pieced_at_hinge
    ]
    pies = [(_pie_seam(built, pie), [_pie_facing(pie, built.plan.root_gap_mm)]) for pie in built.pie_cuts]
    return [*boxes, *hinges, *pies]


def reports_along(built: Built, laid: list[tuple[Seam, list[Facing]]]) -> list[SeamReport]:
    """Return length, gap and step of seams along the edges laid for each."""
    met = joined_meetings([facings for _, facings in laid])
    return [_report(built, seam, facings, m) for (seam, facings), m in zip(laid, met, strict=True)]


def _box_seam(built, key):
    pieces = (built.lower_piece(key), built.upper_piece(key))
    return Seam(f"{' '.join(key)}, post", POST, key[1], pieces, (), (), (), key)


def _hinge_seam(built, key):
    pieces = (BODY, built.lower_piece(key))
    return Seam(f"{' '.join(key)}, hinge, post", HINGE, key[1], pieces, (), (), (), None)


def _pie_seam(built, pie: PieCut):
    name, pieces = " ".join(pie.key), (BODY, built.lower_piece(pie.key))
    return Seam(f"{name}, pie cut", PIE_CUT, pie.key[1], pieces, (), (), (), None)


def _pie_facing(pie: PieCut, root_gap_mm: float) -> Facing:
    """Return the two sides of a closed pie cut: that of the sheet that stays, and the post's."""
    stays, loose = closed_sides_mm(pie, root_gap_mm)
    out = (-1.0 if pie.edge.startswith("front") else 1.0) * pie.axis
    inboard = pie.move.vectors(pie.across)
    return Facing((_run_with(stays, out, -inboard),), (_run_with(loose, out, inboard),))


def _run_with(points, normal, out) -> Edge:
    """Return an edge run so that T × N points the given way, out of its metal."""
    step = 1 if cross_of_two(points[-1] - points[0], normal) @ out > 0 else -1
    return Edge(points[::step], np.broadcast_to(normal, points.shape))


def _over_post(built, seam, edges, edge_along_mm):
    """Length of a seam's edges that lies over the post's own box."""
    if seam.post is None or seam.kind not in (SKIN, HINGE, FILLER_SEAM, TIP_SEAM) or not seam.first:
        return 0.0
    ends = built.ends[seam.post]
    is_hinge = seam.first[0].chain.line == "hinge"
    s, centre = ends.s_lower[0], ends.plane_in_place.point_mm
    if is_hinge:
        s, centre = ends.line.crossing(ends.hinge.foot)[0], np.array(ends.hinge.point_mm)
    _, _, w, d = ends.line.frame(s)
    if not is_hinge:
        w, d = ends.lower_move.vectors(w), ends.lower_move.vectors(d)
    on_side = seam.first[0].chain.grid.kind == "side"
    direction, half = (w[0], ends.line.post.width_mm / 2) if on_side else (d[0], ends.line.post.depth_mm / 2)
    place = (np.concatenate([edge.point_mm for edge in edges]) - centre) @ direction
    step = np.diff(np.concatenate(edge_along_mm))
    step[np.cumsum([len(along) for along in edge_along_mm])[:-1] - 1] = 0.0  # from one edge to the next
    low, high = np.minimum(place[:-1], place[1:]), np.maximum(place[:-1], place[1:])
    covered = np.clip(np.minimum(high, half) - np.maximum(low, -half), 0, None)
    return float(step @ (covered / np.maximum(high - low, 1e-12)))


def post_edges(ends: PostEnds) -> tuple[list[Edge], list[Edge]]:
    """Return the edges of a post's lower and upper cut face, the upper one moved.

    Order: front, inner, rear, outer face.  Each runs with the metal of the
    lower end on its left, seen from outside the box.
    """
    lower, upper = ends.line.face_outlines([ends.s_lower, ends.s_upper], [-ends.s_lower, 1 - ends.s_upper])
    return moved_rims(lower, ends.lower_move), moved_rims(upper, ends.move)


def hinge_edges(ends: PostEnds) -> tuple[list[Edge], list[Edge]]:
    """Return the edges of the two cut faces around a leaned post's hinge, as :func:`post_edges` does."""
    foot, loose = (ends.line.crossing(flat) for flat in (ends.hinge.foot, ends.hinge.loose))
    lower, upper = ends.line.face_outlines([foot, loose], [-foot, 1 - loose])
    return moved_rims(lower, IDENTITY), moved_rims(upper, ends.lower_move)


def moved_rims(rims, move) -> list[Edge]:
    """Return the rims of :meth:`model.posts.PostLine.face_outline` moved, as edges of a lower end."""
    return [metal_below(move.points(points), move.vectors(normals)) for points, normals in rims]


def metal_below(points, normals) -> Edge:
    """Return an edge run so that T × N points up, out of the metal below it."""
    run, n = points[-1] - points[0], normals[0]
    step = 1 if run[0] * n[1] - run[1] * n[0] >= 0 else -1
    return Edge(points[::step], normals[::step])


def _report(built, seam, facings: list[Facing], met: Meeting) -> SeamReport:
    edges = [edge for facing in facings for edge in facing.first]
    over, length = _over_post(built, seam, edges, met.edge_along_mm), met.length_mm
    own = slice(None) if met.faces.all() else met.faces
    weight, at, gap, step = (x[own] for x in (met.weight_mm, met.at_mm, met.gap_mm, met.step_mm))
    facing_mm = float(weight.sum())
    spreads, ends = [None, None], [None, None]
    if len(gap):
        spreads = [
            Spread(min=float(x.min()), mean=float(x @ weight / facing_mm), max=float(x.max()))
            for x in (gap, step)
        ]
        ends = [tuple(at[i].tolist()) for i in (gap.argmin(), gap.argmax())]
    along, *angles = (x[own] for x in (met.along_mm, met.angle_first_deg, met.angle_second_deg))
    rows = np.concatenate([at, np.stack([along, gap, step, *angles], axis=1)], axis=1).tolist()
    return SeamReport(
        name=seam.name,
        kind=seam.kind,
        side=seam.side,
        pieces=seam.pieces,
        length_mm=length - over,
        edge_mm=length,
        over_post_mm=over,
        facing_mm=facing_mm,
        gap_mm=spreads[0],
        step_mm=spreads[1],
        min_at_mm=ends[0],
        max_at_mm=ends[1],
        stations=tuple(
            SeamStation(
                at_mm=tuple(row[:3]),
                along_mm=row[3],
                gap_mm=row[4],
                step_mm=row[5],
                angle_first_deg=row[6],
                angle_second_deg=row[7],
            )
            for row in rows
        ),
    )
