"""A post laid back to meet a roof that came straight down, against its closed form."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from ..hinges import hinge_at
from ..leanreport import lean_report
from ..measured import Post
from ..moves import translation
from ..placing import lean_move
from ..plan import MEET, MEET_BOTH_WAYS, PostCut, PostLean
from ..postlines import PostLine
from ..posts import PostEnds, cut_plane, post_ends
from .check import Check, group
from .flatcabs import HAND_DROP, INCH, sin
from .knowncars import tan

KIND = "posts: laid back"
H, LEAN = 14 * INCH, 32.0  # of the upper cut over the hinge; of the post
REACH = math.hypot(H * tan(LEAN), H - HAND_DROP)  # of the lower end, afterwards and before


def leaned_post_checks() -> list[Check]:
    """Return the checks of a post laid back."""
    return [
        *group(
            KIND,
            "in",
            "closed form: H / cos a − √((H tan a)² + (H − d)²)",
            *(
                (
                    f"take-out, 2-1/4 in plumb, 14 in over the hinge, 32° laid back, cut {plane}",
                    lambda plane=plane: float(laid_back(plane).take_out_mm[0]) / INCH,
                    (H / math.cos(math.radians(LEAN)) - REACH) / INCH,
                    1e-9,
                )
                for plane in ("level", "square")
            ),
        ),
        *group(
            KIND,
            "°",
            "closed form: atan(H tan a / (H − d))",
            *(
                (
                    f"its new lean, cut {plane}",
                    lambda plane=plane: lean_report(laid_back(plane)).lean_side_after_deg,
                    math.degrees(math.atan(H * tan(LEAN) / (H - HAND_DROP))),
                    1e-9,
                )
                for plane in ("level", "square")
            ),
        ),
        *group(
            KIND,
            "mm",
            "closed form: kerf + w / 2 · sin turn, less what the kerf itself turns, under 0.01 mm",
            (
                "mouth of the wedge at the front of a 2 in box, its back closed to the root gap",
                lambda: lean_report(laid_back("level")).mouth_mm,
                1.2 + INCH * sin(math.degrees(math.atan(H * tan(LEAN) / (H - HAND_DROP))) - LEAN),
                0.01,
            ),
        ),
        *group(
            KIND,
            "in",
            "closed form: P0 and A less d lie equally far from h, both ways at once",
            (
                "take-out of a post leaning 32° and 14°, laid back and in",
                lambda: float(laid_back("level", MEET_BOTH_WAYS, 14.0).take_out_mm[0]) / INCH,
                (
                    H * math.sqrt(1 + tan(LEAN) ** 2 + tan(14.0) ** 2)
                    - math.sqrt((H * tan(LEAN)) ** 2 + (H * tan(14.0)) ** 2 + (H - HAND_DROP) ** 2)
                )
                / INCH,
                1e-9,
            ),
        ),
    ]


@cache
def laid_back(plane: str, way: str = MEET, front_deg: float = 0.0) -> PostEnds:
    """Return a 2 × 1-1/2 in post whose upper cut stands 14 in over its hinge, under a roof 2-1/4 in lower."""
    slope = np.array([tan(LEAN), -tan(front_deg), 1.0])
    reach = np.linalg.norm(H * slope - [0.0, 0.0, HAND_DROP])
    foot, up = np.array([0.0, 600.0, 100.0]), slope / np.linalg.norm(slope)
    post = Post(
        name="A",
        side="right",
        axis_mm=(tuple(foot.tolist()), tuple((foot + 500 * slope).tolist())),
        width_mm=2 * INCH,
        depth_mm=1.5 * INCH,
        wall_mm=1.5,
        cut_from_mm=110.0,
        cut_to_mm=590.0,
        cut_at_mm=float(foot[2] + reach * up[2]),
    )
    line, roof = PostLine(post), translation(0.0, 0.0, -HAND_DROP)
    cut = cut_plane(line, PostCut(post="A", plane=plane))
    move = lean_move(PostLean(post="A", lean=way), line, cut, roof, foot)
    corners = line.lines(line.crossings(up, float(up @ foot)))[1:]
    hinge = hinge_at(foot, up, move, corners, kerf_mm=1.2, root_gap_mm=0.8)
    return post_ends(line, cut, roof, kerf_mm=1.2, root_gap_mm=0.8, lower_move=move, hinge=hinge)
