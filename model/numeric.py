"""Small numerical tools: spline pieces as plain polynomials, row-by-row vectors."""

from __future__ import annotations

from math import factorial

import numpy as np
from scipy.interpolate import BSpline


def power_pieces(knots, degree):
    """Return each basis spline's power coefficients in each knot span, and the breaks.

    Shape (spans, degree + 1, splines), lowest power first.
    """
    basis = BSpline(knots, np.eye(len(knots) - degree - 1), degree)
    breaks = np.unique(knots)
    taylor = [basis(breaks[:-1], nu=p) / factorial(p) for p in range(degree + 1)]
    return np.stack(taylor, axis=1), breaks


def splines_over(knots, degree):
    """Return which degree + 1 basis splines live on each knot span, shape (spans, degree + 1)."""
    first = knots.searchsorted(np.unique(knots)[:-1], side="right") - 1 - degree
    return first[:, None] + np.arange(degree + 1)


def horner(terms, x, order=0):
    """Return Σ terms[p] x^p and its first ``order`` derivatives, by Horner's rule.

    ``terms`` are lowest power first along the first axis.  Each step takes
    value and derivatives d_k to d_k x + k d_{k−1}.
    """
    out = [terms[-1]]
    for term in terms[-2::-1]:
        top = len(out) - 1
        if top < order:  # the next derivative begins
            out.append((top + 1) * out[top] if top else out[0])
        for k in range(top, 0, -1):
            ahead = out[k] * x
            ahead += k * out[k - 1] if k > 1 else out[0]
            out[k] = ahead
        ahead = out[0] * x
        ahead += term
        out[0] = ahead
    while len(out) <= order:
        out.append(np.zeros_like(out[0]))
    return out


def dot(a, b):
    """Return row-by-row dot products of two (n, 3) arrays."""
    return np.einsum("ij,ij->i", a, b)


def cross(a, b):
    """Return row-by-row cross products of two (n, 3) arrays (np.cross is several times slower)."""
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )


def cross_of_two(a, b):
    """Return the cross product of two (3,) vectors."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


def unit(a):
    """Return the rows of an (n, 3) array at length one."""
    return a / norms(a)[:, None]


def norms(a):
    """Return the lengths of the rows of an (n, 3) array (np.linalg.norm is several times slower)."""
    return np.sqrt(dot(a, a))


def refined(stops, count) -> np.ndarray:
    """Return stops with ``count`` equal steps between each two."""
    inner = stops[:-1, None] + np.diff(stops)[:, None] * np.arange(count) / count
    return np.append(inner.ravel(), stops[-1])
