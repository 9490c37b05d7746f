"""The skin against arcs, cones and spheres: lengths, crowns, areas, and the flat shape of a cone.

The skin interpolates measured points with cubics; between them it is off the
true circle by about h⁴/384 of the radius, h the angle between two points.
What is allowed says how close that must be.
"""

from __future__ import annotations

import math
from functools import cache, partial

import numpy as np

from ..edges import Edge
from ..fit import Facing, meetings
from ..skin import Grid, skin_of
from ..skinlines import crown_mm, line_length_mm
from .check import Check, group
from .knowncars import bare_car, cylinder_hoops, turned_hoops

INCH = 25.4
ARCS, TURNED = "skin: arcs", "skin: cylinder, cone, sphere"
# Ends of lines on a roof grid: u from the first hoop to the last, v from gutter to gutter.
FIRST_HOOP, LAST_HOOP = ((0, 0), (0, 1)), ((1, 0), (1, 1))
CROWN, GUTTER = ((0, 0.5), (1, 0.5)), ((0, 0), (1, 0))

SECTIONS_SOURCE = 'matheass.eu, "Circular Sections"'
SEGMENTS_SOURCE = (
    "closed form: unit circle, as tabulated under Segments of Circles in Machinery's Handbook "
    "(format from memory)"
)
FRUSTUM_SOURCE = 'ceemrr.com, "The Net of a Frustum"'
CAP_SOURCE = "closed form: spherical cap, area π (a² + h²), R = (a² + h²) / 2h"

# θ [°], arc and height of a segment of the unit circle
SEGMENTS = (
    (30, 0.52360, 0.03407),
    (60, 1.04720, 0.13397),
    (90, 1.57080, 0.29289),
    (120, 2.09440, 0.50000),
)


def curve_checks() -> list[Check]:
    """Return the checks of the skin against bodies in closed form."""
    return [*_arc_checks(), *_seam_over_an_arc(), *_cylinder_checks(), *_cone_checks(), *_sphere_checks()]


@cache
def _arched_roof(radius_mm, angle_deg) -> Grid:
    """Return a roof whose every section is one arc of a circle."""
    rows, hoops = cylinder_hoops(radius_mm, angle_deg / 2, rows=17)
    return skin_of(bare_car(rows, hoops)).grids["roof"]


@cache
def _turned_roof(profile_mm) -> Grid:
    rows, hoops = turned_hoops(profile_mm)
    return skin_of(bare_car(rows, hoops)).grids["roof"]


def _length(roof, line):
    return line_length_mm(roof, *line)


def _chord(roof, line):
    return float(np.linalg.norm(np.diff(roof.point(np.array(line, float)), axis=0)))


def _crown(roof, line):
    return crown_mm(roof, *line)


def _on_arch(measure, radius_mm, angle_deg, scale_mm):
    return measure(_arched_roof(radius_mm, angle_deg), FIRST_HOOP) / scale_mm


def _arc_checks():
    bow = partial(_on_arch, radius_mm=12.1875 * INCH, angle_deg=118.97953, scale_mm=INCH)
    unit_arc = partial(_on_arch, radius_mm=1273.2395, angle_deg=45, scale_mm=1000)
    segments = []
    for angle, arc, height in SEGMENTS:
        on = partial(_on_arch, radius_mm=1000, angle_deg=angle, scale_mm=1000)
        segments += [
            (f"arc of {angle}°, radius 1", partial(on, _length), arc, 1e-5),
            (f"crown of {angle}°, radius 1", partial(on, _crown), height, 1e-5),
        ]
    return [
        *group(
            ARCS,
            "in",
            SECTIONS_SOURCE,
            ("arc of a hoop, chord 21, crown 6", partial(bow, _length), 25.308373, 1e-4),
            ("crown of a hoop, chord 21, crown 6", partial(bow, _crown), 6.0, 1e-4),
            ("chord of a hoop, chord 21, crown 6", partial(bow, _chord), 21.0, 1e-6),
        ),
        *group(
            ARCS,
            "m",
            SECTIONS_SOURCE,
            ("arc of a hoop, arc 1, angle 45°", partial(unit_arc, _length), 1.0, 1e-6),
            ("crown of a hoop, arc 1, angle 45°", partial(unit_arc, _crown), 0.096919589, 1e-6),
            ("chord of a hoop, arc 1, angle 45°", partial(unit_arc, _chord), 0.97449536, 1e-7),
        ),
        *group(ARCS, "m", SEGMENTS_SOURCE, *segments),
    ]


def arc_edge(radius_mm: float, angle: float, *, is_first: bool, length_mm=200.0) -> Edge:
    """Return the straight edge of a cylinder about the x axis, cut along it at ``angle`` from the top.

    The first edge's metal lies at smaller angles, so that B points to larger
    ones.  Angle in radians.
    """
    normal = np.array([0.0, np.sin(angle), np.cos(angle)])
    x = np.linspace(0, length_mm, 9) - length_mm / 2
    points = radius_mm * normal + (-x if is_first else x)[:, None] * np.array([1.0, 0.0, 0.0])
    return Edge(points, np.repeat(normal[None], len(x), axis=0))


def _seam_over_an_arc():
    @cache
    def seam():
        first, second = (arc_edge(20 * INCH, a, is_first=a < 0) for a in (-0.075, 0.075))
        return meetings([Facing((first,), (second,))])[0]

    what = "a 3 in arc cut out of radius 20 in"
    return [
        *group(
            ARCS,
            "in",
            "closed form: chord 2 R sin(θ / 2)",
            (f"gap, {what}", lambda: seam().gap_mm.max() / INCH, 40 * math.sin(0.075), 1e-9),
        ),
        *group(
            ARCS,
            "in",
            "closed form: the chord is square to the mean normal",
            (f"step, {what}", lambda: np.abs(seam().step_mm).max() / INCH, 0.0, 1e-9),
        ),
        *group(
            ARCS,
            "°",
            "closed form: tangent to chord, half the arc's angle",
            (f"angle of either skin, {what}", lambda: seam().angle_second_deg.max(), 4.297183463, 1e-8),
        ),
    ]


