"""Which measured points travel with the roof, and where a plan puts them.

A person finds again what was measured on metal: the points of the hoops and
of the front and back panels, and the upper marks of the post cuts.  Of these
a point is *marked* on the roof where all the metal around it moves with the
roof; those in glass, in what is cut out, on the window panel or on a shifted
post's stretch of rail are not.  Corners of openings are where straight edges
would meet, in the air: no one can put a tape to them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .built import Built
from .errors import PlanError
from .hooptable import panel_rows
from .layout import METAL, ROOF
from .measured import CROWN
from .posts import EDGES
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


def marked_points(built: Built) -> dict[str, MarkedPoint]:
    """Return every marked point of the roof by name, hoops before posts.

    Raises
    ------
    PlanError
        If the plan leaves the roof where it is.
    """
    if not built.ends:
        raise PlanError("roof", "must be lowered by the plan.", "Give the plan a front_drop and a rear_drop.")
    found = [*_skin_points(built), *_post_marks(built)]
    return {point.name: point for point in found}


def _skin_points(built):
    move = built.moves[ROOF]
    for name, point_mm, is_mirrored in _measured_points(built.shape.car):
        if _is_on_roof(built, point_mm):
            planned = tuple(move.points(point_mm).tolist())
            yield MarkedPoint(
                name=name, before_mm=point_mm, planned_mm=planned, is_mirrored=is_mirrored, is_mark=False
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


def _is_on_roof(built, point_mm):
    """Whether every cell of the skin at the point is metal that moves with the roof."""
    cells = []
    for grid in built.shape.skin.grids.values():
        foot = grid.foot([point_mm])
        if np.linalg.norm(foot.point[0] - point_mm) < _ON_SKIN_MM:
            at = shapely.Point(foot.uv[0])
            cells += [c for c in built.layout.cells if c.grid is grid and c.polygon.distance(at) < _NEAR_UV]
    return bool(cells) and all(cell.role == METAL and cell.carrier == ROOF for cell in cells)


def _post_marks(built):
    car = built.shape.car
    measured = {(post.name, post.side) for post in car.posts}
    for key, ends in built.ends.items():
        if built.upper_piece(key) != ROOF:
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
