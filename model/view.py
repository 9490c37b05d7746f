"""What the driver sees: windshield, posts and rear window, before and after.

**Windshield.**  In the plane y = y_eye the elevation of a point P from an eye E
is atan2(P_z − E_z, E_x − P_x), taken for the lowest and highest point of the
pane's edge in that plane.  The roof's moves keep y, so a point of the plane
stays in it.

**Posts** (UN Regulation 125, ¶5.1.2, from memory).  Planes square
to the car's centre plane, 2° up and 5° down ahead of Pm, meet the post;
through the foremost point of either section runs a level section, S1 and S2.
Seen from above, azimuth α grows from straight ahead towards the post's side.
The head turns about P (P1 for posts on the driver's side, P2 for others) until
the outer eye looks at the outer edge of S2 square to the line between the
eyes.  With the eyes ±h across and k ahead of P (h = 32.5, k² = 104² − h²) a
point O lies on that line of sight when the head is turned by

    φ = α(O − P) − asin(h / |O − P|);

the outer edge is the point with the greatest φ.  Hidden from both eyes is
φ − min α(I − E_inner) over the points I of S1, at least 0; from the middle M
between the eyes max α(O − M) − min α(I − M).  S1 is the box's four corners and
the nearest edge of the glass inward of the post, S2 the corners and the nearest
edge outward: the sheet between is metal.  Corners and edges above the post's
cut plane move with its upper end.  Trim, door frames inside the glass and
seals are not measured, so the post hides at least this much.

**Rear window.**  Up and down: elevations of the window's upper and lower edge,
at its middle, from the middle of the mirror, which can be tilted to any of
them.  Width: seen from the image of the eyes in the mirror (49 CFR 571.111
S5.1.1, from memory: the projected eye point), as far ahead of it as the eyes
are from it, in line with the middle of the window.  The mirror's own size is
not measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .built import Built
from .glass import PaneHeight, edge_in_plane, middle_of, pane_between
from .layout import ROOF, WINDOW
from .measured import Point
from .moves import IDENTITY
from .occupant import crown_mm, eye_points_mm, head_clearance_mm, outboard, own_eye_mm
from .placing import PostKey, front_posts
from .posts import PostEnds, PostLine
from .report import HeadReport, PostSight, RearSight, Sight, View
from .shape import CarShape, GlassOpening

EYE_HALF_MM = 32.5
NECK_TO_EYE_MM = 104.0
EYE_AHEAD_MM = float(np.sqrt(NECK_TO_EYE_MM**2 - EYE_HALF_MM**2))
CLIMBS_DEG = (2.0, -5.0)  # planes that find the sections S1 and S2
MIRROR_BELOW_MM = MIRROR_BEHIND_MM = 75.0  # from the windshield's top; common practice, no source
_BEYOND = 0.1  # a post goes on past its measured ends for this share of its length
_CHORDS = 72  # of a bent post's corner edges: none strays 0.01 mm
_FOUR = np.arange(4)
_LEVEL = np.array([0.0, 0.0, 1.0])

NO_SEAT = (
    "Measure the seat reference point (seat = [x, y, z]: where the hip of a seated driver turns) "
    "for headroom and view."
)
NO_STATURE = "Give the driver's stature ([driver] stature) for the owner's own view and room over the head."
NO_MIRROR = (
    "Measure the middle of the inside mirror ([driver] mirror): the view behind is told from one assumed "
    "3 in below and behind the top of the windshield."
)

Pane = tuple[GlassOpening, np.ndarray, np.ndarray]  # and its bottom and top in one plane


@dataclass(frozen=True, eq=False)
class _PostAhead:
    """A post ahead of the eyes, and the glass next to it as points once around, shape (n, 3) or None."""

    key: PostKey
    neck_mm: np.ndarray  # P1 or P2
    side: float  # sign of y in which azimuths grow
    edges_mm: np.ndarray  # chords of the box's four corner edges, (n, 4, 3), from low to high
    inward_mm: np.ndarray | None
    outward_mm: np.ndarray | None


@dataclass(frozen=True, eq=False)
class _Lookout:
    """All of the driver's view that no plan changes."""

    eyes: dict[str, np.ndarray]
    panes: dict[str, Pane | None]  # ahead of each eye
    posts: tuple[_PostAhead, ...]
    hidden_before: tuple[tuple[float | None, float | None], ...]
    mirror_mm: np.ndarray
    rear: Pane
    rear_edge_mm: np.ndarray  # once around the rear window
    clearance_mm: float | None  # over the owner's head


