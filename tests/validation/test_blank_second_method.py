"""Flat shapes of doubly curved sheets by a second method, and a spherical cap in closed form.

Second method: no spline, no Gauss points, no Newton.  Triangles on scattered
points of the body's own formula, each laid into its plane by its three chords;
the same energy summed triangle by triangle and minimised by L-BFGS from the
body's shadow on a plane.  It shares no code with the model.

Cap: of radius R and half angle φ₀, flat radius ρ(φ), so σ₁ = ρ'/R and
σ₂ = ρ/(R sin φ).  The least of ∫ ((σ₁ − 1)² + (σ₂ − 1)²) sin φ dφ is at

    ρ'' + ρ' cot φ − ρ / sin² φ = −R tan(φ/2),   ρ(0) = 0,   ρ'(φ₀) = R,
    ρ = R tan(φ/2) (C − 2 cot²(φ/2) ln cos(φ/2)),

by variation of the constant of tan(φ/2); C follows from the rim.
"""

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.optimize import minimize
from scipy.spatial import Delaunay

from model.flattening import flattening_of, forming_strains
from model.outside.knownsheets import cap_sheet, torus_sheet


def torus_points(ring_mm, tube_mm, around_deg, first_deg, last_deg):
    """Return the body's formula over the unit square, and how long the square's sides are at most. [mm]"""
    half, first, last = np.radians([around_deg / 2, first_deg, last_deg])

    def at(u, v):
        t, p = -half + 2 * half * u, first + (last - first) * v
        r = ring_mm + tube_mm * np.cos(p)
        return np.stack([r * np.cos(t), r * np.sin(t), tube_mm * np.sin(p)], axis=-1)

    return at, 2 * half * (ring_mm + tube_mm), (last - first) * tube_mm


class Triangles:
    """Scattered points on a body over the unit square, about ``step_mm`` apart."""

    def __init__(self, at, wide_mm, high_mm, step_mm):
        counts = [max(int(np.ceil(side / step_mm)), 4) for side in (wide_mm, high_mm)]
        drawn = np.random.default_rng(11)
        u, v = np.meshgrid(*(np.linspace(0, 1, n + 1) for n in counts), indexing="ij")
        inner = (u > 0) & (u < 1) & (v > 0) & (v < 1)
        u, v = (
            x + inner * drawn.uniform(-0.25, 0.25, x.shape) / n for x, n in zip((u, v), counts, strict=True)
        )
        self.uv = np.stack([u.ravel(), v.ravel()], axis=1)
        self.counts = counts
        self.corners = Delaunay(self.uv * [wide_mm, high_mm]).simplices
        self.points = at(*self.uv.T)
        a, b, c = (self.points[self.corners[:, k]] for k in range(3))
        ab, ac = b - a, c - a
        base = np.linalg.norm(ab, axis=1)
        x = np.sum(ab * ac, axis=1) / base
        y = np.sqrt(np.sum(ac * ac, axis=1) - x * x)
        self.area = base * y / 2
        rest = np.zeros((len(a), 2, 2))
        rest[:, 0, 0], rest[:, 0, 1], rest[:, 1, 1] = base, x, y
        self.from_rest = np.linalg.inv(rest)

    def gradient(self, flat):
        a, b, c = (flat[self.corners[:, k]] for k in range(3))
        return np.stack([b - a, c - a], axis=2) @ self.from_rest

    def energy(self, x):
        flat = x.reshape(-1, 2)
        j = self.gradient(flat)
        # The nearest rotation turns by atan2(J₁₀ − J₀₁, J₀₀ + J₁₁), and |J − R|² = Σ (σ − 1)², σ₂ signed.
        cos, sin = j[:, 0, 0] + j[:, 1, 1], j[:, 1, 0] - j[:, 0, 1]
        cos, sin = np.stack([cos, sin]) / np.hypot(cos, sin)
        off = j - np.stack([np.stack([cos, -sin], axis=-1), np.stack([sin, cos], axis=-1)], axis=1)
        pull = 2 * self.area[:, None, None] * off @ self.from_rest.swapaxes(1, 2)
        out = np.zeros_like(flat)
        np.add.at(out, self.corners[:, 1], pull[:, :, 0])
        np.add.at(out, self.corners[:, 2], pull[:, :, 1])
        np.add.at(out, self.corners[:, 0], -pull.sum(axis=2))
        return self.area @ (off * off).sum(axis=(1, 2)), out.ravel()

    def laid_flat(self):
        middle = self.points - self.points.mean(axis=0)
        shadow = middle @ np.linalg.svd(middle, full_matrices=False)[2][:2].T
        if np.linalg.det(self.gradient(shadow)).sum() < 0:
            shadow[:, 0] *= -1
        found = minimize(
            self.energy,
            shadow.ravel(),
            jac=True,
            method="L-BFGS-B",
            options={"maxiter": 20000, "maxfun": 40000, "ftol": 1e-12, "gtol": 1e-6, "maxcor": 30},
        )
        return found.x.reshape(-1, 2), found.fun

    def side_lengths(self, flat):
        """Return the lengths of u = 0, u = 1, v = 0, v = 1 and of both diagonals."""
        grid = flat.reshape(self.counts[0] + 1, self.counts[1] + 1, 2)
        sides = (grid[0], grid[-1], grid[:, 0], grid[:, -1])
        runs = [np.linalg.norm(np.diff(side, axis=0), axis=1).sum() for side in sides]
        ends = [grid[0, 0] - grid[-1, -1], grid[0, -1] - grid[-1, 0]]
        return np.array([*runs, *np.linalg.norm(ends, axis=1)])


