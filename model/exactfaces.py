"""The outside of the skin for the CAD kernel: trimmed faces on the live tier's own B-splines.

Every cell of the layout becomes one face, on a surface with its grid's poles
and knots.  Every chain becomes one edge, used by the cells on both of its
sides; where two grids share a border, one edge serves both, with a line in
the parameters of each.  So the faces of the uncut car meet edge to edge with
nothing between them.  Faces point out of the car.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepGProp import BRepGProp
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS_Edge, TopoDS_Face, TopoDS_Shape
from scipy.spatial import cKDTree

from .exactcurves import EdgeLine, edge_line
from .exactkernel import (
    curve_of,
    lay_on,
    line_pcurve,
    made_compound,
    made_edge,
    made_face,
    made_shell,
    made_vertex,
    pcurve_of,
    surface_of,
)
from .layout import SHARED, Cell, Chain, Layout

Ring = list[tuple[Chain, bool]]  # chains in order, and whether each is run as sampled

_SAME_MM = 1e-6  # ends of chains nearer than this are one vertex
_SAME_PARAMETER = 1e-9
_MEASURE = 1e-10  # relative error asked of the kernel's integrals
_BORDER_PCURVES = {
    "u0": ((0, 0), (0, 1)),
    "u1": ((1, 0), (0, 1)),
    "v0": ((0, 0), (1, 0)),
    "v1": ((0, 1), (1, 0)),
}


@dataclass(frozen=True, eq=False)
class ExactFaces:
    """Faces and edges of a layout, in place on the uncut car.

    All are kept by ``id`` of the cell or the chain they are made of.
    """

    layout: Layout
    lines: dict[int, EdgeLine]
    rings: dict[int, list[Ring]]
    edges: dict[int, TopoDS_Edge]
    faces: dict[int, TopoDS_Face]

    def face(self, cell: Cell) -> TopoDS_Face:
        """Return the face of a cell."""
        return self.faces[id(cell)]

    def edge(self, chain: Chain) -> TopoDS_Edge:
        """Return the edge of a chain."""
        return self.edges[id(chain)]

    def edge_length_mm(self, chain: Chain) -> float:
        """Return the length of a chain's edge, as the kernel measures it. [mm]"""
        return GCPnts_AbscissaPoint.Length_s(BRepAdaptor_Curve(self.edge(chain)), 1e-9)

    def sheet(self, cells) -> TopoDS_Shape:
        """Return the faces of some cells as one shell for every stretch that hangs together by edges."""
        cells = list(cells)
        group = {id(cell): {id(cell)} for cell in cells}
        users: dict[int, int] = {}
        for cell in cells:
            for ring in self.rings[id(cell)]:
                for chain, _ in ring:
                    key = hash(self.edge(chain))
                    first = users.setdefault(key, id(cell))
                    if group[first] is not group[id(cell)]:
                        merged = group[first] | group[id(cell)]
                        group.update(dict.fromkeys(merged, merged))
        groups = {id(g): g for g in group.values()}.values()
        return made_compound(made_shell([self.face(c) for c in cells if id(c) in g]) for g in groups)


def area_mm2(shape: TopoDS_Shape) -> float:
    """Return the area of faces; the kernel's default is wrong by 0.1 % on trimmed splines. [mm²]"""
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, properties, _MEASURE)
    return properties.Mass()


def rings_of(layout: Layout) -> dict[int, list[Ring]]:
    """Return every cell's chains in order around it, outer ring first, by ``id`` of the cell.

    All rings keep the cell on their left in (u, v).
    """
    out = {}
    for cell in layout.cells:
        starts = {}
        for chain in layout.chains_of[id(cell)]:
            starts[(*chain.uv[0], *chain.uv[1])] = (chain, True)
            starts[(*chain.uv[-1], *chain.uv[-2])] = (chain, False)
        polygon = shapely.geometry.polygon.orient(cell.polygon)  # holes clockwise
        out[id(cell)] = [_ring(ring, starts) for ring in (polygon.exterior, *polygon.interiors)]
    return out


