"""How a leg of a side opening runs once it is cut: below the cut with what stays, above it with the roof.

Frame: side view of the car, (x, z).  A leg runs from its foot F to the corner C at
its upper end.  Let s_l and s_u be the shares of it at which the lower and the
upper cut cross it on the skin; what lies between comes out.  With M the move of
the metal above (roof, part of a split roof, piece of a shifted post) and L that
of a leaned post's lower end the leg then runs

    F,  L at the hinge,  L at s_l,  M at s_u,  M C,

straight from place to place, as it was straight before; L may lean across the
car too, so it moves the place of the skin, not that of the view.  Between the two ends
at the cut lies what the post misses by: a corner that turns in and one that
turns out again.  There the metal of the opening is new (:mod:`model.fillers`);
its end leaves both skins straight on and so runs a little to and fro about
that line.  Where the ends meet, the places lie on one line and change nothing.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .built import Built
from .moves import RigidMove
from .shape import GlassOpening
from .sideplaces import points_of_side
from .skin import Grid

_PLACES = (
    65  # along a leg, between which the skin is taken as straight: 0.005 mm off at R 1000 and 7 mm apart
)


def leg_path(built: Built, glass: GlassOpening, foot_mm, top_mm, above: RigidMove) -> np.ndarray:
    """Return the places of a leg from hinge or lower cut to the upper cut, (n, 2), without its ends. [mm]

    None where a cut does not cross it.

    Parameters
    ----------
    foot_mm, top_mm : (2,)
        Its ends before any move, in side view; the foot below the lower cut, the top above it.
    above : RigidMove
        Of the metal around its upper end.
    """
    grid = glass.outline.grid
    leg = _on_skin(grid, *(tuple(map(float, end)) for end in (foot_mm, top_mm)))
    lower = _crossing(leg, built.lower.height_above(grid, leg))
    upper = _crossing(leg, built.upper.height_above(grid, leg))
    if lower is None or upper is None:
        return np.empty((0, 2))
    below = lower
    for lean in built.leans:
        if lean.is_loose(grid.name, lower)[0]:
            hinge = _crossing(leg, lean.hinge.loose.height_above(leg))
            at = lower if hinge is None else np.concatenate([hinge, lower])
            below = built.moves[lean.piece].points(at)
    return np.concatenate([below, above.points(upper)])[:, [0, 2]]


@lru_cache(maxsize=64)
def _on_skin(grid: Grid, foot_mm, top_mm) -> np.ndarray:
    """Return places along a leg before any move, (n, 3). [mm]"""
    share = np.linspace(0, 1, _PLACES)[:, None]
    return points_of_side(grid, (1 - share) * np.array(foot_mm) + share * np.array(top_mm))


def _crossing(leg, height) -> np.ndarray | None:
    """Return the place (1, 3) where a height along a leg first rises above zero; None where it does not."""
    rises = np.nonzero((height[:-1] <= 0) & (height[1:] > 0))[0]
    if not len(rises):
        return None
    i = rises[0]
    share = height[i] / (height[i] - height[i + 1])
    return ((1 - share) * leg[i] + share * leg[i + 1])[None]
