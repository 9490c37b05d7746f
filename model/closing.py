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

from collections.abc import Generator
from dataclasses import replace

from .built import Built
from .cutback import REASON, CutBack, cut_back_steps
from .fit import Facing, Meeting, meetings
from .newedges import NewEdge, trimmings_from
from .seams import Seam, seam_edges
from .spoiltcuts import spoilt_steps
from .stepwise import in_steps
from .trimlines import lapping_seams, piece_to_trim, stretches_of, trim_line, trimmed_sides, trims_along
from .trimmings import Trimming
from .trimreport import TrimLine

SPACING_MM = 2.0  # of the places of a new edge
TOLD_EVERY = 6  # places of an edge that is cut back, in the report


def closed(built: Built) -> Built:
    """Return the plan with everything trimmed off that laps, where it asks for new metal; else as it is."""
    return closing_of(built).result()


@in_steps(maxsize=8)
def closing_of(built: Built) -> Generator[None, None, Built]:
    """Do :func:`closed` in steps: seam by seam, grid by grid."""
    if built.plan.new_metal is None or built.trims is not None:
        return built
    lapping = lapping_seams(built)
    yield
    trims, off = [], []
    for seam, met in lapping:
        trims += trims_along(built, seam, met)
        yield
        off += laps_off(built, seam, met)
        yield
    lapless = yield from built.trimming_steps(tuple(off), tuple(trims))
    left_alone, folded = frozenset[str](), frozenset[str]()
    while cuts := (yield from cut_back_steps(lapless, left_alone, folded)):
        more, told = [], []
        for cut in cuts:
            more += trimmings_from(lapless, cut.new)
            told.append(_told(lapless, cut))
            yield
        done = yield from built.trimming_steps((*off, *more), (*trims, *told))
        worse = yield from spoilt_steps(lapless, done, cuts)
        if not worse:
            return done
        if built.plan.new_metal.cut_back_mm is None:
            left_alone, folded = left_alone | (worse & folded), folded | worse
        else:
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
