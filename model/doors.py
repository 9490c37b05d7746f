"""Doors and side glass: what follows when the roof comes down.

**Side view is exact.**  The roof pitches about the y-parallel and moves in x
and z, so where a point of a side goes in side view does not depend on its y:
(x, z) → M (x, z).  An opening is a polygon of corners there, each edge
rounded at its ends; its *legs* are the two edges that run from below the
lower cut to above it, its *rail* the corners between their upper ends.

**A door** (an opening right behind the front post of its side, or one whose
well was measured) keeps its legs on their own lines, for below the cut they
stay where they are; its rail goes with the roof.  The corner is re-made where
the leg's line meets the moved rail's line.  With plumb drop d, no pitch and a
level rail the corner goes down its own leg, so that for legs leaning a_F and
a_R (+ rearward going up) the rail between the corners grows by

    d (tan a_F − tan a_R),

however far the roof went forward.  A leg beside a post that is leaned is cut
around at the same hinge and leaned with it: its line is the turned one.

**A fixed pane** loses no metal to a frame of its own: its upper corners go
with the metal that carries them, roof or shifted post, and its legs run as the
cuts leave them (:mod:`model.legpaths`), with a corner at either cut; straight
to the lower corners where the cuts run through the rounding of a corner.  A
shift of the post ahead by s takes s from its rail.

**Take-out of a leg** is that of a post without width (:mod:`model.posts`) that
runs along the edge of the glass on the skin and is cut as the post beside it
is: level or square to *itself*, at the post's height.  Where the leg has no
room there, at the height that leaves the cuts as far from one end as from the
other.

**Across.**  The corner of the moved rail lies at the y of the roof's own skin
there, P = M S(M⁻¹ (x, z)); where the skin ends before it, at that of its last
line.  The frame leans further in by the change of the angle of the line from
the leg's foot to the corner.  A pane that is drawn down along its own leaning
plane comes to lie h (tan b' − tan b) further out at its lower edge, h plumb
below the opening; tan b and tan b' are the means over its two edges.  It goes
down by the lesser of its height and the measured depth of its well; what is
left stands above the opening's lower edge.

**A split roof** carries every corner and leg with the part over it; the outline
spans the strip let in between.

The outline for a template is made in :mod:`model.panetemplate`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely

from .built import Built
from .doorreport import DOOR, FIXED, DoorLeg, PaneCorner, PaneReport, WellReport
from .doorwelds import leg_bead_mm
from .legpaths import leg_path
from .measured import Corner, Opening, Post
from .moves import IDENTITY, RigidMove
from .numeric import unit
from .panetemplate import PanePlane, angle_at_deg, plane_of, radii_fit, template, to_measure
from .placing import PostKey, front_posts
from .postlines import PostLine
from .posts import CutPlane, PostEnds, cut_plane, post_ends, room_above_mm
from .shape import CarShape, GlassOpening
from .sideplaces import in_side_view, points_of_side
from .skin import Grid
from .units import shown

_SAMPLES = 9  # along a leg, for the curve it makes on the skin
LEAST_LEG_DEG = 20.0  # from level, assumed: no leg leans so far, no lower edge is so steep
STEP_TOLD_MM = 6.35  # 1/4 in, of a fixed pane's leg: less is lost in the depth of its channel; assumed
_PARALLEL = 1e-6  # sine of an angle at which two lines of a pane no longer meet


@dataclass(frozen=True, eq=False)
class Frame:
    """The upper part of a side opening between its two legs, in side view, front to rear. [mm]

    ``upper`` holds the numbers of the opening's corners above the cut,
    ``feet`` those of the lower ends of the front and the rear leg.
    """

    glass: GlassOpening
    upper: tuple[int, ...]
    feet: tuple[int, int]
    posts: tuple[PostKey | None, PostKey | None]  # ahead and behind
    kind: str

    @property
    def corners_mm(self) -> np.ndarray:
        """All corners of the opening in its view, (n, 2)."""
        return np.array([(c.across_mm, c.up_mm) for c in self.glass.opening.corners])


def lowered_outlines(built: Built) -> list[tuple[GlassOpening, PanePlane, np.ndarray, np.ndarray]]:
    """Return opening, plane, outline (n, 2) and the outline's (0, 0) in side view of every pane made anew."""
    out = []
    for frame in _frames(built) if built.ends else []:
        if _flat_leg(frame) is None:
            places, _, moves = _moved_rail(built, frame)
            _, after, feet = _corner_points(frame, places, moves)
            plane, outline, is_whole = _new_template(
                frame, places, _leg_paths(built, frame, places, moves), after, feet
            )
            if is_whole:
                out.append((frame.glass, plane, outline, frame.corners_mm[frame.feet[0]]))
    return out


