"""Where a cut runs on a grid: its lines in (u, v), as fine as edges are.

A line is found where the cut's height above the grid's lattice changes sign,
brought to zero on the lattice's edges, and then given samples between: each
lies on the line square above a place of the chord before it, where the height
is zero along that line.
"""

from __future__ import annotations

from copy import copy
from functools import lru_cache

import contourpy
import numpy as np

from .cuts import CentrePlane, GridCut, Station
from .hinges import Flat
from .numeric import dot, norms
from .outlines import STEP_MM
from .skin import Grid

_SAME_MM = 1e-6  # crossings at a lattice point itself come twice
_ZERO_MM = 1e-10  # a value that is zero but for rounding
_LAST_STEP_MM = 1e-6  # across a chord
_SURELY_CLOSE = 0.7  # of CHORD_MM, as one step of Newton's tells it
CHORD_MM = 0.005  # how far the middle of a chord may lie from a cut


@lru_cache(maxsize=256)
def trace(grid: Grid, cut: GridCut | Flat | Station | CentrePlane) -> tuple[np.ndarray, ...]:
    """Return the lines on a grid where ``cut`` is zero, each (n, 2) in (u, v).

    Marching squares on the grid's lattice finds which lattice edges the line
    crosses; on each the crossing is then bracketed and solved, so no sample
    can leave the line and an end on the border stays on it.  Chords are divided
    until they are at most :data:`model.outlines.STEP_MM` long and their middles
    within :data:`CHORD_MM` of the line.
    """
    lattice_uv = grid.lattice_uv
    if isinstance(cut, GridCut):
        values = cut.lattice_heights(grid)
    else:
        values = cut.height_above(grid.lattice_mm.reshape(-1, 3)).reshape(lattice_uv.shape[:2])
    if values.min() > 0 or values.max() < 0:
        return ()
    found = []
    for line in _contours(lattice_uv, values):
        uv = line[:, ::-1]
        distinct = np.concatenate([[True], np.abs(np.diff(uv, axis=0)).max(axis=1) > 1e-12])
        uv, point = _on_lattice_edges(grid, cut, uv[distinct], values)
        apart = norms(np.diff(point, axis=0)) > _SAME_MM
        if apart.any():
            keep = np.append(True, apart)
            if not keep[-1]:  # both ends stay, for they lie on the border
                keep[[np.nonzero(keep)[0][-1], -1]] = False, True
            found.append(_fine_enough(grid, cut, uv[keep], point[keep]))
    return tuple(found)


def _contours(lattice_uv, values):
    """Return the contours of the lattice's values at zero, each (n, 2) in (v, u).

    The generator is called by itself, for what chooses one looks for masked values first and takes ten
    times as long.
    """
    u, v = (np.ascontiguousarray(lattice_uv[:, :, k]) for k in (0, 1))
    return contourpy.SerialContourGenerator(
        v,
        u,
        values,
        None,
        corner_mask=True,
        line_type=contourpy.LineType.Separate,
        fill_type=contourpy.FillType.OuterOffset,
        quad_as_tri=False,
        z_interp=contourpy.ZInterp.Linear,
        x_chunk_size=0,
        y_chunk_size=0,
    ).lines(0.0)


def _on_lattice_edges(grid, cut, uv, values):
    """Move every point along its lattice edge to the zero of ``cut``: regula falsi, Illinois rule.

    ``values`` are the cut's at the lattice.  A point on an edge that lies in
    the cut altogether stays.  Returns (u, v) and points.
    """
    lines = grid.lattice_uv[:, 0, 0], grid.lattice_uv[0, :, 1]
    off = [np.abs(uv[:, axis, None] - lines[axis]) for axis in (0, 1)]
    nearest = [x.argmin(axis=1) for x in off]
    along_v = off[0].min(axis=1) <= off[1].min(axis=1)
    before = [
        np.clip(line.searchsorted(x, side="right") - 1, 0, len(line) - 2)
        for line, x in zip(lines, uv.T, strict=True)
    ]
    i, j = np.where(along_v, nearest[0], before[0]), np.where(along_v, before[1], nearest[1])
    ends = (i, j), (i + ~along_v, j + along_v)
    low, high = (grid.lattice_uv[end] for end in ends)
    f_low, f_high = (values[end] for end in ends)
    lies_in_it = np.maximum(np.abs(f_low), np.abs(f_high)) < _ZERO_MM
    side = np.zeros(len(uv))
    for _ in range(60):
        span = np.where(f_low == f_high, 1.0, f_low - f_high)
        part = np.clip(f_low / span, 0.0, 1.0)[:, None]
        x = np.where(lies_in_it[:, None], uv, low + part * (high - low))
        point = grid.point(x)
        f = cut.height_above(point)
        if np.abs(f).max() < _ZERO_MM:
            break
        to_low = np.sign(f) == np.sign(f_low)
        f_high = np.where(to_low & (side > 0), f_high / 2, np.where(to_low, f_high, f))
        f_low = np.where(~to_low & (side < 0), f_low / 2, np.where(to_low, f, f_low))
        low = np.where(to_low[:, None], x, low)
        high = np.where(to_low[:, None], high, x)
        side = np.where(to_low, 1.0, -1.0)
    return x, point


