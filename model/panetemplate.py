"""The flat outline of a side pane, for a template: its plane, and its edge in that plane.

**Plane.**  Nearest (least squares) to four places: the lower ends of the legs
and the upper corners.  Its axes are the level line in it, to the rear, and up
the glass, so that what is level on the car is level on the template.  A place
(x, z) of the side view is carried along y onto it,
y = −(n_x x + n_z z) / n_y with n the plane's normal, so that up the glass a
plumb height h becomes h / cos(lean).

The edge is rounded in side view, as it was measured, before it is carried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .measured import Corner, Opening
from .outlines import outline_in_view


@dataclass(frozen=True, eq=False)
class PanePlane:
    """A pane's own plane."""

    axes: np.ndarray  # (2, 3): level to the rear, up the glass
    normal: np.ndarray
    middle_mm: np.ndarray  # (3,): a place of it
    off_mm: float  # how far the furthest of its places lies off it


def plane_of(points) -> PanePlane:
    """Return the plane nearest to points (n, 3)."""
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle)[2][2]
    along = np.cross(normal, [0.0, 0.0, 1.0])
    along *= np.sign(along[0]) / np.linalg.norm(along)
    up = np.cross(normal, along)
    up *= np.sign(up[2])
    off = float(np.abs((points - middle) @ normal).max())
    return PanePlane(np.array([along, up]), normal, middle, off)


def in_space(outline_mm, plane: PanePlane, origin) -> np.ndarray:
    """Return a template's outline (n, 2) where its pane lies, (n, 3). [mm]

    Its (0, 0) is over the place ``origin`` of the side view.  Frame: car.
    """
    (x, z), normal, middle = origin, plane.normal, plane.middle_mm
    y = middle[1] - (normal[0] * (x - middle[0]) + normal[2] * (z - middle[2])) / normal[1]
    return np.array([x, y, z]) + np.asarray(outline_mm) @ plane.axes


def template(stock_corners, places_mm, plane: PanePlane, origin) -> np.ndarray:
    """Return the rounded edge in the pane's plane, (n, 2), the first place not repeated. [mm]

    Parameters
    ----------
    stock_corners : sequence of Corner
        For their radii.
    places_mm : (n, 2)
        Where those corners are now, in side view.
    origin : (2,)
        The place that is (0, 0).
    """
    normal = plane.normal
    parts = outline_in_view(_opening_of(stock_corners, places_mm))
    outline = np.concatenate([part[:1] if _is_straight(part) else part[:-1] for part in parts])
    x, z = (outline - origin).T
    points = np.stack([x, -(normal[0] * x + normal[2] * z) / normal[1], z], axis=1)
    return points @ plane.axes.T


def _is_straight(part):
    way, r = part[-1] - part[0], part - part[0]
    return np.abs(way[0] * r[:, 1] - way[1] * r[:, 0]).max() < 1e-9 * (way @ way)


def _opening_of(stock_corners, places_mm) -> Opening:
    corners = tuple(
        Corner(across_mm=float(x), up_mm=float(z), radius_mm=c.radius_mm)
        for c, (x, z) in zip(stock_corners, places_mm, strict=True)
    )
    return Opening(name="pane", role="side glass", grid="side", view="side", side="right", corners=corners)


def radii_fit(stock_corners, places_mm) -> bool:
    """Whether the corners' radii still fit on the edges between their places (n, 2)."""
    n = len(stock_corners)
    setback = [
        c.radius_mm
        / np.tan(np.radians(angle_at_deg(places_mm[i], places_mm[i - 1], places_mm[(i + 1) % n])) / 2)
        for i, c in enumerate(stock_corners)
    ]
    length = np.linalg.norm(np.roll(places_mm, -1, axis=0) - places_mm, axis=1)
    return all(setback[i] + setback[(i + 1) % n] <= length[i] + 1e-6 for i in range(n))


def angle_at_deg(corner, foot, beside) -> float:
    """Return the angle at a corner between the ways to two other places of the plane."""
    p, q = foot - corner, beside - corner
    return float(np.degrees(np.arctan2(abs(p[0] * q[1] - p[1] * q[0]), p @ q)))


def to_measure(opening, is_door, is_whole, steps: Sequence[str]) -> tuple[str, ...]:
    """Return what has to be measured before the pane is made; ``steps``: where its legs step at the cut."""
    words = [
        "How deep the pane sits in its channels, all round: the outline is that of the opening, "
        "the pane is larger by that much."
    ]
    if is_door and opening.well_mm is None:
        words.append("well: how far below the opening the pane's lower edge can go, along the glass.")
    if is_door and opening.well_room_mm is None:
        words.append("well_room: free room outboard of the pane's lower edge when it is all the way down.")
    words += [
        f"The welded opening where its {step}: the outline steps with it, and glass breaks at a sharp inside "
        "corner. Have it rounded there, or draw the edge straight with new metal before the template is made."
        for step in steps
    ]
    if not is_whole:
        words.append("The lowered opening is too low for its corners' radii: draw it anew.")
    return tuple(words)
