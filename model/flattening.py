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
Gauss's points with the surface's true first form, and Newton's method runs
from the map of least angular distortion (two corners held).  So a developable
surface unrolls without chord error: only the splines' own error is left, which
falls with the fourth power of a span.  Everything is done twice, the second
time with spans half as long; what changed is kept as the doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from .sheetpatch import Sheet, basis, gauss_points

DEGREE = 3
COARSE_SPANS = 36  # assumed: about so many spans over a patch the first time, four times as many after
LEAST_SPANS, MOST_SPANS = 3, 24  # assumed: each way, the first time
MOST_STEPS = 60
STILL = 1e-9  # a step smaller than this share of the patch moves nothing more


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
    spans = _span_counts(sheet)
    coarse = _relaxed(sheet, spans, None)
    return Flattening(sheet=sheet, coarse=coarse, flat=_relaxed(sheet, [2 * k for k in spans], coarse))


def forming_strains(sheet: Sheet, flat: FlatMap, u, v):
    """Return the principal strains from flat to finished, their the direction.

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


def _span_counts(sheet):
    points = sheet.points_mm
    sides = [np.linalg.norm(np.diff(points, axis=k), axis=2).sum(axis=k).mean() for k in (0, 1)]
    span = np.sqrt(sides[0] * sides[1] / COARSE_SPANS)
    return [int(np.clip(np.ceil(side / span), LEAST_SPANS, MOST_SPANS)) for side in sides]


class _Places:
    """Gauss's points of a map's spans: the operators that take its coefficients to J's two columns."""

    def __init__(self, sheet, spans):
        breaks = [np.linspace(0, 1, count + 1) for count in spans]
        self.knots = tuple(np.concatenate([[0.0] * DEGREE, b, [1.0] * DEGREE]) for b in breaks)
        (u, weight_u), (v, weight_v) = (gauss_points(b) for b in breaks)
        root, shear, rest = (values.ravel() for values in surface_frame(sheet, u, v))
        self.weight = np.outer(weight_u, weight_v).ravel() * root * np.abs(rest)
        (bu, du), (bv, dv) = (
            [sparse.csr_array(basis(knots, DEGREE, x, order)) for order in (0, 1)]
            for knots, x in zip(self.knots, (u, v), strict=True)
        )
        along, across = sparse.kron(du, bv, "csr"), sparse.kron(bu, dv, "csr")
        self.first = _scaled(along, 1 / root)
        self.second = _scaled(across - _scaled(along, shear), 1 / rest)
        self.shape = (len(self.knots[0]) - DEGREE - 1, len(self.knots[1]) - DEGREE - 1)
        count = self.shape[0] * self.shape[1]
        # Held: the first corner, and of the one diagonally opposite one coordinate (or both, for the start).
        self.pinned = np.array([0, count - 1, count, 2 * count - 1])

    def laplacian(self):
        return self.first.T @ _scaled(self.first, self.weight) + self.second.T @ _scaled(
            self.second, self.weight
        )


def _relaxed(sheet, spans, start):
    places = _Places(sheet, spans)
    x = _angle_true(sheet, places) if start is None else _refined(start, places)
    size = np.ptp(x)
    laplacian = places.laplacian()
    twice = sparse.block_diag([2 * laplacian, 2 * laplacian], "csc")
    free = np.setdiff1d(np.arange(len(x)), places.pinned[[0, 2, 3]])
    energy, gradient, turning = _energy(places, x)
    is_at_rest = False
    for _ in range(MOST_STEPS):
        hessian = (twice - turning.T @ turning).tocsc()[free][:, free]
        step = np.zeros(len(x))
        step[free] = -splu(hessian).solve(gradient[free])
        slope, length = gradient @ step, 1.0
        is_at_rest = np.abs(step).max() <= STILL * size
        if is_at_rest:
            break
        tried = _energy(places, x + step)
        while tried[0] > energy + 1e-4 * length * slope + 1e-14 * places.weight.sum() and length > 1e-6:
            length /= 2
            tried = _energy(places, x + length * step)
        x = x + length * step
        energy, gradient, turning = tried
    coefficients = np.moveaxis(x.reshape(2, *places.shape), 0, -1)
    return FlatMap(
        coefficients_mm=coefficients,
        knots=places.knots,
        energy_mm2=float(energy),
        is_settled=bool(is_at_rest and _determinant(places, x).min() > 0),
    )


def _energy(places, x):
    """Return W, its gradient, and T of which 2L − TᵀT is the second derivative, held at zero or above."""
    xs, ys = x.reshape(2, -1)
    j11, j12, j21, j22 = places.first @ xs, places.second @ xs, places.first @ ys, places.second @ ys
    a, b = j11 + j22, j21 - j12
    r = np.hypot(a, b)
    cosine, sine, weight = a / r, b / r, places.weight
    energy = weight @ (j11**2 + j12**2 + j21**2 + j22**2 - 2 * r + 2)
    gradient = np.concatenate(
        [
            places.first.T @ (weight * (j11 - cosine)) + places.second.T @ (weight * (j12 + sine)),
            places.first.T @ (weight * (j21 - sine)) + places.second.T @ (weight * (j22 - cosine)),
        ]
    )
    scale = np.sqrt(weight * np.minimum(2 / r, 1.0))
    turning = sparse.hstack(
        [
            -_scaled(places.first, scale * sine) - _scaled(places.second, scale * cosine),
            _scaled(places.first, scale * cosine) - _scaled(places.second, scale * sine),
        ],
        "csr",
    )
    return energy, 2 * gradient, turning


def _determinant(places, x):
    xs, ys = x.reshape(2, -1)
    return (places.first @ xs) * (places.second @ ys) - (places.second @ xs) * (places.first @ ys)


def _angle_true(sheet, places):
    """Return the map that keeps angles best, its scale such that areas agree: J₁₁ = J₂₂ and J₂₁ = −J₁₂."""
    scale = np.sqrt(places.weight)
    first, second = _scaled(places.first, scale), _scaled(places.second, scale)
    rows = sparse.vstack([sparse.hstack([first, -second]), sparse.hstack([second, first])]).tocsc()
    x = np.zeros(rows.shape[1])
    x[places.pinned[1]] = np.linalg.norm(sheet.points_mm[-1, -1] - sheet.points_mm[0, 0])
    x[places.pinned[1]] = x[places.pinned[1]] or 1.0
    free = np.setdiff1d(np.arange(len(x)), places.pinned)
    square = (rows.T @ rows).tocsc()
    x[free] = -splu(square[free][:, free]).solve((square @ x)[free])
    return x * np.sqrt(places.weight.sum() / (places.weight @ _determinant(places, x)))


def _refined(coarse, places):
    """Return a map's coefficients on knots that hold its own: its values at as many places as splines."""
    at = [np.lib.stride_tricks.sliding_window_view(k[1:-1], DEGREE).mean(axis=1) for k in places.knots]
    values = coarse.at(*at)
    for axis in (0, 1):
        square = basis(places.knots[axis], DEGREE, at[axis])
        values = np.moveaxis(np.tensordot(np.linalg.inv(square), values, (1, axis)), 0, axis)
    return np.moveaxis(values, -1, 0).ravel()


def _scaled(rows, factor):
    return sparse.csr_array(sparse.diags_array(factor) @ rows)
