"""How far a filler reaches into a gap that closes: no further than sheet can be cut and bent.

Where a gap falls to what a weld closes, the strip between two root gaps runs
out to nothing.  Let w(u) be a filler's width across at u and R(u) the least
radius of curvature of its surface there, t its thickness.  It *can be made* at
u where

    w ≥ W = max(1/8 in, 3.5 t)      and      R ≥ t,

and from an end that it shares with no other metal it begins at the first such
u.  What lies between the new end and the old is its *mouth*: W and two root
gaps wide, falling to what a weld closes.  It is welded up, over copper, as a
plug weld's hole is, and counted as weld.

**One rule for every hole.**  Between metal on both sides, one is welded up
that is no wider than :data:`WELDED_UP_MM`: a mouth, a run along which nothing
can be made, what an end of a filler leaves open (:mod:`model.endwelds`).  W is
no second limit to that but where sheet begins; so a corner patch
(:mod:`model.cornerholes`) too ends where it is W wide, and the hole W and two
root gaps.  The walls of a post carry the roof and have a limit of their own
(:mod:`model.hingepieces`).

**Why 3.5 t.**  Between parallel skins that stand a step h apart, W within the
skin, the filler's cross line is the cubic of :mod:`model.fillers` with both
ends along the skins.  Its least radius over t, for the worst h, is a function of
W/t alone: 1.0 at W = 2.9 t, 1.1 at 3.2 t, 1.24 at 3.5 t (worst near h = 5 t; a
test works them out).  So a strip 3.5 t wide can be bent whatever the step.

A run along which nothing can be made gets no filler where a weld closes it all
the same: no gap wider than a mouth, and no step past :data:`DRAWN_MM`, which
over a run no longer than :data:`SHORT_MM` is drawn flush with hammer and dolly.
The seam's own findings tell its gap and its step.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .fillerruns import BEAD, STEP_FROM_MM, Run
from .numeric import refined
from .skin import Grid
from .skinlines import curvatures

TIP_MM = 3.175  # 1/8 in: snips cut no narrower end that keeps its shape; assumed
TIP_GAUGES = 3.5
WELDED_UP_MM = 7.94  # widest hole, between metal on both sides
WELDED_UP_SOURCE = "a plug weld's hole, 5/16 in; common practice, no source"
DRAWN_MM = 4.76  # 3/16 in, a step drawn flush over a short run; assumed
SHORT_MM = 38.1  # 1-1/2 in; assumed
TIPS = ", tips"  # what the seam in a filler's mouths is called, after its name
_PLACES = 4  # to every span of the surface
_ALONG = 65  # places along a run at which its other side is looked up


def tip_width_mm(gauge_mm: float) -> float:
    """Return how wide a filler's tip is, and how wide a strip that is bent over a step, at least. [mm]"""
    return max(TIP_MM, TIP_GAUGES * gauge_mm)


def made_from_to(
    grid: Grid, root_gap_mm: float, gauge_mm: float, is_free: tuple[bool, bool]
) -> tuple[float, float] | None:
    """Return from which u to which a filler can be made; None if nowhere.

    An end that is not free stays, and so does one whose mouth could not be welded up.
    """
    u = refined(grid.breaks_u, _PLACES)
    width, radius = _widths_mm(grid, u), _least_radii_mm(grid, u)
    can_be = np.nonzero((width >= tip_width_mm(gauge_mm)) & (radius >= gauge_mm))[0]
    if not len(can_be):
        return None
    first, last = can_be[[0, -1]]
    widest = WELDED_UP_MM - 2 * root_gap_mm
    start = float(u[first]) if is_free[0] and (width[: first + 1] <= widest).all() else 0.0
    end = float(u[last]) if is_free[1] and (width[last:] <= widest).all() else 1.0
    return (start, end) if start < end else None


def is_welded_up(run: Run, grid: Grid, root_gap_mm: float) -> bool:
    """Return whether a run along which nothing can be made is closed without new metal."""
    is_narrow = _widths_mm(grid, refined(grid.breaks_u, _PLACES)).max() <= WELDED_UP_MM - 2 * root_gap_mm
    is_drawn = abs(run.step_mm) <= STEP_FROM_MM or (
        abs(run.step_mm) <= DRAWN_MM and run.first_mm[1] - run.first_mm[0] <= SHORT_MM
    )
    return bool(is_narrow and is_drawn)


def _widths_mm(grid, u):
    sides = [np.stack([u, np.full(len(u), v)], axis=1) for v in (0.0, 1.0)]
    a, b = grid.point(np.concatenate(sides)).reshape(2, -1, 3)
    return np.linalg.norm(b - a, axis=1)


def _least_radii_mm(grid, u):
    v = refined(grid.breaks_v, _PLACES)
    mean, gauss = curvatures(grid, np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2))
    sharpest = np.abs(mean) + np.sqrt(np.maximum(mean**2 - gauss, 0.0))
    return 1 / np.maximum(sharpest.reshape(len(u), len(v)).max(axis=1), 1e-9)


def shortened(run: Run, partners, made: tuple[float, float]) -> Run:
    """Return a run between two shares of its first edge; ``partners`` gives lengths along the second."""
    s = np.interp(made, (0.0, 1.0), run.first_mm)
    along = np.linspace(*run.first_mm, _ALONG)
    t = np.interp(s, along, partners(run, along))
    ends = tuple(
        BEAD if cut else kind for cut, kind in zip((made[0] > 0, made[1] < 1), run.ends, strict=True)
    )
    return replace(run, first_mm=tuple(s.tolist()), second_mm=tuple(t.tolist()), ends=ends)
