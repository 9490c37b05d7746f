"""Posts: their lines, their cut planes, take-out, marks and misses.

**The post's own frame.**  With unit axis t (upward), w is the car's x made
square to t (fore-and-aft, rearward) and d = ±(t × w) points inboard.  The
box's four corner edges run at ±width/2 along w and ±depth/2 along d.  On a
curved post they are cubic splines through 17 stations; on a straight one they
are straight.  A ``centre`` post has no inboard side: its d points to −y, so
that "outer" is its right side.

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
from scipy.interpolate import BSpline, make_interp_spline

from .errors import PlanError
from .hinges import Flat, Hinge
from .measured import Post
from .moves import IDENTITY, RigidMove
from .numeric import cross, cross_of_two, dot, horner, power_pieces, unit
from .plan import LEVEL, SQUARE, GivenPlane, PostCut

EDGES = ("axis", "front outer", "front inner", "rear inner", "rear outer")  # around the box
_EDGE_SIGNS = np.array([(0, 0), (-1, -1), (-1, 1), (1, 1), (1, -1)], float)  # along w, along d
_FIVE = np.arange(5)
_STATIONS = 17
_TOLERANCE_MM = 1e-6
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True, eq=False)
class PostLine:
    """The axis and the corner edges of one post as curves over s in [0, 1]."""

    post: Post

    @property
    def inboard(self) -> float:
        """Sign of the y direction that leads inboard."""
        return 1.0 if self.post.side == "left" else -1.0

    @cached_property
    def _axis(self):
        points = np.array(self.post.axis_mm, float)
        chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
        s = np.concatenate([[0.0], np.cumsum(chords) / chords.sum()])
        return make_interp_spline(s, points, k=min(3, len(points) - 1))

    @property
    def is_straight(self) -> bool:
        """Whether the measured axis has just two points."""
        return len(self.post.axis_mm) == 2

    def frame(self, s):
        """Return axis points, t, w and d at parameters ``s``; each (n, 3)."""
        s = np.atleast_1d(np.asarray(s, float))
        return _post_frame(self._axis(s), self._axis(s, nu=1), self.inboard)

    @cached_property
    def stations(self) -> np.ndarray:
        """Parameters where the section is laid out, for drawing and for solids."""
        return np.linspace(0, 1, 2 if self.is_straight else _STATIONS)

    def lines_at_stations(self, inset_mm=0.0) -> np.ndarray:
        """Return the axis and corner edges at the stations, shape (n, 5, 3).

        ``inset_mm`` moves the corner edges towards the axis on both faces
        (the wall thickness gives the inside of the box).
        """
        point, _, w, d = self.frame(self.stations)
        half = np.array([self.post.width_mm, self.post.depth_mm]) / 2 - inset_mm
        offsets = _EDGE_SIGNS * half
        return point[:, None] + offsets[None, :, :1] * w[:, None] + offsets[None, :, 1:] * d[:, None]

    def corner_splines(self, inset_mm=0.0) -> BSpline:
        """Return the axis and corner edges as one spline with values of shape (5, 3)."""
        return make_interp_spline(
            self.stations, self.lines_at_stations(inset_mm), k=min(3, len(self.stations) - 1)
        )

    @cached_property
    def _pieces(self):
        spline = self.corner_splines()
        terms, breaks = power_pieces(spline.t, spline.k)  # (spans, k + 1, n)
        return np.ascontiguousarray(np.einsum("apn,nek->aepk", terms, spline.c).transpose(2, 0, 1, 3)), breaks

    def lines(self, s) -> np.ndarray:
        """Return points of the five lines, each at its own ``s``.

        ``s`` has shape (..., 5); the result (..., 5, 3).
        """
        return self.lines_and_slopes(s)[0]

    def lines_and_slopes(self, s):
        """Return points of the five lines and their derivatives, each at its own ``s``: Horner's rule."""
        cells, breaks = self._pieces
        s = np.asarray(s, float)
        i = breaks[1:-1].searchsorted(s, side="right")
        x = (s - breaks[i])[..., None]
        return horner(cells[:, i, _FIVE], x, 1)

    @cached_property
    def ends_mm(self) -> np.ndarray:
        """Lower and upper ends of the five lines, shape (2, 5, 3). [mm]"""
        return self.lines(np.array([[0.0] * 5, [1.0] * 5]))

    def face_outline(self, s, reach):
        """Return the rims of a cut on the four faces of the box: front, inner, rear, outer.

        A cut end is flat and its rims are straight, as a blade leaves them:
        each face is ruled between corresponding places of its two corner
        edges, P(τ, r) = (1 − r) C_i(s_i + τ reach_i) + r C_j(s_j + τ reach_j),
        with the rim at τ = 0; its normal is P_r × P_τ, which turns a little
        along the rim where the post is bent.

        Parameters
        ----------
        s, reach : (5,)
            Where the cut crosses the lines of :data:`EDGES`, and how far along
            each the end goes from there: −s for a lower end, 1 − s for an upper.

        Returns
        -------
        list of (points (n, 3), outward normals (n, 3))
        """
        share = np.linspace(0, 1, 2 if self.is_straight else 7)[:, None]
        corners, slopes = self.lines_and_slopes(s)
        slopes = slopes * np.asarray(reach)[:, None]
        a, b = np.array([1, 2, 3, 4]), np.array([2, 3, 4, 1])
        rims, ahead = ((1 - share) * x[a, None] + share * x[b, None] for x in (corners, slopes))
        run = np.broadcast_to((corners[b] - corners[a])[:, None], ahead.shape)
        across = unit(cross(run.reshape(-1, 3), ahead.reshape(-1, 3)))
        across *= np.sign(dot(across, (rims - corners[0]).reshape(-1, 3)))[:, None]
        return list(zip(rims, across.reshape(rims.shape), strict=True))

    def axis_at_height(self, z_mm) -> float:
        """Return s where the axis is at height z (may lie outside [0, 1])."""
        return float(self._crossing(np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, z_mm]))[0])

    def _crossing(self, normal, point_mm, offset_mm=0.0):
        """Return s of all five lines where normal·(line − point) = offset, by Newton."""
        f0, f1 = (self.ends_mm - point_mm) @ normal - offset_mm
        s = np.minimum(np.maximum(-f0 / np.where(f1 == f0, 1.0, f1 - f0), -0.5), 1.5)
        for _ in range(1 if self.is_straight else 8):
            point, slope = self.lines_and_slopes(s)
            step = (offset_mm - (point - point_mm) @ normal) / (slope @ normal)
            s = s + step
            if np.abs(step).max() < 1e-13:
                break
        return s

    def crossing(self, flat: Flat) -> np.ndarray:
        """Return s of all five lines where they cross a plane."""
        return self._crossing(np.array(flat.normal), np.zeros(3), flat.offset_mm)

    def lengths(self, s_from, s_to) -> np.ndarray:
        """Return signed lengths along the five lines between parameters. [mm]"""
        half, middle = (s_to - s_from) / 2, (s_to + s_from) / 2
        s = middle[None] + half[None] * _GAUSS_X[:, None]
        speed = np.linalg.norm(self.lines_and_slopes(s)[1], axis=2)
        return half * (_GAUSS_W @ speed)


