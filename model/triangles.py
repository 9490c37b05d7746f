"""Triangles with values at their corners, clipped to where the values are negative."""

from __future__ import annotations

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


def share_a_point(values):
    """Return which triangles have a point where every one of ``values`` is ≤ 0.

    Parameters
    ----------
    values : list of (m, 3)
        At the corners, linear over each triangle; at least one.
    """
    number = np.broadcast_to(np.arange(len(values[0]), dtype=float)[:, None, None], (len(values[0]), 3, 1))
    out = np.zeros(len(values[0]), bool)
    out[inside_all(number, values)[:, 0, 0].round().astype(int)] = True
    return out


def area_and_moment(corners):
    """Return the area of flat triangles (m, 3, 3) and area times centre, shape (3,). [mm², mm³]"""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    size = np.linalg.norm(cross(b - a, c - a), axis=1) / 2
    return float(size.sum()), size @ (a + b + c) / 3
