"""Posts for the CAD kernel: hollow boxes from one cut to the other.

The outside runs along the post's four corner edges, the inside along the
same edges set in by the wall.  A stretch of post from s_from to s_to (each
corner at its own s) is laid out over τ in [0, 1], s = s_from + τ (s_to −
s_from); its faces are the straight lines between neighbouring corners at one
τ, so that both ends are straight-edged and flat, as a blade leaves them.

A corner edge is a piecewise cubic.  Over the union of the eight corners'
knots each of them is a member of one spline space, so interpolating it there
gives that very curve.

Volume of a straight stretch: section (w d − (w − 2 t)(d − 2 t)) times its
length along the axis, however its ends are cut, as the section's centre lies
on the axis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from OCP.Geom import Geom_Plane
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt
from OCP.TopoDS import TopoDS_Shape, TopoDS_Solid
from scipy.interpolate import BSpline, make_interp_spline

from .exactkernel import (
    curve_of,
    lay_on,
    line_pcurve,
    made_edge,
    made_face,
    made_shell,
    made_solid,
    made_vertex,
    pcurve_of,
    ruled_surface,
)
from .hingepieces import HingePiece
from .moves import IDENTITY
from .numeric import unit
from .postlines import PostLine
from .postpieces import ClosedPost
from .posts import PostEnds, inverse_image

_CLOSEST_KNOTS = 1e-7


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch of a post: four outer and four inner corner edges over τ in [0, 1]."""

    outer: tuple[BSpline, ...]
    inner: tuple[BSpline, ...]


def whole_post(line: PostLine) -> Stretch:
    """Return an uncut post."""
    return _stretch(line, lambda _: np.zeros(5), lambda _: np.ones(5))


def lower_end(ends: PostEnds, back_mm: float = 0.0) -> Stretch:
    """Return what stays so far below the lower cut; of a leaned post, what turns above its hinge."""

    def start(line):
        return np.zeros(5) if ends.hinge is None else line.crossing(ends.hinge.loose)

    return _stretch(ends.line, start, lambda line: _lower(ends, line, back_mm))


def foot(ends: PostEnds) -> Stretch:
    """Return what stays on the body below the hinge of a leaned post."""
    return _stretch(ends.line, lambda _: np.zeros(5), lambda line: line.crossing(ends.hinge.foot))


def wedge(ends: PostEnds) -> Stretch:
    """Return what is cut out around the hinge of a leaned post, for its piece too; kerf included."""
    return _stretch(
        ends.line, lambda line: line.crossing(ends.hinge.foot), lambda line: line.crossing(ends.hinge.loose)
    )


def slug(ends: PostEnds) -> Stretch:
    """Return what is cut out, mark to mark, both kerfs included."""
    return _stretch(ends.line, lambda line: _lower(ends, line), lambda line: _upper(ends, line))


def upper_end(ends: PostEnds, back_mm: float = 0.0) -> Stretch:
    """Return what goes with the roof, so far above the upper cut, in its place on the uncut car."""
    return _stretch(ends.line, lambda line: _upper(ends, line, back_mm), lambda _: np.ones(5))


def offcuts(closed: ClosedPost) -> tuple[Stretch | None, Stretch | None]:
    """Return what comes off the lower and the upper stub for their piece; None where nothing does."""
    ends, (below, above) = closed.ends, closed.back_mm
    lower = upper = None
    if below > 0:
        lower = _stretch(ends.line, lambda line: _lower(ends, line, below), lambda line: _lower(ends, line))
    if above > 0:
        upper = _stretch(ends.line, lambda line: _upper(ends, line), lambda line: _upper(ends, line, above))
    return lower, upper


def post_piece(closed: ClosedPost | HingePiece) -> Stretch:
    """Return a piece between two stubs or around a hinge, in place: straight outer and inner corner edges."""
    box, knots = closed.box, np.array([0.0, 0.0, 1.0, 1.0])
    return Stretch(
        *(tuple(BSpline(knots, ends[:, i], 1) for i in range(4)) for ends in (box.corners_mm, box.inner_mm))
    )


def _lower(ends, line, back_mm=0.0):
    return inverse_image(line, ends.plane, IDENTITY, -back_mm)


def _upper(ends, line, back_mm=0.0):
    return inverse_image(line, ends.plane, ends.relative, ends.opening_mm + back_mm)


def _stretch(line: PostLine, start, end) -> Stretch:
    post = line.post
    inside = PostLine(
        replace(post, width_mm=post.width_mm - 2 * post.wall_mm, depth_mm=post.depth_mm - 2 * post.wall_mm)
    )
    limits = [(part, start(part), end(part)) for part in (line, inside)]
    knots = _common_knots(limits)
    degree = 1 if line.is_straight else 3
    places = np.array([knots[i + 1 : i + degree + 1].mean() for i in range(len(knots) - degree - 1)])
    corners = []
    for part, low, high in limits:
        points = part.lines(low + places[:, None] * (high - low))  # (n, 5, 3)
        spline = make_interp_spline(places, points, k=degree, t=knots)
        corners.append(tuple(BSpline(knots, spline.c[:, i], degree) for i in range(1, 5)))
    return Stretch(*corners)


