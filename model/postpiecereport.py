"""Post pieces in the report: how far a post's stubs are cut back, and the walls of what is let in between."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class PostWall:
    """One wall of a post piece, laid flat.

    Attributes
    ----------
    wall : str
        ``front``, ``inner``, ``rear`` or ``outer``; of a centre post ``right`` for outer, ``left`` for inner.
    corners_mm : four (x, y)
        Lower rim along x from (0, 0), then the upper corners, around; y > 0 upward.
    diagonal_mm : float
        The shorter diagonal, from ``diagonal[0]`` to ``diagonal[1]`` of the corners.
    twist_mm : float
        How far one corner stands off the plane of the other three; 0: a flat wall.
    area_mm2 : float
        Of the wall itself; of a twisted one a little less than of its two flat triangles.
    """

    wall: str
    corners_mm: tuple[tuple[float, float], ...]
    diagonal: tuple[int, int]
    diagonal_mm: float
    twist_mm: float
    area_mm2: float


@dataclass(frozen=True, kw_only=True)
class CutBackMark:
    """Where both stubs are cut back on one corner edge of a post's box, or on its axis.

    Attributes
    ----------
    lower_mm, upper_mm : (x, y, z)
        The marks, on the uncut post.
    lower_back_mm, upper_back_mm : float
        Along the edge, from the plan's own mark.
    """

    edge: str
    lower_mm: Point
    upper_mm: Point
    lower_back_mm: float
    upper_back_mm: float


@dataclass(frozen=True, kw_only=True)
class PostPieceReport:
    """The stubs of one post, and the piece between them."""

    name: str
    lower_back_mm: float  # of the lower stub's end from the plan's cut, square to it
    upper_back_mm: float
    length_mm: float  # of the piece, square to the cut
    climb: float  # miss to length: 1/3 is 1 in 3
    set_in_mm: float  # of its outer wall from the stubs' outer walls, for the sheet over it
    edges: tuple[CutBackMark, ...]


@dataclass(frozen=True, kw_only=True)
class HingeBackMark:
    """Where a leaned post's loose end begins for the piece around its hinge, on one line of the post.

    Attributes
    ----------
    loose_mm : (x, y, z)
        The mark, on the uncut post.
    back_mm : float
        Along the edge, from the hinge's own upper mark.
    """

    edge: str
    loose_mm: Point
    back_mm: float


@dataclass(frozen=True, kw_only=True)
class HingePieceReport:
    """The piece around the hinge of a leaned post, whose box stood open there."""

    name: str
    length_mm: float  # of the piece, square to the foot's cut
    edges: tuple[HingeBackMark, ...]
