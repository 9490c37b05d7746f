"""The layout of a plan: the parts of the skin as cells of its grids, and the chains of line between them.

A grid's (u, v) is divided by its border, the openings, the flange around the
rear window and the kerf beside it, the lower and the upper cut, the side lines
of shifted posts, the hinges of leaned ones, the split of the roof and what is
trimmed off (:mod:`model.layingout` draws the lines).  A *cell* is one region
between them; a *chain* is the stretch of one line between two nodes and has
one cell on each side.

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

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from .placing import PostKey
from .roofparts import ROOF as ROOF
from .skin import Grid

BODY, WINDOW = "body", "window panel"
METAL, WASTE, PANE, GLASS_WASTE = "metal", "waste", "pane", "glass waste"

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

    @cached_property
    def smooth(self) -> tuple[np.ndarray, np.ndarray]:
        """Points and normals of the samples that a smooth curve is laid through."""
        return self.point_mm[self.is_smooth], self.normal[self.is_smooth]

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
                t = np.sort(chain.uv[[0, -1], along_border(border)])
                out.setdefault((chain.grid.name, border), []).append((t[0], t[1], chain.left or chain.right))
        return out

    def neighbour(self, chain: Chain) -> Cell | None:
        """Return the cell of another grid across a shared border, or None where the car goes on."""
        border = chain.line.split()[1]
        t = chain.uv[:, along_border(border)]
        middle = (t[0] + t[-1]) / 2
        for a, border_a, b, border_b in SHARED:
            for here, there in (((a, border_a), (b, border_b)), ((b, border_b), (a, border_a))):
                if here == (chain.grid.name, border):
                    for low, high, cell in self._over_the_border.get(there, []):
                        if low <= middle <= high:
                            return cell
        return None


def along_border(border: str) -> int:
    """Return the index of the parameter that runs along a border: 0 for u, 1 for v."""
    return 1 if border[0] == "u" else 0
