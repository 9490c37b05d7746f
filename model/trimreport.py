"""Where one of two lapping pieces is trimmed: records of the report."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]

END_MARK = "end of the cut"  # a mark that a piece may have several of, on either side


@dataclass(frozen=True, kw_only=True)
class TrimStation:
    """One place of a trim line.

    Attributes
    ----------
    edge_mm, line_mm : (x, y, z)
        On the edge of the piece as it was cut, and on the trim line, where the plan puts the piece.
    from_mark_mm : float
        Along the edge from the line's mark, + the line's ``plus_way``.
    depth_mm : float
        From the edge to the line, square to the edge: lap and root gap.
    """

    edge_mm: Point
    line_mm: Point
    from_mark_mm: float
    depth_mm: float


@dataclass(frozen=True, kw_only=True)
class TrimLine:
    """One stretch of one piece that has to come off before the seam can be welded.

    Attributes
    ----------
    piece, other : str
        The one that is trimmed, and the one over which it laps.
    reason : str
        Why this one.
    mark : str
        What the stations are measured from: something to be found on the piece.
    plus_way, minus_way : str
        Where the edge runs from the mark with rising and with falling distance.
    length_mm : float
        Along the edge.
    lap_mm : float
        Deepest lap, without the root gap.
    apart_mm : float
        Largest step between the two along the stretch: they lap only once they are brought together.
    area_mm2 : float
        What falls off.
    """

    seam: str
    piece: str
    other: str
    reason: str
    mark: str
    mark_mm: Point
    plus_way: str
    minus_way: str
    length_mm: float
    lap_mm: float
    apart_mm: float
    area_mm2: float
    stations: tuple[TrimStation, ...]
