"""Rigid moves of pieces in the car frame.

A move takes a point of the uncut car to where the plan puts it:
P' = R P + t.  Rotations are about the y-axis, but for a post leaned both ways; an angle is positive from
z towards x (right-hand rule about +y): positive pitch lowers the rear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .numeric import cross_of_two


@dataclass(frozen=True, eq=False)
class RigidMove:
    """P' = rotation @ P + translation_mm."""

    rotation: np.ndarray  # (3, 3)
    translation_mm: np.ndarray  # (3,)

    def points(self, points_mm) -> np.ndarray:
        """Return moved points, shape (..., 3). [mm]"""
        return np.asarray(points_mm) @ self.rotation.T + self.translation_mm

    def vectors(self, vectors) -> np.ndarray:
        """Return turned directions, shape (..., 3)."""
        return np.asarray(vectors) @ self.rotation.T

    def inverse(self) -> RigidMove:
        """Return the move that puts everything back."""
        return RigidMove(self.rotation.T, -self.rotation.T @ self.translation_mm)

    def __matmul__(self, first: RigidMove) -> RigidMove:
        """Return the move that does ``first``, then this one."""
        return RigidMove(
            self.rotation @ first.rotation, self.rotation @ first.translation_mm + self.translation_mm
        )

    def matrix(self) -> np.ndarray:
        """Return the 4 × 4 homogeneous matrix, row-major."""
        out = np.eye(4)
        out[:3, :3], out[:3, 3] = self.rotation, self.translation_mm
        return out

    @property
    def is_identity(self) -> bool:
        """Whether nothing moves at all."""
        return bool(np.array_equal(self.rotation, np.eye(3)) and not self.translation_mm.any())


def turn_between(point_mm, from_vector, to_vector) -> RigidMove:
    """Return the least turn about a point that takes one direction to another, less than half way round.

    With unit vectors a, b and v = a × b, the rotation is I + [v] + [v]² / (1 + a·b).
    """
    a, b = (np.asarray(v, float) / np.linalg.norm(v) for v in (from_vector, to_vector))
    x, y, z = cross_of_two(a, b)
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    rotation = np.eye(3) + skew + skew @ skew / (1 + a @ b)
    point = np.asarray(point_mm, float)
    return RigidMove(rotation, point - rotation @ point)


IDENTITY = RigidMove(np.eye(3), np.zeros(3))


def translation(x_mm=0.0, y_mm=0.0, z_mm=0.0) -> RigidMove:
    """Return a move without a turn."""
    return RigidMove(np.eye(3), np.array([x_mm, y_mm, z_mm], float))


def pitch_about(point_mm, angle_deg) -> RigidMove:
    """Return a turn about the y-parallel through a point; positive takes z towards x."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    rotation = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    point = np.asarray(point_mm, float)
    return RigidMove(rotation, point - rotation @ point)
