"""Leaned posts: what of the sheet around a post can be cut loose with it, and where it is hinged.

The loose piece is bounded by the post's lower cut above, the cut around its
hinge below (see :mod:`model.hinges`) and the openings on either side.  A post
between two openings of a side is loose on that side alone; the foremost post
of a side is loose from the opening behind it round the corner to the
windshield; a post between two panes of the windshield is loose on the front.
On every grid the piece holds the metal of a *stretch* across the post: along x
on a side, along y on the front, into the openings beside it, its limits
parallel to the post.

The cut around the hinge has to run into the openings above their corners'
radii.  With E the point of an opening's edge beside the post that lies as
high over the opening's lowest point as its lower corner's radius, the lowest
hinge is at the s where (E − axis(s))·t(s) = 0 for the higher of the two, for
the cut is square to the axis; no lower than the post's measured foot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from scipy.optimize import brentq

from .errors import PlanError
from .hinges import Flat, Hinge, hinge_at
from .measured import VIEWS
from .moves import RigidMove
from .outlines import Outline
from .placing import PostKey
from .plan import PostLean
from .posts import CutPlane, PostEnds
from .shape import CarShape, GlassOpening
from .skin import Grid
from .tracing import trace
from .units import shown

LEAST_STUB = 1.0  # of the post's width, between hinge and lower cut on the axis; assumed


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """The part of a grid across a post: where P[axis] − slope · P_z lies between two limits.

    The slope is the post's, so that the limits run along it inside the openings beside it.
    """

    grid: str
    axis: int  # 0: x, 1: y
    slope: float
    low_mm: float
    high_mm: float

    def across_mm(self, points_mm) -> np.ndarray:
        """Return how far across the post points lie, along x or y. [mm]"""
        points = np.asarray(points_mm)
        return points[:, self.axis] - self.slope * points[:, 2]

    def outside_mm(self, points_mm) -> np.ndarray:
        """Return how far points lie out of the stretch, negative inside. [mm]"""
        at = self.across_mm(points_mm)
        return np.maximum(self.low_mm - at, at - self.high_mm)


@dataclass(frozen=True, kw_only=True)
class Lean:
    """A leaned post: its hinge, and the stretches of skin that turn with its lower end."""

    key: PostKey
    hinge: Hinge
    stretches: tuple[Stretch, ...]
    panes: tuple[str, ...]  # of the windshield, beside it

    @property
    def name(self) -> str:
        """Post and side."""
        return " ".join(self.key)

    @property
    def piece(self) -> str:
        """Name of the loose piece."""
        return f"{self.name} lower"

    def stretch_on(self, grid_name: str) -> Stretch | None:
        """Return the stretch on a grid, or None where the piece has no metal there."""
        return next((s for s in self.stretches if s.grid == grid_name), None)

    def is_loose(self, grid_name: str, points_mm) -> np.ndarray:
        """Return which points below the lower cut belong to the loose piece."""
        stretch = self.stretch_on(grid_name)
        if stretch is None:
            return np.zeros(len(points_mm), bool)
        return (self.hinge.loose.height_above(points_mm) > 0) & (stretch.outside_mm(points_mm) < 0)

    def is_wedge(self, grid_name: str, points_mm) -> np.ndarray:
        """Return which points lie between the two cuts around the hinge."""
        stretch = self.stretch_on(grid_name)
        if stretch is None:
            return np.zeros(len(points_mm), bool)
        above = self.hinge.foot.height_above(points_mm) > 0
        return above & (self.hinge.loose.height_above(points_mm) <= 0) & (stretch.outside_mm(points_mm) < 0)

    def bounds(self, grid_name: str, points_mm) -> list[np.ndarray]:
        """Return what is negative on the loose piece's side of its hinge and of its stretch. [mm]"""
        stretch = self.stretch_on(grid_name)
        return [-self.hinge.loose.height_above(points_mm), stretch.outside_mm(points_mm)]

    def foot_bound(self, grid_name: str, points_mm) -> np.ndarray:
        """Return what is negative on the body's side of the hinge: below it, or out of the stretch. [mm]"""
        stretch = self.stretch_on(grid_name)
        return np.minimum(self.hinge.foot.height_above(points_mm), -stretch.outside_mm(points_mm))