def our_side_lengths(flat):
    at = np.linspace(0, 1, 400)
    grid = flat.at(at, at)
    sides = (grid[0], grid[-1], grid[:, 0], grid[:, -1])
    runs = [np.linalg.norm(np.diff(side, axis=0), axis=1).sum() for side in sides]
    return np.array([*runs, *np.linalg.norm([grid[0, 0] - grid[-1, -1], grid[0, -1] - grid[-1, 0]], axis=1)])


# Outer and inner side of a tube (dome and saddle), and a slender strip that is bent both ways.
BODIES = {
    "dome": (600, 250, 40, -20, 50),
    "saddle": (600, 250, 50, 140, 210),
    "strip": (600, 250, 25, 30, 45),
}


@pytest.mark.parametrize("name", BODIES)
def test_torus_patches_against_scattered_triangles(name):
    sheet = torus_sheet(*BODIES[name], rows=41, columns=31)
    flattening = flattening_of(sheet)
    ours = our_side_lengths(flattening.flat)
    at, wide, high = torus_points(*BODIES[name])
    sizes, energies = [], []
    steps = (28.0, 14.0) if name != "strip" else (16.0, 8.0)
    for step in steps:
        triangles = Triangles(at, wide, high, step)
        flat, energy = triangles.laid_flat()
        sizes.append(triangles.side_lengths(flat))
        energies.append(energy)
    # Chords err with the square of a side: what halving changed, a third of it again.
    theirs = sizes[1] + (sizes[1] - sizes[0]) / 3
    energy = energies[1] + (energies[1] - energies[0]) / 3
    print(name, ours.round(4), (ours - theirs).round(4), flattening.flat.energy_mm2, energy)
    assert ours == pytest.approx(theirs, abs=0.1)
    assert flattening.flat.energy_mm2 == pytest.approx(
        energy, rel=0.05
    )  # the triangles' own error is most of it
    ours_there = np.concatenate([flattening.flat.at(u[None], v[None])[0] for u, v in triangles.uv])
    apart = np.linalg.norm(laid_together(flat, ours_there) - ours_there, axis=1)
    print(name, len(flat), "points, apart by", apart.max())
    assert apart.max() < 0.1 and np.ptp(ours_there, axis=0).min() > 50


