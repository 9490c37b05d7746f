"""Sheet with its real gauge, and panes with theirs: each cell of the skin as a solid.

A cell's solid lies between its outside face and the same stretch of the
parallel surface S − g N under it (N out of the car), so the measured outside
stays the outside.  Its sides are the normals along its edges: ruled faces
between the edge and the same edge on the parallel surface.  With mean
curvature H (positive where the skin is rounded outward) and Gauss curvature K

    volume = g · area − g² ∫ H dA + g³/3 ∫ K dA,

because a small piece dA of the skin shrinks to (1 − 2 H z + K z²) dA at depth z.

A piece is the compound of its cells' solids.  Across a crease (gutter,
corner of the cab) two solids meet along the outside edge and overlap in a
thin wedge under it: both sheets are g thick right up to the crease.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from OCP.Geom import Geom_Line
from OCP.gp import gp_Dir, gp_Pnt
from OCP.TopoDS import TopoDS_Solid

from .exactcurves import INSIDE_MM, offset_surface
from .exactfaces import ExactFaces, border_pcurve, runs_with_edge
from .exactkernel import (
    curve_of,
    lay_on,
    line_pcurve,
    made_edge,
    made_face,
    made_solid,
    made_vertex,
    pcurve_of,
    ruled_surface,
    surface_of,
)
from .layout import Cell, Chain

_INSIDE_TOLERANCE_MM = 3 * INSIDE_MM


@dataclass(frozen=True, eq=False)
class Sheets:
    """Makes cells into solids; remembers what neighbours share."""

    faces: ExactFaces
    _surfaces: dict = field(default_factory=dict, repr=False)
    _curves: dict = field(default_factory=dict, repr=False)

    def solid(self, cell: Cell, gauge_mm: float) -> TopoDS_Solid:
        """Return the solid of one cell, ``gauge_mm`` thick under its outside."""
        rings = self.faces.rings[id(cell)]
        outside, inside = self._pair_of_surfaces(cell.grid, gauge_mm)
        posts = {}
        for ring in rings:
            for chain, _ in ring:
                for at in (0, -1):
                    key = tuple(chain.uv[at])
                    if key not in posts:
                        posts[key] = _across(chain.point_mm[at], chain.normal[at], gauge_mm)
        outer_rings, inner_rings, made = [], [], []
        for ring in rings:
            outer_ring, inner_ring = [], []
            for chain, forward in ring:
                with_edge = runs_with_edge(chain, forward)
                is_reversed = with_edge == (cell.grid.outward > 0)
                outer, inner, side = self._side(chain, gauge_mm, outside, inside, posts, is_reversed)
                outer_ring.append((outer, with_edge))
                inner_ring.append((inner, with_edge))
                made.append(side)
            outer_rings.append(outer_ring)
            inner_rings.append(inner_ring)
        inward = cell.grid.outward < 0
        made.append(made_face(outside, outer_rings, is_reversed=inward))
        made.append(made_face(inside, inner_rings, is_reversed=not inward))
        return made_solid(made)

    def _pair_of_surfaces(self, grid, gauge_mm):
        key = (grid.name, gauge_mm)
        if key not in self._surfaces:
            self._surfaces[key] = surface_of(grid), surface_of(offset_surface(grid, gauge_mm))
        return self._surfaces[key]

    def _side(self, chain: Chain, gauge_mm, outside, inside, posts, is_reversed):
        """Return the outer and the inner edge of a chain and the face between them.

        On the ruled face R(t, λ), R_t × R_λ = T × −N points to the left of
        the edge seen from outside: into the metal where that is on the left.
        """
        line = self.faces.lines[id(chain)]
        key = (id(chain), gauge_mm)
        if key not in self._curves:
            outer, inner = line.in_space(0.0, gauge_mm)
            self._curves[key] = curve_of(outer), curve_of(inner), ruled_surface(outer, inner, gauge_mm)
        outer_curve, inner_curve, ruled = self._curves[key]
        first, last = line.samples[0], line.samples[-1]
        ends = [posts[tuple(chain.uv[at])] for at in (0, -1)]
        if not runs_with_edge(chain, True):
            ends.reverse()
        (start_outer, start_inner, start_post), (end_outer, end_inner, end_post) = ends
        outer = made_edge(outer_curve, (first, last), start_outer, end_outer)
        inner = made_edge(inner_curve, (first, last), start_inner, end_inner)
        pcurve = border_pcurve(chain.line.split()[1]) if line.is_border else pcurve_of(line.uv)
        lay_on(outer, pcurve, outside)
        lay_on(inner, pcurve, inside, _INSIDE_TOLERANCE_MM)
        lay_on(outer, line_pcurve((0, 0), (1, 0)), ruled)
        lay_on(inner, line_pcurve((0, gauge_mm), (1, 0)), ruled)
        lay_on(start_post, line_pcurve((first, 0), (0, 1)), ruled)
        lay_on(end_post, line_pcurve((last, 0), (0, 1)), ruled)
        around = [(outer, True), (end_post, True), (inner, False), (start_post, False)]
        return outer, inner, made_face(ruled, [around], is_reversed=is_reversed)


def _across(point_mm, normal, gauge_mm):
    """Return the outer and inner vertex at a corner, and the edge from one to the other."""
    outer, inner = made_vertex(point_mm), made_vertex(point_mm - gauge_mm * normal, _INSIDE_TOLERANCE_MM)
    line = Geom_Line(gp_Pnt(*map(float, point_mm)), gp_Dir(*map(float, -normal)))
    return outer, inner, made_edge(line, (0.0, gauge_mm), outer, inner)