@dataclass(frozen=True, eq=False)
class _Beside:
    """An opening beside a post, on which side of it, and the coordinate that tells: x (0) or y (1)."""

    opening: GlassOpening
    axis: int
    way: int  # 1: at a greater coordinate than the post, −1: at a lesser one

    def nearest(self, points_mm) -> np.ndarray:
        """Return the point nearest to the post, of points of the opening's edge; (3,)."""
        return points_mm[(self.way * points_mm[:, self.axis]).argmin()]


@lru_cache(maxsize=64)
def _openings_beside(shape: CarShape, key: PostKey) -> tuple[_Beside, _Beside]:
    """Return the openings between which a post stands.

    Raises
    ------
    PlanError
        If the sheet around the post runs on and cannot be cut loose.
    """
    name, side = key
    axis = shape.lines[key].axis_point(0.5)
    if side == "centre":
        is_ahead = "front" in shape.zones and key in shape.zones["front"].keys
        before, after = _next_to(shape, "front", 1, axis[1]) if is_ahead else (None, None)
        if before is None or after is None:
            raise _not_loose(key, "does not stand between two panes of the windshield")
        return _Beside(before, 1, -1), _Beside(after, 1, 1)
    before, after = _next_to(shape, f"side {side}", 0, axis[0])
    if after is None:
        raise _not_loose(key, "has no side glass behind it")
    if before is not None:
        return _Beside(before, 0, -1), _Beside(after, 0, 1)
    if "front" not in shape.skin.grids:
        raise _not_loose(key, "has no front panel measured ahead of it")
    lesser, greater = _next_to(shape, "front", 1, axis[1])
    pane, way = (lesser, -1) if side == "right" else (greater, 1)
    if pane is None:
        raise _not_loose(key, "has no windshield beside it on the front panel")
    return _Beside(after, 0, 1), _Beside(pane, 1, way)


def _not_loose(key, reason):
    return PlanError(
        f"lean.{key[0]}.{key[1]}",
        f"cannot be done: this post {reason}, so its lower end cannot be cut loose and leaned.",
        "Leave it, or shift its upper end.",
    )


def _next_to(shape, grid_name, axis, at_mm):
    """Return the openings of a grid next below and next above a place along one coordinate, or None."""
    spans = []
    for opening in shape.openings:
        if opening.outline.grid.name == grid_name:
            place = _loop_mm(opening.outline)[:, axis]
            spans.append((float(place.min() + place.max()) / 2, opening))
    below = [s for s in spans if s[0] < at_mm]
    above = [s for s in spans if s[0] > at_mm]
    return (
        max(below, key=lambda s: s[0])[1] if below else None,
        min(above, key=lambda s: s[0])[1] if above else None,
    )


@lru_cache(maxsize=64)
def _loop_mm(outline: Outline) -> np.ndarray:
    """Return an outline once around, the first point again at its end; (n, 3). [mm]"""
    return outline.grid.point(np.concatenate([outline.loop_uv, outline.loop_uv[:1]]))


def _crossings(outline: Outline, height_above) -> np.ndarray:
    """Return where an outline crosses a surface, (n, 3). [mm]"""
    loop = _loop_mm(outline)
    height = height_above(loop)
    at = np.nonzero((height[:-1] <= 0) != (height[1:] <= 0))[0]
    part = (height[at] / (height[at] - height[at + 1]))[:, None]
    return loop[at] + part * (loop[at + 1] - loop[at])


