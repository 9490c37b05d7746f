"""A plan laid out: every line drawn on its grid, noded and polygonized, and the cells between them named.

Everything is drawn as lines in a grid's (u, v); cells come from all of them
together, each named by :mod:`model.cellnames`.  Nothing is ever found by
closing a contour.
"""

from __future__ import annotations

from collections.abc import Generator
from functools import lru_cache

import numpy as np
import shapely

from .arrangement import SAME_UV, beside, noded, parted
from .cellnames import cell_names, name_once_trimmed
from .cuts import CentrePlane, Cut, GridCut, Station
from .edges import along_edges
from .errors import PlanError
from .layout import Cell, Chain, Layout, Shift, along_border
from .leans import Lean, hinge_lines
from .numeric import norms
from .outlines import LEAST_SAMPLES, STEP_MM
from .roofparts import SplitLines
from .shape import CarShape
from .skin import Grid
from .stepwise import at_once
from .tracing import trace
from .trimmings import Trimming

WHOLE = SplitLines()  # a roof in one piece

# Of the next chord; a shorter first chord is not followed.  Not a ratio that halving chords gives.
SHORT_END = 0.1
_CORNERS = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
_BORDERS = ("v0", "u1", "v1", "u0")  # counter-clockwise from (0, 0)


def layout_of(*given, **named) -> Layout:
    """Return the cells and chains of a plan; parameters as of :func:`layout_steps`."""
    return at_once(layout_steps(*given, **named))


def layout_steps(
    shape: CarShape,
    lower: Cut | None,
    upper: Cut | None,
    flange_mm: float | None,
    kerf_mm: float,
    shifts,
    leans=(),
    split: SplitLines = WHOLE,
    trimmings: tuple[Trimming, ...] = (),
) -> Generator[None, None, Layout]:
    """Lay out a plan grid by grid; return its cells and chains.

    Parameters
    ----------
    shape : CarShape
    lower, upper : Cut or None
        None: the roof is not cut.
    flange_mm : float or None
        None: the rear window stays in the shell.
    kerf_mm : float
        Width lost around the window panel.
    shifts : sequence of Shift
    leans : sequence of Lean
    split : SplitLines
        Where the roof is cut into parts.
    trimmings : tuple of Trimming
        What comes off the pieces once they have been cut.
    """
    nodes: dict[str, list[float]] = {"v0": [], "v1": []}
    for shift in shifts:
        grid = shape.skin.grids[f"side {shift.key[1]}"]
        border = "v0" if grid.side == "right" else "v1"
        nodes[border] += [rail_line(shape, grid, Station(x))[0, 0] for x in shift.stations_mm]
    cells, chains = [], []
    for grid in shape.skin.grids.values():
        own = tuple(shift for shift in shifts if grid.name == f"side {shift.key[1]}")
        leaned = tuple(lean for lean in leans if lean.stretch_on(grid.name))
        cuts = (None, None) if lower is None else (lower.on(grid), upper.on(grid))
        at_gutter = tuple(sorted((b, u) for b in nodes for u in nodes[b])) if grid.name == "roof" else ()
        has_window = shape.rear_window.outline.grid is grid
        new_cells, new_chains = _grid_part(
            shape,
            grid,
            *cuts,
            flange_mm if has_window else None,
            kerf_mm if has_window else 0.0,
            own,
            leaned,
            at_gutter,
            split,
            tuple(trimming for trimming in trimmings if trimming.grid is grid),
        )
        cells += new_cells
        chains += new_chains
        yield
    return Layout(tuple(cells), tuple(chains))


@lru_cache(maxsize=128)
def _grid_part(
    shape: CarShape,
    grid: Grid,
    lower: GridCut | None,
    upper: GridCut | None,
    flange_mm: float | None,
    kerf_mm: float,
    shifts: tuple[Shift, ...],
    leans: tuple[Lean, ...],
    gutter_nodes: tuple[tuple[str, float], ...],
    split: SplitLines,
    trimmings: tuple[Trimming, ...],
):
    """Return cells and chains of one grid; remembered, for a move alone changes none of them."""
    window = None
    if flange_mm is not None:
        window = (shape.flange(flange_mm), shape.flange(flange_mm + kerf_mm))
    lines = _fixed_lines(shape, grid, window)
    if lower is not None:
        panel = window[0].polygon if window is not None else None
        for name, cut in (("lower", lower), ("upper", upper)):
            lines += [(name, uv) for whole in trace(grid, cut) for uv in _outside(whole, panel)]
        has_middle = grid.kind != "side" and not any(side == "centre" for _, side in lower.zones.keys)
        if has_middle and not split.is_halved:
            lines += [("middle", uv) for uv in _middle_of_slugs(grid, lower, upper)]
        for cut in split.cuts:
            lines += [("split", uv) for whole in _above(grid, cut, lower) for uv in _outside(whole, panel)]
    for shift in shifts:
        lines += [("shift", rail_line(shape, grid, Station(x))) for x in shift.stations_mm]
    for lean in leans:
        lines += hinge_lines(shape, grid, lean)
    for trimming in trimmings:
        lines += trimming.lines
    lines = _border_lines(grid, lines, gutter_nodes) + lines
    coordinates, tags, polygons = noded(lines)
    inside = shapely.get_coordinates(shapely.point_on_surface(polygons))
    names = cell_names(shape, grid, inside, lower, upper, window, shifts, leans, split)
    if trimmings:
        names = [name_once_trimmed(name, uv, trimmings) for name, uv in zip(names, inside, strict=True)]
    cells = [Cell(grid, polygon, *name) for polygon, name in zip(polygons, names, strict=True)]
    sides = [[None if k is None else cells[k] for k in pair] for pair in beside(coordinates, polygons)]
    point, _, _, normal = grid.frame(np.concatenate(coordinates))
    starts = np.cumsum([0] + [len(c) for c in coordinates])
    smooth = _smooth_samples(point, starts)
    along = along_edges(point[smooth], np.append(0, np.cumsum(smooth))[starts])
    length = along[np.cumsum(smooth)[starts[1:] - 1] - 1].tolist()
    chains = [
        Chain(grid, coordinates[i], tags[i], *sides[i], point[a:b], normal[a:b], smooth[a:b], length[i])
        for i, (a, b) in enumerate(zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True))
        if sides[i] != [None, None]
    ]
    return cells, chains


