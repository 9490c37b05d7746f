"""Where the stubs of a post are cut back for its piece, and for the one around its hinge, edge by edge."""

from __future__ import annotations

from .hingepieces import HingePiece
from .leanreport import edge_name
from .postlines import EDGES
from .postpiecereport import CutBackMark, HingeBackMark, HingePieceReport, PostPieceReport
from .postpieces import ClosedPost


def post_piece_report(closed: ClosedPost | None) -> PostPieceReport | None:
    """Return the marks of a post's piece; None where it has none."""
    if closed is None:
        return None
    line = closed.ends.line
    lower, upper = line.lines(closed.s_lower), line.lines(closed.s_upper)
    lower_back, upper_back = closed.cut_back_mm()
    return PostPieceReport(
        name=closed.name,
        lower_back_mm=closed.back_mm[0],
        upper_back_mm=closed.back_mm[1],
        length_mm=closed.box.height_mm,
        climb=closed.climb,
        set_in_mm=closed.set_in_mm,
        edges=tuple(
            CutBackMark(
                edge=edge_name(edge, closed.key[1]),
                lower_mm=tuple(lower[i].tolist()),
                upper_mm=tuple(upper[i].tolist()),
                lower_back_mm=float(lower_back[i]),
                upper_back_mm=float(upper_back[i]),
            )
            for i, edge in enumerate(EDGES)
        ),
    )


def hinge_piece_report(piece: HingePiece | None) -> HingePieceReport | None:
    """Return the marks of a hinge's piece; None where it has none."""
    if piece is None:
        return None
    marks = piece.ends.line.lines(piece.ends.line.crossing(piece.loose))
    return HingePieceReport(
        name=piece.name,
        length_mm=piece.box.height_mm,
        edges=tuple(
            HingeBackMark(
                edge=edge_name(edge, piece.key[1]), loose_mm=tuple(mark.tolist()), back_mm=float(back)
            )
            for edge, mark, back in zip(EDGES, marks, piece.back_mm(), strict=True)
        ),
    )
