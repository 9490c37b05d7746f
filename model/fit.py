"""How two edges meet: gap and step along a seam, taken out of the moved geometry.

At a place on the first edge let T be its direction with the metal on the
left, seen from outside; the *facing point* is where the second edge crosses
the plane square to T there (the nearest such crossing).  N is the mean of the
two skins' normals, B = T × N points out of the first piece's metal, and r
runs to the facing point:

    gap = r·B  (negative: overlap)      step = r·N  (positive: the second stands proud)

The angle each skin makes with r is positive where the skin, carried on
straight, passes outside the other edge: a fair arc reads equal angles and no
step.  Read from the other side, T turns round, r and B change sign and N
stays: the gap stays, the step changes sign, the angles change places.

Places are the middles of equal stretches of the edge, so that none lies on an
end.  Between samples edges are cubic splines through them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .edges import Edge, Edges
from .layout import Cell, Chain
from .moves import RigidMove
from .numeric import cross, dot, unit

SPACING_MM = 12.0  # greatest length one station stands for
LEAST_STATIONS = 4
END_TOLERANCE_MM = 0.02  # an edge that stops this short still counts as facing


def edge_of(chain: Chain, cell: Cell, move: RigidMove) -> Edge:
    """Return a chain as the edge of the piece on one side of it, moved."""
    metal_is_left = (chain.left is cell) == (chain.grid.outward > 0)
    step = 1 if metal_is_left else -1
    point, normal = chain.smooth
    return Edge(move.points(point[::step]), move.vectors(normal[::step]))


@dataclass(frozen=True, eq=False)
class Facing:
    """Edges of one piece, and those of another that may face them."""

    first: tuple[Edge, ...]
    second: tuple[Edge, ...]


@dataclass(frozen=True, eq=False)
class Meeting:
    """Gap, step and angles at the places along the first edges of a :class:`Facing`; each (n,).

    ``facing_mm`` is the facing point.  Where no
    edge faces a place, ``faces`` is False and the numbers are nan.
    ``edge`` is the index of the edge a place lies on, ``along_mm`` its length
    from the start of the first edge, one after another, and ``weight_mm`` the
    length it stands for.
    """

    at_mm: np.ndarray  # (n, 3)
    edge: np.ndarray
    along_mm: np.ndarray
    weight_mm: np.ndarray
    faces: np.ndarray
    gap_mm: np.ndarray
    step_mm: np.ndarray
    angle_first_deg: np.ndarray
    angle_second_deg: np.ndarray
    facing_mm: np.ndarray  # (n, 3)
    edge_along_mm: tuple[np.ndarray, ...]  # at the samples of every first edge, from its own start

    @property
    def length_mm(self) -> float:
        """Length of the first edges together."""
        return float(sum(along[-1] for along in self.edge_along_mm))


def meetings(facings: Sequence[Facing], spacing_mm: float = SPACING_MM) -> list[Meeting]:
    """Return how the second edges of every pair face the places along its first ones."""
    return joined_meetings([[facing] for facing in facings], spacing_mm)


def joined_meetings(groups: Sequence[Sequence[Facing]], spacing_mm: float = SPACING_MM) -> list[Meeting]:
    """Return one meeting for each group of pairs: their first edges one after another.

    A place is faced only by the second edges of its own pair.
    """
    facings = [facing for group in groups for facing in group]
    edges = list({id(e): e for f in facings for e in (*f.first, *f.second)}.values())
    if not edges:
        return []
    index = {id(edge): i for i, edge in enumerate(edges)}
    laid = Edges(edges)
    firsts = [np.array([index[id(e)] for e in f.first]) for f in facings]
    seconds = [np.array([index[id(e)] for e in f.second], int) for f in facings]
    counts = station_counts(laid, spacing_mm)
    own = np.concatenate(firsts)
    edge, along, weight = stations(laid, own, counts)
    point, tangent, normal = laid.at(edge, along)
    limits = np.cumsum([0] + [counts[first].sum() for first in firsts])
    crossings = _crossings(laid, seconds, limits, point, tangent)
    facing, facing_normal = _facing(laid, _nearest(*crossings), point, tangent)
    numbers = (*read_across(point, tangent, normal, facing, facing_normal), facing)
    faces = ~np.isnan(numbers[0])
    lengths, samples = laid.length_mm[own], laid.starts.tolist()
    before = np.cumsum(lengths) - lengths  # of all edges, laid end to end
    of = np.repeat(np.arange(len(own)), counts[own])
    ends = along + before[of]
    firsts_before = np.cumsum([0] + [len(first) for first in firsts]).tolist()
    limits, out, k = limits.tolist(), [], 0
    for group in groups:
        e, a, k = firsts_before[k], limits[k], k + len(group)
        f, b = firsts_before[k], limits[k]
        out.append(
            Meeting(
                point[a:b],
                of[a:b] - e,
                ends[a:b] - (before[e] if f > e else 0.0),
                weight[a:b],
                faces[a:b],
                *(x[a:b] for x in numbers),
                tuple(laid.along_mm[samples[i] : samples[i + 1]] for i in own[e:f].tolist()),
            )
        )
    return out


def station_counts(laid: Edges, spacing_mm: float = SPACING_MM) -> np.ndarray:
    """Return into how many equal stretches each edge is divided, (m,) int."""
    return np.maximum(LEAST_STATIONS, np.ceil(laid.length_mm / spacing_mm - 1e-9)).astype(int)


def stations(laid: Edges, own, counts):
    """Return the places on some of the edges, one edge after another.

    The edge of each, its length from the edge's start and the length it stands for, each (n,).
    """
    edge = np.repeat(own, counts[own])
    weight = (laid.length_mm / counts)[edge]
    along = (np.concatenate([np.arange(n) for n in counts[own]]) + 0.5) * weight
    return edge, along, weight


def nearest_chords(laid: Edges, point, tangent):
    """Return the nearest crossings of all edges laid with the planes square to places on another edge.

    Place, first sample of the chord and part of the chord, each (m,); a place that nothing faces is left out.
    """
    return _nearest(*_crossings(laid, [np.arange(len(laid.length_mm))], [0, len(point)], point, tangent))


def read_on_chords(laid: Edges, chords, point, tangent, normal):
    """Return gap, step and both angles, each (n,), at places faced by known chords of the edges laid.

    Parameters
    ----------
    chords : (place, segment, part)
        As from :func:`nearest_chords`; the places may have moved a little since.
    point, tangent, normal : (n, 3)
        The places, as :func:`meetings` has them on its first edges.
    """
    return read_across(point, tangent, normal, *_facing(laid, chords, point, tangent))


def turn_deg(angle_first_deg, angle_second_deg):
    """Return how far the skin turns from one edge to the other, + over a crown, − into a hollow. [deg]

    It is the sum of the two angles, whatever the gap and the step between them.
    """
    return (np.asarray(angle_first_deg) + np.asarray(angle_second_deg) + 180.0) % 360.0 - 180.0


def _nearest(place, segment, part, far):
    """Return place, segment and part of the nearest crossing at every place that has one."""
    order = np.lexsort((far, place))
    place = place[order]
    is_nearest = np.diff(place, prepend=-1) > 0
    nearest = order[is_nearest]
    return place[is_nearest], segment[nearest], part[nearest]


def _facing(laid, chords, point, tangent):
    """Return the facing point at every place, and the normal there, each (n, 3); nan for none."""
    place, segment, part = chords
    facing, facing_normal = np.full((2, len(point), 3), np.nan)
    value = laid.value_and_slope(*_on_plane(laid, segment, part, point[place], tangent[place]))[0]
    facing[place], facing_normal[place] = value[:, :3], value[:, 3:]
    return facing, facing_normal


def faced_places(laid: Edges, others, point_mm, tangent):
    """Return where edges face places along others: index of the edge and length along it, each (n,).

    Parameters
    ----------
    others : (k,) int
        The edges that may face.
    point_mm, tangent : (n, 3)
        The places, and the direction of their own edge there.

    Returns
    -------
    arrays of int and float, shape (n,)
        −1 and nan where none faces.
    """
    crossings = _crossings(laid, [others], [0, len(point_mm)], point_mm, tangent)
    place, segment, part = _nearest(*crossings)
    edge, along = np.full(len(point_mm), -1), np.full(len(point_mm), np.nan)
    edge[place], along[place] = _on_plane(laid, segment, part, point_mm[place], tangent[place])
    return edge, along


def _crossings(laid, seconds, limits, point, tangent):
    """Return where chords of edges cross the planes square to others.

    Heights above the planes are worked out pair by pair, for every place at every sample, and laid end to
    end; what is asked of them then is asked once.

    Parameters
    ----------
    seconds : sequence of (k,) int
        The edges of every pair that may face its places.
    limits : (m + 1,) int
        Pair i has the places ``limits[i]`` to ``limits[i + 1] − 1``.

    Returns
    -------
    place, first sample of the chord, part of the chord, and distance to the place, each (n,)
    """
    others = np.concatenate(seconds)
    if not len(others):
        return np.empty(0, int), np.empty(0, int), np.empty(0), np.empty(0)
    limits = np.asarray(limits)
    counts = laid.starts[others + 1] - laid.starts[others]
    ends = np.cumsum(counts)
    sample = np.arange(ends[-1]) - np.repeat(ends - counts - laid.starts[others], counts)
    begins_edge, ends_edge = np.zeros((2, len(sample)), bool)
    begins_edge[ends - counts] = ends_edge[ends - 1] = True
    first = np.append(0, ends)[np.cumsum([0] + [len(edges) for edges in seconds])]  # samples of each pair
    width, places = np.diff(first), np.diff(limits)
    base = np.append(0, np.cumsum(width * places))
    spots = np.concatenate([laid.point_mm[sample], np.ones((len(sample), 1))], axis=1)
    planes = np.concatenate([tangent, -dot(point, tangent)[:, None]], axis=1)
    heights = np.empty(base[-1])
    rows = zip(limits.tolist(), limits[1:].tolist(), first.tolist(), first[1:].tolist(), strict=False)
    for (a, b, c, d), e, f in zip(rows, base.tolist(), base[1:].tolist(), strict=False):
        np.matmul(planes[a:b], spots[c:d].T, out=heights[e:f].reshape(b - a, d - c))

    def place_and_sample(at):
        pair = base[1:].searchsorted(at, side="right")
        row, column = np.divmod(at - base[pair], width[pair])
        return limits[pair] + row, first[pair] + column

    changes = np.nonzero(heights[:-1] * heights[1:] <= 0)[0]
    place, k = place_and_sample(changes)
    is_chord = ~ends_edge[k]  # not from one edge to the next
    near = np.nonzero(np.abs(heights) < END_TOLERANCE_MM)[0]
    near_place, near_k = place_and_sample(near)
    starts_here, stops_here = begins_edge[near_k], ends_edge[near_k]
    at = np.concatenate([changes[is_chord], near[starts_here], near[stops_here] - 1])
    place = np.concatenate([place[is_chord], near_place[starts_here], near_place[stops_here]])
    segment = sample[np.concatenate([k[is_chord], near_k[starts_here], near_k[stops_here] - 1])]
    span = heights[at] - heights[at + 1]
    part = np.clip(heights[at] / np.where(span == 0, 1.0, span), -0.5, 1.5)
    p = laid.point_mm
    r = p[segment] + part[:, None] * (p[segment + 1] - p[segment]) - point[place]
    return place, segment, part, np.sqrt(dot(r, r))


def _on_plane(laid, segment, part, point, tangent):
    """Bring places on chords onto the planes along the curve; return their edges and lengths along them."""
    edge = laid.owner[segment]
    s = laid.along_mm[segment] + part * (laid.along_mm[segment + 1] - laid.along_mm[segment])
    for _ in range(2):
        value, slope = laid.value_and_slope(edge, s)
        ahead = dot(value[:, :3] - point, tangent)
        s = s - np.clip(ahead / _not_zero(dot(slope[:, :3], tangent)), -5.0, 5.0)
    return edge, s


def _not_zero(x):
    return np.where(np.abs(x) < 1e-6, 1e-6, x)


def read_across(point, tangent, normal, facing, facing_normal):
    """Return gap, step and both angles, each (n,); nan where nothing faces."""
    r = facing - point
    with np.errstate(invalid="ignore"):
        n = normal + unit(facing_normal)
        n = unit(n - dot(n, tangent)[:, None] * tangent)
        gap, step = dot(r, cross(tangent, n)), dot(r, n)
        way = np.where(gap < 0, -1.0, 1.0)[:, None] * r
        angles = []
        for own, sign in ((normal, 1.0), (facing_normal, -1.0)):
            own = unit(own - dot(own, tangent)[:, None] * tangent)
            angles.append(-np.degrees(np.arctan2(sign * dot(way, own), dot(way, cross(tangent, own)))))
    return gap, step, *angles