def _above_corner_mm(beside: _Beside, at_mm: float) -> np.ndarray:
    """Return the point E of an opening's edge beside a post, above the radius of its lower corner; (3,)."""
    opening = beside.opening.opening
    across = VIEWS[opening.view].index(beside.axis)
    corners = [(c.across_mm, c.up_mm)[:: 1 - 2 * across] + (c.radius_mm,) for c in opening.corners]
    lower = sorted(corners, key=lambda corner: corner[1])[:2]
    radius = min(lower, key=lambda corner: abs(corner[0] - at_mm))[2]
    low = _loop_mm(beside.opening.outline)[:, 2].min() + max(radius, 1.0)
    return beside.nearest(_crossings(beside.opening.outline, lambda points: points[:, 2] - low))


@lru_cache(maxsize=64)
def _lowest_hinge_mm(shape: CarShape, key: PostKey) -> float:
    """Return the least height at which a post can be cut around, the same for every plan. [mm]"""
    line, openings = shape.lines[key], _openings_beside(shape, key)
    foot = line.axis_point(0.0)
    places = [0.0]
    for beside in openings:
        edge = _above_corner_mm(beside, float(foot[beside.axis]))

        def behind(s, edge=edge):
            point, t, _, _ = line.frame(s)
            return float((edge - point[0]) @ t[0])

        if behind(0.0) > 0:
            places.append(float(brentq(behind, 0.0, 1.0)) if behind(1.0) < 0 else 1.0)
    return float(line.axis_point(max(places))[2])


def hinge_point_mm(shape: CarShape, key: PostKey, lean: PostLean, plane: CutPlane) -> np.ndarray:
    """Return the hinge of a leaned post, on its axis; (3,). [mm]

    Raises
    ------
    PlanError
        If the sheet around the post cannot be cut loose there.
    """
    line, unit = shape.lines[key], shape.car.unit
    lowest = _lowest_hinge_mm(shape, key)
    highest = float(plane.point_mm[2]) - LEAST_STUB * line.post.width_mm
    height = lowest if lean.hinge_mm is None else lean.hinge_mm
    parameter = f"hinge_height.{key[0]}.{key[1]}"
    if lowest > highest:
        raise PlanError(
            parameter,
            f"must be at least {shown(lowest, unit)}, clear of the corners of the openings beside this post, "
            f"and a post's width below its lower cut, at most {shown(highest, unit)}; no height is both.",
            f"Cut this post higher: cut_height.{key[0]}.",
            value_mm=height,
            limit_mm=lowest,
        )
    if not lowest - 1e-6 <= height <= highest + 1e-6:
        raise PlanError(
            parameter,
            f"must be between {shown(lowest, unit)}, clear of the corners of the openings beside this post, "
            f"and {shown(highest, unit)}, a post's width below its lower cut; got {shown(height, unit)}.",
            "Choose a height between the two.",
            value_mm=height,
            limit_mm=lowest if height < lowest else highest,
        )
    return line.axis_point(line.axis_at_height(height))


def hinge_of(
    shape: CarShape, key: PostKey, point_mm, move: RigidMove, *, kerf_mm: float, root_gap_mm: float
) -> Hinge:
    """Return the cuts around the hinge of a post whose lower end makes ``move``."""
    line = shape.lines[key]
    up = line.frame(line.axis_at_height(float(point_mm[2])))[1][0]
    corners = line.crossing(Flat(normal=tuple(up.tolist()), offset_mm=float(up @ point_mm)))
    reach = [line.lines(corners)[1:]]
    for beside in _openings_beside(shape, key):
        found = _crossings(beside.opening.outline, lambda points: (points - point_mm) @ up)
        if not len(found):
            raise _off_the_edge(key, beside.opening)
        reach.append(beside.nearest(found)[None])
    return hinge_at(point_mm, up, move, np.concatenate(reach), kerf_mm=kerf_mm, root_gap_mm=root_gap_mm)