def _post_frame(points, tangents, inboard):
    t = tangents / np.linalg.norm(tangents, axis=1, keepdims=True)
    w = np.array([1.0, 0.0, 0.0]) - t[:, :1] * t
    w /= np.linalg.norm(w, axis=1, keepdims=True)
    d = cross(t, w)
    d *= np.sign(d[:, 1:2] * inboard)
    return points, t, w, d


@dataclass(frozen=True, eq=False)
class CutPlane:
    """The lower cut of one post: normal·(P − point) = 0, normal upward."""

    name: str  # level, square or given
    point_mm: np.ndarray
    normal: np.ndarray

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

    @property
    def relative(self) -> RigidMove:
        """The move of the upper end as seen from the lower one."""
        return self.move if self.lower_move is IDENTITY else self.lower_move.inverse() @ self.move

    @property
    def plane_in_place(self) -> CutPlane:
        """The lower cut where the plan puts it."""
        if self.lower_move is IDENTITY:
            return self.plane
        point, normal = (
            self.lower_move.points(self.plane.point_mm),
            self.lower_move.vectors(self.plane.normal),
        )
        return CutPlane(self.plane.name, point, normal)

    @property
    def take_out_mm(self) -> np.ndarray:
        """Take-out along the axis and the four corner edges."""
        return self.line.lengths(self.s_lower, self.s_take)

    @property
    def removed_mm(self) -> np.ndarray:
        """Metal removed, mark to mark, along the same lines."""
        return self.line.lengths(self.s_lower, self.s_upper)

    @property
    def lean_deg(self) -> tuple[float, float]:
        """Lean at the lower cut in side view and in front view."""
        _, t, _, _ = self.line.frame(self.s_lower[0])
        return (
            float(np.degrees(np.arctan2(t[0, 0], t[0, 2]))),
            float(np.degrees(np.arctan2(self.line.inboard * t[0, 1], t[0, 2]))),
        )

    @property
    def drop_mm(self) -> float:
        """Plumb drop of the point of the axis that lands on the lower plane."""
        landing = self.line.lines(self.s_take)[0]
        return float(landing[2] - self.move.points(landing)[2])

    @property
    def miss_mm(self) -> tuple[float, float]:
        """Miss fore-and-aft (+ rearward) and across (+ inboard) in the cut plane."""
        return miss_in_plane(self.line, self.plane, self.relative.points(self.line.lines(self.s_take)[0]))

    @property
    def tilt_deg(self) -> float:
        """Angle between the axes of the two ends where they meet."""
        lower, upper = (self.line.frame(s[0])[1][0] for s in (self.s_lower, self.s_take))
        turned = self.relative.vectors(upper)
        return float(np.degrees(np.arctan2(np.linalg.norm(cross_of_two(lower, turned)), lower @ turned)))

    @property
    def bead_mm(self) -> float:
        """Perimeter of the box's outside in the lower cut plane."""
        corners = self.line.lines(self.s_lower)[1:]
        return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())


