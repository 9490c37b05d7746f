"""Triangles with values at their corners, clipped to where the values are negative."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from .numeric import cross


def clipped(triangles, column):
    """Return triangles (n, 3, d) of the part of each where the value in ``column`` is ≤ 0.

    Parameters
    ----------
    triangles : (m, 3, d)
        Corners; every column is taken to be linear over a triangle.
    """
    inside = triangles[:, :, column] <= 0
    count = inside.sum(axis=1)
    out = [triangles[count == 3]]
    for alone in (True, False):  # one corner inside: a triangle; one outside: two
        some = count == (1 if alone else 2)
        if not some.any():
            continue
        turn = np.argmax(inside[some] == alone, axis=1)
        t = np.take_along_axis(triangles[some], ((turn[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
        a, b, c = t[:, 0], t[:, 1], t[:, 2]
        p, q = (a + (a[:, column] / (a[:, column] - x[:, column]))[:, None] * (x - a) for x in (b, c))
        p[:, column] = q[:, column] = 0.0
        if alone:
            out.append(np.stack([a, p, q], axis=1))
        else:
            out += [np.stack([p, b, c], axis=1), np.stack([p, c, q], axis=1)]
    return np.concatenate(out)


def inside_all(corners, values):
    """Return the triangles of the part where every one of ``values`` is ≤ 0.

    Parameters
    ----------
    corners : (m, 3, d)
    values : list of (m, 3)

    Returns
    -------
    array, shape (n, 3, d)
    """
    triangles = np.concatenate([corners, np.stack(values, axis=2)], axis=2)
    for k in range(len(values)):
        triangles = clipped(triangles, corners.shape[2] + k)
    return triangles[:, :, : corners.shape[2]]


def boxes_of(points, triangles):
    """Return least and greatest coordinates of triangles (m, 3) of points (n, 3), each (m, 3)."""
    a, b, c = (points[k] for k in triangles.T)
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def share_a_point(values):
    """Return which triangles have a point where every one of ``values`` is ≤ 0.

    Parameters
    ----------
    values : list of (m, 3)
        At the corners, linear over each triangle; at least one.
    """
    inside = [value <= 0 for value in values]
    out = _any_corner(np.logical_and.reduce(inside))
    asked = ~out
    for i in inside:
        asked &= _any_corner(i)
    for a, b in combinations(values, 2):  # where one falls as the other rises their sum tells
        asked &= _any_corner(a + b <= 0)
    asked = np.nonzero(asked)[0]
    if len(asked):
        number = np.broadcast_to(asked.astype(float)[:, None, None], (len(asked), 3, 1))
        out[inside_all(number, [value[asked] for value in values])[:, 0, 0].round().astype(int)] = True
    return out


def _any_corner(is_so):
    """Return which triangles have a corner (m, 3) where something is so."""
    return is_so[:, 0] | is_so[:, 1] | is_so[:, 2]


def volume_inside(outer, inner, outer_values, inner_values):
    """Return volume and first moment of the part of prisms where all values are ≤ 0.

    A prism stands between a triangle and the same triangle moved; each is
    cut into three tetrahedra, and each value is linear over those.

    Parameters
    ----------
    outer, inner : (m, 3, 3)
        Corners of both ends.
    outer_values, inner_values : lists of (m, 3)

    Returns
    -------
    float, array of shape (3,)
        Volume [mm³] and volume times centre. [mm⁴]
    """
    a, b = (
        np.concatenate([p, np.stack(values, axis=2)], axis=2)
        for p, values in ((outer, outer_values), (inner, inner_values))
    )
    near = (np.minimum(a[:, :, 3:].min(axis=1), b[:, :, 3:].min(axis=1)) <= 0).all(axis=1)
    a, b = a[near], b[near]  # of the other prisms every corner is out on one and the same side
    tetrahedra = np.concatenate(
        [
            np.stack([a[:, 0], a[:, 1], a[:, 2], b[:, 2]], axis=1),
            np.stack([a[:, 0], a[:, 1], b[:, 1], b[:, 2]], axis=1),
            np.stack([a[:, 0], b[:, 0], b[:, 1], b[:, 2]], axis=1),
        ]
    )
    for k in range(3, a.shape[2]):
        tetrahedra = _clipped_tetrahedra(tetrahedra, k)
    p = tetrahedra[:, :, :3]
    edges = p[:, 1:] - p[:, :1]
    size = np.abs(np.einsum("ni,ni->n", edges[:, 0], cross(edges[:, 1], edges[:, 2]))) / 6
    return float(size.sum()), size @ p.mean(axis=1)


def _clipped_tetrahedra(tetrahedra, column):
    """Return tetrahedra (n, 4, d) of the part of each where the value in ``column`` is ≤ 0."""
    inside = tetrahedra[:, :, column] <= 0
    count = inside.sum(axis=1)
    out = [tetrahedra[count == 4]]
    for kept in (1, 2, 3):
        some = count == kept
        if not some.any():
            continue
        order = np.argsort(~inside[some], axis=1, kind="stable")  # corners inside first
        t = np.take_along_axis(tetrahedra[some], order[:, :, None], axis=1)

        def between(i, j, t=t):
            a, b = t[:, i], t[:, j]
            p = a + (a[:, column] / (a[:, column] - b[:, column]))[:, None] * (b - a)
            p[:, column] = 0.0
            return p

        if kept == 1:
            out.append(np.stack([t[:, 0], between(0, 1), between(0, 2), between(0, 3)], axis=1))
            continue
        if kept == 2:
            ends = (t[:, 0], between(0, 2), between(0, 3)), (t[:, 1], between(1, 2), between(1, 3))
        else:
            ends = (t[:, 0], t[:, 1], t[:, 2]), (between(0, 3), between(1, 3), between(2, 3))
        (a0, a1, a2), (b0, b1, b2) = ends
        out += [
            np.stack(corners, axis=1) for corners in ((a0, a1, a2, b2), (a0, a1, b1, b2), (a0, b0, b1, b2))
        ]
    return np.concatenate(out)
