"""What an open end of new metal is welded to: an edge that it comes to square on, another end, or weld alone.

An end of a filler that no other shares may still lie beside metal: a strip
along the centreline ends at the rear window panel, or at the post under it; two
fillers that run on to each other end a root gap apart.  Such an end *is welded
to* what faces it where every place along the one (:mod:`model.fit`, every
:data:`SPACING_MM`) has the other within what a weld closes and no more than
:data:`model.fillerruns.STEP_FROM_MM` out of the skin.

An end that nothing faces so bounds a hole, two root gaps wider than the end
is.  One no wider than :data:`model.fillertips.WELDED_UP_MM` is *welded up*, and
counts as a bead as long as the end is wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .built import Built
from .cornerholes import WELDED_UP, OpenEnd, open_ends
from .edges import Edge
from .fillerruns import STEP_FROM_MM
from .fillertips import WELDED_UP_MM
from .fit import Facing, Meeting, edge_of, meetings
from .layout import METAL

SPACING_MM = 2.0  # of the places along an end
_NEAR_MM = 10.0  # of an end: a piece's edges further off do not face it


@dataclass(frozen=True, eq=False)
class EndWeld:
    """An end of a filler, and what it is welded to: a piece, another filler, or ``welded up``."""

    filler: int
    end: int
    to: str


def end_welds(built: Built, fillers, closes_from_mm: float) -> list[EndWeld]:
    """Return every open end that is welded to other metal, or is welded up."""
    ends, out = open_ends(fillers), []
    left = list(ends)
    for k, a in enumerate(ends):
        for b in ends[k + 1 :]:
            if a in left and b in left and _are_end_to_end(a, b, closes_from_mm):
                out += [EndWeld(a.filler, a.end, b.name), EndWeld(b.filler, b.end, a.name)]
                left = [end for end in left if end not in (a, b)]
    for end in left:
        piece = _piece_beside(built, end, closes_from_mm)
        if piece is not None:
            out.append(EndWeld(end.filler, end.end, piece))
        elif end.mouth_mm + 2 * built.plan.root_gap_mm <= WELDED_UP_MM:
            out.append(EndWeld(end.filler, end.end, WELDED_UP))
    return out


def _are_end_to_end(a: OpenEnd, b: OpenEnd, closes_from_mm):
    narrow, wide = sorted((a, b), key=lambda end: end.mouth_mm)
    (met,) = meetings([Facing((narrow.border,), (wide.border,))], SPACING_MM)
    return _is_closed_by_weld(met, closes_from_mm)


def _is_closed_by_weld(met: Meeting, closes_from_mm):
    return bool(
        met.faces.all()
        and met.gap_mm.min() > 0
        and met.gap_mm.max() <= closes_from_mm
        and np.abs(met.step_mm).max() <= STEP_FROM_MM
    )


def _piece_beside(built, end: OpenEnd, closes_from_mm):
    """Return the piece whose edges close an end with a weld, the nearest; None if none does."""
    found = []
    for piece in built.layout.parts:
        edges = edges_near(built, piece, end.border)
        if edges:
            (met,) = meetings([Facing((end.border,), edges)], SPACING_MM)
            if _is_closed_by_weld(met, closes_from_mm):
                found.append((float(met.gap_mm.max()), piece))
    return min(found)[1] if found else None


def edges_near(built: Built, piece: str, border: Edge) -> tuple[Edge, ...]:
    """Return the edges of a piece, in place, that come near a border."""
    out, seen = [], set()
    for cell in built.layout.parts[piece]:
        if cell.role != METAL:
            continue
        for chain in built.layout.chains_of[id(cell)]:
            other = chain.beside(cell)
            if id(chain) in seen or (other is not None and other.part == piece and other.role == METAL):
                continue
            seen.add(id(chain))
            edge = edge_of(chain, cell, built.moves[cell.carrier])
            apart = np.linalg.norm(edge.point_mm[:, None] - border.point_mm[None, ::4], axis=2)
            if apart.min() < _NEAR_MM + _longest_chord_mm(edge):
                out.append(edge)
    return tuple(out)


def _longest_chord_mm(edge: Edge) -> float:
    return float(np.linalg.norm(np.diff(edge.point_mm, axis=0), axis=1).max())