def view_report(built: Built) -> View:
    """Return the driver's view before and after a plan; empty, saying why, without a seat."""
    car = built.shape.car
    if car.seat_mm is None:
        return View(sights=(), posts=(), rear=None, head=None, to_measure=(NO_SEAT,))
    lookout = _lookout(built.shape)
    missing = []
    if car.driver.stature_mm is None:
        missing.append(NO_STATURE)
    if car.driver.mirror_mm is None:
        missing.append(NO_MIRROR)
    return View(
        sights=_sights(built, lookout),
        posts=_post_sights(built, lookout),
        rear=_rear_sight(built, lookout),
        head=_head(built, lookout),
        to_measure=tuple(missing),
    )


@lru_cache(maxsize=8)
def _lookout(shape: CarShape) -> _Lookout:
    car = shape.car
    eyes = eye_points_mm(car.seat_mm, car.driver.back_deg)
    looking = ["V1", "V2"]
    if car.driver.stature_mm is not None:
        eyes["own"] = own_eye_mm(car.seat_mm, car.driver)
        looking.append("own")
    panes = {}
    for eye in looking:
        ahead = ((pane, edge_in_plane(pane, eyes[eye][1])) for pane in shape.windshield)
        panes[eye] = next(((pane, *ends) for pane, ends in ahead if ends is not None), None)
    edges = [(o, o.outline.grid.point(o.outline.loop_uv)) for o in shape.openings]
    posts = tuple(p for key in shape.lines if (p := _post_ahead(shape, key, eyes, edges)) is not None)
    before = tuple(_hidden_deg(p, None, eyes["Pm"]) for p in posts)
    rear = shape.rear_window
    (rear_edge,) = (points for opening, points in edges if opening is rear)
    return _Lookout(
        eyes=eyes,
        panes=panes,
        posts=posts,
        hidden_before=before,
        mirror_mm=_mirror_mm(shape),
        rear=(rear, *middle_of(rear.outline)),
        rear_edge_mm=rear_edge,
        clearance_mm=_clearance_mm(shape, IDENTITY),
    )


# ---------------------------------------------------------------- ahead


def _sights(built, lookout):
    moved: dict[float, PaneHeight] = {}  # V1 and V2 look through the same place
    sights = []
    for eye, pane in lookout.panes.items():
        at = lookout.eyes[eye]
        up, down = (None, None), (None, None)
        if pane is not None:
            if at[1] not in moved:
                moved[at[1]] = pane_between(built, *pane)
            ends = moved[at[1]]
            up = tuple(_elevation_deg(at, p) for p in (ends.top_before, ends.top_after))
            down = tuple(-_elevation_deg(at, p) for p in (ends.bottom_before, ends.bottom_after))
        sights.append(
            Sight(
                eye=eye,
                eye_mm=_point(at),
                up_before_deg=up[0],
                up_after_deg=up[1],
                down_before_deg=down[0],
                down_after_deg=down[1],
            )
        )
    return tuple(sights)


def _elevation_deg(eye, point):
    """Return how far a point lies above level, seen from an eye. [deg]"""
    away = point - eye
    return float(np.degrees(np.arctan2(away[2], np.hypot(away[0], away[1]))))


def _point(xyz) -> Point:
    return tuple(float(c) for c in xyz)


# ---------------------------------------------------------------- posts


def _post_ahead(shape, key, eyes, edges):
    """Return a post with its neck point and neighbours, or None if it stands behind the eyes.

    Where it stands is read on the uncut car in the level plane through Pm.
    """
    middle, box = eyes["Pm"], _corner_edges(shape.lines[key])
    corners = _crossing(box, None, _LEVEL, middle[2])
    if corners is None or corners[:, 0].mean() >= middle[0]:
        return None
    axis = corners.mean(axis=0)
    side = 1.0 if axis[1] >= middle[1] else -1.0
    neck = eyes["P1" if side == outboard(shape.car.seat_mm) else "P2"]
    place = _azimuth(axis, neck, side)
    inward, outward = (-np.inf, None), (np.inf, None)
    for opening, loop in edges:
        points = _across(loop, _LEVEL, middle[2])
        if opening is shape.rear_window or not len(points):
            continue
        seen = _azimuth(points, neck, side)
        if seen.mean() < place:
            inward = max(inward, (seen.max(), loop), key=lambda found: found[0])
        else:
            outward = min(outward, (seen.min(), loop), key=lambda found: found[0])
    return _PostAhead(key, neck, side, box, inward[1], outward[1])


def _corner_edges(line: PostLine):
    """Return the four corner edges as chords, a little past the measured ends; (n, 4, 3). [mm]"""
    s = np.linspace(-_BEYOND, 1 + _BEYOND, 2 if line.is_straight else _CHORDS + 1)
    return line.lines(np.repeat(s[:, None], 5, axis=1))[:, 1:]


