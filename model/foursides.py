"""A surface of new metal inside four borders, tangent to what lies beyond them.

Each side i of the unit square has a border curve c_i and, where metal lies
beyond it, the frames of that metal's tangent planes there (D_i into the patch,
T_i along, N_i out of the car).  Let

    S(u, 0) = c₁(u),  S(u, 1) = c₃(u),  S(0, v) = c₄(v),  S(1, v) = c₂(v),

the four meeting at the corners.  The derivative across a side must lie in the
tangent plane beyond it, and at its ends be the slope of the borders that leave
there.  Those slopes, written in the frames at the ends, a D + b T + n N, are
led along the side: d_i = a(t) D_i + b(t) T_i + n(t) N_i, a and b in proportion.
The borders leave the same metal's tangent planes, but a root gap from its
corner both have bent a little; this n fades over :data:`_NEAR` of the side, and
is the break that is read there.  A side that need not be tangent takes the
slopes at its two ends, in proportion; where the side across from it need not
be either, the sheet is *ruled* between the two: d is the chord from one to the
other, and what the end slopes are off it fades over the whole side, by (1 − t)³.

**Inside** is Gregory's square: with Hermite's cubics h₀, h₁ (values) and k₀, k₁
(slopes), all four,

    P(u, v) = Σ h c(u) + k d(u)  over v = 0, 1,    Q alike over u = 0, 1,
    S = P + Q − (both at once, from values, slopes and twists at the corners),

the twist of a corner being that of one side where the other begins,
(v ∂_u d_v + u ∂_v d_u) / (u + v) at (0, 0), so that each side keeps its own
derivatives although the two twists differ (J. A. Gregory, 1974; from memory).

It is taken over as a B-spline surface of degree 3 × 3 through its values at
knots, with the derivatives across all four sides, and twists halfway between
the two, held there: what the kernel builds from is this surface.

Frame: car.  u × v points into the car, as with every filler.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline

_NEAR = 0.125  # of a side, from its ends: where what leaves the tangent planes fades
_NEAR_PLACES = 3  # over so many places at least, that the spline can follow


@dataclass(frozen=True, kw_only=True, eq=False)
class Border:
    """One side: a curve at even parameters, and the metal beyond.

    Attributes
    ----------
    point_mm : array, shape (n, 3)
        Along the side, by growing u or v.
    frames : array, shape (n, 3, 3), or None
        Into the patch, along, and out of the car, there; None where it need not be tangent.
    """

    point_mm: np.ndarray
    frames: np.ndarray | None

    @property
    def length_mm(self) -> float:
        """Length from place to place."""
        return float(np.linalg.norm(np.diff(self.point_mm, axis=0), axis=1).sum())

    @property
    def end_slopes(self) -> np.ndarray:
        """Derivatives of the curve over its parameter at both ends, (2, 3). [mm]"""
        spline = make_interp_spline(np.linspace(0, 1, len(self.point_mm)), self.point_mm, k=3)
        return spline([0.0, 1.0], nu=1)


def across(border: Border, slopes, chord_mm=None) -> np.ndarray:
    """Return the derivative across a side at its places, (n, 3), from those at its ends, (2, 3).

    ``chord_mm`` (n, 3) is from the low to the high side, where the sheet is ruled between them.
    """
    part = np.linspace(0, 1, len(border.point_mm))[:, None]
    if chord_mm is not None:
        off = slopes[0] - chord_mm[0], slopes[1] - chord_mm[-1]
        return chord_mm + (1 - part) ** 3 * off[0] + part**3 * off[1]
    if border.frames is None:
        return (1 - part) * slopes[0] + part * slopes[1]
    first, last = (border.frames[k] @ slope for k, slope in ((0, slopes[0]), (-1, slopes[1])))
    led = (1 - part) * first + part * last
    near = max(_NEAR, _NEAR_PLACES / (len(part) - 1))
    fade = [np.maximum(1 - off / near, 0.0) ** 3 for off in (part[:, 0], 1 - part[:, 0])]
    led[:, 2] = fade[0] * first[2] + fade[1] * last[2]
    return np.einsum("nk,nkc->nc", led, border.frames)


def surface_inside(low_v: Border, high_v: Border, low_u: Border, high_u: Border):
    """Return knots along u and v and the poles (m, n, 3) of the surface inside four borders.

    Borders of facing sides have as many places; the four curves meet at the corners.
    """
    c_v, c_u = (low_v, high_v), (low_u, high_u)
    slopes_v, slopes_u = ([side.end_slopes for side in sides] for sides in (c_v, c_u))
    # Across v = k, at its two ends, go the slopes of the borders u = 0 and 1 at their end k; alike across u.
    d_v = [across(c_v[k], [slopes_u[0][k], slopes_u[1][k]], _chord(*c_v)) for k in (0, 1)]
    d_u = [across(c_u[k], [slopes_v[0][k], slopes_v[1][k]], _chord(*c_u)) for k in (0, 1)]
    u, v = (np.linspace(0, 1, len(side.point_mm)) for side in (low_v, low_u))
    twist_v, twist_u = ([_end_slopes(t, d) for d in ds] for t, ds in ((u, d_v), (v, d_u)))
    values = _inside(u, v, c_v, c_u, d_v, d_u, twist_v, twist_u)
    twists = np.array([[(twist_v[j][i] + twist_u[i][j]) / 2 for j in (0, 1)] for i in (0, 1)])
    first = _clamped(u, values, np.stack(d_u))
    sides = _clamped(u, np.stack(d_v, axis=1), twists)  # the derivatives across v, as splines over u
    knots_v, poles = _clamped(v, first[1].swapaxes(0, 1), sides[1].swapaxes(0, 1))
    return first[0], knots_v, poles.swapaxes(0, 1)


def _chord(low: Border, high: Border):
    is_ruled = low.frames is None and high.frames is None
    return high.point_mm - low.point_mm if is_ruled else None


def _end_slopes(t, values):
    return make_interp_spline(t, values, k=3)([0.0, 1.0], nu=1)


def _clamped(t, values, ends):
    """Return knots and coefficients of cubic splines through values, with given derivatives at both ends."""
    bounds = ([(1, ends[0])], [(1, ends[1])])
    spline = make_interp_spline(t, values, k=3, bc_type=bounds)
    return spline.t, spline.c


def _hermite(t):
    """Return Hermite's cubics of value, (2, n), and of slope, (2, n), of both ends."""
    high = t * t * (3 - 2 * t)
    return np.stack([1 - high, high]), np.stack([t * (1 - t) ** 2, -t * t * (1 - t)])


