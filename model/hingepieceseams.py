"""The two beads of a hinge piece, around its ends, and what is told of it as new metal.

As those of a post piece (:mod:`model.postpieceseams`): between the straight
rims of foot or loose end and of the piece, a root gap apart square to the
foot's cut; the length is the first piece's rim, the foot's below and the
piece's own above.
"""

from __future__ import annotations

from .built import Built
from .fit import Facing
from .hingepieces import KIND, HingePiece, hinge_pieces
from .layout import BODY
from .moves import IDENTITY
from .postpieceseams import bead_facings, box_edges, box_report, piece_rims
from .report import NewMetalReport, SeamReport
from .seams import HINGE, Seam, moved_rims


def hinge_bead_names(piece: HingePiece) -> tuple[str, str]:
    """Return the names of the lower and the upper bead."""
    key = " ".join(piece.key)
    return f"{key}, hinge, post lower", f"{key}, hinge, post upper"


def hinge_stub_names(piece: HingePiece) -> tuple[str, str]:
    """Return the names of the foot and the loose end as bodies."""
    key = " ".join(piece.key)
    return f"post {key} foot", f"post {key} lower"


def hinge_piece_facings(built: Built) -> list[tuple[Seam, list[Facing]]]:
    """Return the two seams of every hinge piece, and which edge faces which."""
    out = []
    for key, piece in hinge_pieces(built).items():
        carriers = (BODY, piece.name), (piece.name, built.lower_piece(key))
        seams = [
            Seam(name, HINGE, key[1], pieces, (), (), (), None)
            for name, pieces in zip(hinge_bead_names(piece), carriers, strict=True)
        ]
        out += bead_facings(seams, hinge_rims_of(piece))
    return out


def hinge_rims_of(piece: HingePiece):
    """Return ((foot's, piece's) edges of the lower bead, (piece's, loose end's) of the upper), in place."""
    ends, line = piece.ends, piece.ends.line
    foot, loose = line.crossing(ends.hinge.foot), line.crossing(piece.loose)
    below = moved_rims(line.face_outline(foot, -foot), IDENTITY)
    above = moved_rims(line.face_outline(loose, 1 - loose), ends.lower_move)
    own = [piece_rims(piece.box, end) for end in (0, 1)]
    return (below, own[0]), (own[1], above)


def hinge_piece_reports(built: Built, seams: list[SeamReport]) -> tuple[NewMetalReport, ...]:
    """Return what every hinge piece is, and how it sits: from the seams of the closed roof."""
    by_name = {seam.name: seam for seam in seams}
    out = []
    for key, piece in hinge_pieces(built).items():
        stubs, beads = hinge_stub_names(piece), [by_name[name] for name in hinge_bead_names(piece)]
        out.append(
            box_report(
                piece,
                kind=KIND,
                carriers=(BODY, built.lower_piece(key)),
                stubs=stubs,
                edges=box_edges(stubs, beads, hinge_rims_of(piece), built.plan.root_gap_mm),
                closes_gap_mm=piece.mouth_mm,
                closes_step_mm=0.0,  # its ends are two sections of one post, turned about its axis
            )
        )
    return tuple(out)
