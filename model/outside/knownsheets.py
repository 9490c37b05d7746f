"""Patches of cylinder, cone, sphere and torus, with the normals they have in closed form."""

from __future__ import annotations

import numpy as np

from ..sheetpatch import Sheet


def cylinder_sheet(radius_mm, angle_deg, length_mm, rows=25, columns=9) -> Sheet:
    """Return a part of a cylinder about z; rows run round, columns along."""
    t, z = _grid((0, np.radians(angle_deg)), (0, length_mm), rows, columns)
    normal = np.stack([np.cos(t), np.sin(t), 0 * t], axis=-1)
    return Sheet(points_mm=radius_mm * normal + z[..., None] * [0, 0, 1], normals=normal)


def frustum_sheet(large_mm, small_mm, height_mm, angle_deg=360.0, rows=97, columns=9) -> Sheet:
    """Return a cone frustum about z, ``large_mm`` across at z = 0; rows run round, columns up the slant."""
    t, h = _grid((0, np.radians(angle_deg)), (0, 1), rows, columns)
    round_z = np.stack([np.cos(t), np.sin(t), 0 * t], axis=-1)
    up = np.array([0, 0, 1.0])
    radius = (large_mm + h * (small_mm - large_mm)) / 2
    normal = round_z * height_mm + up * (large_mm - small_mm) / 2
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return Sheet(points_mm=radius[..., None] * round_z + height_mm * h[..., None] * up, normals=normal)


def cap_sheet(rim_mm, height_mm, rows=31) -> Sheet:
    """Return a spherical cap of rim radius and height, pole on z; a square grid drawn out to the round rim.

    (x, y) of the square goes to (x √(1 − y²/2), y √(1 − x²/2)), whose
    distance from the middle times the cap's half angle is the angle from the pole.
    """
    radius = (rim_mm**2 + height_mm**2) / (2 * height_mm)
    half_angle = 2 * np.arctan2(height_mm, rim_mm)
    x, y = _grid((-1, 1), (-1, 1), rows, rows)
    x, y = x * np.sqrt(1 - y * y / 2), y * np.sqrt(1 - x * x / 2)
    r = np.hypot(x, y)
    sine = half_angle * np.sinc(half_angle * r / np.pi)  # sin(half_angle r) / r
    normal = np.stack([sine * x, sine * y, np.cos(half_angle * r)], axis=-1)
    return Sheet(points_mm=radius * normal, normals=normal)


def torus_sheet(ring_mm, tube_mm, around_deg, first_deg, last_deg, rows=41, columns=25) -> Sheet:
    """Return a part of a torus about z, the same on both sides of y = 0; rows run round the ring.

    Columns run round the tube from ``first_deg`` to ``last_deg``, 0 on the
    outermost circle and 90 on top.
    """
    half = np.radians(around_deg) / 2
    t, p = _grid((-half, half), np.radians([first_deg, last_deg]), rows, columns)
    normal = np.stack([np.cos(t) * np.cos(p), np.sin(t) * np.cos(p), np.sin(p)], axis=-1)
    ring = np.stack([np.cos(t), np.sin(t), 0 * t], axis=-1)
    return Sheet(points_mm=ring_mm * ring + tube_mm * normal, normals=normal)


def _grid(along, across, rows, columns):
    return np.meshgrid(np.linspace(*along, rows), np.linspace(*across, columns), indexing="ij")
