"""Hinge pieces: a short box let in around the hinge of a leaned post, whose own walls stand open there.

Frame: car, in place.  The foot of a leaned post ends in the plane n·(x − h) = 0
through the hinge h, n up along the post (:mod:`model.hinges`); the loose end
stands over it in another plane, turned by the angle a of the lean, so that the
box's walls open as a wedge.  A place at the distance d from the axis of the
turn has gone along a chord of 2 d sin(a / 2); that and the kerf is the mouth.

A mouth that is wider than a weld closes, yet no wider than
:data:`BUILT_UP_WALLS` walls of the post, is *built up*: weld is laid along its
edges until they stand a root gap apart, and then they are welded.  That is
less than what is welded up in sheet (:mod:`model.fillertips`), for here it goes
all along a wall that carries the roof.

Where the mouth is wider still, the loose end is cut back to a plane parallel
to the foot's,

    n·(x − h) = H,    H = max(L + 2 g, mouth),

g the root gap and L the least length of a piece (:data:`LEAST_MM`): a sliver
as wide as the mouth alone, a few millimetres running out to nothing, would be
melted by its own two welds.  The plane never cuts less than the hinge's own,
whose highest corner in place lies at the mouth.  On the uncut car it is

    (Rᵀ n)·P = n·h + H − n·t    with the loose end's move x = R P + t.

The piece stands between the planes n·(x − h) = g and H − g: the section of the
foot's lines carried on upward, and that of the loose end's lines carried on
downward.  Both are flat and parallel, so it is a
:class:`model.taperedbox.TaperedBox` of the post's wall, L long, its walls
trapeziums sheared by what the two sections lie apart.  With a corner edge of a
straight post leaning by a from n once turned, and a gap of m there before, what
comes off along that edge is (H − m) / cos a.

None where the plan lets no new metal in, where weld closes the mouth, or
where the loose end would be cut back to within a wall of its own upper cut:
then the mouth stays, and is a finding.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .built import Built
from .fillerruns import widest_weld_mm
from .hinges import Flat
from .placing import PostKey
from .posts import PostEnds
from .taperedbox import TaperedBox

KIND = "hinge piece"
# Of the thinner part: what edges may be built up by before they are welded, as AWS D1.1 has it for root
# openings; from memory.
BUILT_UP_WALLS = 2.0
LEAST_MM = 12.7  # 1/2 in: a shorter piece is all heat from its two beads; assumed


@dataclass(frozen=True, eq=False)
class HingePiece:
    """The piece around the hinge of a leaned post.

    Attributes
    ----------
    key : PostKey
    ends : PostEnds
        As the plan cuts them.
    loose : Flat
        Where the loose end is cut back to, on the uncut car.
    mouth_mm : float
        Widest gap between foot and loose end as the hinge's own cuts leave them.
    box : TaperedBox
        The piece, in place; its corners in the order of :data:`model.posts.EDGES`.
    """

    key: PostKey
    ends: PostEnds
    loose: Flat
    mouth_mm: float
    box: TaperedBox

    @property
    def name(self) -> str:
        """Name of the piece, such as ``hinge piece A left``."""
        return f"{KIND} {' '.join(self.key)}"

    @property
    def stub_ends(self) -> PostEnds:
        """The post's ends with the loose one cut back for the piece."""
        return replace(self.ends, hinge=replace(self.ends.hinge, loose=self.loose))

    def back_mm(self) -> np.ndarray:
        """Return lengths along the five lines from the hinge's upper mark to where the loose end begins."""
        line, own = self.ends.line, self.ends.hinge.loose
        return line.lengths(line.crossing(own), line.crossing(self.loose))


@lru_cache(maxsize=4)
def hinge_pieces(built: Built) -> dict[PostKey, HingePiece]:
    """Return the piece around every hinge of the closed roof that needs one."""
    if built.plan.new_metal is None:
        return {}
    widest_mm = widest_weld_mm(built)
    found = {
        key: hinge_piece(key, ends, max(widest_mm, built_up_mm(ends)), built.plan.root_gap_mm)
        for key, ends in built.ends.items()
        if ends.hinge is not None
    }
    return {key: piece for key, piece in found.items() if piece is not None}


@lru_cache(maxsize=4)
def stubs_of(built: Built) -> dict[PostKey, PostEnds]:
    """Return the ends of every post, loose ends cut back for the pieces around their hinges."""
    pieces = hinge_pieces(built)
    return {key: pieces[key].stub_ends if key in pieces else ends for key, ends in built.ends.items()}


def built_up_mm(ends: PostEnds) -> float:
    """Return the widest mouth between the walls of a post whose edges are built up with weld. [mm]"""
    return BUILT_UP_WALLS * ends.line.post.wall_mm


def hinge_piece(
    key: PostKey, ends: PostEnds, closed_by_weld_mm: float, root_gap_mm: float
) -> HingePiece | None:
    """Return the piece around a leaned post's hinge, or None where weld closes it or there is no room."""
    line, foot, move = ends.line, ends.hinge.foot, ends.lower_move
    corners = move.points(line.lines(line.crossing(ends.hinge.loose))[1:])
    mouth_mm = float(foot.height_above(corners).max())
    if mouth_mm <= closed_by_weld_mm:
        return None
    height_mm = max(LEAST_MM + 2 * root_gap_mm, mouth_mm)
    loose = _taken_back(foot, move, height_mm)
    s_loose = line.crossing(loose)
    if ends.plane.height_above(line.lines(s_loose)[1:]).max() > -line.post.wall_mm:
        return None
    low = line.crossing(Flat(normal=foot.normal, offset_mm=foot.offset_mm + root_gap_mm))
    high = line.crossing(_taken_back(foot, move, height_mm - root_gap_mm))
    box = TaperedBox(np.stack([line.lines(low)[1:], move.points(line.lines(high)[1:])]), line.post.wall_mm)
    return HingePiece(key, ends, loose, mouth_mm, box)


def _taken_back(foot: Flat, move, height_mm) -> Flat:
    """Return on the uncut car the plane that a move brings parallel to a foot's, so far above it."""
    normal = np.array(foot.normal)
    return Flat(
        normal=tuple(move.inverse().vectors(normal).tolist()),
        offset_mm=float(foot.offset_mm + height_mm - normal @ move.points(np.zeros(3))),
    )