def side_glass(built: Built) -> tuple[PaneReport, ...]:
    """Return every side pane that the plan changes, with its door."""
    frames = _frames(built) if built.ends else []
    return tuple(_pane(built, frame) for frame in frames if _flat_leg(frame) is None)


def sill_cuts(built: Built) -> list[tuple[GlassOpening, PostKey, float]]:
    """Return doors whose lower edge is cut instead of a leg, with the post there and its corner's height."""
    frames = _frames(built) if built.ends else []
    return [(frame.glass, *beside) for frame in frames if (beside := _flat_leg(frame)) is not None]


def _frames(built: Built) -> list[Frame]:
    sides = (glass for glass in built.shape.openings if glass.opening.grid == "side")
    return [frame for glass in sides if (frame := _frame(built, glass)) is not None]


def _flat_leg(frame: Frame) -> tuple[PostKey, float] | None:
    """Return the post beside a door's leg that is none but its lower edge, and the height of its corner."""
    for foot, top in zip(frame.feet, (frame.upper[0], frame.upper[-1]), strict=True):
        run, rise = frame.corners_mm[top] - frame.corners_mm[foot]
        if frame.kind == DOOR and abs(rise) < abs(run) * np.tan(np.radians(LEAST_LEG_DEG)):
            ahead, behind = frame.posts if run < 0 else frame.posts[::-1]
            return ahead or behind, float(frame.corners_mm[top, 1])
    return None


def _frame(built: Built, glass: GlassOpening) -> Frame | None:
    """Return the frame of an opening that both cuts run through, or None."""
    grid, corners = glass.outline.grid, glass.opening.corners
    places = np.array([(c.across_mm, c.up_mm) for c in corners])
    is_upper = built.lower.height_above(grid, _corners_on_skin(glass)) > 0
    starts = np.nonzero(is_upper & ~np.roll(is_upper, 1))[0]
    if len(starts) != 1:
        return None
    count, n = int(is_upper.sum()), len(corners)
    upper = [(int(starts[0]) + i) % n for i in range(count)]
    feet = [(upper[0] - 1) % n, (upper[-1] + 1) % n]
    if places[feet[0], 0] > places[feet[1], 0]:
        upper, feet = upper[::-1], feet[::-1]
    posts = posts_beside(built.shape, glass.opening)
    is_wound = glass.opening.well_mm is not None or posts[0] in front_posts(built.shape.car)
    is_door = is_wound and count > 1
    return Frame(glass, tuple(upper), tuple(feet), posts, DOOR if is_door else FIXED)


@lru_cache(maxsize=64)
def posts_beside(shape: CarShape, opening: Opening) -> tuple[PostKey | None, PostKey | None]:
    """Return the posts next ahead of and behind a side opening, at half its height."""
    low, high = (f(c.up_mm for c in opening.corners) for f in (min, max))
    middle = sum(f(c.across_mm for c in opening.corners) for f in (min, max)) / 2
    ahead, behind = [], []
    for key, line in shape.lines.items():
        if key[1] == opening.side:
            x = float(line.lines(np.full(5, line.axis_at_height((low + high) / 2)))[0, 0])
            (ahead if x < middle else behind).append((x, key))
    return (max(ahead)[1] if ahead else None), (min(behind)[1] if behind else None)


@lru_cache(maxsize=64)
def _corners_on_skin(glass: GlassOpening) -> np.ndarray:
    """Return the corners of an opening on the skin before any move, without their radii, (n, 3). [mm]"""
    return points_of_side(glass.outline.grid, [(c.across_mm, c.up_mm) for c in glass.opening.corners])


