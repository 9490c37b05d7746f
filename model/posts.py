"""Posts: their cut planes, take-out, marks and misses; t, w, d and the lines as in :mod:`model.postlines`.

**Lean.**  In side view a = atan2(t_x, t_z), + leaning rearward going up; in
front view b = atan2(inboard t_y, t_z), + leaning inboard going up.

**Cut plane.**  n·(P − P0) = 0 with n_z > 0 and P0 on the axis at the cut
height.  ``level``: n = z.  ``square``: n = t.  Given by its two slopes:
n ∝ (−tan α, ∓tan β, 1).

**Upper cut.**  The roof's move M must carry the upper cut face onto the lower
one: the upper cut is {Q: n·(M Q − P0) = e}.  With e = 0 the distance between
the two along any line of the post is the *take-out* along that line.  The
opening left for the weld and both kerfs are measured square to the plane, as
a blade cuts: e = max(root gap, kerf − least take-out square to the plane), so
that a cut that takes nothing out still opens by the kerf, and an ordinary one
by exactly the root gap.

A lower end that is leaned turns by L first; then M stands for L⁻¹ M
throughout (see :mod:`model.placing`).

**Miss.**  The axis of the upper end meets the lower plane at M Q0, where
n·(M Q0 − P0) = 0; miss = M Q0 − P0 lies in the plane.  Its fore-and-aft part
is along x made square to n, its across part along the in-plane direction
square to that, + inboard.

Closed forms held by tests, for a straight post, a level cut and no pitch:
take-out = d √(1 + tan² a + tan² b), miss across = d tan b.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .errors import PlanError
from .hinges import Hinge
from .moves import IDENTITY, RigidMove
from .numeric import cross_of_two
from .plan import LEVEL, SQUARE, GivenPlane, PostCut
from .postlines import PostLine

_TOLERANCE_MM = 1e-6


@dataclass(frozen=True, eq=False)
class CutPlane:
    """The lower cut of one post: normal·(P − point) = 0, normal upward."""

    name: str  # level, square or given
    point_mm: np.ndarray
    normal: np.ndarray

    @cached_property
    def ways(self) -> tuple[np.ndarray, np.ndarray]:
        """Unit directions in the plane: rearward, and square to that to the car's left or right."""
        rearward = np.array([1.0, 0.0, 0.0]) - self.normal[0] * self.normal
        rearward /= np.linalg.norm(rearward)
        return rearward, cross_of_two(self.normal, rearward)

    @cached_property
    def offset_mm(self) -> float:
        """normal·P of its points. [mm]"""
        return float(self.normal @ self.point_mm)

    def height_above(self, points_mm) -> np.ndarray:
        """Return distances above the plane, square to it. [mm]"""
        return (np.asarray(points_mm) - self.point_mm) @ self.normal


@lru_cache(maxsize=256)
def cut_plane(line: PostLine, cut: PostCut) -> CutPlane:
    """Return the lower cut plane of a post.

    Raises
    ------
    PlanError
        If the cut height leaves the stretch of the post where it may go.
    """
    post = line.post
    height_mm = post.cut_at_mm if cut.height_mm is None else cut.height_mm
    if not post.cut_from_mm <= height_mm <= post.cut_to_mm:
        raise PlanError(
            f"cut_height.{post.name}.{post.side}",
            f"must be between {post.cut_from_mm:.1f} and {post.cut_to_mm:.1f} mm on this car, "
            f"where the post may be cut; got {height_mm:.1f} mm.",
            "Choose a height in that stretch.",
            value_mm=height_mm,
            limit_mm=post.cut_to_mm if height_mm > post.cut_to_mm else post.cut_from_mm,
        )
    point, t, _, _ = line.frame(line.axis_at_height(height_mm))
    if cut.plane == LEVEL:
        name, normal = LEVEL, np.array([0.0, 0.0, 1.0])
    elif cut.plane == SQUARE:
        name, normal = SQUARE, t[0]
    elif isinstance(cut.plane, GivenPlane):
        slope = np.tan(np.radians([cut.plane.rises_rearward_deg, cut.plane.rises_inboard_deg]))
        normal = np.array([-slope[0], -slope[1] * line.inboard, 1.0])
        name, normal = "given", normal / np.linalg.norm(normal)
    else:
        raise PlanError(f"cut.{post.name}", f"must be level, square or a plane; got {cut.plane!r}.")
    return CutPlane(name, point[0], normal)