def _common_knots(limits):
    degree = 1 if limits[0][0].is_straight else 3
    found = []
    for part, low, high in limits:
        for knot in np.unique(part.corner_splines().t):
            found.append((knot - low[1:]) / (high[1:] - low[1:]))
    inner = np.unique(np.concatenate(found))
    inner = inner[(inner > _CLOSEST_KNOTS) & (inner < 1 - _CLOSEST_KNOTS)]
    if len(inner):
        inner = inner[np.concatenate([[True], np.diff(inner) > _CLOSEST_KNOTS])]
    if degree == 1:
        inner = inner[:0]
    return np.concatenate([np.zeros(degree + 1), inner, np.ones(degree + 1)])


def post_solid(stretch: Stretch) -> TopoDS_Solid:
    """Return a stretch of post as a hollow solid, open at both ends."""
    outer, outer_ends = _box(stretch.outer, outside_out=True)
    inner, inner_ends = _box(stretch.inner, outside_out=False)
    caps = [_cap(stretch, at, outer_ends[at], inner_ends[at]) for at in (0, 1)]
    return made_solid([*outer, *inner, *caps])


def post_outside(stretch: Stretch) -> TopoDS_Shape:
    """Return the outside of a stretch of post: four faces, no ends."""
    return made_shell(_box(stretch.outer, outside_out=True)[0])


def _box(corners, outside_out):
    """Return the four faces between corner edges, and the four edges at either end."""
    vertices = [[made_vertex(corner(float(at))) for corner in corners] for at in (0, 1)]
    uprights = [
        made_edge(curve_of(corner), (0, 1), vertices[0][i], vertices[1][i])
        for i, corner in enumerate(corners)
    ]
    rims = [[_rim(corners, i, at, vertices[at]) for i in range(4)] for at in (0, 1)]
    middle = np.mean([corner(0.5) for corner in corners], axis=0)
    faces = []
    for i in range(4):
        near, far = corners[i], corners[(i + 1) % 4]
        ruled = ruled_surface(near, far, 1.0)
        lay_on(uprights[i], line_pcurve((0, 0), (1, 0)), ruled)
        lay_on(uprights[(i + 1) % 4], line_pcurve((0, 1), (1, 0)), ruled)
        for at in (0, 1):
            lay_on(rims[at][i], line_pcurve((at, 0), (0, 1)), ruled)
        around = [
            (uprights[i], True),
            (rims[1][i], True),
            (uprights[(i + 1) % 4], False),
            (rims[0][i], False),
        ]
        normal = np.cross(near(0.5, 1), far(0.5) - near(0.5))
        points_out = normal @ (near(0.5) + far(0.5) - 2 * middle) > 0
        faces.append(made_face(ruled, [around], is_reversed=points_out != outside_out))
    return faces, rims


def _rim(corners, i, at, vertices):
    """Return the straight edge from corner i to the next at one end, over [0, 1]."""
    ends = np.array([corners[i](float(at)), corners[(i + 1) % 4](float(at))])
    line = BSpline(np.array([0.0, 0.0, 1.0, 1.0]), ends, 1)
    return made_edge(curve_of(line), (0, 1), vertices[i], vertices[(i + 1) % 4])


def _cap(stretch, at, outer_rims, inner_rims):
    """Return the flat face at one end, between the outer and the inner rim."""
    outer, inner = (
        np.array([corner(float(at)) for corner in corners]) for corners in (stretch.outer, stretch.inner)
    )
    normal = np.cross(outer[2] - outer[0], outer[3] - outer[1])
    along = sum(corner(float(at), 1) for corner in stretch.outer)
    normal *= np.sign(normal @ along) * (1 if at else -1)
    normal, across = unit(np.array([normal, outer[1] - outer[0]]))
    up = np.cross(normal, across)
    plane = Geom_Plane(gp_Ax3(gp_Pnt(*outer[0].tolist()), gp_Dir(*normal.tolist()), gp_Dir(*across.tolist())))
    rings = []
    for points, rims, wanted in ((outer, outer_rims, 1.0), (inner, inner_rims, -1.0)):
        flat = np.stack([(points - outer[0]) @ across, (points - outer[0]) @ up], axis=1)
        after = np.roll(flat, -1, axis=0)
        for i, rim in enumerate(rims):
            lay_on(
                rim,
                pcurve_of(BSpline(np.array([0.0, 0.0, 1.0, 1.0]), np.array([flat[i], after[i]]), 1)),
                plane,
            )
        turns_left = np.sum(flat[:, 0] * after[:, 1] - flat[:, 1] * after[:, 0]) * wanted > 0
        rings.append([(rim, bool(turns_left)) for rim in (rims if turns_left else rims[::-1])])
    return made_face(plane, rings, is_reversed=False)
