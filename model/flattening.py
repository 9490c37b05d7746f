"""The flat shape of a curved sheet: the plane map that strains it least, and the strains it leaves.

The surface is S(u, v); the flat is a map φ(u, v) to the plane.  At a place let
e₁ = S_u/√E and e₂ = (S_v − (F/E) S_u)/√(G − F²/E), an orthonormal frame of the
surface.  In it the map's gradient is J = [φ_u/√E, (φ_v − (F/E) φ_u)/√(G − F²/E)],
with singular values σ₁ ≥ σ₂: how long a unit of finished metal is in
the flat.
**Forming strain is 1/σ − 1: positive where the flat must be stretched to become
the finished sheet, negative where it must be shrunk.**

The flat is the φ with the least

    W(φ) = ∫ min over rotations R of |J − R|² dA = ∫ (σ₁ − 1)² + (σ₂ − 1)² dA,

"as rigid as possible".  It weighs stretch and shrink alike, is zero only for an
isometry, and its edges are free.  How a shaper shares the strain out between
stretching and shrinking is theirs; another choice gives another blank.

With a = J₁₁ + J₂₂, b = J₂₁ − J₁₂ and r = √(a² + b²) = σ₁ + σ₂, the nearest
rotation has cosine a/r and sine b/r and the integrand is |J|² − 2r + 2.  Its
second derivative is 2·1 − (2/r) t tᵀ, t the turning direction (−sin, −cos, cos,
−sin) of (J₁₁, J₁₂, J₂₁, J₂₂), and is never below zero once 2/r is held at 1 or
less.  φ is a tensor product of cubic B-splines with equal spans, W is summed at
Gauss's points with the surface's true first form, spans closer together where
the grid's lines turn or crowd, and Newton's method (a second derivative serves
for as many steps as it gains tenfold) runs
from the sheet rolled out line by line (each line keeps its length and its
geodesic curvature, so a developable surface starts where it ends).  There is no
chord error: only the splines' own is left, which falls with the fourth power of
a span.  Everything is done twice, the second time with spans half as long, and
once more where that changed the root mean square strain much and there are not
too many spans yet; what the last look changed is kept as the doubt.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.interpolate import CubicSpline
from scipy.sparse.linalg import splu

from .sheetpatch import SQUEEZED, Sheet, basis, gauss_points, lengthwise_axis, mean_sides_mm
from .stepwise import at_once

DEGREE = 3
COARSE_SPANS = 36  # assumed: about so many spans over a patch the first time, four times as many after
LEAST_SPANS, MOST_SPANS = 3, 24  # assumed: each way, the first time
MOST_IN_ALL = 1600  # assumed: about a second on one core
NEAR_STRAIN = (
    5e-4  # root mean square: a look that changes it by no more is the last, half of what springs back
)
SPAN_DEG = 20.0  # assumed: how far the sheet turns along a span, at most, the first time
BREAK_PLACES = 129
UNROLL_PLACES = 97  # each way, odd so that one is in the middle
MOST_STEPS = 60
LEAST_GAIN = 10.0  # a step that promises no tenth of the last one's gain needs a new second derivative
RELAX_POINTS = 3  # of Gauss's rule in a span, each way, where W is summed
ONE_POINT_MM = 1e-6  # a side shorter than this is one point
SYMMETRIC = {  # the second derivative is symmetric and at or above zero: no pivots off its diagonal
    "permc_spec": "MMD_AT_PLUS_A",
    "diag_pivot_thresh": 0.0,
    "options": {"SymmetricMode": True},
}
STILL_STRAIN = 1e-7  # at rest: a step that strains the patch by no more, root mean square


@dataclass(frozen=True, kw_only=True, eq=False)
class FlatMap:
    """A map of the unit square (u, v) to the flat.

    Attributes
    ----------
    coefficients_mm : array, shape (p, q, 2)
        Of the splines, as seen from outside the car: x along, y up, right-handed.
    knots : (array, array)
    energy_mm2 : float
        W of the module's docstring.
    is_settled : bool
        Whether Newton's method came to rest and no part of the map is turned over.
    """

    coefficients_mm: np.ndarray
    knots: tuple[np.ndarray, np.ndarray]
    energy_mm2: float
    is_settled: bool

    def at(self, u, v, du=0, dv=0) -> np.ndarray:
        """Return the flat points, or derivatives, on the grid of u by v: (p, q, 2). [mm]"""
        along, across = basis(self.knots[0], DEGREE, u, du), basis(self.knots[1], DEGREE, v, dv)
        return np.tensordot(along, np.tensordot(across, self.coefficients_mm, (1, 1)), (1, 1))

    @property
    def area_mm2(self) -> float:
        """The flat's area: the determinant of the map by Gauss's rule, exact for its splines."""
        (u, weight_u), (v, weight_v) = (gauss_points(np.unique(knots)) for knots in self.knots)
        along, across = self.at(u, v, 1, 0), self.at(u, v, 0, 1)
        turned = along[..., 0] * across[..., 1] - along[..., 1] * across[..., 0]
        return float(abs(weight_u @ turned @ weight_v))


@dataclass(frozen=True, kw_only=True, eq=False)
class Flattening:
    """A sheet laid flat, with the map of half as many spans each way beside it."""

    sheet: Sheet
    flat: FlatMap
    coarse: FlatMap


def flattening_of(sheet: Sheet) -> Flattening:
    """Return the sheet laid flat as rigidly as possible, seen from outside."""
    return at_once(flattening_steps(sheet))


def flattening_steps(sheet: Sheet) -> Generator[None, None, Flattening]:
    """Do :func:`flattening_of` in steps: as many as second derivatives are needed, and a few."""
    breaks = _breaks(sheet)
    yield
    coarse = yield from _relaxing(sheet, breaks, None)
    while True:
        breaks = [_halved(ends) for ends in breaks]
        fine = yield from _relaxing(sheet, breaks, coarse)
        change = np.sqrt(max(coarse.energy_mm2, 0.0)) - np.sqrt(max(fine.energy_mm2, 0.0))  # rounding at 0
        is_near = change <= NEAR_STRAIN * np.sqrt(sheet.spline.area_mm2)
        if is_near or 4 * np.prod([len(ends) - 1 for ends in breaks]) > MOST_IN_ALL:
            return Flattening(sheet=sheet, coarse=coarse, flat=fine)
        coarse = fine


def forming_strains(sheet: Sheet, flat: FlatMap, u, v):
    """Return the principal strains from flat to finished, and their direction.

    Parameters
    ----------
    u, v : arrays, shape (p,), (q,)
        Places, away from a side that is one point. [1]

    Returns
    -------
    strains : (p, q, 2)
        The greater first; + is stretch, − is shrink. [1]
    directions : (p, q, 2)
        Unit vector in the flat along the first of them.
    """
    jacobian = gradient_of(sheet, flat, u, v)
    turn, sigma, _ = np.linalg.svd(jacobian)
    return 1 / sigma[..., ::-1] - 1, turn[..., 1]


def gradient_of(sheet: Sheet, flat: FlatMap, u, v) -> np.ndarray:
    """Return J on the grid of u by v: (p, q, 2, 2), its columns the images of e₁ and e₂."""
    root, shear, rest = surface_frame(sheet, u, v)
    along, across = flat.at(u, v, 1, 0), flat.at(u, v, 0, 1)
    first = along / root[..., None]
    second = (across - shear[..., None] * along) / rest[..., None]
    return np.stack([first, second], axis=-1)


def surface_frame(sheet: Sheet, u, v):
    """Return √E, F/E and ±√(G − F²/E), the sign so that e₁, e₂ are right-handed seen from outside."""
    e, f, g = sheet.spline.first_form(u, v)
    return np.sqrt(e), f / e, sheet.side * np.sqrt(g - f * f / e)


def _breaks(sheet):
    """Return the ends of the first look's spans each way: closer together where the grid's lines change."""
    at = np.linspace(0, 1, BREAK_PLACES)
    middles = (at[1:] + at[:-1]) / 2
    sides = mean_sides_mm(sheet)
    span_mm = np.sqrt(sides[0] * sides[1] / COARSE_SPANS)
    out = []
    for axis in (0, 1):
        place = (at, middles) if axis == 0 else (middles, at)
        steps = np.linalg.norm(np.diff(sheet.spline.at(*place), axis=axis), axis=2).mean(axis=1 - axis)
        change = _line_change(sheet, place, axis).max(axis=1 - axis) / np.radians(SPAN_DEG)
        spans = np.concatenate([[0.0], np.cumsum(np.hypot(steps / span_mm, change))])
        count = int(np.clip(np.ceil(spans[-1]), LEAST_SPANS, MOST_SPANS))
        out.append(np.interp(np.linspace(0, spans[-1], count + 1), spans, at))
    return out


def _line_change(sheet, place, axis):
    """Return how far both families' tangents turn, and how much their pace grows, step by step."""
    out = 0.0
    for order in ((1, 0), (0, 1)):
        tangent = sheet.spline.at(*place, *order)
        pace = np.linalg.norm(tangent, axis=2)
        pace = np.maximum(pace, SQUEEZED * pace.max())  # towards a side that is one point it goes to zero
        turned = np.linalg.norm(np.diff(tangent / pace[..., None], axis=axis), axis=2)
        out = np.maximum(out, np.hypot(turned, np.diff(np.log(pace), axis=axis)))
    return out


