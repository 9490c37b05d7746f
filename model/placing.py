"""Where the plan puts every piece: rigid moves.

**Roof.**  U is the roof's material point that lands on C, the mean of the
A-posts' lower cut centres.  It comes down by the front drop d and forward by
the slide s: U = C + (s, 0, d).  The car's rear point Q, seen from U at
(X, Z), comes down by the rear drop; with pitch f about +y that asks

    X sin f + Z (1 − cos f) = rear − front,

so f = φ + asin((rear − front − Z) / r) with r = |(X, Z)|, φ = atan2(Z, X).
The roof's move is P' = R_f (P − U) + C.

The slide follows from the plan: *straight-down* s = 0; a given length; or
*along-windshield*: the s at which the fore-and-aft misses of the A-posts have
zero mean, read at the level of the lower cut whatever the cut plane: the roof
keeps to the windshield's line in side view, and choosing another plane does
not move it (for a straight post without pitch, s = d tan a).

**Rear window panel.**  Turned by the lay-down about the y-parallel through
its lower flange edge at the centreline (top towards the front, so by minus
that angle about +y), then moved forward and down.  ``down = None`` brings its
top centre to the height it would have if it had stayed in the roof.

**Leaned post.**  The lower end turns about its hinge h, a point of the axis,
by L, before the upper end comes down by M.  Seen from the turned lower end the
upper one moves by L⁻¹ M, and all that is said of a post's two ends follows
from that.  Let P0 be the lower cut's centre.  *meet* turns about the
y-parallel through h until the fore-and-aft miss in the cut plane is zero;
*meet-both-ways* finds the point A of the axis with |M A − h| = |P0 − h| and
turns P0 − h onto M A − h the shortest way.  For a straight post of lean a, no
pitch and a roof that comes straight down by d, with A a height H above the
hinge:

    lean after = atan(H tan a / (H − d))
    take-out   = H / cos a − √((H tan a)² + (H − d)²).

**Shifted post.**  The upper end slides along the stock roof's x before the
roof's move: M ∘ T(shift).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .errors import PlanError
from .measured import Car
from .moves import IDENTITY, RigidMove, pitch_about, translation, turn_between
from .plan import (
    ALONG_WINDSHIELD,
    LEVEL,
    LINE_UP,
    MEET,
    MEET_BOTH_WAYS,
    STRAIGHT_DOWN,
    PostLean,
    RoofMove,
    WindowMove,
)
from .postlines import PostLine
from .posts import CutPlane, landing_point, miss_in_plane

PostKey = tuple[str, str]  # name and side
LAY_DOWN_DEG = (-10.0, 45.0)  # assumed: beyond this it is another window
MOST_TURN_DEG = 20.0  # assumed: more tears the sheet beside the hinge apart


@dataclass(frozen=True, eq=False)
class RoofPlace:
    """The roof's move and what it amounts to."""

    move: RigidMove
    pitch_deg: float  # + rear down
    forward_mm: float  # of the point that lands on the A-posts' cut


@dataclass(frozen=True, eq=False)
class WindowPlace:
    """The window panel's move and what it amounts to."""

    move: RigidMove
    pivot_mm: np.ndarray
    forward_mm: float
    down_mm: float
    lay_down_deg: float


def roof_length_mm(car: Car) -> float:
    """Return the length of the roof from the first to the last hoop, along the crown. [mm]"""
    return car.hoops[-1].right_mm[-1][0] - car.hoops[0].right_mm[-1][0]


def cab_height_mm(car: Car) -> float:
    """Return the height from the lowest belt to the highest crown point. [mm]"""
    return max(h.right_mm[-1][2] for h in car.hoops) - min(h.right_mm[0][2] for h in car.hoops)


def window_limits(car: Car) -> dict[str, tuple[float, float]]:
    """Return how far the rear window panel may go on this car, by setting; mm, ``lay_down`` in degrees."""
    length, height = roof_length_mm(car), cab_height_mm(car)
    return {
        "window_forward": (-length / 4, length / 2),
        "window_down": (-height / 2, height / 2),
        "lay_down": LAY_DOWN_DEG,
    }


def front_posts(car: Car) -> list[PostKey]:
    """Return the right and left A-posts: on each side, the post that is cut furthest forward."""
    keys = []
    for side in ("right", "left"):
        on_side = [p for p in car.all_posts() if p.side == side]
        first = min(on_side, key=lambda p: p.axis_mm[0][0])
        keys.append((first.name, side))
    return keys


def rear_posts(car: Car) -> list[PostKey]:
    """Return the rearmost post of the right and of the left side."""
    keys = []
    for side in ("right", "left"):
        on_side = [p for p in car.all_posts() if p.side == side]
        keys.append((max(on_side, key=lambda p: p.axis_mm[-1][0]).name, side))
    return keys


