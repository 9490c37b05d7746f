"""Doors and side glass, as lines of the report."""

from __future__ import annotations

from ..doorframes import DoorSeam
from ..doorreport import DOOR, PaneReport
from ..units import shown
from .cells import angle_cell, gap_cell, length_cell, long_cell, place_cell, signed_cell, table_lines, wrapped

DOOR_NOTE = (
    "A door's legs stay on their own lines and its rail comes down with the roof; the corners are re-made "
    "where the two meet, and the rail gets the change of its length. A leg's take-out is along the edge of "
    "the glass; it misses as stated where the whole frame comes down with the roof. Tack the frame in the "
    "closed door before it is welded."
)
FIXED_NOTE = (
    "Upper corners of fixed panes go with the roof or the shifted post that carries them; their edges run as "
    "the opening does, below the cut as it was, above it with the roof."
)
CAUTION_SIDE_GLASS = (
    "Tempered side glass cannot be cut: it shatters. Have new panes made from a template of the welded "
    "opening; which glass may be used where, local codes decide."
)


def side_glass_lines(panes: tuple[PaneReport, ...], unit: str) -> list[str]:
    """Return the legs, corners and panes of a plan; nothing where no side pane changes."""
    if not panes:
        return []
    doors = [pane for pane in panes if pane.kind == DOOR]
    lines = ["DOORS AND SIDE GLASS   a pane's height is up the glass; rail: between its upper corners"]
    for name in dict.fromkeys(pane.pane for pane in panes):
        own = [pane for pane in panes if pane.pane == name]
        lines += [f"  {name}, {own[0].kind}", *_panes(own, unit), *_corners(own, unit)]
        lines += [*(_legs(own, unit) if own[0].legs else []), ""]
    if doors:
        lines += wrapped(DOOR_NOTE)
    if len(doors) < len(panes):
        lines += wrapped(FIXED_NOTE)
    for pane in doors:
        lines += wrapped(_down_words(pane, unit), "  ", "      ")
    off = max(panes, key=lambda pane: pane.off_plane_mm)
    lines += wrapped(
        f"Corners lie up to {gap_cell(off.off_plane_mm, unit)} off one plane ({off.pane} {off.side}): a flat "
        "pane needs that play in its channels, or the frame is set to the pane."
    )
    for text in dict.fromkeys(text for pane in panes for text in pane.to_measure):
        lines += wrapped(f"To measure: {text}", "  ", "      ")
    return [*lines, *wrapped(CAUTION_SIDE_GLASS, "  Caution: ", "  ")]


def door_frame_words(seams: tuple[DoorSeam, ...], unit: str) -> str:
    """Say how much weld the doors' own frames have, apart from the shell's."""
    if not seams:
        return "none"
    w, d = (shown(mm, unit) for mm in seams[0].section_mm)
    count, length = sum(seam.count for seam in seams), sum(seam.length_mm for seam in seams)
    return f"{long_cell(length, unit)} in {count} welds; section {w} x {d}, assumed"


def door_seam_lines(seams: tuple[DoorSeam, ...], unit: str) -> list[str]:
    """Return the welds of the doors' upper frames; nothing where there is none."""
    if not seams:
        return []
    rows = [[seam.name, seam.kind, str(seam.count), length_cell(seam.length_mm, unit)] for seam in seams]
    words = door_frame_words(seams, unit)
    return [
        "DOOR FRAMES: WHAT IS WELDED   around the section; no part of the shell's seams and totals",
        *table_lines(["weld", "kind", "welds", "length"], rows, words=2),
        *wrapped(f"In all {words}: measure the frame before you count on it."),
    ]


def _panes(panes, unit):
    rows = [
        [
            pane.side,
            *(length_cell(mm, unit) for mm in (pane.rail_before_mm, pane.rail_after_mm)),
            length_cell(pane.rail_after_mm - pane.rail_before_mm, unit),
            length_cell(pane.height_after_mm, unit),
            length_cell(pane.height_after_mm - pane.height_before_mm, unit),
        ]
        for pane in panes
    ]
    return table_lines(["pane", "rail before", "after", "change", "height after", "change"], rows)


def _corners(panes, unit):
    rows = [
        [
            f"{pane.side}, {corner.corner}",
            place_cell(corner.after_mm, unit),
            angle_cell(corner.angle_before_deg),
            angle_cell(corner.angle_after_deg),
            angle_cell(corner.lean_front_after_deg - corner.lean_front_before_deg),
        ]
        for pane in panes
        for corner in pane.corners
    ]
    return table_lines(["corner", "re-made at", "angle before", "after", "frame leans in by"], rows)


def _legs(doors, unit):
    rows = [
        [
            f"{pane.side}, {leg.leg}",
            length_cell(leg.lower_mm[2], unit),
            length_cell(leg.take_out_mm, unit),
            signed_cell(leg.miss_fore_aft_mm, unit, "rearward", "forward"),
            signed_cell(leg.miss_across_mm, unit, "inboard", "outboard"),
        ]
        for pane in doors
        for leg in pane.legs
    ]
    return table_lines(["leg", "lower mark z", "take-out", "miss fore-and-aft", "miss across"], rows)


def _down_words(pane, unit):
    """Say whether a pane still goes down into its door."""
    well, less = pane.well, pane.height_before_mm - pane.height_after_mm
    if well.depth_mm is not None:
        said = (
            f"goes down {length_cell(well.stroke_after_mm, unit)}, before "
            f"{length_cell(well.stroke_before_mm, unit)}, and then stands "
            f"{length_cell(well.stands_after_mm, unit)} above the door, before "
            f"{length_cell(well.stands_before_mm, unit)}"
        )
    elif less >= 0:
        said = (
            f"is {length_cell(less, unit)} shorter, so that it goes down at least as far as before; "
            "stop the winder that much earlier"
        )
    else:
        said = f"is {length_cell(-less, unit)} taller than before and needs a deeper well"
    room = (
        "see that it clears the door" if well.room_mm is None else f"room {length_cell(well.room_mm, unit)}"
    )
    way = "out" if well.swing_mm > 0 else "in"
    return (
        f"{pane.pane} {pane.side} {said}. All the way down, its lower edge swings {way} by "
        f"{length_cell(abs(well.swing_mm), unit)}: {room}."
    )
