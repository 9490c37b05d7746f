"""Posts of flat cabs against closed forms: take-out, misses, tilt, bead; see :mod:`.flatcabs`."""

from __future__ import annotations

import math

from .check import NO_SOURCE, Check, group
from .flatcabs import (
    HAND_DROP,
    HAND_LEANS,
    INCH,
    A,
    B,
    D,
    G,
    bead_of_wedge_post,
    cos,
    hand_report,
    pitched_box,
    two_inch_report,
    wedge_report,
)
from .knowncars import tan

KIND = "posts: a flat cab"


def flat_post_checks() -> list[Check]:
    """Return the checks of posts against what is worked by hand."""
    return [*_hand_checks(), *_post_checks()]


def _hand_checks():
    level, square, fore_aft = [], [], []
    slide = HAND_DROP * tan(32.0)
    for name, lean in HAND_LEANS:
        a, b = tan(lean), tan(14.0)
        true = math.sqrt(1 + a * a + b * b)

        def post(cut, name=name):
            return hand_report(cut).post(name, "right")

        level.append(
            (
                f"take-out, 2-1/4 in plumb, post leaning {lean:g}° and 14°",
                lambda post=post: post("level").take_out_mm / INCH,
                2.25 * true,
                1e-9,
            )
        )
        square.append(
            (
                f"take-out, cut square, post leaning {lean:g}° and 14°",
                lambda post=post: post("square").take_out_mm / INCH,
                (slide * a + HAND_DROP) / true / INCH,
                1e-9,
            )
        )
        fore_aft.append(
            (
                f"miss fore-and-aft, post leaning {lean:g}°",
                lambda post=post: post("level").miss_fore_aft_mm / INCH,
                (HAND_DROP * a - slide) / INCH,
                1e-9,
            )
        )
    return [
        *group(KIND, "in", "closed form: d √(1 + tan² a + tan² b)", *level),
        *group(KIND, "in", "closed form: −D·t, D the roof's displacement, t the post's unit axis", *square),
        *group(KIND, "in", "closed form: d tan a − slide", *fore_aft),
        *group(
            KIND,
            "in",
            "closed form: d tan b",
            (
                "miss across, 2-1/4 in plumb, leaning 14° inboard",
                lambda: hand_report("level").post("B", "right").miss_across_mm / INCH,
                2.25 * tan(14.0),
                1e-9,
            ),
        ),
        *group(
            KIND,
            "in",
            "closed form: d tan a",
            (
                "slide along a 32° windshield, 2-1/4 in plumb",
                lambda: hand_report("level").totals.roof_forward_mm / INCH,
                2.25 * tan(32.0),
                1e-9,
            ),
        ),
        *group(
            KIND,
            "in",
            f"{NO_SOURCE}: an upright post is off by an inch and a quarter",
            (
                "miss of the B-post, 2 in along a 32° windshield",
                lambda: two_inch_report().post("B", "right").miss_fore_aft_mm / INCH,
                -1.25,
                1 / 64,
            ),
        ),
    ]


def _post_checks():
    """Upright posts under a roof that pitches: take-out 40 + (x − 70) tan f, miss (x − 70)(1 / cos f − 1)."""
    # 1430 sin f + 200 (1 − cos f) = 30, solved for tan(f / 2)
    pitch = 2 * math.degrees(math.atan((math.sqrt(1430**2 + 30 * (400 - 30)) - 1430) / (400 - 30)))

    def box():
        return pitched_box().post("C", "right")

    rear_outer = 40 + 1390 * tan(pitch)
    return [
        *group(
            KIND,
            "°",
            "closed form: 1430 sin f + 200 (1 − cos f) = 70 − 40",
            (
                "roof pitch, drops 40 front and 70 rear",
                lambda: pitched_box().totals.roof_pitch_deg,
                pitch,
                1e-9,
            ),
            ("tilt of a post's ends under that pitch", lambda: box().tilt_deg, pitch, 1e-9),
        ),
        *group(
            KIND,
            "mm",
            "closed form: d + (x − x_front) tan f",
            (
                "take-out on the axis, C-post, drops 40 and 70",
                lambda: box().take_out_mm,
                40 + 1360 * tan(pitch),
                1e-7,
            ),
            (
                "take-out on its rear outer edge, drops 40 and 70",
                lambda: next(e.take_out_mm for e in box().edges if e.edge == "rear outer"),
                rear_outer,
                1e-7,
            ),
        ),
        *group(
            KIND,
            "mm",
            "closed form: (x − x_front) (1 / cos f − 1)",
            (
                "miss fore-and-aft, C-post, drops 40 and 70",
                lambda: box().miss_fore_aft_mm,
                1360 * (1 / cos(pitch) - 1),
                1e-7,
            ),
        ),
        *group(
            KIND,
            "mm",
            "closed form: (d + root gap) √(1 + tan² a + tan² b)",
            (
                "mark to mark, A-post, wedge 50 mm lower",
                lambda: wedge_report().post("A", "right").removed_mm,
                (D + G) * math.sqrt(1 + tan(A) ** 2 + tan(B) ** 2),
                1e-9,
            ),
        ),
        *group(
            KIND,
            "mm",
            "closed form: perimeter of the box's corners carried along the axis to the plane",
            (
                "bead, A-post of the wedge, 60 × 40, cut level",
                lambda: wedge_report().post("A", "right").bead_mm,
                bead_of_wedge_post(A),
                1e-9,
            ),
        ),
    ]
