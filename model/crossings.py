"""The hole where four strips of new metal come to a crossing, and the sheet that closes it.

Where a roof is split along and across, four strips run to the crossing and
each ends there between the corners of two parts of the roof.  Every corner is
an end of two strips, so the four ends E_i, taken around, bound a hole: the
corners are the nodes and the ends the sides of a closed chain of four.

The hole is closed as every other gap is (:mod:`model.fillers`), its two edges
being the ends of two strips that lie across from each other: it begins a root
gap from either, straight on from its sheet.  Its own two ends then run beside
the ends of the other two strips.  With e₁, e₂ the directions in which two
strips leave a corner A of the roof, a root gap g from it,

    end of strip 1 starts at A + g e₂,   of strip 2 at A + g e₁,
    the new sheet at  A + g e₁ + g e₂,

a root gap from both; all four leave in the tangent planes of the same parts of
the roof and bridge the same width, so that its ends run on from the other two
strips as nearly as the parts lie: what is left is read along these seams as
along all others.

The two ends nearest to the car's centre plane are taken as edges, the forward
one first, so that a mirrored car has a mirrored sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from .edges import Edges
from .fillerruns import CORNER, Run
from .seams import STRIP, Seam

NAME = "crossing"
SAME_MM = 0.01  # corners of one part of the roof, as two seams have them
_ROUND = 4  # ends around a hole


@dataclass(frozen=True, eq=False)
class Crossing:
    """One hole: its run, and the four ends around it as (filler, end), those along the run's edges first."""

    run: Run
    around: tuple[tuple[int, int], ...]


def crossings_of(fillers) -> list[Crossing]:
    """Return every hole that is bounded by the ends of four fillers."""
    ends = [(k, end) for k, filler in enumerate(fillers) for end in (0, 1) if filler.ends[end] == CORNER]
    if len(ends) < _ROUND:
        return []
    corners = np.concatenate([_corners_mm(fillers[k].run, end) for k, end in ends])
    nodes = _nodes(corners).reshape(-1, 2)
    rings = sorted(r for r in _rings(nodes.tolist()) if len(r) == _ROUND)
    return [_crossing(fillers, [ends[k] for k in ring]) for ring in rings]


def _corners_mm(run: Run, end):
    """Return the corners of both pieces at one end of a run, (2, 3)."""
    along = np.array([run.first_mm[end], run.second_mm[end]])
    return run.laid.at(np.array([run.first, run.second]), along)[0]


def _nodes(points_mm):
    """Return a number for every point, the same for points in one place."""
    near = cKDTree(points_mm).query_ball_point(points_mm, SAME_MM)
    return np.array([min(own) for own in near])


def _rings(nodes) -> list[list[int]]:
    """Return every closed chain of ends, in order around: each node on it belongs to just two ends."""
    at: dict[int, list[int]] = {}
    for k, pair in enumerate(nodes):
        for node in pair:
            at.setdefault(node, []).append(k)
    rings, seen = [], set()
    for start in range(len(nodes)):
        ring, k, node = [], start, nodes[start][0]
        while k not in ring and k not in seen and len(at[node]) == 2:
            ring.append(k)
            node = nodes[k][1] if nodes[k][0] == node else nodes[k][0]
            k = next((other for other in at[node] if other != k), k)
        if k == start and len(ring) > 2 and len(at[node]) == 2:
            rings.append(ring)
            seen.update(ring)
    return rings


def _crossing(fillers, around) -> Crossing:
    """Return the hole inside four ends, given in order around."""
    borders = [fillers[k].border(f"u{end}") for k, end in around]
    middle = [border.point_mm.mean(axis=0) for border in borders]
    off_centre = [abs(middle[i][1]) + abs(middle[i + 2][1]) for i in (0, 1)]
    own = [i + int(off_centre[1] < off_centre[0]) for i in (0, 2)]
    own.sort(key=lambda i: middle[i][0])
    others = [i for i in range(_ROUND) if i not in own]
    laid = Edges([borders[i] for i in own])
    lengths = laid.length_mm.tolist()
    names = tuple(fillers[around[i][0]].name for i in own)
    seam = Seam(NAME, STRIP, "centre", names, (), (), ())
    across = middle[own[0]] - middle[own[1]]
    gap_mm = float(np.linalg.norm(across))
    run = Run(seam, laid, 0, 1, (0.0, lengths[0]), (lengths[1], 0.0), (CORNER, CORNER), gap_mm, 0.0)
    start = run.laid.at(np.array([0]), np.array([0.0]))[0][0]
    others.sort(key=lambda i: float(np.linalg.norm(borders[i].point_mm - start, axis=1).min()))
    return Crossing(run, tuple(around[i] for i in (*own, *others)))
