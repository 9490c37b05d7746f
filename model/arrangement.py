"""Lines in a plane that cross and touch, parted at their nodes: the chains between, the regions they bound.

Lines are (name, (n, 2)) in a grid's (u, v).  Nothing here knows what they stand for.
"""

from __future__ import annotations

import numpy as np
import shapely

SAME_UV = 1e-12  # nearer than this are two places one but for rounding


def noded(lines):
    """Return the chains between nodes, the line each belongs to, and the polygons they bound."""
    rows, owner = (
        np.concatenate([uv for _, uv in lines]),
        np.repeat(range(len(lines)), [len(uv) for _, uv in lines]),
    )
    pieces = shapely.get_parts(
        shapely.node(shapely.multilinestrings(shapely.linestrings(rows, indices=owner)))
    )
    flat, index = shapely.get_coordinates(pieces, return_index=True)
    doubled = _doubled_samples(flat, index)
    if doubled.any():
        flat, index = flat[~doubled], index[~doubled]
        pieces = shapely.linestrings(flat, indices=index)
    coordinates = parted(flat, np.nonzero(np.diff(index))[0] + 1)
    if any(_is_a_point(uv) for uv in coordinates):
        coordinates = _without_points(coordinates)
        pieces = [shapely.LineString(uv) for uv in coordinates]
    return coordinates, _tags(coordinates, lines), shapely.get_parts(shapely.polygonize(pieces))


def parted(rows, limits) -> list[np.ndarray]:
    """Return the stretches of an array between limits, as ``np.split`` does, many times faster."""
    ends = [0, *limits.tolist(), len(rows)]
    return [rows[a:b] for a, b in zip(ends[:-1], ends[1:], strict=True)]


def _is_a_point(uv):
    return len(uv) == 2 and bool(np.abs(uv[1] - uv[0]).max() < SAME_UV)


def _without_points(chains):
    """Return the chains without those that are points but for rounding, the nodes at their ends made one.

    Where three lines cross in one place the three crossings differ in the last
    bit, and bound a triangle of nothing.
    """
    one = {}

    def node(uv):
        at = tuple(uv.tolist())
        while at in one:
            at = one[at]
        return at

    for uv in filter(_is_a_point, chains):
        if node(uv[0]) != node(uv[1]):
            one[node(uv[1])] = node(uv[0])
    kept = [uv.copy() for uv in chains if not _is_a_point(uv)]
    for uv in kept:
        uv[0], uv[-1] = node(uv[0]), node(uv[-1])
    return kept


def _tags(coordinates, lines):
    """Return the line every chain belongs to: the one that has the first sample after its node."""
    samples = _as_complex(np.concatenate([uv[1:-1] for _, uv in lines]))
    owner = np.repeat(np.arange(len(lines)), [len(uv) - 2 for _, uv in lines])
    found = _places_in(samples, _as_complex(np.array([uv[1] for uv in coordinates])))
    tree, tags = None, []
    for uv, place in zip(coordinates, found, strict=True):
        if place < 0 or len(uv) == 2:  # no sample of its own between its nodes
            tree = tree or shapely.STRtree([shapely.LineString(line) for _, line in lines])
            tags.append(lines[int(tree.nearest(shapely.Point((uv[0] + uv[1]) / 2)))][0])
        else:
            tags.append(lines[owner[place]][0])
    return tags


def _as_complex(uv):
    """Return (u, v) as u + iv, so that places can be sorted and looked up."""
    return np.ascontiguousarray(uv, float).view(complex)[:, 0]


def _places_in(table, wanted):
    """Return where each wanted number stands in a table, the last place if twice; −1 if nowhere."""
    at, which = _standing_in(table, wanted)
    out = np.full(len(wanted), -1)
    np.maximum.at(out, which, at)
    return out


def _standing_in(table, wanted):
    """Return every place of a table that holds a wanted number, and which one; each (n,).

    The wanted are few: they are put in order, not the table.
    """
    numbers, which = np.unique(wanted, return_inverse=True)
    found = np.minimum(numbers.searchsorted(table), len(numbers) - 1)
    at = np.nonzero(numbers[found] == table)[0]
    holders = np.argsort(which, kind="stable")
    first = which[holders].searchsorted(np.arange(len(numbers) + 1))
    count = np.diff(first)[found[at]]
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(at, count), holders[np.repeat(first[found[at]], count) + within]


def _doubled_samples(flat, index):
    """Return which samples of the chains lie on the node beside them, but for rounding.

    A line crossed at one of its own samples gets a node there that may differ
    in the last bit; between the two there is no direction.
    """
    same = np.diff(index) == 0
    close = same & (np.abs(np.diff(flat, axis=0)).max(axis=1) < SAME_UV)
    is_end = np.concatenate([[True], ~same]) | np.concatenate([~same, [True]])
    after, before = np.append(False, close), np.append(close, False)
    return (after | before) & ~is_end


def beside(chains, polygons) -> list[list[int | None]]:
    """Return [left, right] of every chain: the numbers of the polygons beside it, None where there is none.

    Of noded lines no two segments share their middle, so the middle of a
    chain's first segment finds it again in the rings of both polygons beside it.
    """
    rings, of_polygon = shapely.get_rings(polygons, return_index=True)
    flat, of_ring = shapely.get_coordinates(rings, return_index=True)
    same = np.diff(of_ring) == 0
    turned = np.where(same, flat[:-1, 0] * flat[1:, 1] - flat[1:, 0] * flat[:-1, 1], 0.0)
    area = np.bincount(of_ring[:-1], turned, len(rings))
    is_outer = np.diff(of_polygon, prepend=-1) > 0
    has_inside_left = (area > 0) == is_outer
    segments = np.nonzero(same)[0]
    middles = _as_complex(flat[segments] + flat[segments + 1])
    starts = _as_complex(flat[segments])
    first = np.array([uv[:2] for uv in chains])
    wanted, begin = _as_complex(first[:, 0] + first[:, 1]), _as_complex(first[:, 0])
    at, chain = _standing_in(middles, wanted)
    ring = of_ring[segments[at]]
    is_right = (starts[at] == begin[chain]) != has_inside_left[ring]
    sides: list[list[int | None]] = [[None, None] for _ in chains]
    for k, right, polygon in zip(chain.tolist(), is_right.tolist(), of_polygon[ring].tolist(), strict=True):
        sides[k][right] = polygon
    return sides
