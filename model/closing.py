"""The closed roof as it is cut: where two pieces lap, one of them is trimmed along its trim line.

A plan with new metal is carried out to the end: what laps comes off
(:mod:`model.trimlines` says from which piece and along which line), in the
layout itself, so that seams, fillers, solids and pictures all have the new
edges.  The trim line is worked out every :data:`SPACING_MM`; its places lie on
the skin to rounding, and between them the new edge is a spline as every other.
"""

from __future__ import annotations

from functools import lru_cache

from .built import Built
from .fit import Facing, Meeting, meetings
from .newedges import NewEdge, trimmings_from
from .seams import Seam, seam_edges
from .trimlines import lapping_seams, piece_to_trim, stretches_of, trimmed_sides, trims_along
from .trimmings import Trimming

SPACING_MM = 2.0  # of the places of a new edge


@lru_cache(maxsize=8)
def closed(built: Built) -> Built:
    """Return the plan with everything trimmed off that laps, where it asks for new metal; else as it is."""
    if built.plan.new_metal is None or built.trims is not None:
        return built
    lapping = lapping_seams(built)
    trims = tuple(line for seam, met in lapping for line in trims_along(built, seam, met))
    return built.trimmed(tuple(off for seam, met in lapping for off in laps_off(built, seam, met)), trims)


def laps_off(built: Built, seam: Seam, met: Meeting) -> list[Trimming]:
    """Return what comes off where the pieces of a seam lap; ``met`` as :func:`lapping_seams` has it."""
    which, _ = piece_to_trim(built, seam, met)
    sides, move = trimmed_sides(built, seam, which)
    finer = meetings([Facing(*map(tuple, seam_edges(built, seam)))], SPACING_MM)[0]
    out: list[Trimming] = []
    for found in stretches_of(built, seam, finer, which):
        new = NewEdge(
            seam.pieces[which], sides, move, found.path, found.along_mm, found.line_mm, found.goes_on_mm
        )
        out += trimmings_from(built, new)
    return out
