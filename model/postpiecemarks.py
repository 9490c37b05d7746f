"""Where the stubs of a post are cut back for its piece, edge by edge."""

from __future__ import annotations

from .leanreport import edge_name
from .postpiecereport import CutBackMark, PostPieceReport
from .postpieces import ClosedPost
from .posts import EDGES


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