def _movers(built: Built, frame: Frame) -> list[RigidMove]:
    """Return the move of the metal at every upper corner of a fixed pane."""
    moves = _roof_moves(built, frame)
    for n, i in enumerate(frame.upper):
        x = frame.corners_mm[i, 0]
        for shift in built.shifts:
            if shift.key in frame.posts and shift.front_mm - 1e-9 <= x <= shift.rear_mm + 1e-9:
                moves[n] = built.moves[f"{shift.name} upper"]
    return moves


def _roof_moves(built: Built, frame: Frame) -> list[RigidMove]:
    """Return the move of the roof, or of its part, over every upper corner."""
    y = -1.0 if frame.glass.opening.side == "left" else 1.0
    over = [(frame.corners_mm[i, 0], y, 0.0) for i in frame.upper]
    return [built.moves[built.parts.lines.part_at(point)] for point in over]


def _moved_rail(built: Built, frame: Frame):
    """Return the upper corners' new places (n, 2), how far metal is to be brought there, and its moves."""
    corners = frame.corners_mm
    upper = corners[list(frame.upper)]
    if frame.kind == FIXED:
        moves = _movers(built, frame)
        places = np.concatenate([in_side_view(m, p) for m, p in zip(moves, upper, strict=True)])
        return places, np.zeros(2), moves
    moves, jog = _roof_moves(built, frame), np.zeros(2)
    places = np.concatenate([in_side_view(m, p) for m, p in zip(moves, upper, strict=True)])
    ends = []
    for end, (at, beside) in enumerate(((0, 1), (-1, -2))):
        on_skin = _corners_on_skin(frame.glass)[[frame.feet[end], frame.upper[at]]]
        leg = _lower_move(built, frame.posts[end]).points(on_skin)[:, [0, 2]]
        met = _meeting(*leg, places[at], in_side_view(moves[at], upper[beside])[0])
        ends.append(places[at] if met is None else met)
        jog[end] = ends[-1][0] - places[at][0]
    places[0], places[-1] = ends
    return places, jog, moves


def _lower_move(built, key) -> RigidMove:
    """Return how a post's lower end is leaned, and a door's leg with it."""
    return built.ends[key].lower_move if key in built.ends else IDENTITY


def _meeting(a, b, c, d):
    """Return where the lines a-b and c-d meet in the plane, or None where they run alike."""
    p, q = unit((b - a)[None])[0], unit((d - c)[None])[0]
    sine = p[0] * q[1] - p[1] * q[0]
    if abs(sine) < _PARALLEL:
        return None
    r = c - a
    return a + (r[0] * q[1] - r[1] * q[0]) / sine * p


def _corner_points(frame, places, moves):
    """Return the upper corners in space before and after, and the feet, each (2, 3)."""
    stock = _corners_on_skin(frame.glass)
    unmoved = np.concatenate([in_side_view(moves[k].inverse(), places[k]) for k in (0, -1)])
    onto = points_of_side(frame.glass.outline.grid, unmoved)
    after = np.array([moves[k].points(point) for k, point in zip((0, -1), onto, strict=True)])
    return stock[[frame.upper[0], frame.upper[-1]]], after, stock[list(frame.feet)]


# ---------------------------------------------------------------- legs


@lru_cache(maxsize=64)
def _leg_line(grid: Grid, side: str, name: str, foot: tuple[float, float], top: tuple[float, float]):
    """Return an edge of an opening as a post without width, along the skin."""
    share = np.linspace(0, 1, _SAMPLES)[:, None]
    points = points_of_side(grid, (1 - share) * np.array(foot) + share * np.array(top))
    if points[0, 2] > points[-1, 2]:
        points = points[::-1]
    post = Post(
        name=name,
        side=side,
        axis_mm=tuple(map(tuple, points.tolist())),
        width_mm=0.0,
        depth_mm=0.0,
        wall_mm=0.0,
        cut_from_mm=float(points[0, 2]),
        cut_to_mm=float(points[-1, 2]),
        cut_at_mm=float(points[:, 2].mean()),
    )
    return PostLine(post)


