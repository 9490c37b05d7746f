"""Post pieces: let in between two ends of a post that do not meet, its stubs cut back for them.

Frame: car, in place.  Let the lower cut in place be n·(x − P0) = 0 with n
upward; the upper end's cut lies at n·(x − P0) = e, e the opening (see
:mod:`model.posts`).  A post gets a piece where its ends miss by more than half
its wall (:data:`MISS_OF_WALL`: the miss that is told as a finding), where e is
wider than a weld closes, or where new sheet enters a stub.

**Cut back.**  The stubs end at n·(x − P0) = −h_l and e + h_u.  With c the
gauge of the new sheet, h_l is at least so much that every place of the sheet
(its outside and its inside, sampled) that comes within c of the lower box, to
its sides, stays c above the stub's end, and h_u the same from above:

    h_l ≥ c − min h(x),   h_u ≥ c + max (h(x) − e)   over |p| < w/2 + c, |q| < d/2 + c,

p and q fore-and-aft and inboard of the end's axis.  Sheet further along than
the stretch of the post that may be cut does not count, nor does a stub end
further along than that.

**Length.**  The piece is e + h_l + h_u − 2 g long, g the root gap, and at
least :data:`LEAST_MM` and :data:`CLIMB` times the miss.  What the sheet does
not ask for is taken off the end from which the piece then goes away under the
skin: the lower where the upper end lands inboard, the upper where it lands
outboard, both alike where it misses across by no more than half the wall.

**Piece.**  Its ends are the sections of both ends' own lines in the planes g
inside of the stubs' ends; they are parallel and between them it is a
:class:`model.taperedbox.TaperedBox` of the post's wall.  Its outer wall is set
in, parallel to itself in both sections, by so much that every place of the new
sheet over it is c clear of it; by none where that is so already.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .built import Built
from .fillers import Filler, fillers_of, refined, widest_weld_mm
from .hingepieces import LEAST_MM as LEAST_MM
from .hingepieces import stubs_of
from .numeric import dot
from .placing import PostKey
from .postboxes import frames_at_feet
from .posts import PostEnds, inverse_image
from .taperedbox import TaperedBox

KIND = "post piece"
MISS_OF_WALL = 0.5  # common practice, no source; as findings have it
CLIMB = 3.0  # assumed: no steeper than 1 in 3 against the post, where it may be cut so far
ENTERS_MM = 0.01  # less is rounding
_PER_SPAN = 2  # places of the sheet to each span of its spline across; along it one, at most 5 mm apart
_FRONT, _INNER, _REAR, _OUTER = range(4)  # walls, by posts.EDGES


@dataclass(frozen=True, eq=False)
class ClosedPost:
    """A post whose stubs are cut back for a piece between them.

    Attributes
    ----------
    key : PostKey
    ends : PostEnds
        As the plan cuts them, for the take-out; at a hinge as its piece asks (:mod:`model.hingepieces`).
    back_mm : (lower, upper)
        How far each stub ends further from the cut, square to it.
    s_lower, s_upper : (5,)
        Where the stubs end on the lines of :data:`model.posts.EDGES`.
    box : TaperedBox
        The piece, in place; its corners in the order of those lines.
    set_in_mm : float
        How far its outer wall stands inside the stubs' outer walls.
    """

    key: PostKey
    ends: PostEnds
    back_mm: tuple[float, float]
    s_lower: np.ndarray
    s_upper: np.ndarray
    box: TaperedBox
    set_in_mm: float

    @property
    def name(self) -> str:
        """Name of the piece, such as ``post piece C left``."""
        return f"{KIND} {' '.join(self.key)}"

    @cached_property
    def climb(self) -> float:
        """The miss to the piece's length, square to the cut."""
        return float(np.hypot(*self.ends.miss_mm)) / self.box.height_mm

    def cut_back_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Return lengths along the five lines from the plan's lower and upper mark to the stubs' ends."""
        line, ends = self.ends.line, self.ends
        return line.lengths(self.s_lower, ends.s_lower), line.lengths(ends.s_upper, self.s_upper)


def stub_marks(ends: PostEnds, closed: ClosedPost | None) -> tuple[np.ndarray, np.ndarray]:
    """Return where the lower and the upper stub of a post end, as parameters of its five lines."""
    return (ends.s_lower, ends.s_upper) if closed is None else (closed.s_lower, closed.s_upper)


@lru_cache(maxsize=4)
def closed_posts(built: Built) -> dict[PostKey, ClosedPost]:
    """Return every post of the closed roof that gets a piece; none where the plan lets no new metal in."""
    if built.plan.new_metal is None or not built.ends:
        return {}
    fillers = fillers_of(built)
    clear_mm = max((filler.thickness_mm for filler in fillers), default=0.0)
    widest_mm = widest_weld_mm(built)
    out = {}
    for key, ends in stubs_of(built).items():
        sheet = _places_near(ends, fillers)
        closed = closed_post(key, ends, sheet, clear_mm, widest_mm, built.plan.root_gap_mm)
        if closed is not None:
            out[key] = closed
    return out


def _places_near(ends, fillers: tuple[Filler, ...]) -> np.ndarray:
    """Return places on the outside and the inside of the new sheet about a post, (n, 3)."""
    points = np.concatenate(
        [
            move.points(part)
            for move, part in zip((ends.lower_move, ends.move), ends.line.ends_mm, strict=True)
        ]
    )
    reach = np.hypot(ends.line.post.width_mm, ends.line.post.depth_mm)
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach
    out = [np.empty((0, 3))]
    for filler in fillers:
        poles = filler.grid.poles_mm.reshape(-1, 3)
        if (poles.max(axis=0) < low).any() or (poles.min(axis=0) > high).any():
            continue
        places = _places_on(filler)
        out.append(places[((places >= low) & (places <= high)).all(axis=1)])
    return np.concatenate(out)


@lru_cache(maxsize=64)
def _places_on(filler: Filler) -> np.ndarray:
    grid = filler.grid
    uv = np.stack(
        np.meshgrid(refined(grid.breaks_u, _PER_SPAN), refined(grid.breaks_v, _PER_SPAN)), axis=-1
    ).reshape(-1, 2)
    point, _, _, normal = grid.frame(uv)
    return np.concatenate([point, point - filler.thickness_mm * normal])


def closed_post(
    key: PostKey, ends: PostEnds, sheet_mm, clear_mm: float, widest_weld_mm: float, root_gap_mm: float
) -> ClosedPost | None:
    """Return a post with the piece it needs, or None where its ends meet and no sheet enters them.

    Parameters
    ----------
    sheet_mm : (n, 3)
        Places of the new sheet, in place.
    clear_mm : float
        How far stubs and piece keep off it.
    """
    post = ends.line.post
    sheet = np.asarray(sheet_mm, float)
    room = _rooms_mm(ends)
    about = _about_ends(ends, sheet, clear_mm, room)
    is_entered = max(_needed_mm(ends, about, 0.0, room)) > ENTERS_MM
    limit_mm = MISS_OF_WALL * post.wall_mm
    misses = max(map(abs, ends.miss_mm)) > limit_mm
    if not (misses or is_entered or ends.opening_mm > widest_weld_mm):
        return None
    back = _lengthened(ends, _needed_mm(ends, about, clear_mm, room), room, root_gap_mm, limit_mm)
    s_lower, s_upper = (_crossing(ends, which, back[which]) for which in (0, 1))
    rims = [_crossing(ends, which, back[which] - root_gap_mm) for which in (0, 1)]
    moves = ends.lower_move, ends.move
    corners = np.stack([move.points(ends.line.lines(s)[1:]) for move, s in zip(moves, rims, strict=True)])
    box = TaperedBox(corners, post.wall_mm)
    set_in_mm = _set_in_mm(box, sheet, clear_mm)
    if set_in_mm:
        box = TaperedBox(_with_outer_wall_in(box, set_in_mm), post.wall_mm)
    return ClosedPost(key, ends, back, s_lower, s_upper, box, set_in_mm)


def _crossing(ends, which, back_mm):
    """Return s of the five lines so far from the cut into the lower (0) or the upper (1) end."""
    if which == 0:
        return ends.line.crossings(ends.plane.normal, ends.plane.offset_mm - back_mm)
    return inverse_image(ends.line, ends.plane, ends.relative, ends.opening_mm + back_mm)


def _rooms_mm(ends) -> tuple[float, float]:
    """Return how far either stub may be cut back, square to the cut, by the post's own limits."""
    line, post, plane = ends.line, ends.line.post, ends.plane
    lowest, highest = (
        line.lines(np.full(5, line.axis_at_height(z)))[0] for z in (post.cut_from_mm, post.cut_to_mm)
    )
    lower = -float(plane.height_above(lowest))
    if ends.hinge is not None:
        loose = line.lines(line.crossing(ends.hinge.loose))
        lower = min(lower, -float(plane.height_above(loose).max()) - post.wall_mm)
    upper = float(plane.height_above(ends.relative.points(highest))) - ends.opening_mm
    return max(lower, 0.0), max(upper, 0.0)


