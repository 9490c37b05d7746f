"""Blanks of new metal against published nets and closed forms.

A net is that of a surface without thickness; the blanks here are of sheet
1e-6 mm thick unless the row says otherwise.

A spherical cap of radius R and half angle φ₀ has no isometric flat.  The disc
that is strained least, in the sense of `flattening`, has the radius

    ρ(φ) = R tan(φ/2) (C − 2 cot²(φ/2) ln cos(φ/2)),   ρ'(φ₀) = R,

where φ is the angle from the pole (a linear boundary value problem, solved by
variation of a constant).
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from ..blanks import Blank, blank_of
from ..flattening import flattening_of, forming_strains
from .check import Check, group
from .curves import FRUSTUM_SOURCE, SECTIONS_SOURCE
from .knownsheets import cap_sheet, cylinder_sheet, frustum_sheet

INCH = 25.4
THIN_MM = 1e-6
UNROLLED, FORMED = "new metal: blanks that unroll", "new metal: blanks that are stretched or shrunk"

CONE_SOURCE = "anvilfire.com/21centbs/math/cones1.htm: 0.7071 × 360"
BENT_SOURCE = "closed form: (R − t/2) θ, the neutral line halfway through the sheet"
MASS_SOURCE = "closed form: (R − t/2) θ × length × t × 7850 kg/m³; density from memory"
DISC_SOURCE = (
    "closed form: the disc of a spherical cap that is strained least, see model/outside/flatblanks.py"
)
CAP_SOURCE = "closed form: spherical cap, area π (a² + h²)"


def blank_checks() -> list[Check]:
    """Return the checks of flat blanks."""
    return [*_unrolled_checks(), *_formed_checks()]


@cache
def _frustum() -> Blank:
    return blank_of(frustum_sheet(8 * INCH, 5 * INCH, 4 * INCH), trim_mm=0, gauge_mm=THIN_MM)


@cache
def _pointed_cone() -> Blank:
    return blank_of(frustum_sheet(200, 0, 100), trim_mm=0, gauge_mm=THIN_MM)


@cache
def _arched() -> Blank:
    sheet = cylinder_sheet(12.1875 * INCH, 118.97953, 10 * INCH, rows=49)
    return blank_of(sheet, trim_mm=0, gauge_mm=THIN_MM)


@cache
def _bent() -> Blank:
    return blank_of(cylinder_sheet(60, 90, 400), trim_mm=0, gauge_mm=1.2)


def _circle(points):
    """Return centre and radius of the circle through points, by least squares."""
    rows = np.column_stack([2 * points, np.ones(len(points))])
    x, y, rest = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), math.sqrt(rest + x * x + y * y)


def _radius_in(blank, side):
    return _circle(blank.sides_mm[side])[1] / INCH


def _sector_deg(blank, side):
    """Return the angle that a side's arc spans about its own centre, turn by turn."""
    points = blank.sides_mm[side]
    away = points - _circle(points)[0]
    turned = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
    return abs(math.degrees(turned[-1] - turned[0]))


