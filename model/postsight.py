"""How much of the road a post hides from the driver, seen from above.

After UN Regulation 125, ¶5.1.2, from memory.  Planes square to the car's
centre plane, 2° up and 5° down ahead of Pm, meet the post; through the
foremost point where either does runs a level section, S1 and S2.
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
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .occupant import outboard
from .placing import PostKey
from .posts import PostEnds, PostLine

EYE_HALF_MM = 32.5
NECK_TO_EYE_MM = 104.0
EYE_AHEAD_MM = float(np.sqrt(NECK_TO_EYE_MM**2 - EYE_HALF_MM**2))
CLIMBS_DEG = (2.0, -5.0)  # planes that find the sections S1 and S2
_BEYOND = 0.1  # a post goes on past its measured ends for this share of its length
_CHORDS = 72  # of a bent post's corner edges: none strays 0.01 mm
_FOUR = np.arange(4)
_LEVEL = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class PostAhead:
    """A post ahead of the eyes, and the glass next to it as points once around, shape (n, 3) or None."""

    key: PostKey
    neck_mm: np.ndarray  # P1 or P2
    side: float  # sign of y in which azimuths grow
    edges_mm: np.ndarray  # chords of the box's four corner edges, (n, 4, 3), from low to high
    inward_mm: np.ndarray | None
    outward_mm: np.ndarray | None


def post_ahead(shape, key, eyes, edges):
    """Return a post with its neck point and neighbours, or None if it stands behind the eyes.

    Where it stands is read on the uncut car in the level plane through Pm.

    Parameters
    ----------
    shape : CarShape
    key : PostKey
    eyes : dict of str to (3,)
        As :func:`model.occupant.eye_points_mm` gives them. [mm]
    edges : list of (GlassOpening, array of shape (n, 3))
        Every opening with points once around it. [mm]
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
    return PostAhead(key, neck, side, box, inward[1], outward[1])


def _corner_edges(line: PostLine):
    """Return the four corner edges as chords, a little past the measured ends; (n, 4, 3). [mm]"""
    s = np.linspace(-_BEYOND, 1 + _BEYOND, 2 if line.is_straight else _CHORDS + 1)
    return line.lines(np.repeat(s[:, None], 5, axis=1))[:, 1:]


def hidden_deg(post: PostAhead, ends: PostEnds | None, middle):
    """Return what a post hides from both eyes and from the middle between them, or two Nones. [deg]

    ``ends`` None is the uncut post; ``middle`` is Pm, (3,). [mm]  None where
    a section runs past the post's measured ends.
    """
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
