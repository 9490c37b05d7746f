"""A blank marked out with straight sides: a frozen record beside the report."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Trapezium:
    """Four straight sides from corner to corner of a net blank, as a tape lays them out.

    Seen from outside with the first piece's side at the bottom, the start of
    the new metal is at the right.  A side of 0 is a point: the blank is then
    a triangle.
    """

    along_mm: tuple[float, float]  # sides to the first and to the second piece
    ends_mm: tuple[float, float]  # sides at the start and at the end
    diagonals_mm: tuple[float, float]  # from the first piece's start; from its end
    off_mm: float  # furthest that the flat shape's edge strays from these sides
    limit_mm: float  # off by no more, and the four sides may be cut instead of the drawn blank
    is_enough: bool  # near enough, and all it takes is bending
