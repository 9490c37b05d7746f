"""What the exported pieces say of their seams: length, gap, step and angles.

Imports :mod:`blind_reader`, :mod:`blind_posts`, numpy and scipy only.  A seam
lies across a part that was cut out (a slug, a trimming): its first side is the
edges of one piece that border that part, its second the edges of the other
piece that do, carried to where the other piece goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from blind_posts import BlindPost, unit
from blind_reader import Border, Edge, Face, Move, dot, move_between

SPACING_MM, FEWEST = 12.0, 4


@dataclass(eq=False)
class Side:
    """An edge and the face that it borders, both in stock place."""

    edge: Edge
    face: Face

    @cached_property
    def middle(self):
        """The edge's middle."""
        return self.edge.points(self.edge.at_length(0.5 * self.edge.length_mm))


@dataclass(eq=False)
class BlindSeam:
    """One seam, recovered: stations in arrays, ``nan`` where nothing faces."""

    edge_mm: float
    over_post_mm: float
    stretch_mm: np.ndarray  # of the edge that each station stands for
    at_mm: np.ndarray
    gap_mm: np.ndarray
    step_mm: np.ndarray
    apart_mm: np.ndarray
    angle_first_deg: np.ndarray
    angle_second_deg: np.ndarray

    @property
    def length_mm(self):
        """The bead."""
        return self.edge_mm - self.over_post_mm

    @property
    def faces(self):
        """Where something faces."""
        return np.isfinite(self.gap_mm)

    @property
    def facing_mm(self):
        """How much of the edge has an edge in front of it."""
        return float(self.stretch_mm[self.faces].sum())

    def spread(self, what):
        """Return least, mean by length, and greatest of ``gap`` or ``step``."""
        values = getattr(self, f"{what}_mm")[self.faces]
        if not len(values):
            return None
        weights = self.stretch_mm[self.faces]
        return {"min": values.min(), "mean": float(values @ weights / weights.sum()), "max": values.max()}


def stations_of(edge):
    """Return places in the middles of equal stretches, at most 12 mm and at least four, and the stretch."""
    count = max(FEWEST, int(np.ceil(edge.length_mm / SPACING_MM - 1e-7)))
    return edge.at_length((np.arange(count) + 0.5) * edge.length_mm / count), edge.length_mm / count


def recovered(pairs, over_post=lambda edge: 0.0):
    """Return the seam of pairs (first side, its move, facing sides, their move)."""
    at, gap, step, apart, one, other, stretch = [], [], [], [], [], [], []
    edge_mm = over_mm = 0.0
    for first, first_move, seconds, second_move in pairs:
        edge = first.edge
        edge_mm += edge.length_mm
        over_mm += over_post(edge)
        t, each = stations_of(edge)
        here = edge.points(t)
        p, tangent = first_move.points(here), first_move.vectors(edge.directions(t))
        n1 = first_move.vectors(first.face.outward(here))
        q, n2 = _facing(p, tangent, seconds, second_move)
        r = q - p
        n = n1 + n2
        n = unit(n - dot(n, tangent)[:, None] * tangent)
        b = np.cross(tangent, n)
        gaps = dot(r, b)
        away = unit(r) * np.where(gaps < 0, -1.0, 1.0)[:, None]
        at.append(p)
        gap.append(gaps)
        step.append(dot(r, n))
        apart.append(np.linalg.norm(r, axis=1))
        one.append(-np.degrees(np.arctan2(dot(away, n1), dot(away, np.cross(tangent, n1)))))
        other.append(-np.degrees(np.arctan2(-dot(away, n2), dot(away, np.cross(tangent, n2)))))
        stretch.append(np.full(len(t), each))
    return BlindSeam(edge_mm, over_mm, *map(np.concatenate, (stretch, at, gap, step, apart, one, other)))


def _facing(points, tangents, seconds, move):
    """Return the nearest crossing with each station's normal plane, and the outward normal there."""
    best = np.full(len(points), np.inf)
    at, normal = np.full((len(points), 3), np.nan), np.full((len(points), 3), np.nan)
    for side in seconds:
        edge = side.edge.moved(move)
        plane, t = edge.crossings(points, tangents)
        if not len(plane):
            continue
        q = edge.points(t)
        n = move.vectors(side.face.outward(move.back(q)))
        far = np.linalg.norm(q - points[plane], axis=1)
        for k in np.argsort(-far):  # the nearest last
            if far[k] < best[plane[k]]:
                best[plane[k]], at[plane[k]], normal[plane[k]] = far[k], q[k], n[k]
    return at, normal


