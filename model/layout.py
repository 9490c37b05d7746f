"""Which part of the skin goes where: the lines on each grid, and the cells between them.

Everything is drawn as lines in a grid's (u, v): its border, the openings, the
flange around the rear window and the kerf beside it, the lower and the upper
cut, the side lines of shifted posts.  The lines are noded and polygonized;
each *cell* is then named by asking of one point inside it on which side of
which line it lies.  A *chain* is the stretch of one line between two nodes;
it has one cell on each side.  Nothing is ever found by closing a contour.

Parts of the skin are named:

=====================  ======================================================
``body``               everything below the cuts; stays
``roof``               everything above them; ``roof front right`` … if it is split
``window panel``       the rear window with its flange
``B right upper``      upper end of a shifted post with its stretch of rail
``B right strip``      the strip of rail that changes sides for it
``A right lower``      lower end of a leaned post with the sheet beside it
``hinge A right``      the wedge between the two cuts around its hinge
``slug A right``       cut out between lower and upper cut
``trimming …``         turned to dust or cut off beside a cut; ``trimming off roof``: once it was cut
``pane …``             glass; each cell moves with the metal around it
``glass removed …``    glass of the stock pane between the cuts
=====================  ======================================================
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely

from .arrangement import SAME_UV, beside, noded
from .cuts import CentrePlane, Cut, GridCut, Station, trace
from .edges import along_edges
from .errors import PlanError
from .leans import Lean, hinge_lines, leaned_part, pane_piece
from .outlines import LEAST_SAMPLES, STEP_MM
from .placing import PostKey
from .roofparts import ROOF as ROOF
from .roofparts import SplitLines
from .shape import CarShape
from .skin import Grid
from .stepwise import at_once
from .trimmings import Trimming, piece_cut_off

BODY, WINDOW = "body", "window panel"
METAL, WASTE, PANE, GLASS_WASTE = "metal", "waste", "pane", "glass waste"

WHOLE = SplitLines()  # a roof in one piece

# Of the next chord; a shorter first chord is not followed.  Not a ratio that halving chords gives.
SHORT_END = 0.1
_CORNERS = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
_BORDERS = ("v0", "u1", "v1", "u0")  # counter-clockwise from (0, 0)

# Borders that are the same curve: grid, border, grid, border.  The parameter
# along the curve is the same on both.
SHARED = (
    ("side right", "v1", "roof", "v0"),
    ("side left", "v1", "roof", "v1"),
    ("side right", "u0", "front", "u0"),
    ("side left", "u0", "front", "u1"),
    ("roof", "u0", "front", "v1"),
    ("side right", "u1", "back", "u0"),
    ("side left", "u1", "back", "u1"),
    ("roof", "u1", "back", "v1"),
)


@dataclass(frozen=True, eq=False)
class Cell:
    """One connected region of a grid that is one part of the skin.

    ``carrier`` names the piece it moves with; waste stays where it was.
    """

    grid: Grid
    polygon: shapely.Polygon
    part: str
    role: str
    carrier: str


@dataclass(frozen=True, eq=False)
class Chain:
    """A stretch of line between two nodes, with the cell on its left and on its right.

    ``line`` says which line it belongs to: ``border u0``, ``opening …``,
    ``flange``, ``kerf``, ``lower``, ``upper``, ``shift``, ``hinge``, ``middle``, ``split``.  Outside the
    grid's border a cell is None.  ``is_smooth`` are the samples that a smooth curve is laid through,
    ``length_mm`` is measured along it.
    """

    grid: Grid
    uv: np.ndarray  # (n, 2)
    line: str
    left: Cell | None
    right: Cell | None
    point_mm: np.ndarray  # (n, 3), before any move
    normal: np.ndarray  # (n, 3)
    is_smooth: np.ndarray  # (n,) bool
    length_mm: float

    def beside(self, cell: Cell) -> Cell | None:
        """Return the cell on the other side."""
        return self.right if cell is self.left else self.left


@dataclass(frozen=True, kw_only=True)
class Shift:
    """A shifted post on the side it stands on: where its piece and its strip are cut.

    Positions along x on the stock car; ``by_mm`` + rearward.
    """

    key: PostKey
    front_mm: float
    rear_mm: float
    by_mm: float
    kerf_mm: float

    @property
    def name(self) -> str:
        """Post and side."""
        return " ".join(self.key)

    @property
    def bounds(self) -> list[tuple[float, float, str]]:
        """Return (from x, to x, what) for the trimmings, the piece and the strip."""
        f, r, s, k = self.front_mm, self.rear_mm, self.by_mm, self.kerf_mm
        if s >= 0:
            strip = [(r, r + k, "trimming"), (r + k, r + s, "strip"), (r + s, r + s + k, "trimming")]
            if s <= k:
                strip = [(r, r + s + k, "trimming")]
            return [(f - k, f, "trimming"), (f, r, "upper"), *strip]
        strip = [(f - k, f, "trimming"), (f + s, f - k, "strip"), (f + s - k, f + s, "trimming")]
        if -s <= k:
            strip = [(f + s - k, f, "trimming")]
        return [*strip[::-1], (f, r, "upper"), (r, r + k, "trimming")]

    @property
    def stations_mm(self) -> list[float]:
        """The distinct x at which the rail is cut."""
        return sorted({x for a, b, _ in self.bounds for x in (a, b)})

    @property
    def strip_moves_mm(self) -> float:
        """How far the strip goes along the rail, + rearward, to the post's other side."""
        width = self.rear_mm - self.front_mm + self.kerf_mm
        return -width if self.by_mm >= 0 else width


