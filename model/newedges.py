"""The new edge of a piece in (u, v), and the strip between it and the old one: what the layout cuts off.

Along an edge of a piece, length s, let P(s) be its place, T its direction with
the metal on the left, N the skin's normal, and Q(s) the new edge's place, all
where the plan puts the piece.  Taken back to the uncut car, Q's nearest
places on the skin are the new edge in (u, v).  The strip's other side is the
old edge moved out by :data:`OVER_MM`, P + OVER T × N, so that the strip covers
whatever lies between the two edges, whose chords may cross where it is shallow.

Each end of the new edge must bound the strip, or nothing comes off.  In turn:

* the strip runs out to nothing: the line goes on across the old edge, as it came;
* it is exact: it lies on the border of the grid, and that bounds the strip;
* straight on the piece ends soon (at an opening, another cut, the border of the
  grid): the line goes on to there and a little past;
* else a line across, from the new edge to the old one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from .arrangement import SAME_UV
from .built import Built
from .edgepaths import Path
from .moves import RigidMove
from .numeric import cross
from .seams import Side
from .trimmings import TRIM, TRIM_END, Trimming, stands_for

OVER_MM = 0.5  # less than any kerf, so that it stays in the waste beside the edge
SHALLOW_MM = 0.02  # a strip that ends less deep runs out to nothing
_LEAST_SLOPE = 0.05  # at which a line crosses the old edge, so that chords do not decide where
_OVER_A_BORDER = 3  # places of the next grid that a line is led on to
ON_DEPTHS = 3.0  # assumed: how far a line goes straight on at most, in depths of the strip
_ON_STEP_MM = 0.3  # under half a kerf


@dataclass(frozen=True, eq=False)
class NewEdge:
    """A new edge of one piece along a path of its old ones, place by place, lengths rising.

    ``sides`` are the path's edges, in the order of its ``laid``; ``line_mm`` (n, 3) in place, and
    ``goes_on_mm`` its next places past either end, outwards, if they are known.  An end that
    ``is_exact`` lies on the border of its grid, and nothing is to go on from there.
    """

    piece: str
    sides: tuple[Side, ...]
    move: RigidMove
    path: Path
    along_mm: np.ndarray  # (n,)
    line_mm: np.ndarray  # (n, 3)
    goes_on_mm: tuple[np.ndarray, np.ndarray]  # each (m, 3)
    is_exact: tuple[bool, bool] = (False, False)


def trimmings_from(built: Built, new: NewEdge) -> list[Trimming]:
    """Return what comes off a piece up to a new edge: a trimming for every grid that it runs over."""
    path = new.path
    edge = np.clip(np.searchsorted(path.before_mm, new.along_mm, side="right") - 1, 0, len(path.edges) - 1)
    grids = [new.sides[k].chain.grid for k in path.edges]
    names = np.array([stands_for(new.sides[k].chain.line) for k in path.edges])
    changes = [k for k in range(1, len(edge)) if grids[edge[k]] is not grids[edge[k - 1]]]
    out = []
    for a, b in zip([0, *changes], [*changes, len(edge)], strict=True):
        before = new.goes_on_mm[0] if a == 0 else new.line_mm[a - 1 :: -1][:_OVER_A_BORDER]
        after = new.goes_on_mm[1] if b == len(edge) else new.line_mm[b : b + _OVER_A_BORDER]
        if b - a > 1:
            part = replace(
                new,
                along_mm=new.along_mm[a:b],
                line_mm=new.line_mm[a:b],
                goes_on_mm=(before, after),
                is_exact=(a == 0 and new.is_exact[0], b == len(edge) and new.is_exact[1]),
            )
            out.append(_trimming(built, part, grids[edge[a]], names[edge[a:b]]))
    return out


def _trimming(built, new, grid, names) -> Trimming:
    along, line = new.along_mm, new.line_mm
    point, tangent, normal = new.path.at(along)
    out = cross(tangent, normal)
    depth = np.linalg.norm(line - point, axis=1)
    back = new.move.inverse()
    inner, edge, outer = (
        grid.foot(back.points(places)).uv for places in (line, point, point + OVER_MM * out)
    )
    sheet = shapely.union_all([c.polygon for c in built.layout.parts[new.piece] if c.grid is grid])
    shapely.prepare(sheet)
    new_line, far_side, ends = [], [outer], []
    keep = np.ones(len(along), bool)
    for end, way in ((0, -1), (-1, 1)):
        if new.is_exact[end]:
            inner[end] = np.where(_near_whole(inner[end]), np.round(inner[end]), inner[end])
            new_line.append(inner[:0])
            continue
        if depth[end] < SHALLOW_MM:
            rest = np.abs(along[end] - along[end - way])
            slope = max((depth[end - way] - depth[end]) / max(rest, 1e-9), _LEAST_SLOPE)
            over = np.linspace(0.0, OVER_MM, 5)[1:]
            beyond = np.clip(along[end] + way * over / slope, 0.0, new.path.length_mm)
            p, t, n = new.path.at(beyond)
            more = grid.foot(back.points(p + over[:, None] * cross(t, n))).uv
            new_line.append(more[::way])
            continue
        # What was held at the grid's border is not on the line, and what is known is better than its end.
        beyond = grid.foot(back.points(new.goes_on_mm[end])).uv
        beyond = beyond[: np.argmax(np.append(_is_on_a_border(beyond), True))]
        held = int(np.argmin(np.append(_is_on_a_border(inner[::-way]), False)))
        left_out = max(held, int(len(beyond) > 0))
        at = end - way * left_out  # the place from which to go on
        on = _going_on(grid, inner[at], inner[at] - inner[at - way], beyond, depth[end], sheet)
        if on is not None:
            keep[:left_out] &= way > 0
            keep[len(keep) - left_out :] &= way < 0
            new_line.append(on[::way])
            far_side.insert(0 if way < 0 else len(far_side), (outer[end] + on[-1] - inner[end])[None])
        else:
            new_line.append(inner[:0])
            ends.append((TRIM_END, np.stack([inner[end], edge[end], outer[end]])))
    before, after = new_line
    uv = np.concatenate([before, inner[keep], after])
    names = np.concatenate([names[:1].repeat(len(before)), names[keep], names[-1:].repeat(len(after))])
    region = shapely.make_valid(shapely.Polygon(np.concatenate([uv, np.concatenate(far_side)[::-1]])))
    lines = [(TRIM + name, _on_the_grid(part)) for name, part in _by_name(names, uv)]
    return Trimming(new.piece, grid, (*lines, *ends), region)


def _by_name(names, uv):
    """Return the stretches of a line that have one name; each begins where the one before ends."""
    limits = [0, *(np.nonzero(names[1:] != names[:-1])[0] + 1), len(names) - 1]
    return [(names[a], uv[a : b + 1]) for a, b in zip(limits[:-1], limits[1:], strict=True) if b > a]


def _is_on_a_border(uv):
    return _near_whole(uv).any(axis=1)


def _near_whole(uv):
    return np.abs(uv - np.round(uv)) < SAME_UV * 1e3


def _going_on(grid, uv, way, beyond, depth_mm, sheet):
    """Return how a line goes on until it has left the sheet, (m, 2); None if it does not soon.

    Along the places known beyond it, then straight on for at most :data:`ON_DEPTHS` depths.
    """
    _, du, dv = grid.tangents(uv[None])
    step = _ON_STEP_MM * way / max(np.linalg.norm(way[0] * du[0] + way[1] * dv[0]), 1e-12)
    stops, fine = np.concatenate([uv[None], beyond]), np.abs(step).max()
    run = stops[-1] - stops[-2] if len(beyond) else step
    run = run * np.ceil((ON_DEPTHS * depth_mm + OVER_MM) / _ON_STEP_MM) * fine / max(np.abs(run).max(), 1e-12)
    stops = np.append(stops, (stops[-1] + run)[None], axis=0)
    parts = np.maximum(1, np.ceil(np.abs(np.diff(stops, axis=0)).max(axis=1) / fine)).astype(int)
    stretches = zip(stops[:-1], stops[1:], parts, strict=True)
    places = np.concatenate([a + (b - a) * np.arange(n)[:, None] / n for a, b, n in stretches])
    out = np.nonzero(~shapely.contains_xy(sheet, *places.T))[0]
    if not len(out):
        return None
    passed = int(np.searchsorted(np.cumsum(parts), out[0]))
    run = stops[passed + 1] - stops[passed]
    return np.concatenate([stops[1 : passed + 1], (places[out[0]] + run * fine / np.abs(run).max())[None]])


def _on_the_grid(uv):
    """Return a line cut off at the grid's borders, ending on them exactly."""
    inside = shapely.intersection(shapely.LineString(uv), shapely.box(0, 0, 1, 1))
    parts = [shapely.get_coordinates(part) for part in shapely.get_parts(inside)]
    line = max(parts, key=len)
    return np.where(np.abs(line - np.round(line)) < 1e-12, np.round(line), line)
