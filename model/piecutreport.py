"""A pie cut beside a post in numbers: a frozen record beside the report."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class PieCutReport:
    """The narrow wedge taken out of the sheet round the corner from a post, to draw its lower end in.

    Marks are on the uncut car.  ``mouth_mm`` is what closing it takes up;
    the root gap is taken out beside it.
    """

    edge: str  # of the box, along which its loose side runs
    end_mm: Point  # where both sides meet; the metal bends there
    loose_mm: Point  # mouth, on the post's side
    stays_mm: Point  # mouth, on the side of the sheet that stays; the root gap included
    leg_mm: float  # straight, from the end to the mouth
    mouth_mm: float  # 2 leg sin(turn / 2)
    turn_deg: float
    area_mm2: float  # taken out
    sheet_in_mm: (
        float  # how far the sheet over the post comes in with it at the cut; nothing level with the end
    )