def _ring(ring, starts) -> Ring:
    points = [tuple(p) for p in shapely.get_coordinates(ring)[:-1]]
    count = len(points)
    at = next(i for i in range(count) if (*points[i], *points[(i + 1) % count]) in starts)
    end, found = at + count, []
    while at < end:
        chain, forward = starts[(*points[at % count], *points[(at + 1) % count])]
        found.append((chain, forward))
        at += len(chain.uv) - 1
    return found


def exact_faces(layout: Layout) -> ExactFaces:
    """Return the faces and edges of a layout."""
    surfaces = {chain.grid.name: surface_of(chain.grid) for chain in _one_of_each_grid(layout)}
    lines = {id(chain): edge_line(chain) for chain in layout.chains}
    ends = _vertices(layout)
    edges, borders = {}, {}
    for chain in layout.chains:
        line, surface = lines[id(chain)], surfaces[chain.grid.name]
        if line.is_border:
            edges[id(chain)] = _border_edge(chain, line, surface, ends[id(chain)], borders)
        else:
            edge = made_edge(curve_of(line.in_space(0.0)[0]), line.samples[[0, -1]], *ends[id(chain)])
            lay_on(edge, pcurve_of(line.uv), surface)
            edges[id(chain)] = edge
    rings = rings_of(layout)
    faces = {}
    for cell in layout.cells:
        wires = [
            [(edges[id(c)], runs_with_edge(c, forward)) for c, forward in ring] for ring in rings[id(cell)]
        ]
        faces[id(cell)] = made_face(surfaces[cell.grid.name], wires, is_reversed=cell.grid.outward < 0)
    return ExactFaces(layout, lines, rings, edges, faces)


def runs_with_edge(chain: Chain, forward: bool) -> bool:
    """Return whether a chain, run as sampled or against it, is run as its edge is.

    The edge of a border runs towards its greater parameter.
    """
    if not chain.line.startswith("border"):
        return forward
    along = _along(chain.line.split()[1])
    return forward == bool(chain.uv[0, along] < chain.uv[-1, along])


def border_pcurve(border: str):
    """Return the whole border of a grid as a line in its parameters."""
    return line_pcurve(*_BORDER_PCURVES[border])


def _one_of_each_grid(layout):
    return {chain.grid.name: chain for chain in layout.chains}.values()


def _along(border):
    return 1 if border[0] == "u" else 0


def _vertices(layout):
    """Return for every chain the vertices at its start and end."""
    ends = np.concatenate([chain.point_mm[[0, -1]] for chain in layout.chains])
    first = [min(found) for found in cKDTree(ends).query_ball_point(ends, _SAME_MM)]
    made = {i: made_vertex(ends[i]) for i in set(first)}
    return {id(chain): (made[first[2 * i]], made[first[2 * i + 1]]) for i, chain in enumerate(layout.chains)}


def _border_edge(chain, line, surface, ends, borders):
    """Return the edge of a stretch of border, the neighbouring grid's own where there is one."""
    border = chain.line.split()[1]
    low, high = line.samples[[0, -1]]
    made = borders.setdefault(_one_name(chain.grid.name, border), [])
    for a, b, grid, edge in made:
        if grid is not chain.grid and abs(a - low) < _SAME_PARAMETER and abs(b - high) < _SAME_PARAMETER:
            lay_on(edge, border_pcurve(border), surface)
            return edge
    at = float(border[1])
    curve = surface.UIso(at) if border[0] == "u" else surface.VIso(at)
    curve.Segment(float(low), float(high))
    edge = made_edge(curve, (low, high), *(ends if runs_with_edge(chain, True) else ends[::-1]))
    lay_on(edge, border_pcurve(border), surface)
    made.append((low, high, chain.grid, edge))
    return edge


def _one_name(grid, border):
    """Return one name for a border that two grids share."""
    for a, border_a, b, border_b in SHARED:
        if (b, border_b) == (grid, border):
            return a, border_a
    return grid, border