def _inside(u, v, c_v, c_u, d_v, d_u, twist_v, twist_u):
    (h_u, k_u), (h_v, k_v) = _hermite(u), _hermite(v)
    p = sum(
        np.einsum("j,ic->ijc", h_v[k], c_v[k].point_mm) + np.einsum("j,ic->ijc", k_v[k], d_v[k])
        for k in (0, 1)
    )
    q = sum(
        np.einsum("i,jc->ijc", h_u[k], c_u[k].point_mm) + np.einsum("i,jc->ijc", k_u[k], d_u[k])
        for k in (0, 1)
    )
    both = np.zeros_like(p)
    for i in (0, 1):
        for j in (0, 1):
            corner, along_v = c_v[j].point_mm[-i], d_v[j][-i]
            along_u = d_u[i][-j]
            both += np.einsum("i,j,c->ijc", h_u[i], h_v[j], corner)
            both += np.einsum("i,j,c->ijc", k_u[i], h_v[j], along_u)
            both += np.einsum("i,j,c->ijc", h_u[i], k_v[j], along_v)
            from_u, from_v = np.abs(u - i)[:, None], np.abs(v - j)[None]
            far = np.maximum(from_u + from_v, 1e-12)
            share = np.where(from_u + from_v > 0, from_u / far, 0.5)[:, :, None]
            twist = share * twist_u[i][j] + (1 - share) * twist_v[j][i]
            both += np.einsum("i,j,ijc->ijc", k_u[i], k_v[j], twist)
    return p + q - both
