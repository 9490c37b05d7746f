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
cut plane move with its upper end; those of a leaned post turn with its lower end
above the hinge.  Trim, door frames inside the glass and
seals are not measured, so the post hides at least this much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .occupant import outboard
from .placing import PostKey
from .postlines import PostLine
from .posts import PostEnds

EYE_HALF_MM = 32.5
NECK_TO_EYE_MM = 104.0
EYE_AHEAD_MM = float(np.sqrt(NECK_TO_EYE_MM**2 - EYE_HALF_MM**2))
CLIMBS_DEG = (2.0, -5.0)  # planes that find the sections S1 and S2
_BEYOND = 0.1  # a post goes on past its measured ends for this share of its length
_CHORDS = 72  # of a bent post's corner edges: none strays 0.01 mm
_LEVEL = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class PostAhead:
    """A post ahead of the eyes, and the glass next to it as closed lines, shape (n, 3) or None."""

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
    axis = _crossing(box[:, None], None, _LEVEL, middle[2:])[0].mean(axis=0)
    if not axis[0] < middle[0]:  # nan: the post ends below or begins above
        return None
    side = 1.0 if axis[1] >= middle[1] else -1.0
    neck = eyes["P1" if side == outboard(shape.car.seat_mm) else "P2"]
    place = _azimuth(axis, neck, side)
    inward, outward = (-np.inf, None), (np.inf, None)
    for opening, points in edges:
        loop = np.concatenate([points, points[:1]])
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
    s = np.linspace(-_BEYOND, 1 + _BEYOND, _CHORDS + 1)
    return line.lines(np.repeat(s[:, None], 5, axis=1))[:, 1:]


def hidden_deg(posts, ends, middle):
    """Return what posts hide from both eyes and from the middle between them. [deg]

    Parameters
    ----------
    posts : sequence of PostAhead
    ends : sequence of PostEnds, or None
        One for each post; None for the uncut car.
    middle : (3,)
        Pm. [mm]

    Returns
    -------
    list of (float, float)
        (None, None) where a section runs past a post's measured ends.
    """
    sections = post_sections(posts, ends, middle)
    return [
        (None, None) if found is None else obstruction_deg(post.neck_mm, *found, side=post.side)
        for post, found in zip(posts, sections, strict=True)
    ]


def post_sections(posts, ends, middle):
    """Return the level sections S1 and S2 of posts, with the glass next to them, each (n, 3). [mm]

    Takes what :func:`hidden_deg` takes.  None where one runs past a post's measured ends.
    """
    if not posts:
        return []
    edges = np.stack([post.edges_mm for post in posts], axis=1)
    joints = _Joints.of(ends) if ends is not None else None
    sections = []
    for climb in CLIMBS_DEG:
        plane = np.array([np.tan(np.radians(climb)), 0.0, 1.0])  # climbs ahead, that is towards −x
        inclined = _crossing(edges, joints, plane, np.full(len(posts), plane @ middle))
        foremost = inclined[np.arange(len(posts)), inclined[:, :, 0].argmin(axis=1)]
        sections.append(_crossing(edges, joints, _LEVEL, foremost[:, 2]))
    out = []
    for i, (post, upper, lower) in enumerate(zip(posts, *sections, strict=True)):
        if np.isnan(upper).any() or np.isnan(lower).any():
            out.append(None)
            continue
        joint = ends[i] if ends is not None else None
        upper = np.concatenate([upper, _glass_edge(post, post.inward_mm, np.argmax, joint, upper[0, 2])])
        lower = np.concatenate([lower, _glass_edge(post, post.outward_mm, np.argmin, joint, lower[0, 2])])
        out.append((upper, lower))
    return out


def band_deg(from_mm, upper_mm, lower_mm, side: float) -> tuple[float, float]:
    """Return azimuths of the inner edge of S1 and the outer edge of S2 from a point, + to the right. [deg]"""
    inner = _azimuth(upper_mm, from_mm, side).min()
    outer = _azimuth(lower_mm, from_mm, side).max()
    return float(np.degrees(side * inner)), float(np.degrees(side * outer))