@dataclass(frozen=True, eq=False)
class Layout:
    """All cells and chains of a plan, in place on the uncut car."""

    cells: tuple[Cell, ...]
    chains: tuple[Chain, ...]

    @cached_property
    def parts(self) -> dict[str, list[Cell]]:
        """Cells by part."""
        out: dict[str, list[Cell]] = {}
        for cell in self.cells:
            out.setdefault(cell.part, []).append(cell)
        return out

    @cached_property
    def chains_of(self) -> dict[int, list[Chain]]:
        """Chains around each cell, by ``id`` of the cell."""
        out: dict[int, list[Chain]] = {id(cell): [] for cell in self.cells}
        for chain in self.chains:
            for cell in (chain.left, chain.right):
                if cell is not None:
                    out[id(cell)].append(chain)
        return out

    @cached_property
    def _over_the_border(self):
        """Cells along every shared border: {(grid, border): [(from t, to t, cell)]}."""
        out = {}
        for chain in self.chains:
            if chain.line.startswith("border"):
                border = chain.line.split()[1]
                t = np.sort(chain.uv[[0, -1], _along(border)])
                out.setdefault((chain.grid.name, border), []).append((t[0], t[1], chain.left or chain.right))
        return out

    def neighbour(self, chain: Chain) -> Cell | None:
        """Return the cell of another grid across a shared border, or None where the car goes on."""
        border = chain.line.split()[1]
        t = chain.uv[:, _along(border)]
        middle = (t[0] + t[-1]) / 2
        for a, border_a, b, border_b in SHARED:
            for here, there in (((a, border_a), (b, border_b)), ((b, border_b), (a, border_a))):
                if here == (chain.grid.name, border):
                    for low, high, cell in self._over_the_border.get(there, []):
                        if low <= middle <= high:
                            return cell
        return None


def _along(border):
    """Index of the parameter that runs along a border."""
    return 1 if border[0] == "u" else 0


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
    names = _names(shape, grid, inside, lower, upper, window, shifts, leans, split)
    if trimmings:
        names = [_trimmed(name, uv, trimmings) for name, uv in zip(names, inside, strict=True)]
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
    chord = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
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
        along = _along(border)
        fixed = start[1 - along]
        on_it = ends[ends[:, 1 - along] == fixed, along]
        split = np.unique(np.concatenate([[0.0, 1.0], on_it, [u for name, u in nodes if name == border]]))
        split = split[np.append(True, np.diff(split) > SAME_UV)]
        corners = np.full((len(split), 2), fixed)
        corners[:, along] = split
        names += [border] * (len(split) - 1)
        stretches.append(np.stack([corners[:-1], corners[1:]], axis=1))
    stretches = np.concatenate(stretches)  # (m, 2, 2)
    reach = np.linalg.norm(np.diff(grid.point(stretches).reshape(-1, 2, 3), axis=1)[:, 0], axis=1)
    counts = np.maximum(LEAST_SAMPLES, np.ceil(reach / STEP_MM).astype(int) + 1)
    return [
        (f"border {name}", np.linspace(start, end, n))
        for name, (start, end), n in zip(names, stretches, counts.tolist(), strict=True)
    ]


def _names(shape, grid, inside_uv, lower, upper, window, shifts, leans, split):
    """Return (part, role, carrier) for one point inside every cell."""
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
    names = []
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


def _trimmed(name, inside_uv, trimmings):
    """Return a cell's (part, role, carrier), or those of waste where it is cut off its piece."""
    part, role, _ = name
    off = piece_cut_off(trimmings, part, inside_uv) if role == METAL else None
    return name if off is None else (off, WASTE, BODY)


def _shifted_part(grid, point, shifts):
    for shift in shifts:
        if grid.name == f"side {shift.key[1]}":
            for low, high, what in shift.bounds:
                if low < point[0] < high:
                    return f"trimming {shift.name}" if what == "trimming" else f"{shift.name} {what}"
    return None
