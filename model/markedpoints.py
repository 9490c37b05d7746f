"""Which measured points travel with the roof, and where a plan puts them.

A person finds again what was measured on metal: the points of the hoops and
of the front and back panels, and the upper marks of the post cuts.  Of these
a point is *marked* on the roof where all the metal around it moves with the
roof; those in glass, in what is cut out, on the window panel or on a shifted
post's stretch of rail are not.  Corners of openings are where straight edges
would meet, in the air: no one can put a tape to them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
import shapely

from .built import Built
from .errors import PlanError
from .hooptable import panel_rows
from .layout import METAL
from .measured import CROWN
from .postlines import EDGES
from .roofparts import is_roof
from .tacked import Point

_NEAR_UV = 1e-7
_ON_SKIN_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class MarkedPoint:
    """A point of the roof that can be found again.

    Attributes
    ----------
    name : str
        Hoop, row and side; or post, side and edge, as the report's marks have them.
    before_mm, planned_mm : (x, y, z)
        On the uncut car, and where the plan puts it.
    is_mirrored : bool
        Whether it was not measured itself: the mirror image of the other side stands for it.
    is_mark : bool
        Whether it is the upper mark of a post's cut.
    """

    name: str
    before_mm: Point
    planned_mm: Point
    is_mirrored: bool
    is_mark: bool


@lru_cache(maxsize=4)
def marked_points(built: Built) -> Mapping[str, MarkedPoint]:
    """Return every marked point of the roof by name, hoops before posts; remembered.

    Raises
    ------
    PlanError
        If the plan leaves the roof where it is.
    """
    if not built.ends:
        raise PlanError("roof", "must be lowered by the plan.", "Give the plan a front_drop and a rear_drop.")
    found = [*_skin_points(built), *_post_marks(built)]
    return MappingProxyType({point.name: point for point in found})


def _skin_points(built):
    measured = list(_measured_points(built.shape.car))
    on_roof = _is_on_roof(built, np.array([point for _, point, _ in measured]))
    for (name, point, is_mirrored), is_on in zip(measured, on_roof, strict=True):
        if is_on:
            planned = tuple(built.parts.points(point).tolist())
            yield MarkedPoint(
                name=name, before_mm=point, planned_mm=planned, is_mirrored=is_mirrored, is_mark=False
            )


def _measured_points(car):
    """Yield name, place and whether it is a mirror image, of every point of hoops and panels."""
    for hoop in car.hoops:
        for side in ("right", "left"):
            is_mirrored = side == "left" and hoop.left_mm is None
            for row, point in zip(car.rows, hoop.side_mm(side), strict=True):
                if row != CROWN:
                    yield f"{hoop.name}, {row}, {side}", point, is_mirrored
                elif side == "right":
                    yield f"{hoop.name}, {row}", point, False
    heights, columns = panel_rows(car.rows)
    for panel in car.panels:
        for side in ("right", "left"):
            is_mirrored = side == "left" and panel.left_mm is None
            for height, line in zip(heights, panel.side_mm(side), strict=True):
                for column, point in zip(columns, line, strict=True):
                    if column != CROWN:
                        yield f"{panel.name}, {height}/{column}, {side}", point, is_mirrored
                    elif side == "right":
                        yield f"{panel.name}, {height}/{column}", point, False


def _is_on_roof(built, points_mm):
    """Which points have a cell of the skin around them, and none but metal of one part of the roof, (n,)."""
    has_other = np.zeros(len(points_mm), bool)
    over = {part: np.zeros(len(points_mm), bool) for part in built.parts.moves}
    for grid in built.shape.skin.grids.values():
        foot = grid.foot(points_mm)
        is_on = np.linalg.norm(foot.point - points_mm, axis=1) < _ON_SKIN_MM
        at = shapely.points(foot.uv)
        for cell in built.layout.cells:
            if cell.grid is grid:
                touches = is_on & (shapely.distance(cell.polygon, at) < _NEAR_UV)
                if cell.role == METAL and is_roof(cell.carrier):
                    over[cell.carrier] |= touches
                else:
                    has_other |= touches
    return (sum(over.values()) == 1) & ~has_other


def _post_marks(built):
    car = built.shape.car
    measured = {(post.name, post.side) for post in car.posts}
    for key, ends in built.ends.items():
        if not is_roof(built.upper_piece(key)):
            continue
        post, side = key
        marks = ends.line.lines(ends.s_upper)
        for edge, before, planned in zip(EDGES[1:], marks[1:], ends.move.points(marks)[1:], strict=True):
            words = edge if side != "centre" else edge.replace("outer", "right").replace("inner", "left")
            yield MarkedPoint(
                name=f"{post}, {side}, {words}",
                before_mm=tuple(before.tolist()),
                planned_mm=tuple(planned.tolist()),
                is_mirrored=key not in measured,
                is_mark=True,
            )