@dataclass(frozen=True, eq=False)
class PostEnds:
    """Both ends of one cut post, and what became of the upper one.

    ``s_lower``, ``s_take``, ``s_upper`` are parameters, shape (5,), of the
    lower cut, of the inverse image of the lower plane, and of the upper cut
    (with its opening) on the lines of :data:`EDGES`.
    """

    line: PostLine
    plane: CutPlane
    move: RigidMove  # of the upper end
    opening_mm: float  # left between the faces, square to the plane
    shift_mm: float
    s_lower: np.ndarray
    s_take: np.ndarray
    s_upper: np.ndarray
    lower_move: RigidMove = IDENTITY  # of the lower end
    hinge: Hinge | None = None  # where the lower end was cut around to be leaned

    @cached_property
    def relative(self) -> RigidMove:
        """The move of the upper end as seen from the lower one."""
        return self.move if self.lower_move is IDENTITY else self.lower_move.inverse() @ self.move

    @cached_property
    def plane_in_place(self) -> CutPlane:
        """The lower cut where the plan puts it."""
        if self.lower_move is IDENTITY:
            return self.plane
        point, normal = (
            self.lower_move.points(self.plane.point_mm),
            self.lower_move.vectors(self.plane.normal),
        )
        return CutPlane(self.plane.name, point, normal)

    @cached_property
    def take_out_mm(self) -> np.ndarray:
        """Take-out along the axis and the four corner edges."""
        return self.line.lengths(self.s_lower, self.s_take)

    @cached_property
    def removed_mm(self) -> np.ndarray:
        """Metal removed, mark to mark, along the same lines."""
        return self.line.lengths(self.s_lower, self.s_upper)

    @cached_property
    def lean_deg(self) -> tuple[float, float]:
        """Lean at the lower cut in side view and in front view."""
        _, t, _, _ = self.line.frame(self.s_lower[0])
        return (
            float(np.degrees(np.arctan2(t[0, 0], t[0, 2]))),
            float(np.degrees(np.arctan2(self.line.inboard * t[0, 1], t[0, 2]))),
        )

    @cached_property
    def drop_mm(self) -> float:
        """Plumb drop of the point of the axis that lands on the lower plane."""
        landing = self.line.middle_point(float(self.s_take[0]))
        return float(landing[2] - self.move.points(landing)[2])

    @cached_property
    def miss_mm(self) -> tuple[float, float]:
        """Miss fore-and-aft (+ rearward) and across (+ inboard) in the cut plane."""
        return miss_in_plane(
            self.line, self.plane, self.relative.points(self.line.middle_point(float(self.s_take[0])))
        )

    @cached_property
    def tilt_deg(self) -> float:
        """Angle between the axes of the two ends where they meet."""
        lower, upper = (self.line.frame(s[0])[1][0] for s in (self.s_lower, self.s_take))
        turned = self.relative.vectors(upper)
        return float(np.degrees(np.arctan2(np.linalg.norm(cross_of_two(lower, turned)), lower @ turned)))

    @cached_property
    def bead_mm(self) -> float:
        """Perimeter of the box's outside in the lower cut plane."""
        corners = self.line.lines(self.s_lower)[1:]
        return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())


def miss_in_plane(line: PostLine, plane: CutPlane, landing_mm) -> tuple[float, float]:
    """Return the fore-and-aft and across parts of landing − cut centre. [mm]"""
    rearward, across = plane.ways
    miss = landing_mm - plane.point_mm
    return float(miss @ rearward), float(miss @ across) * float(np.sign(across[1] * line.inboard))


def landing_point(line: PostLine, plane: CutPlane, move: RigidMove) -> np.ndarray:
    """Return where the axis of the moved upper end meets the lower plane. [mm]"""
    return move.points(line.middle_point(line.middle_crossing(*_carried_back(plane, move))))


def inverse_image(line: PostLine, plane: CutPlane, move: RigidMove, offset_mm=0.0) -> np.ndarray:
    """Return s on the five lines of {Q: n·(M Q − P0) = offset}."""
    normal, through_mm = _carried_back(plane, move)
    return line.crossings(normal, through_mm + offset_mm)


def _carried_back(plane, move):
    """Return normal and offset of {Q: n·(M Q − P0) = 0}."""
    return plane.normal @ move.rotation, plane.offset_mm - float(plane.normal @ move.translation_mm)


def post_ends(
    line: PostLine,
    plane: CutPlane,
    move: RigidMove,
    *,
    kerf_mm: float,
    root_gap_mm: float,
    shift_mm: float = 0.0,
    lower_move: RigidMove = IDENTITY,
    hinge: Hinge | None = None,
) -> PostEnds:
    """Return both ends of a post whose upper end makes ``move``; see :func:`check_cuts`."""
    s_lower = lower_crossing(line, plane)
    relative = move if lower_move is IDENTITY else lower_move.inverse() @ move
    s_take = inverse_image(line, plane, relative)
    take_square = plane.height_above(line.lines(s_take)) - plane.height_above(line.lines(s_lower))
    opening = max(root_gap_mm, kerf_mm - float(take_square.min()))
    s_upper = inverse_image(line, plane, relative, opening)
    return PostEnds(line, plane, move, opening, shift_mm, s_lower, s_take, s_upper, lower_move, hinge)


@lru_cache(maxsize=256)
def lower_crossing(line, plane):
    """Return s of the lower cut on the five lines: the same while the roof comes down."""
    return line.crossings(plane.normal, plane.offset_mm)


def check_cuts(ends: PostEnds) -> None:
    """Refuse a cut that leaves the post, or the stretch where it may be cut.

    Raises
    ------
    PlanError
    """
    post = ends.line.post
    for which, s in (("lower", ends.s_lower), ("upper", ends.s_upper)):
        if _room_mm(ends.line, s) < -_TOLERANCE_MM:
            height = float(ends.line.lines(s)[0, 2])
            raise PlanError(
                f"cut_height.{post.name}.{post.side}",
                f"puts the {which} cut at {height:.1f} mm, off the stretch of this post that may be cut "
                f"({post.cut_from_mm:.1f} to {post.cut_to_mm:.1f} mm).",
                "Cut lower, drop less, or re-measure how high the post may be cut.",
                value_mm=height,
                limit_mm=post.cut_to_mm if height > post.cut_to_mm else post.cut_from_mm,
            )


def room_above_mm(ends: PostEnds) -> float:
    """Return how much further the upper cut could go before it leaves its stretch; negative: too far. [mm]"""
    return _room_mm(ends.line, ends.s_upper)


def _room_mm(line, s):
    """Least distance of a cut to the limits of its stretch (on the axis) and to the post's ends."""
    height = line.lines(s)[0, 2]
    ends = line.ends_mm[:, :, 2]
    return float(
        min(
            height - line.post.cut_from_mm,
            line.post.cut_to_mm - height,
            (s * (ends[1] - ends[0])).min(),
            ((1 - s) * (ends[1] - ends[0])).min(),
        )
    )
