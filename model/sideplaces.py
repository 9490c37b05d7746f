"""Places of the side view: moved, and carried onto the side of a car, past its measured border too."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely

from .moves import RigidMove
from .skin import Grid

_BORDER_SAMPLES = 60


def in_side_view(move: RigidMove, places_mm) -> np.ndarray:
    """Return places of the side view (n, 2), moved; y plays no part in a move of this program. [mm]"""
    places = np.asarray(places_mm, float).reshape(-1, 2)
    points = np.stack([places[:, 0], np.zeros(len(places)), places[:, 1]], axis=1)
    return move.points(points)[:, [0, 2]]


def points_of_side(grid: Grid, places_mm) -> np.ndarray:
    """Return the points of a side at places of its view (n, 2); past its border, at the border's y. [mm]"""
    places = np.asarray(places_mm, float).reshape(-1, 2)
    border, points = _border(grid)
    is_on = shapely.contains_xy(border, *places.T)
    out = np.empty((len(places), 3))
    out[:, 0], out[:, 2] = places.T
    if is_on.any():
        out[is_on, 1] = grid.point(grid.uv_from_view("side", places[is_on], "a side pane"))[:, 1]
    for i in np.nonzero(~is_on)[0]:
        nearest = np.linalg.norm(points[:, [0, 2]] - places[i], axis=1).argmin()
        out[i, 1] = points[nearest, 1]
    return out


@lru_cache(maxsize=16)
def _border(grid):
    """Return the border of a side as a polygon in side view, drawn in by a hair, and its points (n, 3)."""
    t = np.linspace(0, 1, _BORDER_SAMPLES + 1)[:-1]
    zero, one = np.zeros_like(t), np.ones_like(t)
    sides = ((t, zero), (one, t), (1 - t, one), (zero, 1 - t))
    points = grid.point(np.concatenate([np.stack(side, axis=1) for side in sides]))
    polygon = shapely.Polygon(points[:, [0, 2]]).buffer(-0.5)  # the chords of a bulging border lie inside it
    shapely.prepare(polygon)
    return polygon, points