def _glass_edge(post, loop, nearest, ends: PostEnds | None, height_mm):
    """Return the point of an opening's edge next to a post at a height, (1, 3), or none, (0, 3). [mm]"""
    if loop is None:
        return np.empty((0, 3))

    def beside(points):
        return points[nearest(_azimuth(points, post.neck_mm, post.side))] if len(points) else None

    def landed(move):
        back = move.rotation[2]  # the level plane's normal, turned back
        return beside(move.points(_across(loop, back, height_mm - move.translation_mm[2])))

    point = beside(_across(loop, _LEVEL, height_mm))
    if ends is not None and ends.hinge is not None and point is not None:
        if ends.hinge.foot.height_above(point) > 0:
            point = landed(ends.lower_move)
    if ends is not None and (point is None or ends.plane_in_place.height_above(point) > 0):
        point = landed(ends.move)
    return np.empty((0, 3)) if point is None else point[None]


def _across(loop, normal, offset_mm):
    """Return where the chords of a closed line cross a plane normal·P = offset; (m, 3). [mm]

    ``loop`` has its first point again at its end.
    """
    height = loop @ normal - offset_mm
    is_low = height <= 0
    at = np.nonzero(is_low[:-1] != is_low[1:])[0]
    part = (height[at] / (height[at] - height[at + 1]))[:, None]
    start = loop[at]
    return start + part * (loop[at + 1] - start)


@dataclass(frozen=True, eq=False)
class _Joints:
    """The cut planes of m posts, normal·P = offset, and the moves of their upper ends."""

    normals: np.ndarray  # (m, 3)
    offsets_mm: np.ndarray  # (m,)
    rotations: np.ndarray  # (m, 3, 3)
    translations_mm: np.ndarray  # (m, 3)
    leaned: tuple[tuple[int, PostEnds], ...]  # those with a lower end that turns, by their index

    @classmethod
    def of(cls, ends):
        """Return the joints of PostEnds."""
        planes = [e.plane_in_place for e in ends]
        normals = np.array([plane.normal for plane in planes])
        points = np.array([plane.point_mm for plane in planes])
        rotations = np.array([e.move.rotation for e in ends])
        translations = np.array([e.move.translation_mm for e in ends])
        leaned = tuple((i, e) for i, e in enumerate(ends) if e.hinge is not None)
        return cls(normals, (normals * points).sum(axis=1), rotations, translations, leaned)


def _crossing(edges_mm, joints: _Joints | None, normal, offsets_mm):
    """Return where planes meet the corner edges of m posts as the plan leaves them, (m, 4, 3). [mm]

    One plane normal·P = offset for each post, the normal upward.  nan where it
    runs past the ends of the post.
    """
    corners = _met(edges_mm, np.broadcast_to(normal, (len(offsets_mm), 3)), offsets_mm)
    if joints is None:
        return corners
    for i, ends in joints.leaned:
        corners[i] = _leaned(edges_mm[:, i], ends, corners[i], normal, offsets_mm[i])
    above = np.einsum("mck,mk->mc", corners, joints.normals) - joints.offsets_mm[:, None]
    is_lower = (above <= 0)[..., None]
    if is_lower.all():
        return corners
    back = normal @ joints.rotations
    landed = _met(edges_mm, back, offsets_mm - joints.translations_mm @ normal)
    moved = landed @ joints.rotations.swapaxes(1, 2) + joints.translations_mm[:, None]
    return np.where(is_lower, corners, moved)


def _leaned(edges_mm, ends: PostEnds, corners, normal, offset_mm):
    """Return where a plane meets the edges (n, 4, 3) of a leaned post below its upper end, (4, 3). [mm]

    ``corners`` are where it meets them on the uncut car; below the hinge they stay.
    """
    move = ends.lower_move
    back, offset = normal @ move.rotation, offset_mm - move.translation_mm @ normal
    landed = move.points(_met(edges_mm[:, None], back[None], np.array([offset]))[0])
    is_foot = ends.hinge.foot.height_above(corners) <= 0
    return np.where(is_foot[:, None], corners, landed)


def _met(edges_mm, normals, offsets_mm):
    """Return where planes meet rising lines, (n, m, 4, 3), as (m, 4, 3); nan where they miss. [mm]"""
    height = np.einsum("nmck,mk->nmc", edges_mm, normals) - offsets_mm[:, None]
    i = np.clip((height <= 0).sum(axis=0), 1, len(height) - 1)
    m, c = np.arange(len(offsets_mm))[:, None], np.arange(4)
    low, high = height[i - 1, m, c], height[i, m, c]
    share = np.where((low <= 0) & (high >= 0), low / (low - high), np.nan)[..., None]
    start = edges_mm[i - 1, m, c]
    return start + share * (edges_mm[i, m, c] - start)


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
