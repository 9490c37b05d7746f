"""Post ends and keep-outs as bodies that a sheet may run into: which side of each face a point lies on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .built import Built
from .hingepieces import HingePiece, hinge_pieces, stubs_of
from .hinges import Flat
from .layout import BODY
from .measured import KeepOut
from .moves import IDENTITY, RigidMove
from .numeric import cross, dot, unit
from .postboxes import frames_at_feet
from .postlines import PostLine
from .postpieces import ClosedPost, closed_posts, stub_marks
from .posts import CutPlane
from .scene import post_mesh, post_rows
from .sheets import BOUND_SLACK_MM, FAR_MM, NEAR_MM, Patch, Sheet
from .taperedbox import TaperedBox
from .triangles import share_a_point


@dataclass(frozen=True, eq=False)
class Cap:
    """A flat end of a stretch of post: sign (height(move P) − offset) is negative on the post's side."""

    flat: CutPlane | Flat
    move: RigidMove = IDENTITY
    offset_mm: float = 0.0
    sign: float = 1.0

    def beyond_mm(self, points_mm) -> np.ndarray:
        """Return how far points of the uncut car lie out of the post past this end. [mm]"""
        return self.sign * (self.flat.height_above(self.move.points(points_mm)) - self.offset_mm)


@dataclass(frozen=True, eq=False)
class PostBody:
    """A stretch of a post in place, between parameters of its five lines, with the flat ends of its cuts."""

    name: str
    line: PostLine
    s_from: np.ndarray
    s_to: np.ndarray
    caps: tuple[Cap, ...]
    move: RigidMove
    small_mm = 10.0  # size of a triangle that is small enough to find what of it lies in this body

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates in place, shape (2, 3)."""
        points = self.move.points(post_rows(self.line, self.s_from, self.s_to).reshape(-1, 3))
        return np.array([points.min(axis=0), points.max(axis=0)])

    @property
    def wall_mm(self) -> float:
        """Thickness of its walls."""
        return self.line.post.wall_mm

    @cached_property
    def mesh(self):
        """Points, normals and triangles of the outside, before the move."""
        return post_mesh(self.line, self.s_from, self.s_to)

    @cached_property
    def planes(self) -> np.ndarray:
        """Its caps as functions n·P + c of points in place, rows (n, c): how far these lie out of it. [mm]"""
        places = self.move.inverse().points(np.concatenate([np.zeros((1, 3)), np.eye(3)]))
        values = np.array([cap.beyond_mm(places) for cap in self.caps]).reshape(-1, 4)
        return np.concatenate([values[:, 1:] - values[:, :1], values[:, :1]], axis=1)

    @cached_property
    def rod(self) -> tuple[np.ndarray, float]:
        """Ends (2, 3) of its axis' chord in place, and no point of the post is further from that. [mm]"""
        axis, bow = _axis_and_bow(self.line)
        post = self.line.post
        return self.move.points(axis[[0, -1]]), bow + float(np.hypot(post.width_mm, post.depth_mm)) / 2

    def signs(self, count):
        """Return that the box counts as metal and the hollow inside it does not."""
        return (1.0, -1.0)[:count]

    def inside(self, points_mm, normals, layers_mm, within_mm):
        """Return g of the whole box and of the hollow inside it."""
        back = self.move.inverse()
        points, directions = back.points(points_mm), back.vectors(normals)
        axis = self.line.frame(np.array([0.0, 1.0]))[0]
        s, (centre, _, w, d) = frames_at_feet(self.line, points)
        along = np.maximum(s - 1, -s) * np.linalg.norm(axis[-1] - axis[0])
        x = points[None] - layers_mm[:, None, None] * directions[None] - centre[None]
        p, q = np.abs(np.einsum("lni,ni->ln", x, w)), np.abs(np.einsum("lni,ni->ln", x, d))
        caps = [np.broadcast_to(along, p.shape)]
        caps += [np.broadcast_to(cap.beyond_mm(points), p.shape) for cap in self.caps]
        half = np.array([self.line.post.width_mm, self.line.post.depth_mm]) / 2
        wall = self.line.post.wall_mm
        return [[p - half[0], q - half[1], *caps], [p - half[0] + wall, q - half[1] + wall, *caps]]


