"""What is welded on a door's upper frame: its legs, the corners that are re-made, and its rail.

The frame is a box, w across it in side view and d through it.  Its section was
not measured; :data:`SECTION_MM` is **assumed**.  One bead runs around the box:

* *leg*, cut in the plane n, its axis t, its sides along w and d (:mod:`model.posts`):
  2 (w k_w + d k_d), k_e = √(1 + (n·e / n·t)²); cut level at a lean a in side view
  2 (w / cos a + d);
* *corner*, mitred at the angle α between leg and rail: 2 (w / sin(α / 2) + d).  It is
  re-made where that angle changes by more than :data:`LEAST_ANGLE_DEG` or rail and leg are brought to meet
  by more than a root gap;
* *rail*, cut square: 2 (w + d) a weld.  A piece let in where it grows by more than a
  root gap has two; one where an end of it is a corner that is re-made.  A rail that shrinks has
  one, none where a corner is re-made, for it is shortened there.
"""

from __future__ import annotations

import math

from .doorframes import DOOR_FRAME, DoorSeam
from .doorreport import PaneReport

SECTION_MM = (25.4, 19.05)  # 1 x 3/4 in, assumed: not measured on the car
SOURCE = "frame section assumed, not measured"
LEAST_ANGLE_DEG = 0.5  # assumed: less is sprung into place


def leg_bead_mm(across: float, through: float) -> float:
    """Return the bead around a leg whose cut plane rises so much, per unit, along its two sides. [mm]"""
    w, d = SECTION_MM
    return 2 * (w * math.hypot(1, across) + d * math.hypot(1, through))


def door_seams(panes: tuple[PaneReport, ...], root_gap_mm: float) -> tuple[DoorSeam, ...]:
    """Return every weld of the frames of doors; none for a fixed pane, which has no frame of its own."""
    return tuple(seam for pane in panes if pane.legs for seam in _of_door(pane, root_gap_mm))


def _of_door(pane: PaneReport, root_gap_mm: float):
    w, d = SECTION_MM

    def seam(part, count, bead_mm):
        return DoorSeam(
            name=f"{pane.pane} {pane.side}, {part}",
            kind=DOOR_FRAME,
            side=pane.side,
            part=part,
            count=count,
            length_mm=count * bead_mm,
            section_mm=SECTION_MM,
            source=SOURCE,
        )

    seams = [seam(f"{leg.leg} leg", 1, leg.bead_mm) for leg in pane.legs]
    remade = [
        corner
        for corner in pane.corners
        if abs(corner.angle_after_deg - corner.angle_before_deg) > LEAST_ANGLE_DEG
        or abs(corner.jog_mm) > root_gap_mm
    ]
    for corner in remade:
        half = math.radians(corner.angle_after_deg) / 2
        seams.append(seam(f"{corner.corner} corner", 1, 2 * (w / math.sin(half) + d)))
    change = pane.rail_after_mm - pane.rail_before_mm
    ends = 0 if abs(change) <= root_gap_mm else 2 if change > 0 else 1
    if ends > bool(remade):
        count = ends - bool(remade)
        seams.append(seam("rail", count, 2 * (w + d)))
    return seams
