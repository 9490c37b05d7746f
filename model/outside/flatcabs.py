"""A chop of a cab of flat panels, worked by hand: posts, seams, weld, glass, what is cut out.

**The wedge** (:func:`.knowncars.wedge_car`): sides y = ±(700 − z tan b) with
b = 14°, windshield x = z tan a with a = 32°, back x = 1500 − z tan c with
c = 20°, roof falling 3°; every cut level at z = 240; drop d = 50 front and
rear, so no pitch; slide s = d tan a forward; opening g = root gap 0.8 (the
drop takes more than the kerf).  The upper cut is level at 240 + d + g and
lands at 240 + g.

Side seam.  T = x, N = (0, cos b, sin b), B = (0, −sin b, cos b).  From a point
of the lower edge to the upper one r = (0, −(d + g) tan b, g):
    gap  = r·B = (d + g) tan b sin b + g cos b = d tan b sin b + g / cos b
    step = r·N = −(d + g) sin b + g sin b = −d sin b     (the upper skin stands in)
Front seam.  The roof goes down in the windshield's own plane: gap g / cos a, step 0.
Back seam.  N = (cos c, 0, sin c), B = (−sin c, 0, cos c), r = (−(d + g) tan c − s, 0, g):
    gap  = ((d + g) tan c + s) sin c + g cos c
    step = −((d + g) tan c + s) cos c + g sin c = −d sin c − s cos c

Lengths: the lower edge from opening to opening or to the corner of the car,
less the post's own section.  A post of width w and depth h covers w / w_x of
a level line along x and h / d_y of one along y; w and d are the section's
unit axes: w_x = √(1 − t_x²), d = t × w.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from ..evaluate import evaluate
from ..plan import Plan, RoofMove, WindowMove
from ..report import Report
from .knowncars import box_car, flat_car, tan, wedge_car

INCH = 25.4

A, B, C = 32.0, 14.0, 20.0  # windshield, tumblehome, back
D, G, KERF, FLANGE = 50.0, 0.8, 1.2, 19.05
S = float(D * tan(A))
CUT = 240.0
LEANS = {"A": A, "B": 0.0, "C": -C}
HALF = float(700 - CUT * tan(B))  # width of one side at the cut
HAND_DROP = 2.25 * INCH
HAND_LEANS = (("A", 32.0), ("B", 0.0), ("C", -35.0))


def sin(deg):
    """Sine of an angle in degrees."""
    return np.sin(np.radians(deg))


def cos(deg):
    """Cosine of an angle in degrees."""
    return np.cos(np.radians(deg))


@cache
def wedge_report() -> Report:
    """Return the report of the wedge, 50 mm lower."""
    plan = Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D), kerf_mm=KERF, root_gap_mm=G)
    return evaluate(wedge_car(), plan)


@cache
def pitched_box() -> Report:
    """Return the report of the upright box, 40 mm lower in front and 70 mm at the rear."""
    roof = RoofMove(front_drop_mm=40, rear_drop_mm=70, fore_aft="straight-down")
    return evaluate(box_car(), Plan(roof=roof, kerf_mm=KERF, root_gap_mm=G))


@cache
def hand_report(cut: str) -> Report:
    """Return the report of a cab 2-1/4 in lower along its windshield, cut ``level`` or ``square``.

    Windshield 32°, back −35°, sides 14°; no pitch.  Level: take-out
    d √(1 + tan² a + tan² b), miss d tan a − slide and d tan b.  Square:
    take-out −D·t with D = (−slide, 0, −d) and t the unit axis.
    """
    slide = "along-windshield" if cut == "level" else float(HAND_DROP * tan(32.0))
    roof = RoofMove(front_drop_mm=HAND_DROP, rear_drop_mm=HAND_DROP, fore_aft=slide)
    car = flat_car(rake_deg=32.0, tumblehome_deg=14.0, rear_deg=35.0)
    return evaluate(car, Plan(roof=roof, cut=cut, kerf_mm=1.5, root_gap_mm=0.8))


@cache
def box_with_window() -> Report:
    """Return the report of the upright box 50 mm lower, its rear window panel cut out."""
    roof = RoofMove(front_drop_mm=D, rear_drop_mm=D)
    window = WindowMove(flange_mm=FLANGE)
    return evaluate(box_car(), Plan(roof=roof, window=window, kerf_mm=KERF, root_gap_mm=G))


@cache
def laid_down() -> Report:
    """Return the report of a cab whose rear window, 20° off plumb, is laid down by 6.5°."""
    window = WindowMove(forward_mm=25, lay_down_deg=6.5)
    return evaluate(
        flat_car(rear_deg=20.0), Plan(roof=RoofMove(front_drop_mm=30, rear_drop_mm=30), window=window)
    )


@cache
def two_inch_report() -> Report:
    """Return the report of a cab 2 in lower along a 32° windshield."""
    roof = RoofMove(front_drop_mm=2 * INCH, rear_drop_mm=2 * INCH)
    return evaluate(flat_car(rake_deg=32.0), Plan(roof=roof))


def section(lean_deg: float):
    """Return the unit axis t, width w and depth d of a right post of the wedge."""
    t = np.array([tan(lean_deg), -tan(B), 1.0])
    t /= np.linalg.norm(t)
    w = np.array([1.0, 0, 0]) - t[0] * t
    w /= np.linalg.norm(w)
    return t, w, np.cross(t, w)


def bead_of_wedge_post(lean_deg: float) -> float:
    """Return the level perimeter of a 60 × 40 box: its corners slid along t to the plane. [mm]"""
    t, w, d = section(lean_deg)
    flat = [30 * i * w + 20 * j * d for i, j in ((-1, -1), (-1, 1), (1, 1), (1, -1))]
    flat = [q - q[2] / t[2] * t for q in flat]
    return float(sum(np.linalg.norm(flat[i] - flat[i - 1]) for i in range(4)))


def door_front_x(z_mm: float) -> float:
    """Return x of the wedge's door glass' raked front edge: (200 + 30 tan a, 60) to (450, its top)."""
    top = 0.85 * wedge_car().hoops[-1].right_mm[2][2]
    low = 200 + 30 * tan(A)
    return float(low + (z_mm - 60) / (top - 60) * (450 - low))


def side_edges() -> dict[str, tuple[float, float]]:
    """Return from where to where the skin beside each post of the wedge is cut, along x. [mm]"""
    return {"A": (CUT * tan(A), door_front_x(CUT)), "B": (700.0, 800.0), "C": (1050.0, 1500 - CUT * tan(C))}


def over_post(lean_deg: float) -> tuple[float, float]:
    """Return how much of a level line along x, and of one along y, a post's box covers. [mm]"""
    _, w, d = section(lean_deg)
    return float(60 / w[0]), float(40 / abs(d[1]))