@dataclass(frozen=True, eq=False)
class PieceBody:
    """A post piece or a hinge piece, in place from the start: a tapered box with the hollow inside it."""

    closed: ClosedPost | HingePiece
    move: RigidMove = IDENTITY
    small_mm = 10.0  # size of a triangle that is small enough to find what of it lies in this body

    @property
    def name(self) -> str:
        """Name of the piece."""
        return self.closed.name

    @property
    def wall_mm(self) -> float:
        """Thickness of its walls."""
        return self.closed.box.gauge_mm

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates, shape (2, 3)."""
        corners = self.closed.box.corners_mm.reshape(-1, 3)
        return np.array([corners.min(axis=0), corners.max(axis=0)])

    @cached_property
    def mesh(self):
        """Points, normals and triangles of the outside."""
        return piece_mesh(self.closed.box)

    def may_reach(self, patch: Patch, some, other: Sheet) -> np.ndarray:
        """Return that any triangle may matter that the body's box does not rule out."""
        return np.ones(len(some), bool)

    def signs(self, count):
        """Return that the box counts as metal and the hollow inside it does not."""
        return (1.0, -1.0)[:count]

    def inside(self, points_mm, normals, layers_mm, within_mm):
        """Return g of the whole box and of the hollow inside it."""
        box = self.closed.box
        x = points_mm[None] - layers_mm[:, None, None] * normals[None]
        flat = x.reshape(-1, 3)
        height = box.height_of(flat)
        ends = np.stack([-height, height - box.height_mm])
        return [
            list(np.concatenate([walls, ends]).reshape(6, *x.shape[:2]))
            for walls in (box.wall_distances_mm(flat), box.hollow_distances_mm(flat))
        ]


def piece_mesh(box: TaperedBox):
    """Return points, normals and triangles of the outside of a post piece: each wall two triangles."""
    walls = np.stack([box.wall_mm(i) for i in range(4)])
    normals = unit(cross(walls[:, 2] - walls[:, 0], walls[:, 3] - walls[:, 1]))
    outward = walls.mean(axis=1) - box.corners_mm.mean(axis=(0, 1))
    turns = dot(normals, outward) < 0
    normals[turns] *= -1
    triangles = np.array([(0, 1, 2), (0, 2, 3)]) + 4 * np.arange(4)[:, None, None]
    triangles[turns] = triangles[turns][:, :, ::-1]
    return walls.reshape(-1, 3), np.repeat(normals, 4, axis=0), triangles.reshape(-1, 3)


@dataclass(frozen=True, eq=False)
class KeepOutBody:
    """A body the roof must clear."""

    body: KeepOut
    small_mm = 5.0  # size of a triangle that is small enough to find what of it lies in this body

    @property
    def name(self) -> str:
        """Name in the car file."""
        return self.body.name

    @cached_property
    def box_mm(self) -> np.ndarray:
        """Least and greatest coordinates, shape (2, 3)."""
        b = self.body
        if b.shape == "box":
            half = np.array(b.size_mm) / 2
            return np.array([np.array(b.at_mm) - half, np.array(b.at_mm) + half])
        ends = np.array([b.at_mm, b.to_mm or b.at_mm], float)
        return np.array([ends.min(axis=0) - b.radius_mm, ends.max(axis=0) + b.radius_mm])

    def outside_mm(self, points) -> list[np.ndarray]:
        """Return distances out of every bounding surface; inside where all are negative."""
        b = self.body
        x = points - np.array(b.at_mm, float)
        if b.shape == "box":
            return [np.abs(x[..., k]) - b.size_mm[k] / 2 for k in range(3)]
        if b.shape == "sphere":
            return [np.linalg.norm(x, axis=-1) - b.radius_mm]
        axis = np.array(b.to_mm, float) - b.at_mm
        length = np.linalg.norm(axis)
        along = x @ (axis / length)
        off = np.linalg.norm(x - along[..., None] * (axis / length), axis=-1)
        return [off - b.radius_mm, -along, along - length]

    def may_reach(self, patch: Patch, some, other: Sheet) -> np.ndarray:
        """Return that any triangle may matter that the body's box does not rule out."""
        return np.ones(len(some), bool)

    def signs(self, count):
        """Return that all of it counts."""
        return (1.0,) * count

    def inside(self, points_mm, normals, layers_mm, within_mm):
        """Return g of the body."""
        return [self.outside_mm(points_mm[None] - layers_mm[:, None, None] * normals[None])]