def _leg(built: Built, frame: Frame, end: int) -> DoorLeg:
    """Return the front (0) or rear (1) leg of a door."""
    opening, corners = frame.glass.opening, frame.corners_mm
    name = ("front", "rear")[end]
    foot, top = corners[frame.feet[end]], corners[frame.upper[-end]]
    line = _leg_line(
        frame.glass.outline.grid, opening.side, f"{opening.name} {name} leg", tuple(foot), tuple(top)
    )
    key = frame.posts[end] or frame.posts[1 - end]
    ends = _leg_ends(built, line, key)
    miss_fore_aft, miss_across = ends.miss_mm
    lean_side, lean_front = ends.lean_deg
    lower, upper = line.lines(ends.s_lower)[0], line.lines(ends.s_upper)[0]
    t, w, d = (vector[0] for vector in line.frame(ends.s_lower[0])[1:])
    n = ends.plane.normal
    return DoorLeg(
        leg=name,
        post=key[0],
        cut=ends.plane.name,
        cut_height_mm=float(ends.plane.point_mm[2]),
        lean_side_deg=lean_side,
        lean_front_deg=lean_front,
        take_out_mm=float(ends.take_out_mm[0]),
        removed_mm=float(ends.removed_mm[0]),
        lower_mm=tuple(lower.tolist()),
        upper_mm=tuple(upper.tolist()),
        miss_fore_aft_mm=miss_fore_aft,
        miss_across_mm=miss_across,
        bead_mm=leg_bead_mm(float(n @ w / (n @ t)), float(n @ d / (n @ t))),
        room_mm=room_above_mm(ends),
    )


def _leg_ends(built, line, key) -> PostEnds:
    """Return both ends of a leg: cut at its post's height where there is room, else in its middle."""
    plan, low, high = built.plan, line.post.cut_from_mm, line.post.cut_to_mm
    over = built.moves[built.parts.lines.part_at(line.ends_mm[1, 0])]

    def ends_at(height_mm):
        plane: CutPlane = cut_plane(
            line, replace(plan.cut_of(*key), post=line.post.name, height_mm=float(height_mm))
        )
        gaps = {"kerf_mm": plan.kerf_mm, "root_gap_mm": plan.root_gap_mm}
        return post_ends(line, plane, over, lower_move=_lower_move(built, key), **gaps)

    ends = ends_at(np.clip(built.ends[key].plane.point_mm[2], low, high))
    if room_above_mm(ends) >= 0:
        return ends
    taken = line.lines(ends.s_upper)[0, 2] - line.lines(ends.s_lower)[0, 2]
    return ends_at(np.clip((low + high - taken) / 2, low, high))


# ---------------------------------------------------------------- the pane


def _pane(built: Built, frame: Frame) -> PaneReport:
    opening, corners = frame.glass.opening, frame.corners_mm
    places, jog, moves = _moved_rail(built, frame)
    before, after, feet = _corner_points(frame, places, moves)
    inboard = 1.0 if opening.side == "left" else -1.0
    upper, paths = corners[list(frame.upper)], _leg_paths(built, frame, places, moves)
    made = []
    for end, (at, beside) in enumerate(((0, 1), (-1, -2))):
        foot = corners[frame.feet[end]]
        if len(upper) == 1:
            neighbours = (corners[frame.feet[1 - end]],) * 2
        else:
            neighbours = (upper[beside], places[beside])
        lean = [
            float(np.degrees(np.arctan2(inboard * (p[end] - feet[end])[1], (p[end] - feet[end])[2])))
            for p in (before, after)
        ]
        made.append(
            PaneCorner(
                corner=("front", "rear")[end],
                before_mm=tuple(before[end].tolist()),
                after_mm=tuple(after[end].tolist()),
                angle_before_deg=angle_at_deg(upper[at], foot, neighbours[0]),
                angle_after_deg=angle_at_deg(places[at], [foot, *paths[end]][-1], neighbours[1]),
                lean_front_before_deg=lean[0],
                lean_front_after_deg=lean[1],
                jog_mm=float(jog[end]),
            )
        )
    old = _stock_template(frame.glass, frame.feet, (frame.upper[0], frame.upper[-1]))
    new_plane, new, is_whole = _new_template(frame, places, paths, after, feet)
    heights = [float(np.ptp(outline[:, 1])) for outline in (old, new)]
    is_door = frame.kind == DOOR
    return PaneReport(
        pane=opening.name,
        side=opening.side,
        kind=frame.kind,
        rail_before_mm=float(np.linalg.norm(before[1] - before[0])),
        rail_after_mm=float(np.linalg.norm(after[1] - after[0])),
        height_before_mm=heights[0],
        height_after_mm=heights[1],
        off_plane_mm=new_plane.off_mm,
        outline_before_mm=tuple(map(tuple, old.tolist())),
        outline_after_mm=tuple(map(tuple, new.tolist())) if is_whole else (),
        corners=tuple(made),
        legs=tuple(_leg(built, frame, end) for end in (0, 1)) if is_door else (),
        well=_well(opening, heights, made) if is_door else None,
        to_measure=to_measure(opening, is_door, is_whole, _steps(paths, built.shape.car.unit)),
    )


