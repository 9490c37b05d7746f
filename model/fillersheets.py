"""New metal as sheet, cell by cell: what the rest of the program knows how to mesh, thicken and clash."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .built import Built
from .edges import Edges
from .fillers import Filler
from .layout import METAL, Cell, Chain, Layout
from .moves import IDENTITY
from .sheets import Sheet, sheet_region
from .skin import Grid

_CORNERS = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
_BORDERS = ("v0", "u1", "v1", "u0")  # counter-clockwise from (0, 0), as in layout


@dataclass(frozen=True, eq=False)
class FillerSheet(Sheet):
    """A filler in place; nothing but its own borders bounds it."""

    def bounds(self, grid: Grid, points_mm) -> list[np.ndarray]:
        """Return no bounds: no cut of the plan goes through new metal."""
        return []


def filler_sheet(filler: Filler, built: Built) -> FillerSheet:
    """Return a filler as a sheet that other pieces may run into."""
    region = sheet_region(filler.grid, [filler_cell(filler)])
    return FillerSheet(filler.name, (region,), filler.thickness_mm, IDENTITY, built)


def filler_cell(filler: Filler) -> Cell:
    """Return a filler as one cell that fills its grid."""
    return Cell(filler.grid, shapely.Polygon(_CORNERS), filler.name, METAL, filler.name)


def filler_layout(filler: Filler) -> Layout:
    """Return a filler as a layout of one cell with its four borders around it."""
    cell = filler_cell(filler)
    chains = []
    for border, start, end in zip(_BORDERS, _CORNERS, np.roll(_CORNERS, -1, axis=0), strict=True):
        uv = np.stack([start, end])
        point, _, _, normal = filler.grid.frame(uv)
        length = float(Edges([filler.border(border)]).length_mm[0])
        smooth = np.ones(2, bool)
        chains.append(Chain(filler.grid, uv, f"border {border}", cell, None, point, normal, smooth, length))
    return Layout((cell,), tuple(chains))