def _smooth_samples(points_mm, starts):
    """Return which samples of chains laid end to end a smooth curve is laid through: not one hard by a node.

    A node lies on a chord, up to a few micrometres off the curve; seen from
    a sample a hundredth of a millimetre away that is a sharp bend.
    """
    chord = norms(np.diff(points_mm, axis=0))
    keep = np.ones(len(points_mm), bool)
    many = np.diff(starts) > 3
    first, last = starts[:-1][many], starts[1:][many] - 1
    keep[first + 1] = chord[first] > SHORT_END * chord[first + 1]
    keep[last - 1] = chord[last - 1] > SHORT_END * chord[last - 2]
    return keep


def _outside(line, polygon):
    """Return the stretches of a line outside a polygon, each reaching one sample into it.

    The loose end inside bounds nothing, so it makes no cell.
    """
    if polygon is None:
        return [line]
    outside = ~shapely.contains_xy(polygon, *line.T)
    keep = outside | np.append(outside[1:], False) | np.append(False, outside[:-1])
    limits = np.nonzero(np.diff(np.concatenate([[False], keep, [False]])))[0]
    return [line[a:b] for a, b in zip(limits[::2], limits[1::2], strict=True) if b - a > 1]


def _middle_of_slugs(grid, lower, upper):
    """Return the stretches of the centreline between the cuts, each reaching one sample past them."""
    out = []
    for uv in trace(grid, CentrePlane()):
        point = grid.point(uv)
        is_above = lower.height_above(point) > 0, upper.height_above(point) > 0
        out += _stretches(uv, is_above[0] & ~is_above[1], is_above)
    return out


def _above(grid, cut, lower):
    """Return the stretches of the line of a split above the lower cut, each reaching one sample below it."""
    out = []
    for uv in trace(grid, cut):
        is_above = lower.height_above(grid.point(uv)) > 0
        out += _stretches(uv, is_above, [is_above])
    return out


def _stretches(uv, keep, sides):
    """Return the stretches of a line to keep, with both samples wherever one of ``sides`` changes."""
    keep = keep.copy()
    for side in sides:
        at = np.nonzero(side[:-1] != side[1:])[0]
        keep[at] = keep[at + 1] = True
    limits = np.nonzero(np.diff(np.concatenate([[False], keep, [False]])))[0]
    return [uv[a:b] for a, b in zip(limits[::2], limits[1::2], strict=True) if b - a > 1]


@lru_cache(maxsize=128)
def rail_line(shape, grid, station):
    """Return the line across the rail at a station, from the gutter down into the opening below."""
    for line in trace(grid, station):
        uv = line if line[0, 1] > line[-1, 1] else line[::-1]
        for opening in shape.openings:
            if opening.outline.grid is grid:
                inside = np.nonzero(shapely.contains_xy(opening.outline.polygon, *uv.T))[0]
                if len(inside) and uv[0, 1] == 1:
                    return uv[: inside[0] + 1]
    raise PlanError(
        "shift",
        f"needs a rail above an opening at x = {station.x_mm:.0f} mm; there is none.",
        "Shift the post less.",
    )


def _fixed_lines(shape, grid, window):
    lines = []
    for opening in shape.openings:
        if opening.outline.grid is grid:
            lines += [(f"opening {opening.name}", part) for part in opening.outline.parts]
    if window is not None and window[0].grid is grid:
        lines += [("flange", part) for part in window[0].parts]
        lines += [("kerf", part) for part in window[1].parts]
    return lines


def _border_lines(grid, lines, nodes):
    """Return the four borders, with a vertex wherever another line ends on them."""
    ends = np.concatenate([uv[[0, -1]] for _, uv in lines]) if lines else np.empty((0, 2))
    names, stretches = [], []
    for border, start in zip(_BORDERS, _CORNERS, strict=True):
        along = along_border(border)
        fixed = start[1 - along]
        on_it = ends[ends[:, 1 - along] == fixed, along]
        split = np.unique(np.concatenate([[0.0, 1.0], on_it, [u for name, u in nodes if name == border]]))
        split = split[np.append(True, np.diff(split) > SAME_UV)]
        corners = np.full((len(split), 2), fixed)
        corners[:, along] = split
        names += [border] * (len(split) - 1)
        stretches.append(np.stack([corners[:-1], corners[1:]], axis=1))
    stretches = np.concatenate(stretches)  # (m, 2, 2)
    reach = norms(np.diff(grid.point(stretches).reshape(-1, 2, 3), axis=1)[:, 0])
    counts = np.maximum(LEAST_SAMPLES, np.ceil(reach / STEP_MM).astype(int) + 1)
    ends = np.cumsum(counts)
    place = np.arange(ends[-1]) - np.repeat(ends - counts, counts)
    step = (stretches[:, 1] - stretches[:, 0]) / (counts - 1)[:, None]
    uv = np.repeat(stretches[:, 0], counts, axis=0) + place[:, None] * np.repeat(step, counts, axis=0)
    uv[ends - 1] = stretches[:, 1]
    return [(f"border {name}", own) for name, own in zip(names, parted(uv, ends[:-1]), strict=True)]