def _post_sights(built, lookout):
    sights = []
    for post, before in zip(lookout.posts, lookout.hidden_before, strict=True):
        after = before
        if built.ends:
            after = _hidden_deg(post, built.ends[post.key], lookout.eyes["Pm"])
        sights.append(
            PostSight(
                post=post.key[0],
                side=post.key[1],
                two_eye_before_deg=before[0],
                two_eye_after_deg=after[0],
                one_eye_before_deg=before[1],
                one_eye_after_deg=after[1],
            )
        )
    return tuple(sights)


def _hidden_deg(post: _PostAhead, ends: PostEnds | None, middle):
    """Return what a post hides from both eyes and from the middle between them, or two Nones. [deg]"""
    sections = []
    for climb, loop, nearest in zip(
        CLIMBS_DEG, (post.inward_mm, post.outward_mm), (np.argmax, np.argmin), strict=True
    ):
        plane = np.array([np.tan(np.radians(climb)), 0.0, 1.0])  # climbs ahead, that is towards −x
        inclined = _crossing(post.edges_mm, ends, plane, plane @ middle)
        if inclined is None:
            return None, None
        height_mm = inclined[inclined[:, 0].argmin(), 2]
        box = _crossing(post.edges_mm, ends, _LEVEL, height_mm)
        if box is None:
            return None, None
        glass = _glass_edge(post, loop, nearest, ends, height_mm)
        sections.append(np.concatenate([box, glass]))
    return obstruction_deg(post.neck_mm, *sections, side=post.side)


def _glass_edge(post, loop, nearest, ends, height_mm):
    """Return the point of an opening's edge next to a post at a height, (1, 3), or none, (0, 3). [mm]"""
    if loop is None:
        return np.empty((0, 3))

    def beside(points):
        return points[nearest(_azimuth(points, post.neck_mm, post.side))] if len(points) else None

    point = beside(_across(loop, _LEVEL, height_mm))
    if ends is not None and (point is None or ends.plane.height_above(point) > 0):
        back = ends.move.rotation.T @ _LEVEL
        landed = _across(loop, back, height_mm - ends.move.translation_mm[2])
        point = beside(ends.move.points(landed))
    return np.empty((0, 3)) if point is None else point[None]


def _across(loop, normal, offset_mm):
    """Return where straight lines between points once around cross a plane normal·P = offset; (m, 3). [mm]"""
    height = loop @ normal - offset_mm
    following = np.roll(height, -1)
    at = np.nonzero((height <= 0) != (following <= 0))[0]
    part = (height[at] / (height[at] - following[at]))[:, None]
    start = loop[at]
    return start + part * (loop[(at + 1) % len(loop)] - start)


def _crossing(edges_mm, ends: PostEnds | None, normal, offset_mm):
    """Return where a plane meets the corner edges of a post as the plan leaves it, (4, 3), or None. [mm]

    The plane is normal·P = offset, its normal upward.  None where it runs past
    the ends of the post.
    """
    corners = _met(edges_mm, normal, offset_mm)
    if ends is None:
        return None if np.isnan(corners).any() else corners
    is_upper = ~(ends.plane.height_above(corners) <= 0)
    if is_upper.any():
        move = ends.move
        landed = _met(edges_mm, move.rotation.T @ normal, offset_mm - normal @ move.translation_mm)
        corners = np.where(is_upper[:, None], move.points(landed), corners)
    return None if np.isnan(corners).any() else corners


def _met(edges_mm, normal, offset_mm):
    """Return where a plane meets rising lines, (n, 4, 3), shape (4, 3); nan where it misses. [mm]"""
    height = edges_mm @ normal - offset_mm
    i = np.clip((height <= 0).sum(axis=0), 1, len(height) - 1)
    low, high = height[i - 1, _FOUR], height[i, _FOUR]
    share = np.where((low <= 0) & (high >= 0), low / (low - high), np.nan)[:, None]
    start = edges_mm[i - 1, _FOUR]
    return start + share * (edges_mm[i, _FOUR] - start)


