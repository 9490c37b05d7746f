"""Doors of a flat cab against closed forms: rail, legs, lean of the frame; see :mod:`model.doors`.

The cab of :func:`.flatcabs.hand_report`: windshield 32°, sides 14°, 2-1/4 in
lower.  Its door's front edge leans a_F, its rear edge stands plumb in side
view; the rail is level, H above the foot.
"""

from __future__ import annotations

import math

from .check import Check, group
from .flatcabs import HAND_DROP, INCH, hand_report
from .knowncars import flat_car, tan

KIND = "doors: a flat cab"
LEAN = 14.0


def flat_door_checks() -> list[Check]:
    """Return the checks of a door that follows the roof."""
    corners = next(o for o in flat_car(rake_deg=32.0).openings if o.name == "door glass").corners
    foot, top = corners[0], corners[3]
    height = top.up_mm - foot.up_mm
    slope = float((top.across_mm - foot.across_mm) / height)
    across = float(tan(LEAN))

    def door():
        panes = hand_report("level").side_glass
        return next(pane for pane in panes if (pane.pane, pane.side) == ("door glass", "right"))

    def front():
        return door().corners[0]

    return [
        *group(
            KIND,
            "in",
            "closed form: d (tan a_F − tan a_R)",
            (
                "rail grows, 2-1/4 in plumb",
                lambda: (door().rail_after_mm - door().rail_before_mm) / INCH,
                2.25 * slope,
                1e-9,
            ),
        ),
        *group(
            KIND,
            "in",
            "closed form: d √(1 + tan² a + tan² b)",
            (
                "take-out of the front leg",
                lambda: door().legs[0].take_out_mm / INCH,
                2.25 * math.sqrt(1 + slope**2 + across**2),
                1e-8,
            ),
            (
                "take-out of the rear leg",
                lambda: door().legs[1].take_out_mm / INCH,
                2.25 * math.sqrt(1 + across**2),
                1e-8,
            ),
        ),
        *group(
            KIND,
            "in",
            "closed form: d tan b",
            ("a leg lands inboard", lambda: door().legs[1].miss_across_mm / INCH, 2.25 * across, 1e-8),
            ("the pane's lower edge swings out", lambda: door().well.swing_mm / INCH, 2.25 * across, 1e-8),
        ),
        *group(
            KIND,
            "deg",
            "closed form: atan(H tan b / (H − d))",
            (
                "lean of the frame after",
                lambda: front().lean_front_after_deg,
                math.degrees(math.atan(height * across / (height - HAND_DROP))),
                1e-8,
            ),
        ),
    ]
