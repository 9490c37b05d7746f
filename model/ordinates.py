"""An outline as a layout man takes it: heights above a base line at stations along it.

The base line is the bottom of the smallest rectangle around the blank, its
zero the rectangle's left end.  At a station the outline lies between a lower
and an upper height; where it is hollow there are more than two, and only the
lowest and the highest are given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

STEPS_MM = {
    "in": tuple(25.4 * k for k in (0.5, 1, 2, 4, 6, 12)),
    "mm": (10.0, 20.0, 50.0, 100.0, 200.0, 500.0),
}
MOST_STATIONS = 13
_INWARD_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class Ordinate:
    """Lower and upper height of an outline at a station along the base line. [mm]"""

    along_mm: float
    lower_mm: float
    upper_mm: float


def ordinates_of(outline_mm, step_mm: float) -> tuple[Ordinate, ...]:
    """Return the heights of an outline (k, 2) at every whole step that it spans."""
    outline = shapely.Polygon(outline_mm)
    left, bottom, right, top = outline.bounds
    first, last = np.ceil(left / step_mm - 1e-9), np.floor(right / step_mm + 1e-9)
    out = []
    for along in np.arange(first, last + 1) * step_mm:
        x = min(
            max(along, left + _INWARD_MM), right - _INWARD_MM
        )  # an upright end is met as the part inside it
        cut = shapely.intersection(outline.exterior, shapely.LineString([(x, bottom - 1), (x, top + 1)]))
        heights = shapely.get_coordinates(cut)[:, 1]
        if len(heights):
            out.append(
                Ordinate(
                    along_mm=float(along) + 0.0, lower_mm=float(heights.min()), upper_mm=float(heights.max())
                )
            )
    return tuple(out)


def step_for(length_mm: float, unit: str) -> float:
    """Return the least step of a rule, in ``in`` or ``mm``, that gives no more than 13 stations. [mm]"""
    steps = STEPS_MM[unit]
    return next((step for step in steps if length_mm / step < MOST_STATIONS), steps[-1])