def obstruction_deg(neck_mm, upper_mm, lower_mm, side: float) -> tuple[float, float]:
    """Return what two level sections of a post hide from both eyes, and from the middle between them. [deg]

    Parameters
    ----------
    neck_mm : (3,)
        Where the head turns.
    upper_mm, lower_mm : arrays, shape (n, 3)
        Points around S1, whose inner edge counts, and S2, whose outer edge counts.
    side : float
        +1 for a post to the right of straight ahead, −1 to the left.
    """
    apart = np.hypot(*(lower_mm - neck_mm)[:, :2].T)
    turn = float((_azimuth(lower_mm, neck_mm, side) - np.arcsin(EYE_HALF_MM / apart)).max())
    ahead = np.array([-np.cos(turn), side * np.sin(turn), 0.0])
    across = np.array([np.sin(turn), side * np.cos(turn), 0.0])  # towards the outer eye
    middle = neck_mm + EYE_AHEAD_MM * ahead
    two_eye = turn - _azimuth(upper_mm, middle - EYE_HALF_MM * across, side).min()
    one_eye = _azimuth(lower_mm, middle, side).max() - _azimuth(upper_mm, middle, side).min()
    return max(0.0, float(np.degrees(two_eye))), max(0.0, float(np.degrees(one_eye)))


def _azimuth(points_mm, from_mm, side):
    """Return azimuths from straight ahead towards a side. [rad]"""
    away = np.asarray(points_mm) - from_mm
    return np.arctan2(side * away[..., 1], -away[..., 0])


# ---------------------------------------------------------------- to the rear


def _mirror_mm(shape):
    """Return the middle of the inside mirror: measured, or under the middle of the windshield's top."""
    if shape.car.driver.mirror_mm is not None:
        return np.array(shape.car.driver.mirror_mm)
    tops = []
    for pane in shape.windshield:
        y = pane.outline.grid.point(pane.outline.loop_uv)[:, 1]
        inner = y[np.abs(y).argmin()] if y.min() * y.max() > 0 else 0.0
        far = y[np.abs(y).argmax()]
        tops.append(edge_in_plane(pane, 0.8 * inner + 0.2 * far if inner else 0.0)[1])
    top = np.mean(tops, axis=0)
    return np.array([top[0] + MIRROR_BEHIND_MM, 0.0, top[2] - MIRROR_BELOW_MM])


def _rear_sight(built, lookout):
    """The mirror goes with the roof where it hangs above the A-posts' cuts."""
    eye, mirror = lookout.eyes["Pm"], lookout.mirror_mm
    moved = mirror
    if built.ends:
        cuts = [built.ends[key].plane.point_mm[2] for key in front_posts(built.shape.car)]
        moved = built.moves[ROOF].points(mirror) if mirror[2] > np.mean(cuts) else mirror
    pane = pane_between(built, *lookout.rear)
    edge = lookout.rear_edge_mm
    before = _behind_deg(eye, mirror, pane.bottom_before, pane.top_before, edge)
    after = _behind_deg(eye, moved, pane.bottom_after, pane.top_after, _rear_edge_after(built, edge))
    return RearSight(
        mirror_before_mm=_point(mirror),
        mirror_after_mm=_point(moved),
        is_mirror_measured=built.shape.car.driver.mirror_mm is not None,
        up_before_deg=before[0],
        up_after_deg=after[0],
        down_before_deg=before[1],
        down_after_deg=after[1],
        width_before_deg=before[2],
        width_after_deg=after[2],
    )


def _rear_edge_after(built, edge):
    """Return points of the rear window's edge where the plan puts them; what is cut out is left out."""
    if built.plan.window is not None:
        return built.moves[WINDOW].points(edge)
    if built.upper is None:
        return edge
    grid = built.shape.rear_window.outline.grid
    stays = built.lower.height_above(grid, edge) <= 0
    comes_down = built.upper.height_above(grid, edge) >= 0
    return np.concatenate([edge[stays], built.moves[ROOF].points(edge[comes_down])])


def _behind_deg(eye, mirror, bottom, top, edge):
    """Return elevation of a window's top, depression of its bottom, and its width, in the mirror. [deg]"""
    ahead = (mirror - (bottom + top) / 2) * [1.0, 1.0, 0.0]
    away = edge - (mirror + np.linalg.norm(eye - mirror) * ahead / np.linalg.norm(ahead))
    width = np.degrees(np.ptp(np.arctan2(away[:, 1], away[:, 0])))
    return _elevation_deg(mirror, top), -_elevation_deg(mirror, bottom), float(width)


# ---------------------------------------------------------------- head


def _clearance_mm(shape, move):
    car = shape.car
    if car.driver.stature_mm is None:
        return None
    return head_clearance_mm(shape.skin.grids["roof"], car.gauge_mm, car.seat_mm, car.driver, move)


def _head(built, lookout):
    car = built.shape.car
    if car.driver.stature_mm is None:
        return None
    after = lookout.clearance_mm
    if ROOF in built.moves:
        after = _clearance_mm(built.shape, built.moves[ROOF])
    return HeadReport(
        stature_mm=car.driver.stature_mm,
        crown_mm=_point(crown_mm(car.seat_mm, car.driver)),
        clearance_before_mm=lookout.clearance_mm,
        clearance_after_mm=after,
    )
