"""New metal as sheet, cell by cell: what the rest of the program knows how to mesh, thicken and clash."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .built import Built
from .fillers import Filler, refined
from .layout import METAL, Cell
from .metalregions import sheet_region
from .moves import IDENTITY
from .scene import Mesh
from .sheets import Sheet

_CORNERS = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)


@dataclass(frozen=True, eq=False)
class FillerSheet(Sheet):
    """A filler in place; nothing but its own borders bounds it."""

    def _bounds(self, grid, points_mm, height_above):
        """Return no bounds: no cut of the plan goes through new metal."""
        return []


def filler_sheet(filler: Filler, built: Built) -> FillerSheet:
    """Return a filler as a sheet that other pieces may run into."""
    region = sheet_region(filler.grid, [filler_cell(filler)])
    return FillerSheet(filler.name, (region,), filler.thickness_mm, IDENTITY, built)


def filler_cell(filler: Filler) -> Cell:
    """Return a filler as one cell that fills its grid."""
    return Cell(filler.grid, shapely.Polygon(_CORNERS), filler.name, METAL, filler.name)


def filler_mesh(filler: Filler, per_span: int = 2) -> Mesh:
    """Return triangles of a filler's outside, so many to each span of its spline each way, for a picture."""
    u, v = (refined(breaks, per_span) for breaks in (filler.grid.breaks_u, filler.grid.breaks_v))
    uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    point, _, _, normal = filler.grid.frame(uv)
    columns = len(v)
    k = (np.arange(len(u) - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    halves = [
        np.stack([k, k + 1, k + columns], axis=1),
        np.stack([k + 1, k + columns + 1, k + columns], axis=1),
    ]  # v × u points out
    return Mesh(uv, point, normal, np.concatenate(halves))