def _cylinder_checks():
    def roof():
        return _arched_roof(1500, 56)

    theta = math.radians(56)
    return [
        *group(
            TURNED,
            "m²",
            "closed form: R θ L",
            (
                "area, cylinder roof R 1.5 m, 56°, 1.7 m long",
                lambda: roof().area_mm2() / 1e6,
                1.5 * theta * 1.7,
                5e-6,
            ),
        ),
        *group(
            TURNED,
            "mm",
            "closed form: a cylinder rolls out flat, so the line is straight there: √((R θ)² + L²)",
            (
                "corner to corner over that cylinder roof",
                lambda: _length(roof(), ((0, 0), (1, 1))),
                math.hypot(1500 * theta, 1700),
                0.01,
            ),
        ),
        *group(
            TURNED,
            "mm",
            "closed form: the generators of a cylinder are straight",
            ("crown fore-and-aft of that cylinder roof", lambda: _crown(roof(), CROWN), 0.0, 1e-6),
        ),
    ]


def _cone_checks():
    """Frustum, D 8, d 5, height 4: published flat radii 11.39 and 7.12, slant 4.2720, sector 126.4°.

    Half of it is the roof; its hoops are the blank's arcs, half of radius ×
    sector, and every line from hoop to hoop is a slant.
    """

    def roof():
        return _turned_roof(tuple((x * INCH, (4 - 0.375 * x) * INCH) for x in (0, 1.5, 2.5, 4)))

    def flat_radius(line):
        """Length of a hoop over the sector that two hoops a slant apart span. [in]"""
        sector = (_length(roof(), FIRST_HOOP) - _length(roof(), LAST_HOOP)) / _length(roof(), CROWN)
        return _length(roof(), line) / sector / INCH

    def sector_deg():
        hoops = _length(roof(), FIRST_HOOP) - _length(roof(), LAST_HOOP)
        return 2 * math.degrees(hoops / _length(roof(), CROWN))

    return [
        *group(
            TURNED,
            "in",
            FRUSTUM_SOURCE,
            ("slant, cone frustum D 8, d 5, height 4", lambda: _length(roof(), CROWN) / INCH, 4.2720, 5e-5),
            ("greater radius of the frustum's flat blank", lambda: flat_radius(FIRST_HOOP), 11.39, 0.005),
            ("lesser radius of the frustum's flat blank", lambda: flat_radius(LAST_HOOP), 7.12, 0.005),
        ),
        *group(TURNED, "°", FRUSTUM_SOURCE, ("sector of the frustum's flat blank", sector_deg, 126.4, 0.05)),
        *group(
            TURNED,
            "in²",
            "closed form: half of π (R + r) slant",
            (
                "area of half the frustum",
                lambda: roof().area_mm2() / INCH**2,
                math.pi * 6.5 * math.sqrt(18.25) / 2,
                1e-4,
            ),
        ),
        *group(
            TURNED,
            "in",
            "closed form: the generators of a cone are straight",
            ("crown along the frustum's slant", lambda: _crown(roof(), GUTTER) / INCH, 0.0, 1e-7),
        ),
    ]


def _cap_roof(rim_mm, crown_height_mm) -> Grid:
    """Return half a spherical cap, its rim the first hoop and its pole the last."""
    radius = (rim_mm**2 + crown_height_mm**2) / (2 * crown_height_mm)
    angles = np.linspace(math.asin(min(1.0, rim_mm / radius)), 0, 13)
    return _turned_roof(tuple((radius * math.cos(a), radius * math.sin(a)) for a in angles.tolist()))


def _sphere_checks():
    rows, meridians = [], []
    for rim, height, area, meridian in (
        (300, 40, 287769.89, 607.086),
        (500, 20, 786654.80, 1001.066),
        (100, 100, 62831.85, 314.159),
    ):
        what = f"spherical cap {rim} wide a side, {height} high"
        rows.append(
            (
                f"area, {what}",
                lambda rim=rim, height=height: 2 * _cap_roof(rim, height).area_mm2() / 100,
                area / 100,
                area / 100 * 1e-5,
            )
        )
        meridians.append(
            (
                f"line over the pole, {what}",
                lambda rim=rim, height=height: 2 * _length(_cap_roof(rim, height), CROWN),
                meridian,
                0.002,
            )
        )
    zone = tuple((x, math.sqrt(1000**2 - x**2)) for x in (1000 * np.sin(np.linspace(-0.5, 0.7, 13))).tolist())
    wide = zone[-1][0] - zone[0][0]
    return [
        *group(TURNED, "cm²", CAP_SOURCE, *rows),
        *group(TURNED, "mm", "closed form: R θ along a meridian", *meridians),
        *group(
            TURNED,
            "m²",
            "closed form: Archimedes' zone, half of 2 π R × its width",
            (
                "area, half a zone of a sphere R 1 m",
                lambda: _turned_roof(zone).area_mm2() / 1e6,
                math.pi * wide / 1e3,
                3e-5,
            ),
        ),
        *group(
            TURNED,
            "mm",
            "closed form: R (1 − cos(θ / 2)), θ = 1.2",
            (
                "crown fore-and-aft of that zone of a sphere",
                lambda: _crown(_turned_roof(zone), CROWN),
                1000 * (1 - math.cos(0.6)),
                0.01,
            ),
        ),
    ]
