"""Leaning posts against the carpenters' rafter tables.

Read *p in 12* as p inches of lean to 12 in of plumb height: the table's length
is then inches of post to 12 in of plumb drop.  A hip rafter is a post that
leans 12 in 12 one way and p in 12 the other.
"""

from __future__ import annotations

import math
from functools import partial

from ..measured import Post
from ..moves import translation
from ..plan import PostCut
from ..postlines import PostLine
from ..posts import PostEnds, cut_plane, post_ends
from .check import Check, group

INCH = 25.4
KIND = "posts: rafter tables"

# p in 12, length per foot of run [in], hip factor [1], angle from the level of the run [°]
TABLE = (
    (2, 12.17, 1.4240, 9.46),
    (3, 12.37, 1.4362, 14.04),
    (4, 12.65, 1.4529, 18.43),
    (5, 13.00, 1.4743, 22.62),
    (6, 13.42, 1.5000, 26.57),
    (7, 13.89, 1.5298, 30.26),
    (8, 14.42, 1.5635, 33.69),
    (9, 15.00, 1.6008, 36.87),
    (10, 15.62, 1.6415, 39.81),
    (11, 16.28, 1.6853, 42.51),
    (12, 16.97, 1.7321, 45.00),
    (13, 17.69, 1.7815, 47.29),
    (14, 18.44, 1.8333, 49.40),
    (15, 19.21, 1.8874, 51.34),
    (16, 20.00, 1.9437, 53.13),
    (17, 20.81, 2.0017, 54.78),
    (18, 21.63, 2.0616, 56.31),
)
COMMON_SOURCE = (
    'framing square, "length per foot of run": '
    "instructables.com/id/How-To-Make-A-Common-Rafter-For-Any-Width-Structur/step4"
)
HIP_SOURCE = "roofonline.com/hip-and-valley-factor-table"
NAVY_SOURCE = "US Navy builder course, NAVEDTRA 14044, fig. 2-17: constructionmanuals.tpub.com/14044"
RIDGE_SOURCE = 'josephfusco.org, "Fixed Ridge Height"'
GRIFFITH_SOURCE = "I. S. Griffith, Carpentry, ch. 20: chestofbooks.com"


def leaning_ends(
    rearward: float, inboard: float, drop_in: float, *, side="right", plane="level", section_mm=(50.0, 40.0)
) -> PostEnds:
    """Return both ends of a straight post dropped plumb.

    Parameters
    ----------
    rearward, inboard : float
        Lean, in units of length to one of plumb height. [1]
    drop_in : float
        Plumb. [in]
    section_mm : (width, depth)
        Of the post's box. [mm]
    """
    sign = -1.0 if side == "right" else 1.0
    up = 5000.0
    foot = (0.0, -9000.0 * sign, 0.0)
    post = Post(
        name="A",
        side=side,
        axis_mm=(foot, (rearward * up, foot[1] + sign * inboard * up, up)),
        width_mm=section_mm[0],
        depth_mm=section_mm[1],
        wall_mm=1.5,
        cut_from_mm=400.0,
        cut_to_mm=4600.0,
        cut_at_mm=500.0,
    )
    line = PostLine(post)
    cut = cut_plane(line, PostCut(post="A", plane=plane))
    return post_ends(line, cut, translation(z_mm=-drop_in * INCH), kerf_mm=1.2, root_gap_mm=0.8)


def rafter_checks() -> list[Check]:
    """Return the checks of posts against the rafter tables."""
    common, hip, lean = [], [], []
    for p, length, factor, angle in TABLE:
        part = p / 12
        common.append(
            (f"take-out to 12 in plumb, {p} in 12", partial(_take_out_in, part, 0, 12), length, 0.005)
        )
        hip.append(
            (
                f"take-out to 12 in, 12 and {p} in 12",
                partial(_take_out_in, 1, part, 12),
                12 * factor,
                0.001,
            )
        )
        lean.append((f"lean from plumb, {p} in 12", partial(_lean_deg, part), angle, 0.005))
    ridge = (190.5 / 119, 190.5 / 119, 119)
    seven, steep = 7 / 12, math.tan(math.radians(32))
    return [
        *group(KIND, "in", COMMON_SOURCE, *common),
        *group(KIND, "in", f"{HIP_SOURCE}: factor × 12", *hip),
        *group(KIND, "°", HIP_SOURCE, *lean),
        *group(
            KIND,
            "in",
            f"{NAVY_SOURCE}: 8 × 13.89",
            ("take-out to 8 ft plumb, 7 in 12", lambda: _take_out_in(seven, 0, 96), 111.12, 0.04),
        ),
        *group(
            KIND,
            "in",
            RIDGE_SOURCE,
            ("take-out, 190.5 and 190.5 over 119", lambda: _take_out_in(*ridge), 294.518, 0.0015),
            ("miss both ways, 190.5 and 190.5 over 119", lambda: _miss_in(*ridge), 269.407, 0.001),
        ),
        *group(
            KIND,
            "in",
            GRIFFITH_SOURCE,
            ("miss both ways, 12 and 12 in 12", lambda: _miss_in(1, 1, 12), 16.97, 0.005),
        ),
        *group(
            KIND,
            "°",
            "closed form: a cube's diagonal from its edge, atan √2",
            ("true lean from plumb, 12 and 12 in 12", _true_lean_deg, 54.7356103172, 1e-9),
        ),
        *group(
            KIND,
            "in",
            "closed form: drop · tan lean",
            ("miss, 3 in plumb, 7 in 12", lambda: _miss_in(seven, 0, 3), 1.75, 1e-9),
        ),
        *group(
            KIND,
            "in",
            "closed form: drop · cos lean",
            (
                "take-out to 2 in, 32°, cut square",
                lambda: leaning_ends(steep, 0, 2, plane="square").take_out_mm[0] / INCH,
                2 * math.cos(math.radians(32)),
                1e-9,
            ),
        ),
        *group(
            KIND,
            "in",
            "closed form: 2 (2 / cos lean + 3)",
            (
                "bead, 2 × 3 in post at 32°, cut level",
                lambda: leaning_ends(steep, 0, 2, section_mm=(2 * INCH, 3 * INCH)).bead_mm / INCH,
                2 * (2 / math.cos(math.radians(32)) + 3),
                1e-9,
            ),
        ),
    ]


def _take_out_in(rearward, inboard, drop_in):
    return leaning_ends(rearward, inboard, drop_in).take_out_mm[0] / INCH


def _miss_in(rearward, inboard, drop_in):
    return math.hypot(*leaning_ends(rearward, inboard, drop_in).miss_mm) / INCH


def _lean_deg(rearward):
    return leaning_ends(rearward, 0, 12).lean_deg[0]


def _true_lean_deg():
    return math.degrees(math.acos(1 / _take_out_in(1, 1, 1)))
