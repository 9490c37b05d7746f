"""The closed roof as it is cut: laps are trimmed off, and old sheet is cut back for new metal.

A plan with new metal is carried out to the end: what laps comes off
(:mod:`model.trimlines` says from which piece and along which line), in the
layout itself, so that seams, fillers, solids and pictures all have the new
edges.  The trim line is worked out every :data:`SPACING_MM`; its places lie on
the skin to rounding, and between them the new edge is a spline as every other.
Then both pieces are cut back where new metal goes in (:mod:`model.cutback`),
each from the edge that the laps have left it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from .built import Built
from .cutback import REASON, CutBack, cut_backs, spoilt
from .fit import Facing, Meeting, meetings
from .newedges import NewEdge, trimmings_from
from .seams import Seam, seam_edges
from .trimlines import lapping_seams, piece_to_trim, stretches_of, trim_line, trimmed_sides, trims_along
from .trimmings import Trimming
from .trimreport import TrimLine

SPACING_MM = 2.0  # of the places of a new edge
TOLD_EVERY = 6  # places of an edge that is cut back, in the report


@lru_cache(maxsize=8)
def closed(built: Built) -> Built:
    """Return the plan with everything trimmed off that laps, where it asks for new metal; else as it is."""
    if built.plan.new_metal is None or built.trims is not None:
        return built
    lapping = lapping_seams(built)
    trims = tuple(line for seam, met in lapping for line in trims_along(built, seam, met))
    off = tuple(off for seam, met in lapping for off in laps_off(built, seam, met))
    lapless = built.trimmed(off, trims)
    left_alone: frozenset[str] = frozenset()
    while cuts := cut_backs(lapless, left_alone):
        more = tuple(off for cut in cuts for off in trimmings_from(lapless, cut.new))
        done = built.trimmed((*off, *more), (*trims, *(_told(lapless, cut) for cut in cuts)))
        worse = spoilt(lapless, done, cuts)
        if not worse:
            return done
        left_alone |= worse
    return lapless


def _told(built: Built, cut: CutBack) -> TrimLine:
    sides, move = trimmed_sides(built, cut.seam, cut.which)
    line = trim_line(built, cut.seam, cut.which, REASON, sides, move, cut.stretch)
    keep = [k for k in range(len(line.stations)) if k % TOLD_EVERY == 0 or k == len(line.stations) - 1]
    return replace(line, stations=tuple(line.stations[k] for k in keep))


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