def _about_ends(ends, sheet, clear_mm, room):
    """Return the places that may keep an end from being where it is: for the lower end and for the upper.

    Columns: how far past the cut, away from the end's metal; rearward and
    inboard of the axis.  Of the end where the plan puts it.
    """
    line = ends.line
    foot, head = line.ends_mm[:, 0]
    reach = np.hypot(line.post.width_mm, line.post.depth_mm) / 2 + clear_mm + _bow_mm(line)
    height = ends.plane_in_place.height_above(sheet)
    out = []
    for move, past, most in (
        (ends.lower_move, height, room[0]),
        (ends.move, ends.opening_mm - height, room[1]),
    ):
        near = (past > -most) & (past < clear_mm)
        back = move.inverse().points(sheet[near])
        chord = (head - foot) / np.linalg.norm(head - foot)
        beside = np.linalg.norm(np.cross(back - foot, chord), axis=1) < reach
        back = back[beside]
        _, (centre, _, w, d) = frames_at_feet(line, back)
        out.append(np.stack([past[near][beside], dot(back - centre, w), dot(back - centre, d)], axis=1))
    return out


def _bow_mm(line) -> float:
    """Return how far a post's axis strays from its chord."""
    axis = line.frame(np.linspace(0, 1, 41))[0]
    chord = axis[-1] - axis[0]
    return float(np.linalg.norm(np.cross(axis - axis[0], chord / np.linalg.norm(chord)), axis=1).max())