def near_posts(sheet: Sheet, posts: list[PostBody]) -> list[list[tuple[Patch, np.ndarray]]]:
    """Return for every post which triangles of a sheet are near enough to matter, patch by patch.

    All at once: pairs of a triangle and a post whose boxes meet, then those where the ball around the
    triangle reaches the rod around the post, then those with a point inside both the post's caps and
    the sheet's own bounds.
    """
    if not posts:
        return []
    k, m = np.nonzero(sheet.near_boxes(np.array([post.box_mm for post in posts])))
    (middle, radius), ends = sheet.balls_mm, np.array([post.rod[0] for post in posts])
    start, run = ends[:, 0], ends[:, 1] - ends[:, 0]
    off = middle[m] - start[k]
    share = np.clip(dot(off, run[k]) / dot(run, run)[k], 0.0, 1.0)
    off -= share[:, None] * run[k]
    close = np.sqrt(dot(off, off)) <= radius[m] + np.array([post.rod[1] for post in posts])[k] + NEAR_MM
    k, m = k[close], m[close]
    most = max(len(post.caps) for post in posts)
    planes = np.tile([0.0, 0.0, 0.0, -FAR_MM], (len(posts), most, 1))
    for post, own in zip(posts, planes, strict=True):
        own[: len(post.caps)] = post.planes
    corners = sheet.corners_mm[m]
    values = [(corners @ planes[k, c, :3, None])[:, :, 0] + planes[k, c, 3:] for c in range(most)]
    values += [bound[m] for bound in sheet.own_bounds]
    matter = share_a_point([value - BOUND_SLACK_MM for value in values]) if values else np.ones(len(k), bool)
    matter |= np.array([not post.caps for post in posts])[k]
    return [sheet.by_patch(m[matter & (k == i)]) for i in range(len(posts))]


@lru_cache(maxsize=64)
def _axis_and_bow(line: PostLine) -> tuple[np.ndarray, float]:
    """Return a post's axis as a polyline (k, 3), and how far that is from its chord at most. [mm]"""
    axis = line.lines(line.stations[:, None] + np.zeros(5))[:, 0]
    return axis, float(_distance_to_line(axis, axis[[0, -1]]).max())


def _distance_to_line(points, line):
    """Return distances of (n, 3) points to a polyline (k, 3). [mm]"""
    a, edge = line[:-1], np.diff(line, axis=0)
    share = np.einsum("nki,ki->nk", points[:, None] - a, edge) / np.einsum("ki,ki->k", edge, edge)
    foot = a + np.clip(share, 0, 1)[:, :, None] * edge
    return np.linalg.norm(points[:, None] - foot, axis=2).min(axis=1)


def posts_of(built: Built) -> list[tuple[str, PostBody | PieceBody]]:
    """Return every end of every post with the piece that carries it, and post pieces by their own names."""
    out, pieces, stubs = [], closed_posts(built), stubs_of(built)
    for key, line in built.shape.lines.items():
        name = f"post {' '.join(key)}"
        ends = stubs.get(key)
        if ends is None:
            out.append((BODY, PostBody(name, line, np.zeros(5), np.ones(5), (), IDENTITY)))
            continue
        closed = pieces.get(key)
        low, high = stub_marks(ends, closed)
        back = (0.0, 0.0) if closed is None else closed.back_mm
        below, start = (Cap(ends.plane, offset_mm=-back[0]),), np.zeros(5)
        if ends.hinge is not None:
            foot, start = line.crossing(ends.hinge.foot), line.crossing(ends.hinge.loose)
            at_foot = (Cap(ends.hinge.foot),)
            out.append((BODY, PostBody(f"{name} foot", line, np.zeros(5), foot, at_foot, IDENTITY)))
            below = (*below, Cap(ends.hinge.loose, sign=-1.0))
        lower = PostBody(f"{name} lower", line, start, low, below, ends.lower_move)
        above = (Cap(ends.plane, ends.relative, ends.opening_mm + back[1], -1.0),)
        upper = PostBody(f"{name} upper", line, high, np.ones(5), above, ends.move)
        out += [(built.lower_piece(key), lower), (built.upper_piece(key), upper)]
        if closed is not None:
            out.append((closed.name, PieceBody(closed)))
    out += [(piece.name, PieceBody(piece)) for piece in hinge_pieces(built).values()]
    return out
