"""Where a plan takes the driver's view or headroom past the published limits."""

from __future__ import annotations

from .built import Built
from .laws import (
    DOWN_LEAST_DEG,
    DOWN_SOURCE,
    HORIZON_DEG,
    POST_MOST_DEG,
    POST_SOURCE,
    REAR_SOURCE,
    ROAD_DEG,
    UP_LEAST_DEG,
    UP_SOURCE,
    WIDTH_LEAST_DEG,
)
from .placing import front_posts
from .report import Finding
from .units import shown
from .viewreport import View

HEAD_SOURCE = "geometry; crown of the head from stature, see model/occupant.py"


def view_findings(built: Built, view: View) -> list[Finding]:
    """Return where the plan makes view or headroom worse than a limit.

    What the stock car already misses and the plan leaves alone is in the
    report's table, not here; nor is a view through a mirror nobody measured.
    """
    unit = built.shape.car.unit
    found = []
    head = view.head
    is_cut = built.plan.roof is not None
    if is_cut and head is not None and head.clearance_after_mm is not None and head.clearance_after_mm < 0:
        found.append(
            Finding(
                kind="head in the roof",
                where="driver",
                message=f"A driver of {shown(head.stature_mm, unit)} reaches "
                f"{shown(-head.clearance_after_mm, unit)} past the inside of the skin; headliner and bows "
                "come on top. Lower the seat.",
                measured=head.clearance_after_mm,
                limit=0.0,
                unit="mm",
                source=HEAD_SOURCE,
            )
        )
    for sight in view.sights:
        where = f"windshield, from {sight.eye}"
        if sight.eye == "V1" and sight.up_after_deg is not None:
            up = (sight.up_before_deg, sight.up_after_deg)
            found += _too_small("view up", where, *up, UP_LEAST_DEG, UP_SOURCE)
        if sight.eye == "V2" and sight.down_after_deg is not None:
            down = (sight.down_before_deg, sight.down_after_deg)
            found += _too_small("view down", where, *down, DOWN_LEAST_DEG, DOWN_SOURCE)
    front = front_posts(built.shape.car)
    for post in view.posts:
        if (post.post, post.side) in front and post.two_eye_after_deg is not None:
            if post.two_eye_after_deg > max(POST_MOST_DEG, post.two_eye_before_deg) + 1e-9:
                found.append(
                    Finding(
                        kind="post in the view",
                        where=f"{post.post} {post.side}",
                        message=f"Hides {post.two_eye_after_deg:.1f}° from both eyes, trim not counted; "
                        f"stock {post.two_eye_before_deg:.1f}°.",
                        measured=post.two_eye_after_deg,
                        limit=POST_MOST_DEG,
                        unit="deg",
                        source=POST_SOURCE,
                    )
                )
    if view.rear is not None and view.rear.is_mirror_measured:
        rear, where = view.rear, "rear window, in the mirror"
        for kind, before, after, least in (
            ("view of the horizon behind", rear.up_before_deg, rear.up_after_deg, HORIZON_DEG),
            ("view of the road behind", rear.down_before_deg, rear.down_after_deg, ROAD_DEG),
            ("width of the view behind", rear.width_before_deg, rear.width_after_deg, WIDTH_LEAST_DEG),
        ):
            found += _too_small(kind, where, before, after, least, REAR_SOURCE)
    return found


def _too_small(kind, where, before_deg, after_deg, least_deg, source):
    if after_deg >= min(least_deg, before_deg) - 1e-9:
        return []
    return [
        Finding(
            kind=kind,
            where=where,
            message=f"{after_deg:.2f}°; asked: {least_deg:.1f}°; stock {before_deg:.2f}°.",
            measured=after_deg,
            limit=least_deg,
            unit="deg",
            source=source,
        )
    ]