def miss_in_plane(line: PostLine, plane: CutPlane, landing_mm) -> tuple[float, float]:
    """Return the fore-and-aft and across parts of landing − cut centre. [mm]"""
    n = plane.normal
    rearward = np.array([1.0, 0.0, 0.0]) - n[0] * n
    rearward /= np.linalg.norm(rearward)
    inboard = cross_of_two(n, rearward)
    inboard *= np.sign(inboard[1] * line.inboard)
    miss = landing_mm - plane.point_mm
    return float(miss @ rearward), float(miss @ inboard)


def landing_point(line: PostLine, plane: CutPlane, move: RigidMove) -> np.ndarray:
    """Return where the axis of the moved upper end meets the lower plane. [mm]"""
    s = inverse_image(line, plane, move)
    return move.points(line.lines(s)[0])


def inverse_image(line: PostLine, plane: CutPlane, move: RigidMove, offset_mm=0.0) -> np.ndarray:
    """Return s on the five lines of {Q: n·(M Q − P0) = offset}."""
    back = move.inverse()
    return line._crossing(back.vectors(plane.normal), back.points(plane.point_mm), offset_mm)


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
    s_lower = _lower_crossing(line, plane)
    relative = move if lower_move is IDENTITY else lower_move.inverse() @ move
    s_take = inverse_image(line, plane, relative)
    take_square = plane.height_above(line.lines(s_take)) - plane.height_above(line.lines(s_lower))
    opening = max(root_gap_mm, kerf_mm - float(take_square.min()))
    s_upper = inverse_image(line, plane, relative, opening)
    return PostEnds(line, plane, move, opening, shift_mm, s_lower, s_take, s_upper, lower_move, hinge)


@lru_cache(maxsize=256)
def _lower_crossing(line, plane):
    """Return s of the lower cut on the five lines: the same while the roof comes down."""
    return line._crossing(plane.normal, plane.point_mm)


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
