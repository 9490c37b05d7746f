"""Seams, weld, areas and glass of flat cabs against closed forms; see :mod:`.flatcabs`."""

from __future__ import annotations

import math

import numpy as np

from .check import Check, group
from .flatcabs import (
    CUT,
    FLANGE,
    HALF,
    KERF,
    LEANS,
    A,
    B,
    C,
    D,
    G,
    S,
    bead_of_wedge_post,
    box_with_window,
    cos,
    door_front_x,
    laid_down,
    over_post,
    pitched_box,
    side_edges,
    sin,
    wedge_report,
)
from .knowncars import tan

SEAMS, CUT_OUT, GLASS = "seams and weld", "areas and heights", "glass"


def flat_seam_checks() -> list[Check]:
    """Return the checks of seams, areas and glass against what is worked by hand."""
    return [*_seam_checks(), *_area_checks(), *_glass_checks()]


def _skin_weld():
    sides = sum(high - low - over_post(LEANS[p])[0] for p, (low, high) in side_edges().items())
    front, back = HALF - 460 - over_post(A)[1], HALF - 300 - over_post(-C)[1]
    return 2 * (sides + front + back)


def _post_weld():
    return 2 * sum(bead_of_wedge_post(lean) for lean in LEANS.values())


def _cut_out_area():
    """A band d + g high all round, less the openings across it; z: the middle of every trapezium. [mm²]"""
    band = D + G
    z = CUT + band / 2
    side = (door_front_x(z) - z * tan(A) + 100 + 1500 - z * tan(C) - 1050) * band / cos(B)
    half = 700 - z * tan(B)
    return 2 * (side + (half - 460) * band / cos(A) + (half - 300) * band / cos(C))


