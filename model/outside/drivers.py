"""Eye points, the owner's stature, and what is seen over and under the edges of the glass."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

from ..evaluate import evaluate
from ..measured import Driver
from ..occupant import crown_mm, eye_points_mm, own_eye_mm
from ..plan import Plan, RoofMove
from .check import FROM_MEMORY, Check, group
from .flatcabs import tan
from .knowncars import box_car, wedge_car

EYES, STATURE, VIEW = "eye points", "stature", "driver's view"
GOST = "GOST 5727-88, appendix, table 1: antiradar.ucoz.ru/load/15-1-0-380; driver on the left, back 25°"
R125_BACK = f"UN R125 ¶5.4, seat backs other than 25°; {FROM_MEMORY}"
HUSTON = (
    "R. L. Huston, Principles of Biomechanics, CRC Press 2009, table of sitting heights; against its mean"
)
SEAT = (900.0, -300.0, -400.0)
_LEFT = (0.0, -1.0, 0.0)
_PEOPLE = (  # stature, sitting height, sitting eye height [mm]
    ("5th percentile man", 1649, 859, 743),
    ("95th percentile man", 1869, 975, 855),
    ("5th percentile woman", 1518, 797, 692),
    ("95th percentile woman", 1724, 911, 791),
)
_MEAN_EYE, _MEAN_SITTING = (800 + 743) / 2, (927 + 853) / 2  # of the 50th percentile man and woman


def driver_checks() -> list[Check]:
    """Return the checks of eye points, stature and angles of view."""
    return [*_eye_checks(), *_stature_checks(), *_view_checks()]


def _eye_checks():
    def eye(name, axis, back=25.0):
        return lambda: (eye_points_mm(_LEFT, back)[name] - _LEFT)[axis]

    def shift(back, axis):
        return lambda: (eye_points_mm(SEAT, back)["V1"] - eye_points_mm(SEAT)["V1"])[axis]

    return [
        *group(
            EYES,
            "mm",
            GOST,
            ("V1, rearward of the seat point", eye("V1", 0), 68.0, 1e-9),
            ("V1, across", eye("V1", 1), -5.0, 1e-9),
            ("V1, up", eye("V1", 2), 665.0, 1e-9),
            ("V2, up", eye("V2", 2), 589.0, 1e-9),
        ),
        *group(
            EYES,
            "mm",
            R125_BACK,
            ("back at 15°, eyes rearward", shift(15, 0), -90.0, 1e-9),
            ("back at 15°, eyes up", shift(15, 2), 20.0, 1e-9),
            ("back at 30°, eyes rearward", shift(30, 0), 43.0, 1e-9),
            ("back at 30°, eyes up", shift(30, 2), -14.0, 1e-9),
        ),
    ]


def _stature_checks():
    mean = Driver(stature_mm=1688.5)

    def risen(point, stature):
        return lambda: (point(SEAT, Driver(stature_mm=stature)) - point(SEAT, mean))[2]

    eyes = [
        (f"eyes of a {who}, over the mean", risen(own_eye_mm, tall), eye - _MEAN_EYE, 11.0)
        for who, tall, _, eye in _PEOPLE
    ]
    crowns = [
        (f"head of a {who}, over the mean", risen(crown_mm, tall), sitting - _MEAN_SITTING, 13.0)
        for who, tall, sitting, _ in _PEOPLE
    ]
    source = f"{HUSTON}; percentiles of different measures are not one body"
    return group(STATURE, "mm", source, *eyes, *crowns)


def _view_checks():
    """A plumb windshield in x = 0, glass from z = 100 to 400; one raked 32°; the roof down by 50."""

    @cache
    def sight(is_raked):
        car = replace(wedge_car() if is_raked else box_car(), seat_mm=SEAT)
        view = evaluate(car, Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=50))).view
        return {s.eye: s for s in view.sights}

    def angle(is_raked, eye, field):
        return lambda: getattr(sight(is_raked)[eye], field)

    def plumb(height):
        return math.degrees(math.atan2(height, 968))

    def raked(z):
        return math.degrees(math.atan2(z - 265, 968 - z * tan(32)))

    closed = "closed form: height of the edge over its distance, V1 265 and V2 189 high, 968 behind"
    return [
        *group(
            VIEW,
            "°",
            closed,
            ("up from V1, plumb glass", angle(False, "V1", "up_before_deg"), plumb(135), 1e-7),
            ("up from V1, 50 mm lower", angle(False, "V1", "up_after_deg"), plumb(85), 1e-7),
            ("down from V2, plumb glass", angle(False, "V2", "down_after_deg"), plumb(89), 1e-7),
            ("up from V1, glass raked 32°", angle(True, "V1", "up_before_deg"), raked(400), 1e-6),
            ("up from V1, along it 50 mm lower", angle(True, "V1", "up_after_deg"), raked(350), 1e-6),
        ),
    ]
