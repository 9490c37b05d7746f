"""A pie cut beside a post: the lower end drawn in until the post's ends meet across.

The wedge comes out of the sheet that lies across the car round the corner from
the post: ahead of the foremost post of a side, behind the rearmost.  One side
of it runs along the box's outer edge on that sheet's side, from E at the
measured foot up to Q in the lower cut; the other leaves E at the angle θ,
inboard.  With

    l = (Q − E) / L,   L = |Q − E|,   w = x − (x·l) l made unit,

the lower end, and with it the loose side, turns about w through E by θ, until
Q lies on the side that stays.  w is square to the leg, so that Q goes along a
chord of a circle of radius L:

    mouth = 2 L sin(θ / 2),        wedge = L² sin θ / 2.

θ is the turn at which the miss across of the post's ends (in the lower cut,
:mod:`model.posts`) is zero; it is between 0 and :data:`MOST_TURN_DEG` or there is no
pie cut: what misses outboard would have to be let out, and what misses by less than the blade is wide
is drawn in without.  The root gap g is taken out beside the wedge, along
the whole leg: L g more.

**The sheet over the post.**  It runs on below the post's foot into body sheet
that stays, ahead and behind, and is cut nowhere but along the wedge: it cannot
turn as one piece.  Pulled, it follows the box: not at all level with E, where
it creases by θ from the wedge to the opening beside the post and runs out in
the sheet beyond, and by the box's own way at the cut,

    in = |M P − P|,   P the middle of the outer face in the lower cut.

How it lies between is the hammer's, not geometry's.  So the skin, its cut,
its seam and new metal in that are as if it had not been drawn in; the report
says so with E's height, θ and the way in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .errors import PlanError
from .measured import Car
from .moves import RigidMove
from .numeric import cross_of_two, unit
from .piecutreport import PieCutReport
from .placing import MOST_TURN_DEG, PostKey, front_posts, rear_posts, root_of_near_linear
from .postlines import EDGES, PostLine
from .posts import CutPlane, landing_point, lower_crossing, miss_in_plane

_SAMPLES = 9  # along a side


@dataclass(frozen=True, eq=False)
class PieCut:
    """One pie cut; ``across`` points inboard, square to its leg and within its sheet."""

    key: PostKey
    edge: str
    end_mm: np.ndarray
    loose_mm: np.ndarray
    turn_deg: float
    axis: np.ndarray
    across: np.ndarray
    move: RigidMove  # of the lower end
    outer_mm: np.ndarray  # middle of its outer face, in the lower cut

    @property
    def leg_mm(self) -> float:
        """Straight length of its sides."""
        return float(np.linalg.norm(self.loose_mm - self.end_mm))

    @property
    def mouth_mm(self) -> float:
        """What closing it takes up at the cut."""
        return 2 * self.leg_mm * float(np.sin(np.radians(self.turn_deg) / 2))

    @property
    def sheet_in_mm(self) -> float:
        """How far the sheet over the post has to come in with it, at the cut."""
        return float(np.linalg.norm(self.move.points(self.outer_mm) - self.outer_mm))

    def area_mm2(self, root_gap_mm: float) -> float:
        """Metal taken out, the root gap with it."""
        return self.leg_mm**2 * float(np.sin(np.radians(self.turn_deg))) / 2 + self.leg_mm * root_gap_mm


def edge_beside(car: Car, key: PostKey) -> str:
    """Return the edge of a post's box along which a pie cut beside it runs.

    Raises
    ------
    PlanError
        If no sheet lies across the car round the corner from it.
    """
    if key in front_posts(car):
        return "front outer"
    if key in rear_posts(car):
        return "rear outer"
    raise PlanError(
        f"pie_cut.{key[0]}.{key[1]}",
        "cannot be done: this post has no sheet across the car round the corner from it, from which a wedge "
        "could be taken.",
        "Lean it, or leave it.",
    )


def pie_cut_beside(
    car: Car, line: PostLine, plane: CutPlane, upper: RigidMove, *, kerf_mm: float
) -> PieCut | None:
    """Return the pie cut that brings a post's ends together across; None where there is nothing to draw in.

    Parameters
    ----------
    plane : CutPlane
        The lower cut.
    upper : RigidMove
        Of the post's upper end.
    kerf_mm : float
        A mouth no wider than this is none.

    Raises
    ------
    PlanError
        If the post has no sheet for it, or turns too far.
    """
    key = (line.post.name, line.post.side)
    edge = edge_beside(car, key)
    k = EDGES.index(edge)
    at_cut = line.lines(lower_crossing(line, plane))
    end, loose = line.lines(np.zeros(5))[k], at_cut[k]
    outer = (at_cut[EDGES.index("front outer")] + at_cut[EDGES.index("rear outer")]) / 2
    along = unit((loose - end)[None])[0]
    axis = unit((np.array([1.0, 0.0, 0.0]) - along[0] * along)[None])[0]
    across = cross_of_two(axis, along)
    way = float(np.sign(across[1] * line.inboard))  # of a right-handed turn about the axis that leads inboard

    def turned(deg):
        return _turn_about(end, way * axis, deg)

    def miss(deg):
        return miss_in_plane(line, plane, landing_point(line, plane, turned(deg).inverse() @ upper))[1]

    at_rest = miss(0.0)
    if at_rest <= kerf_mm:
        return None
    too_far = PlanError(
        f"pie_cut.{key[0]}.{key[1]}",
        f"must turn the lower end by at most {MOST_TURN_DEG:g} degrees; it would have to turn further.",
        "Cut it higher, or drop the roof less.",
        limit_mm=MOST_TURN_DEG,
    )
    first = float(np.degrees(at_rest / np.linalg.norm(loose - end)))
    turn = root_of_near_linear(miss, 0.0, first, too_far)
    if not 0 < turn <= MOST_TURN_DEG:
        raise too_far
    return PieCut(key, edge, end, loose, turn, axis, way * across, turned(turn), outer)


def closed_sides_mm(pie: PieCut, root_gap_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Return points from end to mouth of both sides once closed: the one that stays, the post's."""
    share = np.linspace(0.0, 1.0, _SAMPLES)[:, None]
    loose = pie.move.points(pie.end_mm + share * (pie.loose_mm - pie.end_mm))
    return loose + root_gap_mm * pie.move.vectors(pie.across), loose


def pie_cut_report(pie: PieCut, root_gap_mm: float) -> PieCutReport:
    """Return a pie cut in numbers, its marks on the uncut car."""
    stays, _ = closed_sides_mm(pie, root_gap_mm)
    return PieCutReport(
        edge=pie.edge,
        end_mm=tuple(pie.end_mm.tolist()),
        loose_mm=tuple(pie.loose_mm.tolist()),
        stays_mm=tuple(stays[-1].tolist()),
        leg_mm=pie.leg_mm,
        mouth_mm=pie.mouth_mm,
        turn_deg=pie.turn_deg,
        area_mm2=pie.area_mm2(root_gap_mm),
        sheet_in_mm=pie.sheet_in_mm,
    )


def _turn_about(point, axis, deg) -> RigidMove:
    """Return the right-handed turn about an axis through a point (Rodrigues)."""
    x, y, z = axis
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    rotation = np.eye(3) + s * skew + (1 - c) * skew @ skew
    return RigidMove(rotation, point - rotation @ point)