def _halved(breaks):
    """Return the ends of spans half as long."""
    return np.sort(np.concatenate([breaks, (breaks[1:] + breaks[:-1]) / 2]))


class _Places:
    """Gauss's points of a map's spans: the operators that take its coefficients to J's two columns."""

    def __init__(self, sheet, breaks):
        self.knots = tuple(np.concatenate([[0.0] * DEGREE, b, [1.0] * DEGREE]) for b in breaks)
        (u, weight_u), (v, weight_v) = (gauss_points(b, RELAX_POINTS) for b in breaks)
        root, shear, rest = (values.ravel() for values in surface_frame(sheet, u, v))
        self.weight = np.outer(weight_u, weight_v).ravel() * root * np.abs(rest)
        (bu, du), (bv, dv) = (
            [sparse.csr_array(basis(knots, DEGREE, x, order)) for order in (0, 1)]
            for knots, x in zip(self.knots, (u, v), strict=True)
        )
        along, across = sparse.kron(du, bv, "csr"), sparse.kron(bu, dv, "csr")
        self.shape = (du.shape[1], dv.shape[1])
        self.tie = _tied(sheet, self.shape)
        self.first = _scaled(along, 1 / root) @ self.tie
        self.second = _scaled(across - _scaled(along, shear), 1 / rest) @ self.tie

    def laplacian(self):
        return self.first.T @ _scaled(self.first, self.weight) + self.second.T @ _scaled(
            self.second, self.weight
        )


