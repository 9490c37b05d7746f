"""Edges of one piece head to tail, and the marks along them that a person with a tape can find.

A mark is a place on the piece itself: the centreline, the edge of an opening,
the gutter, a corner of the body, a face of a post.  Distances are along the
edge, from the path's start, where the plan puts the piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .built import Built
from .edges import Edges
from .layout import Layout
from .moves import RigidMove
from .seams import Seam, Side
from .trimreport import END_MARK

SAME_MM = 0.1  # two ends this close are one place
WAYS = (("rearward", "forward"), ("to the right", "to the left"), ("up", "down"))
_BORDERS = {
    ("side", "v1"): "gutter",
    ("side", "v0"): "belt",
    ("side", "u0"): "front corner of the body",
    ("side", "u1"): "rear corner of the body",
    ("front", "u0"): "front corner of the body",
    ("front", "u1"): "front corner of the body",
    ("back", "u0"): "rear corner of the body",
    ("back", "u1"): "rear corner of the body",
    ("front", "v1"): "front edge of the roof",
    ("back", "v1"): "rear edge of the roof",
    ("roof", "v0"): "gutter",
    ("roof", "v1"): "gutter",
    ("roof", "u0"): "front edge of the roof",
    ("roof", "u1"): "rear edge of the roof",
}


@dataclass(frozen=True, eq=False)
class Path:
    """Edges laid head to tail: their indices and the length before each. [mm]"""

    laid: Edges
    edges: tuple[int, ...]
    before_mm: np.ndarray
    length_mm: float

    def at(self, along_mm):
        """Return points, directions and normals, each (n, 3), at lengths along the path."""
        k = np.clip(np.searchsorted(self.before_mm, along_mm, side="right") - 1, 0, len(self.edges) - 1)
        return self.laid.at(np.array(self.edges)[k], np.asarray(along_mm) - self.before_mm[k])

    @cached_property
    def samples(self) -> tuple[np.ndarray, np.ndarray]:
        """Points (n, 3) and their lengths along the path (n,), edge by edge."""
        points, along = [], []
        for k, before in zip(self.edges, self.before_mm, strict=True):
            part = slice(self.laid.starts[k], self.laid.starts[k + 1])
            points.append(self.laid.point_mm[part])
            along.append(before + self.laid.along_mm[part])
        return np.concatenate(points), np.concatenate(along)

    def nearest(self, points_mm):
        """Return length along the path and distance of its nearest place, each (n,), for points (n, 3).

        On chords between samples first, then once square to the curve.
        """
        points, along = self.samples
        run = np.diff(points, axis=0)
        square = np.maximum((run**2).sum(axis=1), 1e-18)
        x, y, z = points_mm.T[:, :, None] - points[:-1].T[:, None]  # each (n, chords)
        a, b, c = run.T
        part = np.clip((x * a + y * b + z * c) / square, 0.0, 1.0)
        off = (x - part * a) ** 2 + (y - part * b) ** 2 + (z - part * c) ** 2
        i = off.argmin(axis=1)
        s = along[i] + part[np.arange(len(i)), i] * np.diff(along)[i]
        at, tangent, _ = self.at(s)
        s = np.clip(s + ((points_mm - at) * tangent).sum(axis=1), 0.0, self.length_mm)
        return s, np.linalg.norm(points_mm - self.at(s)[0], axis=1)


def paths_of(laid: Edges) -> list[Path]:
    """Return all edges laid head to tail, each in one path; a ring begins with its first edge."""
    heads = laid.point_mm[laid.starts[:-1]]
    tails = laid.point_mm[laid.starts[1:] - 1]
    follows = np.linalg.norm(tails[:, None] - heads[None], axis=2) < SAME_MM
    np.fill_diagonal(follows, False)
    left = list(range(len(heads)))
    paths = []
    while left:
        open_heads = [k for k in left if not follows[left, k].any()]
        chain = [(open_heads or left)[0]]
        left.remove(chain[0])
        while True:
            after = [k for k in left if follows[chain[-1], k]]
            if not after:
                break
            chain.append(after[0])
            left.remove(after[0])
        lengths = laid.length_mm[chain]
        paths.append(Path(laid, tuple(chain), np.cumsum(lengths) - lengths, float(lengths.sum())))
    return paths


@dataclass(frozen=True, kw_only=True)
class Mark:
    """Something to be found on a piece, and where a path passes it. [mm]"""

    name: str
    along_mm: float


def marks_on(built: Built, seam: Seam, sides: tuple[Side, ...], path: Path, move: RigidMove) -> list[Mark]:
    """Return the marks along a path of a seam's edges; ``sides`` are the edges' own, in their order."""
    lines = _lines_at_nodes(built.layout)
    found = []
    for k, before in zip(path.edges, path.before_mm, strict=True):
        side = sides[k]
        length = path.laid.length_mm[k]
        head = path.laid.point_mm[path.laid.starts[k]]
        ends = side.chain.uv[[0, -1]]
        if np.linalg.norm(move.points(side.chain.point_mm[0]) - head) > SAME_MM:
            ends = ends[::-1]  # the edge runs the other way
        for uv, at in zip(ends, (before, before + length), strict=True):
            for line in sorted(lines.get(_node(side.chain.grid, uv), ())):
                name = _name(line, side.chain.grid)
                if name:
                    found.append(Mark(name=name, along_mm=float(at)))
    points, along = path.samples
    found += [Mark(name="centreline", along_mm=s) for s in _crossings(points[:, 1], along)]
    if seam.post is not None:
        found += _post_faces(built, seam, sides[path.edges[0]], points, along, move)
    unique = {(mark.name, round(mark.along_mm, 3)): mark for mark in found}
    return sorted(unique.values(), key=lambda mark: mark.along_mm)


def way_along(path: Path, at_mm: float) -> tuple[str, str]:
    """Return in words where a path goes from a place on it, and where it comes from."""
    near = np.clip(np.array([at_mm - 15.0, at_mm + 15.0]), 0.0, path.length_mm)
    run = np.diff(path.at(near)[0], axis=0)[0]
    axis = int(np.abs(run).argmax())
    plus, minus = WAYS[axis]
    return (plus, minus) if run[axis] > 0 else (minus, plus)


def _crossings(values, along):
    """Return the lengths at which values change their sign."""
    at = np.nonzero((values[:-1] * values[1:] < 0) | ((values[:-1] == 0) & (along[:-1] > 0)))[0]
    share = values[at] / np.where(values[at] == values[at + 1], 1.0, values[at] - values[at + 1])
    return [float(s) for s in along[at] + share * (along[at + 1] - along[at])]


def _post_faces(built, seam, side, points, along, move):
    """Return where a path passes the faces of the seam's own post."""
    ends = built.ends[seam.post]
    is_body = side.cell.carrier == seam.pieces[0] == "body"
    s = ends.s_lower[0] if is_body else ends.s_upper[0]
    axis, _, w, d = (x[0] for x in ends.line.frame(np.array([s])))
    on_side = side.chain.grid.kind == "side"
    direction = w if on_side else d
    half = (ends.line.post.width_mm if on_side else ends.line.post.depth_mm) / 2
    place = (move.inverse().points(points) - axis) @ direction
    faces = (("front", "rear"), ("inner", "outer"))[not on_side]
    toward = direction[0] if on_side else direction[1] * np.sign(axis[1])
    if toward < 0:
        faces = faces[::-1]
    return [
        Mark(name=f"{face} face of the {seam.post[0]}-post", along_mm=at)
        for face, off in zip(faces, (-half, half), strict=True)
        for at in _crossings(place - off, along)
    ]


def _node(grid, uv):
    return grid.name, *np.round(uv, 8).tolist()


@lru_cache(maxsize=8)
def _lines_at_nodes(layout: Layout):
    """Return the names of all lines that end at every node."""
    lines: dict[tuple, set[str]] = {}
    ends = np.round([chain.uv[[0, -1]] for chain in layout.chains], 8).tolist()
    for chain, both in zip(layout.chains, ends, strict=True):
        for uv in both:
            lines.setdefault((chain.grid.name, *uv), set()).add(chain.line)
    return lines


def _name(line, grid):
    if line.startswith("opening "):
        return f"edge of the {line.removeprefix('opening ')} opening"
    if line.startswith("border "):
        return _BORDERS.get((grid.kind, line.split()[1]))
    return {"lower": END_MARK, "upper": END_MARK, "middle": "centreline"}.get(line)
