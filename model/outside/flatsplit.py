"""A flat cab whose roof is split and spread, by hand; the wedge of :mod:`.flatcabs`, straight down.

Drop d = 50 front and rear, level cuts, no pitch.  The upper ends land d tan a
off fore-and-aft and d tan b inboard, so they meet when

    spread = 2 d tan b      front part d tan a forward      rear part d tan c rearward

(the rearmost post leans −c).  B, which is plumb in side view and goes with
the front part, then misses by −d tan a.  The side that came down d and went
out d tan b lies in its own plane again, and so do front and back: gaps are
g / cos, steps 0.  Lengthwise the strip is as wide as the spread; across, with
L = lengthen and a roof that falls by f, N = (sin f, 0, cos f):

    gap = L cos f      step = L sin f
"""

from __future__ import annotations

from functools import cache

from ..evaluate import evaluate
from ..plan import MEET, STRAIGHT_DOWN, Plan, RoofMove, RoofSplit
from ..report import Report
from .check import Check, group
from .flatcabs import KERF, A, B, C, D, G, cos, section, sin
from .knowncars import tan, wedge_car

SPLIT = "split roof"
FALL = 3.0  # of the wedge's roof, in degrees
APART = float(D * (tan(A) + tan(C)))


@cache
def split_report() -> Report:
    """Return the report of the wedge, 50 mm straight down, split both ways until the posts meet."""
    plan = Plan(
        roof=RoofMove(front_drop_mm=D, rear_drop_mm=D, fore_aft=STRAIGHT_DOWN),
        split=RoofSplit(spread_mm=MEET, lengthen_mm=MEET),
        kerf_mm=KERF,
        root_gap_mm=G,
    )
    return evaluate(wedge_car(), plan)


def station_mm() -> float:
    """Return the x midway between the upper ends of the wedge's B and C, the upper end of C at its top."""
    top = 0.9 * wedge_car().hoops[-1].right_mm[2][2]
    _, w, d = section(-C)
    reach = 1430 - top * tan(C) - 30 * w[0] - 20 * abs(d[0])
    return float((780 + reach) / 2)


def split_checks() -> list[Check]:
    """Return the checks of a split roof against what is worked by hand."""

    def split():
        return split_report().split

    def post(name):
        return split_report().post(name, "left")

    def seam(name):
        return split_report().seam(name)

    x_front, roof = 480 * tan(A), "roof front right to roof rear right, roof"
    along = "roof front left to roof front right, roof"
    z_at = 480 - (station_mm() - x_front) * tan(FALL)
    rail = (z_at - 0.85 * wedge_car().hoops[-1].right_mm[2][2]) / cos(B)
    return [
        *group(
            SPLIT,
            "mm",
            "closed form: 2 d tan b, d (tan a + tan c); a post's miss is d tan a less its part's way",
            ("spread until the posts meet", lambda: split().spread_mm, 2 * D * tan(B), 1e-8),
            ("lengthened until the posts meet", lambda: split().lengthen_mm, APART, 1e-8),
            ("front part forward", lambda: split().parts[0].forward_mm, D * tan(A), 1e-8),
            ("rear part rearward", lambda: -split().parts[-1].forward_mm, D * tan(C), 1e-8),
            ("miss across, post A", lambda: post("A").miss_across_mm, 0.0, 1e-8),
            ("miss across, post C", lambda: post("C").miss_across_mm, 0.0, 1e-8),
            ("miss fore-and-aft, post B", lambda: post("B").miss_fore_aft_mm, -D * tan(A), 1e-8),
            ("miss fore-and-aft, post C", lambda: post("C").miss_fore_aft_mm, 0.0, 1e-8),
            ("cut across at, midway from B to C", lambda: split().across_at_mm, station_mm(), 1e-6),
        ),
        *group(
            SPLIT,
            "mm",
            "closed form: in their own planes again, g / cos; strips 2 d tan b, L cos f, step L sin f",
            ("strip along, width", lambda: seam(along).gap_mm.mean, 2 * D * tan(B), 1e-6),
            ("strip across, width", lambda: seam(roof).gap_mm.mean, APART * cos(FALL), 1e-6),
            ("strip across, step", lambda: seam(roof).step_mm.mean, APART * sin(FALL), 1e-6),
            (
                "strip across at the rail, width",
                lambda: seam("roof front right to roof rear right, side right").gap_mm.mean,
                APART,
                1e-6,
            ),
            (
                "strip along, front part",
                lambda: seam(along).length_mm,
                (station_mm() - x_front) / cos(FALL),
                0.01,
            ),
            ("strip across, right half", lambda: seam(roof).length_mm, 700 - z_at * tan(B), 0.01),
            (
                "strip across at the rail",
                lambda: seam("roof front right to roof rear right, side right").length_mm,
                rail,
                0.01,
            ),
            ("gap, side seam at C", lambda: seam("C left, side skin").gap_mm.mean, G / cos(B), 1e-4),
            ("step, side seam at C", lambda: seam("C left, side skin").step_mm.mean, 0.0, 1e-4),
            ("gap, back seam", lambda: seam("C left, back skin").gap_mm.mean, G / cos(C), 1e-6),
            ("step, back seam", lambda: seam("C left, back skin").step_mm.mean, 0.0, 1e-6),
        ),
    ]