def _tied(sheet, shape):
    """Return the matrix from free coefficients to all: those of a side that is one point are one."""
    owner = np.arange(shape[0] * shape[1]).reshape(shape)
    points, sides = sheet.points_mm, ((0,), (-1,), (slice(None), 0), (slice(None), -1))
    for side in sides:
        if np.ptp(points[side], axis=0).max() <= ONE_POINT_MM:
            owner[side] = owner[side][0]
    kept, column = np.unique(owner, return_inverse=True)
    count = owner.size
    return sparse.csr_array((np.ones(count), (np.arange(count), column.ravel())), shape=(count, len(kept)))


def _relaxing(sheet, breaks, start):
    places = _Places(sheet, breaks)
    yield
    x = _unrolled(sheet, places) if start is None else _refined(start, places)
    still_mm2 = STILL_STRAIN**2 * places.weight.sum()
    yield
    laplacian = places.laplacian()
    twice = sparse.block_diag([2 * laplacian, 2 * laplacian], "csc")
    free = np.setdiff1d(np.arange(len(x)), _held(x))
    energy, gradient = _energy(places, x)
    solve, last, is_at_rest = None, np.inf, False
    for _ in range(MOST_STEPS):
        step, slope = _step(solve, gradient, free) if solve else (None, -np.inf)
        if -slope > last / LEAST_GAIN or solve is None:
            yield
            solve = splu((twice - _turning_part(places, x)).tocsc()[free][:, free], **SYMMETRIC).solve
            step, slope = _step(solve, gradient, free)
        last = -slope
        is_at_rest = last <= still_mm2
        if is_at_rest:
            break
        length, tried = 1.0, _energy(places, x + step)
        while tried[0] > energy + 1e-4 * length * slope + 1e-14 * places.weight.sum() and length > 1e-6:
            length /= 2
            tried = _energy(places, x + length * step)
        x = x + length * step
        energy, gradient = tried
    whole = (places.tie @ x.reshape(2, -1).T).reshape(*places.shape, 2)
    return FlatMap(
        coefficients_mm=whole,
        knots=places.knots,
        energy_mm2=float(energy),
        is_settled=bool(is_at_rest and _determinant(places, x).min() > 0),
    )


def _step(solve, gradient, free):
    """Return the step that the second derivative in ``solve`` asks for, and the slope of W along it."""
    step = np.zeros(len(gradient))
    step[free] = -solve(gradient[free])
    return step, gradient @ step


def _held(x):
    """Return what stays as it is: the first corner, and the way the one diagonally opposite would turn."""
    count = len(x) // 2
    across = 1 if abs(x[count - 1] - x[0]) > abs(x[-1] - x[count]) else 0
    return [0, count, (1 + across) * count - 1]


def _energy(places, x):
    """Return W and its gradient."""
    j11, j12, j21, j22, cosine, sine, r = _turned(places, x)
    weight = places.weight
    energy = weight @ (j11**2 + j12**2 + j21**2 + j22**2 - 2 * r + 2)
    gradient = np.concatenate(
        [
            places.first.T @ (weight * (j11 - cosine)) + places.second.T @ (weight * (j12 + sine)),
            places.first.T @ (weight * (j21 - sine)) + places.second.T @ (weight * (j22 - cosine)),
        ]
    )
    return energy, 2 * gradient