def _unrolled_checks():
    base, top = 2, 3  # first and last column run round
    angle = math.pi / 2 * (60 - 0.6)
    return [
        *group(
            UNROLLED,
            "in",
            FRUSTUM_SOURCE,
            ("large radius, frustum D 8, d 5, height 4", lambda: _radius_in(_frustum(), base), 11.39, 0.005),
            ("small radius, frustum D 8, d 5, height 4", lambda: _radius_in(_frustum(), top), 7.12, 0.005),
        ),
        *group(
            UNROLLED,
            "°",
            FRUSTUM_SOURCE,
            ("sector, frustum D 8, d 5, height 4", lambda: _sector_deg(_frustum(), base), 126.4, 0.05),
        ),
        *group(
            UNROLLED,
            "mm",
            "closed form: slant of the whole cone, D/2 √(1 + (2 h / (D − d))²), and of its missing tip",
            (
                "large radius to 0.01 mm, the same frustum",
                lambda: _radius_in(_frustum(), base) * INCH,
                4 * INCH * math.hypot(1, 8 / 3),
                0.01,
            ),
            (
                "small radius to 0.01 mm, the same frustum",
                lambda: _radius_in(_frustum(), top) * INCH,
                2.5 * INCH * math.hypot(1, 8 / 3),
                0.01,
            ),
        ),
        *group(
            UNROLLED,
            "°",
            CONE_SOURCE,
            ("sector, 90° cone to its point", lambda: _sector_deg(_pointed_cone(), base), 254.6, 0.05),
        ),
        *group(
            UNROLLED,
            "in",
            SECTIONS_SOURCE,
            (
                "blank of an arched sheet, chord 21, height 6",
                lambda: _arched().length_mm / INCH,
                25.308373,
                0.01 / INCH,
            ),
        ),
        *group(
            UNROLLED,
            "mm",
            BENT_SOURCE,
            ("width of a quarter round R 60, sheet 1.2", lambda: _bent().width_mm, angle, 0.01),
        ),
        *group(
            UNROLLED,
            "kg",
            MASS_SOURCE,
            (
                "mass of a quarter round R 60, sheet 1.2, length 400",
                lambda: _bent().mass_kg,
                angle * 400 * 1.2 * 7850e-9,
                1e-5,
            ),
        ),
    ]


def disc_radius_mm(rim_mm: float, height_mm: float) -> float:
    """Return ρ(φ₀) of the module's docstring. [mm]"""
    radius, free, forced, c = _disc(rim_mm, height_mm)
    return radius * (c * free + forced)


def _disc(rim_mm, height_mm):
    radius = (rim_mm**2 + height_mm**2) / (2 * height_mm)
    half = math.atan2(height_mm, rim_mm)  # φ₀/2
    free, log = math.tan(half), math.log(math.cos(half))
    slope_free = (1 + free**2) / 2
    slope_forced = 1 + log * (1 + free**2) / free**2
    return radius, free, -2 * log / free, (1 - slope_forced) / slope_free


@cache
def _cap_flat(rim_mm, height_mm):
    sheet = cap_sheet(rim_mm, height_mm)
    return sheet, flattening_of(sheet).flat


def _pole_area_strain(rim_mm, height_mm):
    sheet, flat = _cap_flat(rim_mm, height_mm)
    strains, _ = forming_strains(sheet, flat, np.array([0.5]), np.array([0.5]))
    return np.prod(1 + strains) - 1


def _formed_checks():
    out = []
    for rim, height in ((300, 40), (500, 20), (100, 60)):
        exact = disc_radius_mm(rim, height)
        c = _disc(rim, height)[3]
        grown = (2 / (1 + c)) ** 2 - 1  # ρ'(0) = R (1 + C)/2
        out += [
            *group(
                FORMED,
                "mm",
                DISC_SOURCE,
                (
                    f"disc for a cap of rim radius {rim}, height {height}: diameter by its area",
                    lambda rim=rim, height=height: (
                        2 * math.sqrt(_cap_flat(rim, height)[1].area_mm2 / math.pi)
                    ),
                    2 * exact,
                    0.005,
                ),
            ),
            *group(
                FORMED,
                "1",
                f"{DISC_SOURCE}; allowed: 1 %",
                (
                    f"growth of area at the pole, the same cap {rim}, {height}",
                    lambda rim=rim, height=height: _pole_area_strain(rim, height),
                    grown,
                    0.01 * grown,
                ),
            ),
            *group(
                FORMED,
                "mm²",
                CAP_SOURCE,
                (
                    f"finished area, the same cap {rim}, {height}",
                    lambda rim=rim, height=height: _cap_flat(rim, height)[0].spline.area_mm2,
                    math.pi * (rim**2 + height**2),
                    1e-5 * math.pi * (rim**2 + height**2),
                ),
            ),
        ]
    return out
