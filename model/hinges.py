"""The hinge of a leaned post: the two flat cuts around it, between which a wedge comes out.

The lower end of the post is cut around at h, a point of its axis, square to
the post: n·(P − h) = 0 with n = t is the face that stays.  The lower end then
turns about h by L, so a point P of it rises by −τ square to that face,

    τ(P) = n·(P − L P), linear in P and zero at h:

where it comes down (τ > 0, behind a post that is laid back) metal has to come
out, where it goes up (τ < 0, ahead) a wedge opens.  Let σ be the height of the
loose end's face over the other before the turn, σ − τ after it.  One flat cut
σ = α + β τ that leaves the blade its kerf k where τ is least and the root gap
g where τ is greatest asks

    β = (g + τ_max − k) / (τ_max − τ_min), kept within [0, 1],
    α = max(k − β τ_min, g + (1 − β) τ_max),

raised by what a place σ above the face still comes down, σ (1 − cos) of the
turn, so that nowhere less than k is sawn out and nowhere less than g left; the
mouth of the wedge is then near k − τ_min.  With σ = n·(P − h) the cut lies in

    ((1 − β) n + β Lᵀn)·P = ((1 − β) n + β Lᵀn)·h + α.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .moves import RigidMove

RAISED = 4  # times; each leaves a hundredth of the last
Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Flat:
    """A plane normal·P = offset on the uncut car, its normal of length one."""

    normal: Triple
    offset_mm: float

    def height_above(self, points_mm) -> np.ndarray:
        """Return how far points lie above it, square to it. [mm]"""
        return np.asarray(points_mm) @ np.array(self.normal) - self.offset_mm

    def height_and_rise(self, points_mm, ways):
        """Return how far points lie above it, and by how much a step along its way raises each. [mm]"""
        return self.height_above(points_mm), ways @ np.array(self.normal)


@dataclass(frozen=True, kw_only=True)
class Hinge:
    """Where a post's lower end is cut around: ``foot`` stays below, the loose end begins above ``loose``."""

    point_mm: Triple
    foot: Flat
    loose: Flat


def hinge_at(point_mm, up, move: RigidMove, reach_mm, *, kerf_mm: float, root_gap_mm: float) -> Hinge:
    """Return the two cuts around a hinge.

    Parameters
    ----------
    point_mm, up : (3,)
        On the post's axis, and the axis' direction there.
    move : RigidMove
        Of the loose end, about the hinge.
    reach_mm : (n, 3)
        Points all around what is cut: corners of the box, ends of the cut in the sheet.
    """
    point, up = np.asarray(point_mm, float), np.asarray(up, float)
    back = move.rotation.T @ up
    reach = np.asarray(reach_mm, float)
    reach = reach - np.outer((reach - point) @ up, up)  # onto the face that stays
    tau = (reach - point) @ (up - back)
    least, most = float(min(tau.min(), 0.0)), float(max(tau.max(), 0.0))
    beta = 0.0
    if most > least:
        beta = float(np.clip((root_gap_mm + most - kerf_mm) / (most - least), 0.0, 1.0))
    alpha = max(kerf_mm - beta * least, root_gap_mm + (1 - beta) * most)
    slanted = (1 - beta) * up + beta * back
    length = float(np.linalg.norm(slanted))
    for _ in range(RAISED):  # a place of the loose face lies a little over the face that stays, and so turns
        on_loose = reach + np.outer((alpha - (reach - point) @ slanted) / (slanted @ up), up)
        sawn, left = (on_loose - point) @ up, (on_loose - point) @ back
        alpha += max(kerf_mm - float(sawn.min()), root_gap_mm - float(left.min()))
    return Hinge(
        point_mm=tuple(point.tolist()),
        foot=Flat(normal=tuple(up.tolist()), offset_mm=float(up @ point)),
        loose=Flat(
            normal=tuple((slanted / length).tolist()), offset_mm=float(slanted @ point + alpha) / length
        ),
    )