def lean_of(shape: CarShape, ends: PostEnds) -> Lean:
    """Return what turns with the lower end of a leaned post.

    Raises
    ------
    PlanError
        If the openings beside it do not reach from the hinge up to the lower cut.
    """
    key = (ends.line.post.name, ends.line.post.side)
    openings = _openings_beside(shape, key)
    limits: dict[tuple[str, int], dict[int, float]] = {}
    for beside in openings:
        grid = beside.opening.outline.grid
        limits.setdefault((grid.name, beside.axis), {})[beside.way] = _limit_mm(key, ends, beside)
    along = ends.plane.point_mm - np.array(ends.hinge.point_mm)
    stretches = tuple(
        Stretch(
            grid=grid_name,
            axis=axis,
            slope=float(along[axis] / along[2]),
            low_mm=found.get(-1, -np.inf),
            high_mm=found.get(1, np.inf),
        )
        for (grid_name, axis), found in limits.items()
    )
    panes = tuple(b.opening.name for b in openings if b.opening.opening.role == "windshield")
    return Lean(key=key, hinge=ends.hinge, stretches=stretches, panes=panes)


def _limit_mm(key, ends: PostEnds, beside: _Beside) -> float:
    """Return how far across the post its stretch goes into an opening: halfway, at its narrowest."""
    outline = beside.opening.outline
    along = ends.plane.point_mm - np.array(ends.hinge.point_mm)
    near, far = [], []
    for flat in (ends.hinge.foot, ends.plane):
        found = _crossings(outline, flat.height_above)
        if len(found) < 2:
            raise _off_the_edge(key, beside.opening)
        across = beside.way * (found[:, beside.axis] - along[beside.axis] / along[2] * found[:, 2])
        near.append(across.min())
        far.append(across.max())
    if max(near) >= min(far):
        raise _off_the_edge(key, beside.opening)
    return float(beside.way * (max(near) + min(far)) / 2)


def _off_the_edge(key, opening):
    return PlanError(
        f"lean.{key[0]}.{key[1]}",
        f"cannot be done: the opening {opening.name!r} does not reach beside this post from its hinge up to "
        "its lower cut.",
        "Hinge it higher or cut it lower.",
    )


def hinge_lines(shape: CarShape, grid: Grid, lean: Lean) -> list[tuple[str, np.ndarray]]:
    """Return the two cuts around a hinge on one grid, from opening to opening or to the grid's border.

    Each ends one sample inside an opening; that loose end bounds nothing.
    """
    panes = [o.outline.polygon for o in shape.openings if o.outline.grid is grid]
    stretch, found = lean.stretch_on(grid.name), []
    for flat in (lean.hinge.foot, lean.hinge.loose):
        for uv in trace(grid, flat):
            in_glass = np.any([shapely.contains_xy(pane, *uv.T) for pane in panes], axis=0)
            keep = ~in_glass & (stretch.outside_mm(grid.point(uv)) < 0)
            found += [("hinge", uv[a:b]) for a, b in _runs(keep, in_glass)]
    return found


def _runs(keep, may_end_in):
    """Return (start, end) of the runs of ``keep``, with the sample before and after that each may end in."""
    limits = np.nonzero(np.diff(np.concatenate([[False], keep, [False]])))[0]
    runs = []
    for a, b in zip(limits[::2], limits[1::2], strict=True):
        first = a - 1 if a > 0 and may_end_in[a - 1] else a
        last = b + 1 if b < len(keep) and may_end_in[b] else b
        runs.append((first, last))
    return runs


def leaned_part(leans, grid: Grid, point_mm) -> str | None:
    """Return the part to which a point of the metal below the lower cut belongs, None for the body's."""
    for lean in leans:
        if lean.is_loose(grid.name, point_mm[None])[0]:
            return lean.piece
        if lean.is_wedge(grid.name, point_mm[None])[0]:
            return f"hinge {lean.name}"
    return None


def pane_piece(leans, opening: GlassOpening) -> str | None:
    """Return the loose piece beside the lower part of a windshield's pane, with which it is laid back."""
    return next((lean.piece for lean in leans if opening.name in lean.panes), None)
