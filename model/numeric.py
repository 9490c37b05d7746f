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


def powers(x, degree, derivative=0):
    """Return x⁰ … x^degree, or their derivative, shape (n, degree + 1)."""
    out = np.zeros((len(x), degree + 1))
    if derivative <= degree:
        out[:, derivative] = factorial(derivative)
    for p in range(derivative + 1, degree + 1):
        np.multiply(out[:, p - 1], x, out=out[:, p])
        if derivative:
            out[:, p] *= p / (p - derivative)
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


def unit(a):
    """Return the rows of an (n, 3) array at length one."""
    return a / np.linalg.norm(a, axis=1, keepdims=True)
