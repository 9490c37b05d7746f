"""Posts as curves: the axis and the four corner edges of a post's box.

**The post's own frame.**  With unit axis t (upward), w is the car's x made
square to t (fore-and-aft, rearward) and d = ±(t × w) points inboard.  The
box's four corner edges run at ±width/2 along w and ±depth/2 along d.  On a
curved post they are cubic splines through 17 stations; on a straight one they
are straight.  A ``centre`` post has no inboard side: its d points to −y, so
that "outer" is its right side.

**Places.**  What is asked of one place is worked out in plain numbers, for an
array of one place costs ten times as much; what is asked of all five lines or
of many places, in arrays.  A line crosses the plane n·P = e where the
polynomial n·P(s) − e is zero: Newton's method on its own piece, until a step
is so short that the next, its square, would not show.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import hypot, nan, sqrt

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from .hinges import Flat
from .measured import Post
from .numeric import cross, dot, horner, power_pieces, unit

EDGES = ("axis", "front outer", "front inner", "rear inner", "rear outer")  # around the box
_EDGE_SIGNS = np.array([(0, 0), (-1, -1), (-1, 1), (1, 1), (1, -1)], float)  # along w, along d
_FIVE = np.arange(5)
_RIM_ENDS = np.array([(1, 2, 3, 4), (2, 3, 4, 1)])  # of EDGES, for the four faces
_STATIONS = 17
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)
_PLUMB = np.array([0.0, 0.0, 1.0])
_LAST_STEP = 1e-8  # of Newton's; the next one would be of its square


class _Curve:
    """A space curve over s in polynomial pieces of third degree at most, for one place at a time.

    ``terms`` has shape (powers, spans, 3), lowest power first.
    """

    def __init__(self, terms, breaks):
        padded = np.zeros((4, *terms.shape[1:]))
        padded[: len(terms)] = terms
        self._pieces = padded.transpose(1, 2, 0).tolist()
        self._breaks = breaks.tolist()
        self._inner = self._breaks[1:-1]

    def at(self, s: float):
        """Return point and derivative, each three numbers."""
        i = bisect_right(self._inner, s)
        x = s - self._breaks[i]
        point, slope = [], []
        for a, b, c, d in self._pieces[i]:
            point.append(((d * x + c) * x + b) * x + a)
            slope.append((3 * d * x + 2 * c) * x + b)
        return point, slope

    def crossing(self, normal, offset_mm: float, s: float) -> float:
        """Return where normal·P = offset, from a place near it."""
        nx, ny, nz = normal
        for _ in range(8):
            (px, py, pz), (dx, dy, dz) = self.at(s)
            slope = dx * nx + dy * ny + dz * nz
            if slope == 0.0:  # it runs along the plane
                return nan
            step = (offset_mm - (px * nx + py * ny + pz * nz)) / slope
            s += step
            if abs(step) < _LAST_STEP:
                break
        return s


@dataclass(frozen=True, eq=False)
class PostLine:
    """The axis and the corner edges of one post as curves over s in [0, 1]."""

    post: Post

    @property
    def inboard(self) -> float:
        """Sign of the y direction that leads inboard."""
        return 1.0 if self.post.side == "left" else -1.0

    @cached_property
    def _axis(self):
        points = np.array(self.post.axis_mm, float)
        chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
        s = np.concatenate([[0.0], np.cumsum(chords) / chords.sum()])
        return make_interp_spline(s, points, k=min(3, len(points) - 1))

    @property
    def is_straight(self) -> bool:
        """Whether the measured axis has just two points."""
        return len(self.post.axis_mm) == 2

    @cached_property
    def _axis_curve(self):
        terms, breaks = power_pieces(self._axis.t, self._axis.k)
        return _Curve(np.einsum("apn,nk->pak", terms, self._axis.c), breaks)

    def frame(self, s):
        """Return axis points, t, w and d at parameters ``s``; each (n, 3)."""
        s = np.atleast_1d(np.asarray(s, float))
        if len(s) == 1:
            return tuple(np.array([x]) for x in _frame_at(*self._axis_curve.at(s.item()), self.inboard))
        return _post_frame(self._axis(s), self._axis(s, nu=1), self.inboard)

    def axis_point(self, s: float) -> np.ndarray:
        """Return the point of the axis at one parameter, (3,). [mm]"""
        return np.array(self._axis_curve.at(s)[0])

    @cached_property
    def stations(self) -> np.ndarray:
        """Parameters where the section is laid out, for drawing and for solids."""
        return np.linspace(0, 1, 2 if self.is_straight else _STATIONS)

    def lines_at_stations(self, inset_mm=0.0) -> np.ndarray:
        """Return the axis and corner edges at the stations, shape (n, 5, 3).

        ``inset_mm`` moves the corner edges towards the axis on both faces
        (the wall thickness gives the inside of the box).
        """
        point, _, w, d = self.frame(self.stations)
        half = np.array([self.post.width_mm, self.post.depth_mm]) / 2 - inset_mm
        offsets = _EDGE_SIGNS * half
        return point[:, None] + offsets[None, :, :1] * w[:, None] + offsets[None, :, 1:] * d[:, None]

    def corner_splines(self, inset_mm=0.0) -> BSpline:
        """Return the axis and corner edges as one spline with values of shape (5, 3)."""
        return make_interp_spline(
            self.stations, self.lines_at_stations(inset_mm), k=min(3, len(self.stations) - 1)
        )

    @cached_property
    def _pieces(self):
        spline = self.corner_splines()
        terms, breaks = power_pieces(spline.t, spline.k)  # (spans, k + 1, n)
        return np.ascontiguousarray(np.einsum("apn,nek->aepk", terms, spline.c).transpose(2, 0, 1, 3)), breaks

    @cached_property
    def _middle_curve(self):
        """The first of the five lines."""
        cells, breaks = self._pieces
        return _Curve(cells[:, :, 0], breaks)

    def middle_point(self, s: float) -> np.ndarray:
        """Return the point of the first of the five lines at one parameter, (3,). [mm]"""
        return np.array(self._middle_curve.at(s)[0])

    def middle_crossing(self, normal, offset_mm) -> float:
        """Return s where the first of the five lines crosses normal·P = offset."""
        x, y, z = normal = normal.tolist()
        f0, f1 = (a * x + b * y + c * z - offset_mm for a, b, c in self.ends_mm[:, 0].tolist())
        start = -f0 / (f1 - f0 or 1.0)
        return self._middle_curve.crossing(normal, offset_mm, min(max(start, -0.5), 1.5))

    def lines(self, s) -> np.ndarray:
        """Return points of the five lines, each at its own ``s``.

        ``s`` has shape (..., 5); the result (..., 5, 3).
        """
        return self.lines_and_slopes(s)[0]

    def lines_and_slopes(self, s):
        """Return points of the five lines and their derivatives, each at its own ``s``: Horner's rule."""
        cells, breaks = self._pieces
        s = np.asarray(s, float)
        i = breaks[1:-1].searchsorted(s, side="right")
        x = (s - breaks[i])[..., None]
        return horner(cells[:, i, _FIVE], x, 1)

    @cached_property
    def ends_mm(self) -> np.ndarray:
        """Lower and upper ends of the five lines, shape (2, 5, 3). [mm]"""
        return self.lines(np.array([[0.0] * 5, [1.0] * 5]))

    def face_outline(self, s, reach):
        """Return the rims of a cut on the four faces of the box: front, inner, rear, outer.

        A cut end is flat and its rims are straight, as a blade leaves them:
        each face is ruled between corresponding places of its two corner
        edges, P(τ, r) = (1 − r) C_i(s_i + τ reach_i) + r C_j(s_j + τ reach_j),
        with the rim at τ = 0; its normal is P_r × P_τ, which turns a little
        along the rim where the post is bent.

        Parameters
        ----------
        s, reach : (5,)
            Where the cut crosses the lines of :data:`EDGES`, and how far along
            each the end goes from there: −s for a lower end, 1 − s for an upper.

        Returns
        -------
        list of (points (n, 3), outward normals (n, 3))
        """
        return self.face_outlines([s], [reach])[0]

    def face_outlines(self, s, reach):
        """Return :meth:`face_outline` of several cuts; ``s`` and ``reach`` (m, 5)."""
        share = self._rim_shares
        corners, slopes = self.lines_and_slopes(s)
        slopes = slopes * np.asarray(reach)[..., None]
        lines = np.stack([corners, slopes])[:, :, _RIM_ENDS]  # (2, m, from and to, 4, 3)
        rims, ahead = (1 - share) * lines[:, :, 0, :, None] + share * lines[:, :, 1, :, None]
        run = np.broadcast_to((lines[0, :, 1] - lines[0, :, 0])[:, :, None], ahead.shape)
        across = unit(cross(run.reshape(-1, 3), ahead.reshape(-1, 3)))
        out = (rims - corners[:, None, None, 0]).reshape(-1, 3)
        across *= np.sign(dot(across, out))[:, None]
        return [
            list(zip(points, normals, strict=True))
            for points, normals in zip(rims, across.reshape(rims.shape), strict=True)
        ]

    @cached_property
    def _rim_shares(self):
        return np.linspace(0, 1, 2 if self.is_straight else 7)[:, None]

    def axis_at_height(self, z_mm) -> float:
        """Return s where the axis is at height z (may lie outside [0, 1])."""
        return self.middle_crossing(_PLUMB, float(z_mm))

    def crossings(self, normal, offset_mm) -> np.ndarray:
        """Return s of all five lines where they cross normal·P = offset, (5,)."""
        f0, f1 = self.ends_mm @ normal - offset_mm
        s = np.minimum(np.maximum(-f0 / np.where(f1 == f0, 1.0, f1 - f0), -0.5), 1.5)
        cells, breaks = self._pieces
        heights = cells @ normal
        heights[0] -= offset_mm
        for _ in range(8):
            i = breaks[1:-1].searchsorted(s, side="right")
            height, slope = horner(heights[:, i, _FIVE], s - breaks[i], 1)
            step = -height / slope
            s = s + step
            if max(map(abs, step.tolist())) < _LAST_STEP:
                break
        return s

    def crossing(self, flat: Flat) -> np.ndarray:
        """Return s of all five lines where they cross a plane, worked out once for each plane."""
        return _remembered_crossing(self, flat)

    def lengths(self, s_from, s_to) -> np.ndarray:
        """Return signed lengths along the five lines between parameters. [mm]"""
        half, middle = (s_to - s_from) / 2, (s_to + s_from) / 2
        s = middle[None] + half[None] * _GAUSS_X[:, None]
        speed = np.linalg.norm(self.lines_and_slopes(s)[1], axis=2)
        return half * (_GAUSS_W @ speed)


@lru_cache(maxsize=256)
def _remembered_crossing(line, flat):
    return line.crossings(np.array(flat.normal), flat.offset_mm)


def _post_frame(points, tangents, inboard):
    t = tangents / np.linalg.norm(tangents, axis=1, keepdims=True)
    w = np.array([1.0, 0.0, 0.0]) - t[:, :1] * t
    w /= np.linalg.norm(w, axis=1, keepdims=True)
    d = cross(t, w)
    d *= np.sign(d[:, 1:2] * inboard)
    return points, t, w, d


def _frame_at(point, tangent, inboard):
    """Return what :func:`_post_frame` does at one place, in plain numbers."""
    length = hypot(*tangent)
    t = x, y, z = [c / length for c in tangent]
    across = sqrt(1.0 - x * x)
    w = [(1.0 - x * x) / across, -x * y / across, -x * z / across]
    d = [y * w[2] - z * w[1], z * w[0] - x * w[2], x * w[1] - y * w[0]]
    if d[1] * inboard < 0:
        d = [-c for c in d]
    return point, t, w, d