def _seam_checks():
    def seam(name):
        return wedge_report().seam(name)

    def total():
        return wedge_report().totals

    back_gap = ((D + G) * tan(C) + S) * sin(C) + G * cos(C)
    low, high = side_edges()["A"]
    door = 200 + 250 * 180 / 348
    box_skin = 2 * (door - 60 + 40 + 390 + (240 - 40) + (700 - 300 - FLANGE - KERF - 40))
    box_window = 2 * 864 - 320 + 2 * math.pi * (40 + FLANGE + KERF) - 2 * (D + G)
    return [
        *group(
            SEAMS,
            "mm",
            "closed form: d tan b sin b + g / cos b",
            (
                "gap, side seam leaning 14°",
                lambda: seam("B right, side skin").gap_mm.max,
                D * tan(B) * sin(B) + G / cos(B),
                2e-4,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: −d sin b",
            (
                "step, side seam leaning 14°",
                lambda: seam("B right, side skin").step_mm.mean,
                -D * sin(B),
                2e-4,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: g / cos a",
            (
                "gap, front seam, down along the windshield",
                lambda: seam("A right, front skin").gap_mm.max,
                G / cos(A),
                1e-6,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: ((d + g) tan c + s) sin c + g cos c",
            ("gap, back seam leaning 20°", lambda: seam("C right, back skin").gap_mm.max, back_gap, 1e-6),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: −d sin c − s cos c",
            (
                "step, back seam leaning 20°",
                lambda: seam("C right, back skin").step_mm.min,
                -D * sin(C) - S * cos(C),
                1e-6,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: lines of flat panels, less what the posts cover",
            (
                "weld of one seam, A, side skin",
                lambda: seam("A right, side skin").length_mm,
                high - low - over_post(A)[0],
                0.01,
            ),
            ("weld in the skin, wedge", lambda: total().weld_by_kind_mm["skin"], _skin_weld(), 0.1),
            ("weld of the posts, wedge", lambda: total().weld_by_kind_mm["post"], _post_weld(), 1e-6),
            ("weld in all, wedge", lambda: total().weld_mm, _skin_weld() + _post_weld(), 0.1),
            (
                "weld in the skin, box with window panel",
                lambda: box_with_window().totals.weld_by_kind_mm["skin"],
                box_skin,
                0.05,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: 2 (600 + 264) − 8 r + 2 π (r + flange + kerf) − 2 (d + g), r = 40",
            (
                "weld around the rear window panel",
                lambda: box_with_window().totals.weld_by_kind_mm["window"],
                box_window,
                0.03,
            ),
        ),
        *group(
            SEAMS,
            "mm",
            "closed form: kerf − d, the panel comes down with the roof",
            (
                "overlap of the window panel with the body",
                lambda: box_with_window().seam("window panel to body").gap_mm.min,
                KERF - D,
                0.01,
            ),
        ),
    ]


def _area_checks():
    def totals():
        return wedge_report().totals

    corners = (4 - math.pi) / 100
    box = 2 * 1500 * 480 + 2 * 1400 * 480 + 1400 * 1500
    windows = 600 * 264 - 40**2 * 100 * corners + 920 * 300 - 30**2 * 100 * corners
    glass = 250 * 348 - 20**2 * 100 * corners
    door = _rounded_door_area()
    return [
        *group(
            CUT_OUT,
            "cm²",
            "closed form: rectangles less openings with round corners",
            (
                "skin of the stock car, upright box",
                lambda: pitched_box().totals.skin_area_mm2 / 100,
                (box - windows - 2 * glass - 2 * door) / 100,
                0.1,
            ),
        ),
        *group(
            CUT_OUT,
            "cm²",
            "closed form: trapezia of the band d + g, less the openings across it",
            (
                "skin cut out, wedge 50 mm lower",
                lambda: totals().removed_area_mm2 / 100,
                _cut_out_area() / 100,
                0.1,
            ),
        ),
        *group(
            CUT_OUT,
            "mm",
            "closed form: the windshield's top edge, less the drop",
            ("highest point of the wedge before", lambda: totals().height_before_mm, 480.0, 1e-6),
            ("highest point of the wedge 50 mm lower", lambda: totals().height_after_mm, 430.0, 1e-6),
        ),
    ]


def _rounded_door_area():
    """Area of the box's door glass, a trapezium with four corners of radius 20. [mm²]

    A corner of interior angle φ loses r² (1 / tan(φ / 2) − (π − φ) / 2).
    """
    top = 0.85 * 480
    points = np.array([(200.0, 60.0), (700.0, 60.0), (700.0, top), (450.0, top)])
    x, y = points.T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    for i in range(4):
        to = [points[(i + k) % 4] - points[i] for k in (1, -1)]
        angle = math.acos(to[0] @ to[1] / math.prod(np.linalg.norm(v) for v in to))
        area -= 20**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)
    return float(area)


def _glass_checks():
    def window():
        return wedge_report().window

    along = "closed form: plumb / cos a"
    return [
        *group(
            GLASS,
            "mm",
            along,
            (
                "windshield along the glass before",
                lambda: window().windshield_height_before_mm,
                300 / cos(A),
                1e-6,
            ),
            (
                "windshield along the glass, 50 mm lower",
                lambda: window().windshield_height_after_mm,
                250 / cos(A),
                1e-6,
            ),
        ),
        *group(
            GLASS,
            "mm",
            "closed form: 300 − d",
            ("windshield plumb, 50 mm lower", lambda: window().windshield_plumb_after_mm, 250.0, 1e-6),
        ),
        *group(
            GLASS,
            "°",
            "closed form: a drop without pitch keeps the rake",
            ("windshield rake, 50 mm lower", lambda: window().windshield_rake_after_deg, A, 1e-6),
            ("rear window rake, + rearward", lambda: window().rear_rake_before_deg, -C, 1e-6),
        ),
        *group(
            GLASS,
            "°",
            "closed form: −c − lay-down, top towards the front",
            (
                "rear window rake, laid down 6.5°",
                lambda: laid_down().window.rear_rake_after_deg,
                -26.5,
                1e-6,
            ),
        ),
        *group(
            GLASS,
            "mm",
            "closed form: the panel moves rigidly",
            (
                "change of the rear opening, laid down 6.5°",
                lambda: laid_down().window.rear_opening_change_mm,
                0.0,
                1e-9,
            ),
        ),
    ]
