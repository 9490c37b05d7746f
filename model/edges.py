"""Edges of pieces as smooth curves through samples: lengths, points and directions along them.

Many short edges are worked out at once, laid end to end in one array: a
picture waits for it at every move of a slider.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import solve_banded

from .numeric import cross, dot, unit

SAME_PLACE_MM = 0.02  # ends of edges nearer than this are one
ONE_LINE_DEG = 20.0  # between chords at a joint; a smooth corner's chords turn by less, a crease by more
HARD_BY = 0.1  # of the chord beside it; see layingout.SHORT_END


@dataclass(frozen=True, eq=False)
class Edge:
    """A smooth edge of a piece in its place, metal on the left seen from outside.

    Attributes
    ----------
    point_mm, normal : (n, 3)
        Samples along it; n ≥ 2.
    """

    point_mm: np.ndarray
    normal: np.ndarray


class Edges:
    """Edges end to end; between its samples each is its own not-a-knot cubic spline over its length.

    Attributes
    ----------
    point_mm, normal : (N, 3)
        Samples of all edges.
    starts : (m + 1,) int
        Edge k has the samples ``starts[k]`` to ``starts[k + 1] − 1``.
    owner : (N,) int
        The edge of every sample.
    along_mm : (N,)
        Length from the start of its own edge at every sample.
    length_mm : (m,)
        Whole lengths.
    """

    def __init__(self, edges: Sequence[Edge]):
        self.point_mm = np.concatenate([edge.point_mm for edge in edges])
        self.normal = np.concatenate([edge.normal for edge in edges])
        counts = np.array([len(edge.point_mm) for edge in edges])
        self.starts = np.concatenate([[0], np.cumsum(counts)])
        self.owner = np.repeat(np.arange(len(edges)), counts)
        self.along_mm = along_edges(self.point_mm, self.starts)
        self.length_mm = self.along_mm[self.starts[1:] - 1]

    @cached_property
    def _places(self):
        """``along_mm`` with a metre between edges, rising throughout; and where each edge begins."""
        base = np.concatenate([[0.0], np.cumsum(self.length_mm + 1000.0)[:-1]])
        return self.along_mm + base[self.owner], base

    @cached_property
    def _coefficients(self):
        """Cubic coefficients (4, N − 1, 6) of points and normals, highest power first."""
        return cubic_pieces(self.along_mm, np.concatenate([self.point_mm, self.normal], axis=1), self.starts)

    def value_and_slope(self, edge, along_mm):
        """Return points with normals, and their derivatives, each (n, 6), at lengths along edges (n,)."""
        places, base = self._places
        i = np.searchsorted(places, along_mm + base[edge], side="right") - 1
        i = np.clip(i, self.starts[edge], self.starts[edge + 1] - 2)
        x = (along_mm - self.along_mm[i])[:, None]
        a, b, c, d = (k[i] for k in self._coefficients)
        return ((a * x + b) * x + c) * x + d, (3 * a * x + 2 * b) * x + c

    def at(self, edge, along_mm):
        """Return points, unit directions and unit normals, each (n, 3), at lengths along edges (n,)."""
        value, slope = self.value_and_slope(edge, along_mm)
        return value[:, :3], unit(slope[:, :3]), unit(value[:, 3:])


def along_edges(points, starts) -> np.ndarray:
    """Return the length from the start of its own edge at every sample, to fourth order. [mm]

    Chords c, each lengthened to c (1 + (κ c)² / 24) for the curvature κ of the
    circles through three samples; an edge of two samples is straight.
    ``starts`` as in :class:`Edges`.
    """
    step = np.diff(points, axis=0)
    square = dot(step, step)
    chord = np.sqrt(square)
    last = starts[1:-1] - 1  # chords from one edge to the next
    across, outer = cross(step[:-1], step[1:]), points[2:] - points[:-2]
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = 4 * dot(across, across) / (square[:-1] * square[1:] * dot(outer, outer))
    before, after = np.concatenate([[np.nan], bend]), np.concatenate([bend, [np.nan]])  # κ² at chord ends
    before[starts[:-1]] = np.nan
    after[starts[1:] - 2] = np.nan
    ends = np.stack([before, after])
    ends = np.where(np.isnan(ends), ends[::-1], ends)
    arc = chord * (1 + np.nan_to_num(ends.mean(axis=0)) * square / 24)
    arc[last] = 0.0
    total = np.concatenate([[0.0], np.cumsum(arc)])
    return total - np.repeat(total[starts[:-1]], np.diff(starts))


def cubic_pieces(along, values, starts) -> np.ndarray:
    """Return coefficients (4, N − 1, d), highest power first, of not-a-knot cubic splines end to end.

    For each edge the same as ``scipy.interpolate.CubicSpline(along, values).c``
    (a test holds the two together); two samples make a straight line, three a
    parabola.  The slopes of all edges solve one tridiagonal system, in which
    no row reaches over to another edge.  Pieces from one edge to the next
    mean nothing.
    """
    first, final = starts[:-1], starts[1:] - 1
    counts = np.diff(starts)
    h = np.diff(along)[:, None].copy()
    h[final[:-1]] = 1.0
    chord = np.diff(values, axis=0) / h
    below, diagonal, above = np.zeros(len(along)), np.ones(len(along)), np.zeros(len(along))
    right = np.empty_like(values)
    many = counts > 3
    inner = np.ones(len(along), bool)
    inner[first] = inner[final] = False
    inner &= np.repeat(many, counts)
    i = np.nonzero(inner)[0]
    below[i], above[i] = h[i, 0], h[i - 1, 0]
    diagonal[i] = 2 * (h[i - 1, 0] + h[i, 0])
    right[i] = 3 * (h[i] * chord[i - 1] + h[i - 1] * chord[i])
    p, q = first[many], final[many]
    a, b = h[p] + h[p + 1], h[q - 1] + h[q - 2]
    diagonal[p], above[p], diagonal[q], below[q] = h[p + 1, 0], a[:, 0], h[q - 2, 0], b[:, 0]
    right[p] = ((h[p] + 2 * a) * h[p + 1] * chord[p] + h[p] ** 2 * chord[p + 1]) / a
    right[q] = (h[q - 1] ** 2 * chord[q - 2] + (2 * b + h[q - 1]) * h[q - 2] * chord[q - 1]) / b
    p = first[counts == 3]
    bend = (chord[p + 1] - chord[p]) / (h[p] + h[p + 1])
    right[p], right[p + 1], right[p + 2] = (
        chord[p] - bend * h[p],
        chord[p] + bend * h[p],
        chord[p + 1] + bend * h[p + 1],
    )
    p = first[counts == 2]
    right[p] = right[p + 1] = chord[p]
    bands = np.stack([np.append(0.0, above[:-1]), diagonal, np.append(below[1:], 0.0)])
    slopes = solve_banded((1, 1), bands, right, overwrite_ab=True, overwrite_b=True, check_finite=False)
    twist = (slopes[:-1] + slopes[1:] - 2 * chord) / h
    return np.stack([twist / h, (chord - slopes[:-1]) / h - twist, slopes[:-1], values[:-1]])


def joined(edges: Sequence[Edge]) -> list[tuple[Edge, bool]]:
    """Return edges that run on from each other as one, and whether each comes back to its start.

    Two run on where end and start are one point and neither the line nor the
    skin beside it breaks by more than :data:`ONE_LINE_DEG`: a corner parts them.
    """
    rest, out = list(edges), []
    while rest:
        line = [rest.pop(0)]
        for at in (-1, 0):
            while (k := _next_to(line[at], rest, at)) is not None:
                line.insert(len(line) if at else 0, rest.pop(k))
        is_loop = len(line) > 2 and _runs_on(line[-1], line[0])
        out.append((_as_one(line), is_loop))
    return out


def _next_to(edge, others, at):
    pairs = ((edge, other) if at else (other, edge) for other in others)
    return next((k for k, pair in enumerate(pairs) if _runs_on(*pair)), None)


def _runs_on(before, after):
    apart = np.linalg.norm(before.point_mm[-1] - after.point_mm[0])
    way = [unit(np.diff(ends, axis=0))[0] for ends in (before.point_mm[-2:], after.point_mm[:2])]
    least = np.cos(np.radians(ONE_LINE_DEG))
    return apart < SAME_PLACE_MM and min(way[0] @ way[1], before.normal[-1] @ after.normal[0]) > least


def _as_one(line):
    """Return edges end to end as one, without samples hard by the one before."""
    point = np.concatenate([line[0].point_mm[:1], *(edge.point_mm[1:] for edge in line)])
    normal = np.concatenate([line[0].normal[:1], *(edge.normal[1:] for edge in line)])
    chord = np.linalg.norm(np.diff(point, axis=0), axis=1)
    wide = np.maximum(np.append(chord[1:], 0.0), np.append(0.0, chord[:-1]))
    keep = np.append(True, chord > HARD_BY * wide)
    if not keep[-1]:  # the end itself stays
        keep[np.nonzero(keep)[0][-1]], keep[-1] = False, True
    return Edge(point[keep], normal[keep])


def stretch(laid: Edges, edge: int, from_mm: float, to_mm: float) -> Edge:
    """Return the part of an edge between two lengths along it, with samples at both."""
    own = slice(laid.starts[edge], laid.starts[edge + 1])
    along = laid.along_mm[own]
    inside = (along > from_mm + SAME_PLACE_MM) & (along < to_mm - SAME_PLACE_MM)
    ends = laid.at(np.array([edge, edge]), np.array([from_mm, to_mm]))
    point, normal = (
        np.concatenate([at[:1], values[own][inside], at[1:]])
        for at, values in ((ends[0], laid.point_mm), (ends[2], laid.normal))
    )
    return Edge(point, normal)
