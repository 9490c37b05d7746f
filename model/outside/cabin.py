"""The car's axes and signs, headroom, the least windshield, and keep-outs the roof runs into."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from ..evaluate import build_checked, evaluate
from ..interference import interference_of
from ..layout import ROOF
from ..measured import KeepOut
from ..moves import pitch_about
from ..occupant import effective_headroom_mm
from ..plan import Plan, RoofMove
from ..skin import skin_of
from .check import FROM_MEMORY, Check, group
from .flatcabs import A, B, D, S, cos, sin, tan, wedge_report
from .knowncars import bare_car, box_car, cylinder_hoops, flat_car, wedge_car

AXES, HEADROOM, WINDSHIELD, KEEP_OUTS = "axes and signs", "headroom", "windshield", "interference"
AXES_SOURCE = f"SAE J1100 and J182, ISO 4130: x rearward, y to the right, z up; {FROM_MEMORY}"
H61 = f"SAE J1100, H61: 8° rear of plumb to the headlining, + 102 mm; {FROM_MEMORY}; closed form of"
WAC = "Washington State, WAC 204-10-024, 6 in of unobstructed glass: apps.leg.wa.gov"


def cabin_checks() -> list[Check]:
    """Return the checks of axes, headroom, windshield and keep-outs."""
    return [*_axis_checks(), *_headroom_checks(), *_windshield_checks(), *_keep_out_checks()]


@cache
def _box_grids():
    return skin_of(box_car()).grids


def _axis_checks():
    def outward(grid, axis):
        return lambda: _box_grids()[grid].normal(np.array([[0.5, 0.5]]))[0, axis]

    @cache
    def roof_shift():
        plan = Plan(roof=RoofMove(front_drop_mm=D, rear_drop_mm=D))
        return build_checked(wedge_car(), plan).moves[ROOF].translation_mm

    return [
        *group(
            AXES,
            "1",
            AXES_SOURCE,
            ("x out of the back panel", outward("back", 0), 1.0, 1e-9),
            ("x out of the windshield", outward("front", 0), -1.0, 1e-9),
            ("y out of the right side", outward("side right", 1), 1.0, 1e-9),
            ("y out of the left side", outward("side left", 1), -1.0, 1e-9),
            ("z out of the roof", outward("roof", 2), 1.0, 1e-9),
        ),
        *group(
            AXES,
            "mm",
            f"{AXES_SOURCE}; closed form: d, d tan a; L sin f, a right-hand turn about y",
            ("z of a roof that comes down 50 mm", lambda: roof_shift()[2], -D, 1e-9),
            ("x of a roof that comes down 50 mm along 32°", lambda: roof_shift()[0], -S, 1e-9),
            (
                "z of a point 1 m to the rear, pitch + 1°",
                lambda: pitch_about((0, 0, 0), 1.0).points((1000.0, 0, 0))[2],
                -1000 * sin(1.0),
                1e-9,
            ),
        ),
        *group(
            AXES,
            "°",
            f"{AXES_SOURCE}; a lean is + rearward and + inboard going up",
            ("lean of an A-post along the windshield", _lean("A", "right", "lean_side_deg"), A, 1e-9),
            ("lean of the right B-post in front view", _lean("B", "right", "lean_front_deg"), B, 1e-9),
            ("lean of the left B-post in front view", _lean("B", "left", "lean_front_deg"), B, 1e-9),
        ),
    ]


def _lean(post, side, field):
    return lambda: getattr(wedge_report().post(post, side), field)


def _headroom_checks():
    """A line from the seat (x, y, z) along (sin 8°, 0, cos 8°) meets a plane or a cylinder; the sheet's
    gauge is taken off square to it."""

    @cache
    def level():
        car = replace(box_car(), seat_mm=(700.0, 200.0, 0.0))
        return evaluate(car, Plan(roof=RoofMove(front_drop_mm=60, rear_drop_mm=60))).totals

    def falling():
        return evaluate(replace(wedge_car(), seat_mm=(700.0, 200.0, -300.0))).totals.headroom_before_mm

    def arched():
        roof = skin_of(bare_car(*cylinder_hoops(rows=17))).grids["roof"]
        return effective_headroom_mm(roof, 1.0, (700.0, 350.0, -400.0))

    before, after = ((height - 1) / cos(8) + 102 for height in (480, 420))
    to_plane = (480 - (700 - 480 * tan(A)) * tan(3) + 300) / (cos(8) + sin(8) * tan(3))
    from_crown = math.asin(350 / 1500)
    to_arch = 400 + 1500 * (math.cos(from_crown) - cos(28)) + 400 - 1 / math.cos(from_crown)
    return [
        *group(
            HEADROOM,
            "mm",
            f"{H61} a level roof, (480 − gauge) / cos 8° + 102",
            (
                "headroom, level roof 480 over the seat",
                lambda: level().headroom_before_mm,
                before,
                1e-6,
            ),
            (
                "headroom, that roof 60 mm lower",
                lambda: level().headroom_after_mm,
                after,
                1e-6,
            ),
        ),
        *group(
            HEADROOM,
            "mm",
            f"{H61} a roof that falls 3° to the rear",
            ("headroom, a roof that falls 3°", falling, to_plane - 1 / cos(5) + 102, 1e-6),
        ),
        *group(
            HEADROOM,
            "mm",
            f"{H61} a cylinder, 350 mm off its crown",
            ("headroom, an arched roof R 1.5 m", arched, to_arch / cos(8) + 102, 0.01),
        ),
    ]


@cache
def _windshield_findings(plumb_mm):
    """Return the windshield findings of a windshield 300 mm high, plumb, brought down to a height."""
    drop = 300 - plumb_mm
    plan = Plan(roof=RoofMove(front_drop_mm=drop, rear_drop_mm=drop))
    found = evaluate(flat_car(rake_deg=30.0), plan).findings
    return [finding for finding in found if finding.kind == "windshield height"]


def _windshield_checks():
    def verdict(plumb_mm):
        return lambda: "flagged" if _windshield_findings(plumb_mm) else "not flagged"

    def least():
        return next((finding.limit for finding in _windshield_findings(152.39)), math.nan)

    return [
        *group(
            WINDSHIELD,
            "mm",
            WAC,
            ("least height of glass, plumb", least, 6 * 25.4, 1e-9),
        ),
        *group(
            WINDSHIELD,
            "",
            WAC,
            ("a lowered windshield 152.39 mm high", verdict(152.39), "flagged", None),
            ("a lowered windshield 152.40 mm high", verdict(152.40), "not flagged", None),
        ),
    ]


def _keep_out_checks():
    """A level roof of 1 mm, its outside at z = 420 after a drop of 60, inside a keep-out."""

    @cache
    def in_roof(keep_out):
        """Return volume [cm³] and depth [mm] of the roof in it; nan where it was not found."""
        plan = Plan(roof=RoofMove(front_drop_mm=60, rear_drop_mm=60, fore_aft="straight-down"))
        items = interference_of(build_checked(box_car(keep_outs=(keep_out,)), plan))
        found = (item for item in items if set(item.pieces) == {ROOF, keep_out.name})
        return next(((item.volume_mm3 / 1e3, item.depth_mm) for item in found), (math.nan, math.nan))

    box = KeepOut(name="seat", shape="box", at_mm=(800.0, 50.0, 400.0), size_mm=(200.0, 300.0, 50.0))
    ball = KeepOut(name="head", shape="sphere", at_mm=(700.0, -100.0, 380.0), radius_mm=100.0)
    slab = math.pi * (100**2 - (40**3 - 39**3) / 3)
    return [
        *group(
            KEEP_OUTS,
            "cm³",
            "closed form: width × length × gauge",
            ("roof sheet inside a box, 200 × 300 mm", lambda: in_roof(box)[0], 60.0, 1e-3),
        ),
        *group(
            KEEP_OUTS,
            "cm³",
            "closed form: slab of a sphere, π (R² t − (h³ − (h − t)³) / 3); allowed 2 %",
            (
                "roof sheet inside a sphere R 100",
                lambda: in_roof(ball)[0],
                slab / 1e3,
                slab / 1e3 * 0.02,
            ),
        ),
        *group(
            KEEP_OUTS,
            "mm",
            "closed form: R − (h − t)",
            ("depth of the roof in that sphere", lambda: in_roof(ball)[1], 61.0, 0.15),
        ),
    ]