class BlindCar:
    """Stock and chopped parts of one plan, and everything recovered from them."""

    def __init__(self, stock, chopped):
        self.stock, self.chopped = stock, chopped
        self._moves, self._seams = {}, {}

    def move(self, part) -> Move:
        """Return the rigid move of a part."""
        if part not in self._moves:
            self._moves[part] = move_between(self.stock[part].sample_mm(), self.chopped[part].sample_mm())
        return self._moves[part]

    @cached_property
    def posts(self):
        """Every post that is cut, by name and side."""
        names = [n[5:-5] for n in self.stock if n.startswith("post ") and n.endswith(" slug")]
        return {n: BlindPost(n, self.stock, self.chopped) for n in names}

    # -- finding edges

    @cached_property
    def upper_pieces(self):
        """Names of the pieces of skin that move: roof, uppers and strips of shifted posts, window panel."""
        return [
            n
            for n in self.stock
            if n in ("roof", "window panel") or n.endswith((" upper", " strip")) and not n.startswith("post ")
        ]

    @cached_property
    def slug_faces(self):
        """Faces of the slugs that border a moving piece, and those that only border the window's trimming."""
        slugs = [f for n, p in self.stock.items() if n.startswith("slug ") for f in p.faces]
        trimming = self.stock.get("trimming rear window")
        meeting = [f for f in slugs if any(self.sides(n, [f]) for n in self.upper_pieces)]
        rest = [f for f in slugs if f not in meeting]
        return meeting, [f for f in rest if trimming and any(trimming.border.carries(e) for e in f.edges)]

    def cut_edges_mm(self, piece):
        """Return the length of a piece's edges along what was cut out from between it and another."""
        gone = [f for n, p in self.stock.items() if n.startswith("trimming ") for f in p.faces]
        return sum(
            s.edge.length_mm for s in self.sides(piece, [*gone, *self.slug_faces[0], *self.slug_faces[1]])
        )

    def sides(self, piece, faces, *, outer_loop=False):
        """Return the edges of a piece that border some faces of other parts, grid by grid."""
        found = []
        for grid in {f.grid for f in faces}:
            border = Border([e for f in faces if f.grid == grid for e in f.edges])
            for face in self.stock[piece].faces:
                if face.grid == grid:
                    edges = face.loops[0] if outer_loop else face.edges
                    found += [Side(e, face) for e in edges if border.carries(e)]
        return found

    def seam(self, name, kind, pieces):
        """Return the seam that a report calls by this name, between these pieces."""
        if name not in self._seams:
            self._seams[name] = self._recovered_seam(name, kind, pieces)
        return self._seams[name]

    def _recovered_seam(self, name, kind, pieces):
        if kind == "post":
            return self._post_seam(name.removesuffix(", post"), pieces)
        if kind == "skin":
            return self._skin_seam(name, pieces)
        if kind == "window":
            return self._window_seam(pieces)
        if kind == "strip":
            return self._strip_seam(name, pieces)
        raise AssertionError(f"no way to recover a {kind} seam")

    def _skin_seam(self, name, pieces):
        post, grid = name.removesuffix(" skin").rsplit(", ", 1)
        side = post.rsplit(" ", 1)[1]
        grid = f"side {side}" if grid == "side" else grid
        across = [
            f for f in self.stock[f"slug {post}"].faces if f.grid == grid and self.sides(pieces[1], [f])
        ]
        firsts, seconds = (self.sides(piece, across) for piece in pieces)
        box = self.posts[post]
        (w, d), (width, depth), centre = box.frame, box.section_mm, box.at_lower[0]
        way, half = (w, width / 2) if grid.startswith("side") else (d, depth / 2)
        moves = [self.move(piece) for piece in pieces]
        return recovered(
            [(f, moves[0], seconds, moves[1]) for f in firsts],
            over_post=lambda edge: _length_within(edge, centre, way, half),
        )

    def _window_seam(self, pieces):
        """Return the seam across the trimming; the panel's whole outer border may come to face.

        A slug that lies between the piece and the trimming, with no other
        piece beyond it, is crossed too.
        """
        trimming = self.stock["trimming rear window"]
        across = [*trimming.faces, *(self.slug_faces[1] if pieces[0] == "body" else ())]
        firsts = self.sides(pieces[0], across)
        seconds = self.sides(pieces[1], trimming.faces, outer_loop=True)
        moves = [self.move(piece) for piece in pieces]
        return recovered([(f, moves[0], seconds, moves[1]) for f in firsts])

    def _post_seam(self, post, pieces):
        box = self.posts[post]
        low, up = box.cut_edges("lower"), box.cut_edges("upper")
        still = Move(np.eye(3), np.zeros(3))
        return recovered(
            [
                (Side(low[f], box.faces["lower"][f]), still, [Side(up[f], box.faces["upper"][f])], box.move)
                for f in ("front", "inner", "rear", "outer")
            ]
        )

    def _strip_seam(self, name, pieces):
        post, between = name.rsplit(", ", 1)
        on = f"trimming {post}"
        moves = [self.move(piece) for piece in pieces]
        if between.endswith("at the gutter"):
            firsts = self._gutter(pieces[0])
            along = Border(
                [s.edge for p in (f"{post} upper", f"{post} strip") for s in self._gutter(p)]
                + self.stock[on].edges
            )
            seconds = [s for s in self._gutter("roof") if along.carries(s.edge)]
        else:
            firsts, seconds = (
                [s for s in self.sides(p, self.stock[on].faces) if not self._is_gutter(s)] for p in pieces
            )
            # Which chain of the one meets which of the other: those that end up nearest to each other.
            firsts, seconds = _nearest_chains(firsts, moves[0], seconds, moves[1])
        return recovered([(f, moves[0], seconds, moves[1]) for f in firsts])

    @cached_property
    def _roof_sheet(self):
        return Border([e for f in self.stock["roof"].faces if f.grid == "roof" for e in f.loops[0]])

    def _is_gutter(self, side):
        return self._roof_sheet.carries(side.edge)

    def _gutter(self, piece):
        """Return a piece's edges along the gutter that no other face of its own shares."""
        if piece != "roof":
            return [
                Side(e, f) for f in self.stock[piece].faces for e in f.edges if self._roof_sheet.carries(e)
            ]
        others = Border([e for f in self.stock["roof"].faces if f.grid != "roof" for e in f.edges])
        top = [f for f in self.stock["roof"].faces if f.grid == "roof"]
        return [Side(e, f) for f in top for e in f.loops[0] if not others.carries(e)]