def _fine_enough(grid, cut, uv, point):
    """Insert points brought to the zero of ``cut`` until chords are short and close to it.

    First as many as the chords' lengths ask for, then middles where the line bends.
    """
    chord = norms(np.diff(point, axis=0))
    pieces = np.maximum(np.ceil(chord / (0.95 * STEP_MM)).astype(int), 2 if len(uv) == 2 else 1)
    at = np.repeat(np.arange(len(chord)), pieces - 1)
    if len(at):
        count = pieces[at]
        first = np.append(0, np.cumsum(pieces - 1))[at]
        share = ((np.arange(len(at)) - first + 1) / count)[:, None]
        uv, point = _with(grid, uv, point, at, _Across(grid, cut, uv[at], uv[at + 1], share).at_zero()[0])
    fresh = np.arange(len(uv) - 1)
    for _ in range(12):
        chord = point[fresh + 1] - point[fresh]
        is_long = norms(chord) > STEP_MM
        across = _Across(grid, cut, uv[fresh], uv[fresh + 1], 0.5)
        maybe = is_long | (np.abs(across.x_mm) > _SURELY_CLOSE * CHORD_MM)
        if not maybe.any():
            break
        across = across.of(maybe)
        middle, off = across.at_zero()
        needed = is_long[maybe] | (off > CHORD_MM)
        if not needed.any():
            break
        at = fresh[maybe][needed]
        uv, point = _with(grid, uv, point, at, middle[needed])
        halves = at + np.arange(len(at))
        fresh = np.stack([halves, halves + 1], axis=1).ravel()
    return uv


def _with(grid, uv, point, at, new_uv):
    """Return (u, v) and points of a line with new samples after some of its own."""
    order = np.argsort(np.concatenate([np.arange(len(uv)), at]), kind="stable")
    return tuple(
        np.concatenate(both).take(order, axis=0) for both in ((uv, new_uv), (point, grid.point(new_uv)))
    )


class _Across:
    """Lines square above places on chords, and where they cross a cut.

    ``share`` (n, 1), or one number, of the way along every chord.  A line runs along the direction in the
    surface that is square to the chord; ``x_mm`` is how far along it the cut is, after one step of Newton's.
    """

    def __init__(self, grid, cut, start, end, share):
        self.grid, self.cut = grid, cut
        self.middle = start + share * (end - start)
        point, du, dv = grid.tangents(self.middle)
        chord = du * (end - start)[:, :1] + dv * (end - start)[:, 1:]
        self.half = norms(chord) / 2
        a, b = dot(chord, du), dot(chord, dv)
        across = np.stack([-b, a], axis=1)  # a chord's own components make it square in space
        step = du * across[:, :1] + dv * across[:, 1:]
        length = norms(step)[:, None]
        self.across = across / length  # one millimetre
        self.before = np.zeros(len(point))
        self.f_before, rise = cut.height_and_rise(point, step / length)
        ahead = -self.f_before / np.where(rise == 0, 1.0, rise)
        self.x_mm = np.minimum(np.maximum(ahead, -self.half), self.half)

    def of(self, chosen):
        """Return some of them."""
        some = copy(self)
        for name in ("middle", "half", "across", "before", "f_before", "x_mm"):
            setattr(some, name, getattr(self, name)[chosen])
        return some

    def at_zero(self):
        """Return the crossings, never further than half the chord, and how far off they are. [mm]

        Secant steps; the last is not looked at again, for its error is that of the
        one before times its own length, over radii that are never as short.
        """
        for _ in range(8):
            f = self._height(self.x_mm)
            if np.abs(f).max() < 1e-9:
                break
            last, self.x_mm = self.x_mm, self._next(self.x_mm, f)
            self.before, self.f_before = last, f
            if np.abs(self.x_mm - last).max() < _LAST_STEP_MM:
                break
        return self._place(self.x_mm), np.abs(self.x_mm)

    def _place(self, x):
        return np.minimum(np.maximum(self.middle + np.reshape(x, (-1, 1)) * self.across, 0.0), 1.0)

    def _height(self, x):
        return self.cut.height_above(self.grid.point(self._place(x)))

    def _next(self, x, f):
        slope = f - self.f_before
        flat = slope == 0
        move = f * (x - self.before) / np.where(flat, 1.0, slope)
        ahead = np.where(flat, x, x - move)
        return np.minimum(np.maximum(ahead, -self.half), self.half)
