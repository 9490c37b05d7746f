"""Welds of a door's upper frame: a frozen record beside the report."""

from __future__ import annotations

from dataclasses import dataclass

DOOR_FRAME = "door frame"


@dataclass(frozen=True, kw_only=True)
class DoorSeam:
    """One weld around the section of a door's upper frame, which belongs to the door and not to the shell."""

    name: str
    kind: str  # door frame
    side: str
    part: str  # front leg, rear corner, rail …
    count: int  # welds of this length: two where a piece is let into the rail
    length_mm: float  # of all of them
    section_mm: tuple[float, float]  # across the frame in side view, and through it
    source: str  # of the section