def _nearest_chains(firsts, first_move, seconds, second_move):
    """Return of two sets of edges, chained where they touch, the two chains that come to lie nearest."""
    best = None
    for a in _chains(firsts):
        for b in _chains(seconds):
            here = first_move.points(np.array([s.middle for s in a])).mean(axis=0)
            there = second_move.points(np.array([s.middle for s in b])).mean(axis=0)
            far = np.linalg.norm(here - there)
            if best is None or far < best[0]:
                best = far, a, b
    return best[1:]


def _chains(sides):
    """Return edges grouped where their ends touch."""
    groups = []
    for side in sides:
        touching = [
            g
            for g in groups
            if any(np.linalg.norm(p - q) < 1e-3 for s in g for p in s.edge.ends_mm for q in side.edge.ends_mm)
        ]
        groups = [g for g in groups if g not in touching] + [[side, *(s for g in touching for s in g)]]
    return groups


def _length_within(edge, centre, way, half):
    """Return how much of an edge lies no further than ``half`` from a centre along a direction."""
    at = edge.dense
    off = np.abs((edge.points(at) - centre) @ way) - half
    ends = [0.0]
    for k in np.nonzero((off[:-1] < 0) != (off[1:] < 0))[0]:
        lo, hi = at[k], at[k + 1]
        for _ in range(50):
            mid = (lo + hi) / 2
            inside = abs((edge.points(mid) - centre) @ way) < half
            lo, hi = (mid, hi) if inside == (off[k] < 0) else (lo, mid)
        ends.append(float(edge.along_mm(hi)))
    ends.append(edge.length_mm)
    total = 0.0
    for a, b in zip(ends, ends[1:], strict=False):
        p = edge.points(edge.at_length((a + b) / 2))
        if abs((p - centre) @ way) < half:
            total += b - a
    return total
