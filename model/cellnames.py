"""Which part of the skin a cell is, by asking of one point inside it on which side of which line it lies.

Above the lower cut's plane and below the upper one's lies what is cut out; a
place above both belongs to a shifted post's piece or strip, else to the part of
the roof over it; one below both to the lower end of a leaned post or the wedge
at its hinge, else to the body.  What lies inside the flange around the rear
window is the window panel wherever the cuts are.  Glass goes with the metal
around it, and is waste between the cuts.
"""

from __future__ import annotations

import numpy as np
import shapely

from .cuts import GridCut
from .layout import BODY, GLASS_WASTE, METAL, PANE, WASTE, WINDOW, Shift
from .leans import Lean, leaned_part, pane_piece
from .roofparts import SplitLines
from .shape import CarShape
from .skin import Grid
from .trimmings import Trimming, piece_cut_off

Name = tuple[str, str, str]  # part, role, carrier


def cell_names(
    shape: CarShape,
    grid: Grid,
    inside_uv,
    lower: GridCut | None,
    upper: GridCut | None,
    window,
    shifts: tuple[Shift, ...],
    leans: tuple[Lean, ...],
    split: SplitLines,
) -> list[Name]:
    """Return (part, role, carrier) of every cell, by one point inside each.

    Parameters
    ----------
    shape : CarShape
    grid : Grid
    inside_uv : array, shape (n, 2)
        One point inside each cell.
    lower, upper : GridCut or None
        None: the roof is not cut here.
    window : (Outline, Outline) or None
        The panel's edge, and the edge of the hole left by its kerf.
    shifts : sequence of Shift
    leans : sequence of Lean
    split : SplitLines
    """
    points = grid.point(inside_uv)
    below = above = None
    if lower is not None:
        below = lower.height_above(points) < 0
        above = (upper.height_above(points) > 0) & ~below
        nearest = lower.zones.weights(points).argmax(axis=1)
        keys = lower.zones.keys
    pane = np.full(len(points), -1)
    for i, opening in enumerate(shape.openings):
        if opening.outline.grid is grid:
            pane[shapely.contains_xy(opening.outline.polygon, *inside_uv.T)] = i
    in_panel = in_kerf = np.zeros(len(points), bool)
    if window is not None and window[0].grid is grid:
        in_panel = shapely.contains_xy(window[0].polygon, *inside_uv.T)
        in_kerf = shapely.contains_xy(window[1].polygon, *inside_uv.T) & ~in_panel
    names: list[Name] = []
    for i in range(len(points)):
        if below is None or below[i]:
            is_metal = pane[i] < 0
            part = (
                leaned_part(leans, grid, points[i])
                if is_metal
                else pane_piece(leans, shape.openings[pane[i]])
            )
            carrier = part or BODY
        elif above[i]:
            carrier = _shifted_part(grid, points[i], shifts) or split.part_at(points[i])
        else:
            carrier = None
        if in_panel[i]:
            carrier = WINDOW
        if pane[i] >= 0:
            name = shape.openings[pane[i]].name
            if carrier is None:
                names.append((f"glass removed {name}", GLASS_WASTE, BODY))
            else:
                if carrier.startswith("trimming"):
                    carrier = split.part_at(points[i])
                names.append((f"pane {name}", PANE, carrier))
        elif in_kerf[i]:
            names.append(("trimming rear window", WASTE, BODY))
        elif carrier is None:
            names.append((f"slug {' '.join(keys[nearest[i]])}", WASTE, BODY))
        elif carrier.startswith(("trimming", "hinge")):
            names.append((carrier, WASTE, BODY))
        else:
            names.append((carrier, METAL, carrier))
    return names


def name_once_trimmed(name: Name, inside_uv, trimmings: tuple[Trimming, ...]) -> Name:
    """Return a cell's (part, role, carrier), or those of waste where it is cut off its piece."""
    part, role, _ = name
    off = piece_cut_off(trimmings, part, inside_uv) if role == METAL else None
    return name if off is None else (off, WASTE, BODY)


def _shifted_part(grid, point, shifts):
    """Return which part of a shifted post's rail a point above the cuts belongs to; None if to none."""
    for shift in shifts:
        if grid.name == f"side {shift.key[1]}":
            for low, high, what in shift.bounds:
                if low < point[0] < high:
                    return f"trimming {shift.name}" if what == "trimming" else f"{shift.name} {what}"
    return None