def _turning_part(places, x):
    """Return what is taken from twice the Laplacian to make W's second derivative, held at zero or above."""
    *_, cosine, sine, r = _turned(places, x)
    scale = np.sqrt(places.weight * np.minimum(2 / r, 1.0))
    turning = sparse.hstack(
        [
            -_scaled(places.first, scale * sine) - _scaled(places.second, scale * cosine),
            _scaled(places.first, scale * cosine) - _scaled(places.second, scale * sine),
        ],
        "csr",
    )
    return turning.T @ turning


def _turned(places, x):
    """Return J's entries at all places, the nearest rotation's cosine and sine, and r."""
    xs, ys = x.reshape(2, -1)
    j11, j12, j21, j22 = places.first @ xs, places.second @ xs, places.first @ ys, places.second @ ys
    a, b = j11 + j22, j21 - j12
    r = np.hypot(a, b)
    return j11, j12, j21, j22, a / r, b / r, r


def _determinant(places, x):
    xs, ys = x.reshape(2, -1)
    return (places.first @ xs) * (places.second @ ys) - (places.second @ xs) * (places.first @ ys)


def _unrolled(sheet, places):
    """Return the map that keeps the middle line's and all cross lines' lengths and geodesic curvatures.

    A line along u turns in the surface by n · (S_u × S_uu) / |S_u|² du.  The
    middle line is rolled out first, then every line across it both ways.
    """
    spline, long_way = sheet.spline, lengthwise_axis(sheet)
    at = np.linspace(0, 1, UNROLL_PLACES)
    normal = spline.normals(at, at, sheet.side)
    along, across = (spline.at(at, at, *order) for order in ((1, 0), (0, 1)))
    along_twice, across_twice = (spline.at(at, at, *order) for order in ((2, 0), (0, 2)))
    lines = [(along, along_twice), (across, across_twice)]
    if long_way == 1:
        lines = [tuple(x.swapaxes(0, 1) for x in pair) for pair in lines[::-1]]
        normal = normal.swapaxes(0, 1)
    (first, first_twice), (second, second_twice) = lines
    middle = UNROLL_PLACES // 2
    heading = _run(_turning(first, first_twice, normal)[:, middle], at)
    crossing = np.arctan2(
        np.sum(normal * np.cross(first, second), axis=2)[:, middle], np.sum(first * second, axis=2)[:, middle]
    )
    spine = _run(np.linalg.norm(first, axis=2)[:, middle] * np.exp(1j * heading), at)
    turned = _run(_turning(second, second_twice, normal).T, at).T
    turned = turned - turned[:, [middle]] + (heading + crossing)[:, None]
    rib = _run((np.linalg.norm(second, axis=2) * np.exp(1j * turned)).T, at).T
    flat = spine[:, None] + rib - rib[:, [middle]]
    values = np.stack([flat.real, flat.imag], axis=-1)
    if long_way == 1:
        values = values.swapaxes(0, 1)
    nodes = _nodes(places.knots)
    return _coefficients(CubicSpline(at, CubicSpline(at, values)(nodes[0]), axis=1)(nodes[1]), places)


def _turning(line, line_twice, normal):
    size2 = np.sum(line * line, axis=2)
    twist = np.sum(normal * np.cross(line, line_twice), axis=2)
    return np.divide(twist, size2, out=np.zeros_like(twist), where=size2 > 1e-12 * size2.max())


def _run(rate, at):
    """Return the integral of a rate from the first place on, along the first axis."""
    return CubicSpline(at, rate).antiderivative()(at)


def _refined(coarse, places):
    """Return a map's coefficients on knots that hold its own."""
    return _coefficients(coarse.at(*_nodes(places.knots)), places)


def _nodes(knots):
    """Return as many places each way as there are splines."""
    return [np.lib.stride_tricks.sliding_window_view(k[1:-1], DEGREE).mean(axis=1) for k in knots]


def _coefficients(values, places):
    """Return the free coefficients of the map that has these values at the nodes, x first, then y."""
    for axis, nodes in enumerate(_nodes(places.knots)):
        square = basis(places.knots[axis], DEGREE, nodes)
        values = np.moveaxis(np.tensordot(np.linalg.inv(square), values, (1, axis)), 0, axis)
    each = values.reshape(-1, 2)
    return ((places.tie.T @ each) / places.tie.sum(axis=0)[:, None]).T.ravel()


def _scaled(rows, factor):
    """Return sparse rows, each times its factor."""
    scaled = rows.copy()
    scaled.data *= np.repeat(factor, np.diff(rows.indptr))
    return scaled
