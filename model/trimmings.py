"""What comes off a piece along a seam: its new edge as a line in (u, v), and the sheet on the far side of it.

A *trimming* belongs to one piece on one grid.  Its lines go among those of the
layout; of the cells they leave, those of the piece inside ``region`` are cut
off and become waste, ``trimming off roof``.  The region may reach out over the
old edge and into an opening: nothing but cells of the piece is cut.

A line of the new edge is named after the old one it stands for, ``trim upper``
for ``upper``; one across the strip, from the old edge to the new, is ``trim end``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .skin import Grid

TRIM = "trim "
TRIM_END = "trim end"
_OFF = "trimming off "


@dataclass(frozen=True, eq=False)
class Trimming:
    """A strip of old sheet that comes off one piece; (u, v) on the uncut car.

    Attributes
    ----------
    piece : str
        The part of the skin that it is cut from.
    grid : Grid
    lines : tuple of (name, (n, 2))
        The new edge, and the lines across to the old one.
    region : shapely geometry
        Covers what comes off.
    """

    piece: str
    grid: Grid
    lines: tuple[tuple[str, np.ndarray], ...]
    region: shapely.Geometry


def part_cut_off(piece: str) -> str:
    """Return the name of what is trimmed off a piece."""
    return f"{_OFF}{piece}"


def is_cut_off(part: str) -> bool:
    """Return whether a part of the skin was trimmed off a piece."""
    return part.startswith(_OFF)


def piece_of(part: str) -> str:
    """Return the piece that a part was trimmed off."""
    return part.removeprefix(_OFF)


def is_trimmed(line: str) -> bool:
    """Return whether a line is an edge that trimming made."""
    return line.startswith(TRIM)


def stands_for(line: str) -> str:
    """Return the line of the plan for which a line stands: itself, but for a trimmed edge."""
    return line.removeprefix(TRIM)


def piece_cut_off(trimmings, piece: str, point_uv) -> str | None:
    """Return the part that a place of a piece is cut off as, or None where it stays."""
    for trimming in trimmings:
        if trimming.piece == piece and shapely.contains_xy(trimming.region, *point_uv):
            return part_cut_off(piece)
    return None