def laid_together(moving, still):
    """Return the points turned and moved to lie as near to the others as can be."""
    a, b = moving - moving.mean(axis=0), still - still.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    return a @ left @ right + still.mean(axis=0)


def cap_radius_mm(radius_mm, half_angle, phi):
    """Return ρ(φ) of the module's docstring, and its derivative by φ. [mm]"""

    def parts(x):
        t, log = np.tan(x / 2), np.log(np.cos(x / 2))
        return t, -2 * log / t

    def slopes(x):
        t, log, sec2 = np.tan(x / 2), np.log(np.cos(x / 2)), 1 / np.cos(x / 2) ** 2
        return sec2 / 2, 1 + log * sec2 / t**2  # d/dx (−2 ln cos(x/2) / t) = t/t + ln cos(x/2) sec²/t²

    free, forced = slopes(half_angle)
    c = (1 - forced) / free
    value, slope = parts(phi), slopes(phi)
    return radius_mm * (c * value[0] + value[1]), radius_mm * (c * slope[0] + slope[1])


@pytest.mark.parametrize("rim_mm, height_mm", [(300, 40), (500, 20), (100, 60)])
def test_the_cap_in_closed_form_solves_its_equation(rim_mm, height_mm):
    """The closed form against a numerical solution of the boundary value problem."""
    radius, half = (rim_mm**2 + height_mm**2) / (2 * height_mm), 2 * np.arctan2(height_mm, rim_mm)

    def slope(x, y):
        return np.stack([y[1], y[0] / np.sin(x) ** 2 - y[1] / np.tan(x) - np.tan(x / 2)])

    x = np.linspace(1e-4, half, 200)
    found = solve_bvp(
        slope,
        lambda a, b: [a[0] - 1e-4 * a[1], b[1] - 1],
        x,
        [x, np.ones_like(x)],
        tol=1e-8,
        max_nodes=100000,
    )
    assert found.success
    exact = cap_radius_mm(radius, half, x)[0]
    assert radius * found.sol(x)[0] == pytest.approx(exact, abs=1e-4 * radius * half)


@pytest.mark.parametrize("rim_mm, height_mm", [(300, 40), (500, 20), (100, 60)])
def test_the_strains_of_a_spherical_cap(rim_mm, height_mm):
    sheet = cap_sheet(rim_mm, height_mm)
    radius, half = (rim_mm**2 + height_mm**2) / (2 * height_mm), 2 * np.arctan2(height_mm, rim_mm)
    flat = flattening_of(sheet).flat
    rim = cap_radius_mm(radius, half, half)[0]
    assert np.sqrt(flat.area_mm2 / np.pi) == pytest.approx(rim, abs=0.002)
    assert 2 * rim > 2 * np.sqrt(rim_mm**2 + height_mm**2) * 0.99 and rim < radius * half
    u = np.linspace(0.5, 0.98, 9)
    strains, _ = forming_strains(sheet, flat, u, np.array([0.5]))
    points = sheet.spline.at(u, np.array([0.5]))[:, 0]
    phi = np.arctan2(np.hypot(points[:, 0], points[:, 1]), points[:, 2])
    phi = phi.clip(1e-3)  # the closed form cancels nearer to the pole
    flat_radius, slope = cap_radius_mm(radius, half, phi)
    hoop, meridian = radius * np.sin(phi) / flat_radius - 1, radius / slope - 1
    exact = np.sort(np.stack([hoop, meridian], axis=1), axis=1)[:, ::-1]
    most = np.abs(exact).max()
    print(rim_mm, height_mm, most, np.abs(strains[:, 0] - exact).max() / most)
    assert strains[:, 0] == pytest.approx(exact, abs=max(0.01 * most, 4e-5))
    area = np.prod(1 + strains[0, 0]) - 1  # at the pole
    assert area == pytest.approx(np.prod(1 + exact[0]) - 1, rel=0.01)