def _needed_mm(ends, about, clear_mm, room) -> tuple[float, float]:
    """Return how far each stub has to be cut back to be clear of the sheet about it."""
    half = np.array([ends.line.post.width_mm, ends.line.post.depth_mm]) / 2 + clear_mm
    out = []
    for places, most in zip(about, room, strict=True):
        within = (np.abs(places[:, 1:]) < half).all(axis=1)
        out.append(float(np.clip(clear_mm - places[within, 0].min(initial=np.inf), 0.0, most)))
    return tuple(out)


def _lengthened(ends, back, room, root_gap_mm, limit_mm) -> tuple[float, float]:
    """Return the stubs' depths with what the piece's length asks for besides."""
    lower, upper = back
    length = max(LEAST_MM, CLIMB * float(np.hypot(*ends.miss_mm)))
    short = length + 2 * root_gap_mm - ends.opening_mm - lower - upper
    if short <= 0:
        return back
    across = ends.miss_mm[1]
    share = 0.5 if abs(across) <= limit_mm else 1.0 if across > 0 else 0.0
    lower_by, upper_by = share * short, (1 - share) * short
    return min(lower + lower_by, room[0]), min(upper + upper_by, room[1])


def _set_in_mm(box: TaperedBox, sheet, clear_mm) -> float:
    """Return how far the outer wall has to stand in for the sheet over it to be clear of it."""
    if not len(sheet):
        return 0.0
    height = box.height_of(sheet)
    beyond = box.wall_distances_mm(sheet[(height > -clear_mm) & (height < box.height_mm + clear_mm)])
    over = beyond[[_FRONT, _INNER, _REAR]].max(axis=0) < clear_mm
    nearest = beyond[_OUTER, over].min(initial=np.inf)
    return float(max(clear_mm - nearest, 0.0))


def _with_outer_wall_in(box: TaperedBox, by_mm: float) -> np.ndarray:
    """Return the corners with the outer wall (corners 3 and 0) moved in along the walls beside it."""
    corners = box.corners_mm.copy()
    outward, cosine = box._rims(corners)
    for end in (0, 1):
        shift = by_mm / cosine[end, _OUTER]
        for corner, towards in ((0, 1), (3, 2)):
            way = corners[end, towards] - corners[end, corner]
            corners[end, corner] += way * shift / -(way @ outward[end, _OUTER])
    return corners
