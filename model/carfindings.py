"""What to measure again before any plan: things on the car that cannot quite be so."""

from __future__ import annotations

import numpy as np

from .numeric import dot
from .report import Finding
from .shape import CarShape
from .units import shown


def car_findings(shape: CarShape) -> list[Finding]:
    """Return findings about the measured car itself, worst first."""
    found = [f for key in shape.lines if (f := _post_outside(shape, key)) is not None]
    return sorted(found, key=lambda f: f.limit - f.measured)


def post_depth_mm(shape: CarShape, key) -> tuple[float, float]:
    """Return how deep a post's outer corners lie under the skin at the least, and at what height.

    The nearest skin square above each of 4 × 9 places along the corner edges
    counts. [mm]
    """
    line = shape.lines[key]
    corners = line.lines(np.linspace(0, 1, 9)[:, None] + np.zeros(5))[:, 1:].reshape(-1, 3)
    depth = np.full(len(corners), np.inf)
    for grid in shape.skin.grids.values():
        near = grid.is_near(corners, 200.0)
        if near.any():
            foot = grid.foot(corners[near])
            off = corners[near] - foot.point
            reach = np.sqrt(dot(off, off))
            depth[near] = np.where(
                foot.is_square & (reach < 200.0), np.minimum(depth[near], -foot.distance_mm), depth[near]
            )
    least = int(depth.argmin())
    return float(depth[least]), float(corners[least, 2])


def _post_outside(shape, key):
    gauge, unit = shape.car.gauge_mm, shape.car.unit
    depth, height = post_depth_mm(shape, key)
    if depth >= gauge - 1e-6:
        return None
    how = f"{shown(-depth, unit)} outside the skin" if depth < 0 else f"only {shown(depth, unit)} under it"
    return Finding(
        kind="post outside skin",
        where=" ".join(key),
        message=f"A corner of the box lies {how} at height {shown(height, unit)}: "
        "re-measure the middle of the section there, its width and its depth.",
        measured=depth,
        limit=gauge,
        unit="mm",
        source="geometry: a post lies inside the skin by at least the sheet's gauge",
    )