def roof_place(
    car: Car, roof: RoofMove | None, lines: dict[PostKey, PostLine], planes: dict[PostKey, CutPlane]
) -> RoofPlace:
    """Return where the roof goes.

    Raises
    ------
    PlanError
        If the two drops ask for a pitch that does not exist.
    """
    if roof is None:
        return RoofPlace(IDENTITY, 0.0, 0.0)
    keys = front_posts(car)
    landing = np.mean([planes[k].point_mm for k in keys], axis=0)
    rear_point = np.array(car.rear_point_mm)

    def place(slide_mm):
        unmoved = landing + np.array([slide_mm, 0.0, roof.front_drop_mm])
        pitch = _pitch_rad(rear_point - unmoved, roof.rear_drop_mm - roof.front_drop_mm)
        turn = pitch_about(unmoved, np.degrees(pitch))
        return RoofPlace(
            translation(-slide_mm, 0.0, -roof.front_drop_mm) @ turn, float(np.degrees(pitch)), float(slide_mm)
        )

    if roof.fore_aft == STRAIGHT_DOWN:
        return place(0.0)
    if roof.fore_aft != ALONG_WINDSHIELD:
        return place(float(roof.fore_aft))

    level = {k: CutPlane(LEVEL, planes[k].point_mm, np.array([0.0, 0.0, 1.0])) for k in keys}

    def mean_miss(slide_mm):
        move = place(slide_mm).move
        return np.mean(
            [miss_in_plane(lines[k], level[k], landing_point(lines[k], level[k], move))[0] for k in keys]
        )

    return place(root_of_near_linear(mean_miss))


def _pitch_rad(seen_from_landing_mm, extra_mm):
    x, _, z = seen_from_landing_mm
    sine = (extra_mm - z) / np.hypot(x, z)
    if abs(sine) > 1:
        raise PlanError(
            "rear_drop",
            f"differs from the front drop by {extra_mm:.1f} mm, more than the roof can pitch.",
            "Bring the two drops closer together.",
            value_mm=extra_mm,
        )
    return np.arctan2(z, x) + np.arcsin(sine)


NO_MEETING_ROOF = PlanError(
    "fore_aft",
    "along-windshield finds no place where the A-posts meet.",
    "Give a length, or straight-down.",
)


def root_of_near_linear(function, start=0.0, step=10.0, refusal=NO_MEETING_ROOF):
    """Return the root of a smooth, nearly linear function, by secant steps to 1e-11."""
    a, b = start, start + step
    fa, fb = function(a), function(b)
    for _ in range(30):
        if fb == fa:
            break
        a, b, fa = b, b - fb * (b - a) / (fb - fa), fb
        if abs(b - a) < 1e-11:
            return b
        fb = function(b)
    raise refusal


def shift_mm(by: str | float | None, line: PostLine, plane: CutPlane, roof: RigidMove) -> float:
    """Return how far the upper end of a post is shifted along the rail, + rearward. [mm]"""
    if by is None:
        return 0.0
    if by != LINE_UP:
        return float(by)
    return root_of_near_linear(
        lambda s: miss_in_plane(line, plane, landing_point(line, plane, roof @ translation(s)))[0]
    )


def lean_move(
    lean: PostLean, line: PostLine, plane: CutPlane, upper: RigidMove, hinge_mm: np.ndarray
) -> RigidMove:
    """Return how the lower end of a leaned post turns about its hinge.

    Parameters
    ----------
    upper : RigidMove
        Of the post's upper end.
    hinge_mm : (3,)
        On the axis, below the lower cut.

    Raises
    ------
    PlanError
        If no turn brings the ends together, or it turns too far to be bent.
    """
    name = f"lean.{line.post.name}.{line.post.side}"
    no_meeting = PlanError(
        name,
        "finds no turn about this hinge that brings the post's ends together.",
        "Hinge it lower, cut it higher, or drop the roof less.",
    )
    reach = plane.point_mm - hinge_mm
    if lean.lean == MEET:

        def miss(angle_deg):
            turned = pitch_about(hinge_mm, angle_deg).inverse() @ upper
            return miss_in_plane(line, plane, landing_point(line, plane, turned))[0]

        move = pitch_about(hinge_mm, root_of_near_linear(miss, 0.0, 1.0, no_meeting))
    elif lean.lean == MEET_BOTH_WAYS:

        def short_by(s):
            return np.linalg.norm(upper.points(line.axis_point(s)) - hinge_mm) - np.linalg.norm(reach)

        s = root_of_near_linear(short_by, line.axis_at_height(plane.point_mm[2]), 0.05, no_meeting)
        move = turn_between(hinge_mm, reach, upper.points(line.axis_point(s)) - hinge_mm)
    else:
        move = pitch_about(hinge_mm, lean.lean - np.degrees(np.arctan2(reach[0], reach[2])))
    turn = np.degrees(np.arccos(np.clip((np.trace(move.rotation) - 1) / 2, -1, 1)))
    if turn > MOST_TURN_DEG:
        raise PlanError(
            name,
            f"must turn the lower end by at most {MOST_TURN_DEG:g} degrees; it turns by {turn:.1f} degrees.",
            "Hinge it lower, cut it higher, or drop the roof less.",
            value_mm=float(turn),
            limit_mm=MOST_TURN_DEG,
        )
    return move


def window_place(window: WindowMove | None, pivot_mm, top_centre_mm, roof: RigidMove) -> WindowPlace:
    """Return where the rear window panel goes.

    Parameters
    ----------
    window : WindowMove or None
        Of plain numbers: what is to be fitted has been.
    pivot_mm, top_centre_mm : (3,)
        Lower and upper flange edge at the centreline, before the move.
    roof : RigidMove
        The roof's move.
    """
    pivot = np.asarray(pivot_mm, float)
    if window is None:
        return WindowPlace(roof, pivot, 0.0, 0.0, 0.0)
    laid = pitch_about(pivot, -window.lay_down_deg)
    down = window.down_mm
    if down is None:
        down = float(laid.points(top_centre_mm)[2] - roof.points(top_centre_mm)[2])
    move = translation(-window.forward_mm, 0.0, -down) @ laid
    return WindowPlace(move, pivot, window.forward_mm, down, window.lay_down_deg)
