"""A patch of new metal: a grid of points on its outside with the normals there, and the spline through them.

Frame: car.  The grid is points[i, j]; its four sides are the first and the
last row and the first and the last column, and a side may be one single point
(a wedge).  Normals point out of the metal.

The spline is a tensor product, cubic where there are four points, else of the
degree the points allow, laid through every point.  Its parameters u (with i)
and v (with j) run from 0 to 1 by the chords, averaged over all lines.  With
S(u, v) on it and subscripts for derivatives:

    first form    E = S_u · S_u,  F = S_u · S_v,  G = S_v · S_v
    area          dA = sqrt(E G − F²) du dv
    second form   (e, f, g) = −(S_uu, S_uv, S_vv) · n

so that curvature is **positive where the metal bulges outward**.  Metal that
is gauge_mm thick keeps its length, to first order, halfway through (neutral
line at half the thickness, which holds for bends wide against the gauge: the
K of a bend allowance is 1/2); that middle lies half a gauge inward, S − n t/2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from .errors import MeasureError

MOST_OFF_DEG = 15.0  # assumed: a normal further off square belongs to another sheet
POINTLIKE = 1e-9  # of the greatest S_u × S_v: less has no direction but that of rounding
INWARD = 1e-5  # of u and v: how far beside a side that is one point its normal is taken
SQUEEZED = 0.05  # assumed: at a side that is one point, or a corner of 180°, the spline's normal is not one


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """A patch of finished metal.

    Attributes
    ----------
    points_mm : array, shape (m, n, 3)
        On the outside, m and n at least 2; no two neighbouring lines the same.
    normals : array, shape (m, n, 3)
        Unit normals there, out of the metal.
    """

    points_mm: np.ndarray
    normals: np.ndarray

    def __post_init__(self):
        points, normals = (np.array(values, float) for values in (self.points_mm, self.normals))
        if points.ndim != 3 or points.shape[2] != 3 or min(points.shape[:2]) < 2:
            raise MeasureError(
                f"points_mm must be a grid (m, n, 3) with m and n at least 2; got shape {points.shape}.",
                "Give the patch as rows of points.",
            )
        if normals.shape != points.shape:
            raise MeasureError(
                f"normals must be of the shape of points_mm, {points.shape}; got {normals.shape}.",
                "Give a normal at every point.",
            )
        if not (np.isfinite(points).all() and np.isfinite(normals).all()):
            raise MeasureError("points_mm and normals must be finite; got nan or inf.", "Check the patch.")
        length = np.linalg.norm(normals, axis=2)
        if np.abs(length - 1).max() > 1e-6:
            raise MeasureError(
                f"normals must be of length 1; got {length.flat[np.abs(length - 1).argmax()]:.6g}.",
                "Divide each by its length.",
            )
        for axis in (0, 1):
            steps = np.linalg.norm(np.diff(points, axis=axis), axis=2).max(axis=1 - axis)
            if steps.min() <= 1e-9:
                raise MeasureError(
                    f"points_mm must have lines apart from one another; got lines {steps.argmin()} and "
                    f"{steps.argmin() + 1} along axis {axis} the same.",
                    "Leave one of them out.",
                )
        for name, values in (("points_mm", points), ("normals", normals)):
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @cached_property
    def spline(self) -> SheetSpline:
        """The surface through the points."""
        return spline_through(self.points_mm)

    @cached_property
    def side(self) -> int:
        """+1 where S_u × S_v points out of the metal, −1 where it points in.

        Raises
        ------
        MeasureError
            If the normals are not square to the points, or not all on one side.
        """
        spline = self.spline
        u, v = spline.u, spline.v
        square = np.cross(spline.at(u, v, 1, 0), spline.at(u, v, 0, 1))
        size = np.linalg.norm(square, axis=2)
        cosine = np.sum(square * self.normals, axis=2) / np.where(size > 0, size, 1)
        cosine = cosine[
            size > SQUEEZED * size.max()
        ]  # the others: a side that is one point, a corner of 180°
        worst = cosine[np.abs(cosine).argmin()]
        if abs(worst) < np.cos(np.radians(MOST_OFF_DEG)) or np.ptp(np.sign(cosine)):
            raise MeasureError(
                f"normals must be square to the points within {MOST_OFF_DEG:g}°, all on one side; got one "
                f"{np.degrees(np.arccos(min(abs(worst), 1.0))):.1f}° off or on the other side.",
                "Take points and normals from the same surface.",
            )
        return int(np.sign(worst))


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetSpline:
    """A tensor-product spline: coefficients (m, n, 3), knots and degree each way, data parameters."""

    coefficients: np.ndarray
    knots: tuple[np.ndarray, np.ndarray]
    degrees: tuple[int, int]
    u: np.ndarray
    v: np.ndarray

    def at(self, u, v, du=0, dv=0) -> np.ndarray:
        """Return the points, or derivatives of the orders du and dv, on the grid of u by v: (p, q, 3)."""
        along = basis(self.knots[0], self.degrees[0], u, du)
        across = basis(self.knots[1], self.degrees[1], v, dv)
        return np.tensordot(along, np.tensordot(across, self.coefficients, (1, 1)), (1, 1))

    def first_form(self, u, v):
        """Return E, F, G on the grid of u by v, each (p, q). [mm²]"""
        su, sv = self.at(u, v, 1, 0), self.at(u, v, 0, 1)
        return tuple(np.sum(a * b, axis=2) for a, b in ((su, su), (su, sv), (sv, sv)))

    def normals(self, u, v, side):
        """Return unit normals on the grid of u by v, out of the metal where ``side`` is the sheet's.

        At a side that is one point S_u × S_v is nothing; there the normal is that of a place beside it.
        """
        square = self._square(u, v)
        size = np.linalg.norm(square, axis=2, keepdims=True)
        nothing = size[..., 0] <= POINTLIKE * size.max()
        if nothing.any():
            beside = self._square(*(INWARD + (1 - 2 * INWARD) * np.asarray(at, float) for at in (u, v)))
            square = np.where(nothing[..., None], beside, square)
            size = np.linalg.norm(square, axis=2, keepdims=True)
        return square * side / size

    def _square(self, u, v):
        return np.cross(self.at(u, v, 1, 0), self.at(u, v, 0, 1))

    def second_form(self, u, v, side):
        """Return e, f, g on the grid of u by v, each (p, q), positive bulging outward. [mm]"""
        normal = self.normals(u, v, side)
        orders = ((2, 0), (1, 1), (0, 2))
        return tuple(-np.sum(self.at(u, v, *order) * normal, axis=2) for order in orders)

    @cached_property
    def area_mm2(self) -> float:
        """The surface's area, by Gauss's rule with four points each way in every knot span."""
        u, weight_u = gauss_points(np.unique(self.knots[0]))
        v, weight_v = gauss_points(np.unique(self.knots[1]))
        e, f, g = self.first_form(u, v)
        return float(weight_u @ np.sqrt(np.maximum(e * g - f * f, 0)) @ weight_v)


def spline_through(points_mm) -> SheetSpline:
    """Return the spline through a grid of points (m, n, 3)."""
    parameters, knots, degrees, coefficients = [], [], [], np.asarray(points_mm, float)
    for axis in (0, 1):
        parameters.append(_chord_parameters(points_mm, axis))
        degrees.append(min(3, len(parameters[axis]) - 1))
        line = make_interp_spline(parameters[axis], coefficients, degrees[axis], axis=axis)
        knots.append(line.t)
        coefficients = np.moveaxis(line.c, 0, axis)
    return SheetSpline(
        coefficients=coefficients,
        knots=tuple(knots),
        degrees=tuple(degrees),
        u=parameters[0],
        v=parameters[1],
    )


def basis(knots, degree, x, order=0) -> np.ndarray:
    """Return every basis spline, or its derivative of an order, at x: (len(x), splines)."""
    return BSpline(knots, np.eye(len(knots) - degree - 1), degree)(np.asarray(x, float), nu=order)


def gauss_points(breaks, count=4):
    """Return places and weights of Gauss's rule in every span between breaks, so many each."""
    place, weight = np.polynomial.legendre.leggauss(count)
    half = np.diff(breaks)[:, None] / 2
    return (breaks[:-1, None] + half * (place + 1)).ravel(), (half * weight).ravel()


def middle_of(sheet: Sheet, gauge_mm: float) -> Sheet:
    """Return the sheet halfway through its thickness, which bending leaves as long as it was."""
    return Sheet(points_mm=sheet.points_mm - sheet.normals * gauge_mm / 2, normals=sheet.normals)


def mean_sides_mm(sheet: Sheet) -> tuple[float, float]:
    """Return the mean lengths of the lines on which the first, and the second, index runs. [mm]"""
    points = sheet.points_mm
    return tuple(float(np.linalg.norm(np.diff(points, axis=k), axis=2).sum(axis=k).mean()) for k in (0, 1))


def lengthwise_axis(sheet: Sheet) -> int:
    """Return which index runs lengthwise: 0 or 1."""
    along, across = mean_sides_mm(sheet)
    return int(across > along)


def _chord_parameters(points, axis):
    chords = np.linalg.norm(np.diff(points, axis=axis), axis=2)
    whole = chords.sum(axis=axis)
    share = (chords if axis == 0 else chords.T)[:, whole > 1e-9 * whole.max()]
    mean = (share / share.sum(axis=0)).mean(axis=1)
    at = np.concatenate([[0.0], np.cumsum(mean)])
    return at / at[-1]
