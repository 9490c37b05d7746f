"""Panes made anew, where the plan puts them: side panes by their templates, a windshield by its edge.

Frame: car.  A template's place (p, q) lies at O + p a + q b, a and b the axes
of the pane's plane (:mod:`model.panetemplate`) and O the point of that plane
over the template's (0, 0) in side view.  What is drawn has therefore the
template's own area, and in side view the opening's own outline; a side that is
curved stands off the flat pane by what its glass does too.

A windshield has no template.  Its edge is that of its opening, every point
where its metal takes it (roof, loose end of a leaned post, body), what lies
between two cuts left out; it is spanned by triangles between places of that
edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from .built import Built
from .doors import lowered_outlines
from .layout import BODY
from .panetemplate import in_space
from .shape import GlassOpening

SAG_MM = 0.2  # of a chord of a windshield's edge as it is drawn


@dataclass(frozen=True, eq=False)
class NewPane:
    """A new pane: ``edge_mm`` (n, 3) in place, closed without its first point again; ``axes`` (2, 3)."""

    name: str  # of the opening
    edge_mm: np.ndarray
    axes: np.ndarray
    normal: np.ndarray  # out of the car


def part_name(pane: NewPane) -> str:
    """Return what a new pane is called among the parts of a car."""
    return f"pane {pane.name}"


@lru_cache(maxsize=4)
def new_panes(built: Built) -> tuple[NewPane, ...]:
    """Return every pane that is made anew and whose outline can be made."""
    out = []
    for glass, plane, outline, origin in lowered_outlines(built):
        outboard = -1.0 if glass.opening.side == "left" else 1.0
        normal = plane.normal * np.sign(plane.normal[1] * outboard)
        out.append(NewPane(glass.name, in_space(outline, plane, origin), plane.axes, normal))
    return (*out, *_windshields(built))


def _windshields(built: Built) -> list[NewPane]:
    """Return the panes of the windshield that the cuts run through."""
    out = []
    for glass in built.shape.openings if built.upper is not None else ():
        if glass.opening.role != "windshield":
            continue
        grid, loop = glass.outline.grid, _edge_on_skin(glass)
        carriers = _carriers(built, grid, loop)
        if len(set(carriers)) == 1:
            continue
        edge = np.empty_like(loop)
        for carrier in set(carriers) - {""}:
            edge[carriers == carrier] = built.moves[carrier].points(loop[carriers == carrier])
        edge = edge[carriers != ""]
        ahead, across, up = np.linalg.svd(edge - edge.mean(axis=0), full_matrices=False)[2][::-1]
        normal = ahead * (-1.0 if ahead[0] > 0 else 1.0)
        flat = (edge - edge[0]) @ np.array([across, up]).T
        thin = shapely.Polygon(flat).simplify(SAG_MM)
        if thin.is_valid and not thin.is_empty:
            edge = edge[_which(flat, shapely.get_coordinates(thin)[:-1])]
            out.append(NewPane(glass.name, edge, np.array([across, up]), normal))
    return out


@lru_cache(maxsize=8)
def _edge_on_skin(glass: GlassOpening) -> np.ndarray:
    """Return the edge of an opening before any move, (n, 3). [mm]"""
    return glass.outline.grid.point(glass.outline.loop_uv)


def _which(known, places) -> np.ndarray:
    """Return the number of every place among the known ones, of which it is one to the last bit."""
    known, places = (np.ascontiguousarray(each).view(complex).ravel() for each in (known, places))
    order = known.argsort()
    found = order[np.minimum(known.searchsorted(places, sorter=order), len(known) - 1)]
    if (known[found] != places).any():
        raise ValueError("a corner of the triangles of a pane is none of its edge")
    return found


def _carriers(built: Built, grid, loop_mm) -> np.ndarray:
    """Return the piece that carries each point of a windshield's edge; nothing for what is cut out."""
    is_above = built.lower.height_above(grid, loop_mm) > 0
    is_cut_out = is_above & (built.upper.height_above(grid, loop_mm) < 0)
    part_at = built.parts.lines.part_at
    carriers = np.full(len(loop_mm), BODY, dtype=object)
    carriers[is_above] = [part_at(point) for point in loop_mm[is_above].tolist()]
    carriers[is_cut_out] = ""
    for lean in built.leans:
        carriers[lean.is_loose(grid.name, loop_mm) & ~is_above] = lean.piece
        carriers[lean.is_wedge(grid.name, loop_mm)] = ""
    return carriers


def pane_mesh(pane: NewPane) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the points of its edge, normals and triangles (m, 3), counter-clockwise seen from outside."""
    flat = (pane.edge_mm - pane.edge_mm[0]) @ pane.axes.T
    found = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.Polygon(flat)))
    triangles = _which(flat, shapely.get_coordinates(found)).reshape(-1, 4)[:, :3]
    a, b, c = pane.edge_mm[triangles].swapaxes(0, 1)
    turns_in = np.cross(b - a, c - a) @ pane.normal < 0
    triangles[turns_in] = triangles[turns_in][:, ::-1]
    return pane.edge_mm, np.tile(pane.normal, (len(pane.edge_mm), 1)), triangles