def _new_template(frame: Frame, places, paths, after, feet) -> tuple[PanePlane, np.ndarray, bool]:
    """Return a pane's plane, its new outline in it (n, 2), and whether that outline can be made."""
    plane = plane_of(np.concatenate([feet, after]))
    corners, lowered = _lowered(frame, places, paths)
    outline = template(corners, lowered, plane, frame.corners_mm[frame.feet[0]])
    return plane, outline, radii_fit(corners, lowered) and shapely.Polygon(outline).is_valid


def _leg_paths(built: Built, frame: Frame, places, moves) -> tuple[np.ndarray, np.ndarray]:
    """Return the places between foot and corner of the front and the rear leg; none of a straight one."""
    straight = (np.empty((0, 2)),) * 2
    if frame.kind == DOOR:
        return straight
    stock, ends = frame.corners_mm, (0, -1)
    paths = tuple(
        leg_path(built, frame.glass, stock[foot], stock[frame.upper[at]], moves[at])
        for foot, at in zip(frame.feet, ends, strict=True)
    )
    return paths if radii_fit(*_lowered(frame, places, paths)) else straight


def _steps(paths, unit) -> list[str]:
    """Return in words which legs of a fixed pane step at the cut, and by how much."""
    steps = {
        name: float(np.linalg.norm(path[-1] - path[-2]))
        for name, path in zip(("front", "rear"), paths, strict=True)
        if len(path)
    }
    return [f"{name} edge steps by {shown(mm, unit)}" for name, mm in steps.items() if mm > STEP_TOLD_MM]


def _lowered(frame: Frame, places, paths):
    """Return the corners of an opening and their places, those between the ends of its legs put in."""
    at = frame.corners_mm
    at[list(frame.upper)] = places
    after = {}  # which places follow a corner, going around
    for foot, top, path in zip(frame.feet, (frame.upper[0], frame.upper[-1]), paths, strict=True):
        goes_up = (foot + 1) % len(at) == top
        after[foot if goes_up else top] = path if goes_up else path[::-1]
    corners, out = [], []
    for i, corner in enumerate(frame.glass.opening.corners):
        between = after.get(i, np.empty((0, 2)))
        corners += [corner, *(Corner(across_mm=float(x), up_mm=float(z), radius_mm=0.0) for x, z in between)]
        out += [at[i : i + 1], between]
    return tuple(corners), np.concatenate(out)


@lru_cache(maxsize=64)
def _stock_template(glass, feet, upper):
    """Return the outline of a pane before any move, in its own plane."""
    on_skin = _corners_on_skin(glass)
    places = on_skin[:, [0, 2]]
    return template(glass.opening.corners, places, plane_of(on_skin[[*feet, *upper]]), places[feet[0]])


def _well(opening, heights_mm, corners) -> WellReport:
    """Return how the pane goes down into its door."""
    before, after = (
        np.mean([np.tan(np.radians(getattr(c, f"lean_front_{when}_deg"))) for c in corners])
        for when in ("before", "after")
    )
    depth, stroke, stands = opening.well_mm, (None, None), (None, None)
    if depth is not None:
        stroke = tuple(min(height, depth) for height in heights_mm)
        stands = tuple(height - gone for height, gone in zip(heights_mm, stroke, strict=True))
    return WellReport(
        depth_mm=depth,
        room_mm=opening.well_room_mm,
        stands_before_mm=stands[0],
        stands_after_mm=stands[1],
        stroke_before_mm=stroke[0],
        stroke_after_mm=stroke[1],
        swing_mm=float(heights_mm[1] * np.cos(np.arctan(after)) * (after - before)),
    )
