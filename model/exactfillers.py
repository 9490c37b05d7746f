"""New metal for the CAD kernel: each filler as a solid between its outside and the parallel surface under it.

Outside and inside are B-splines over the same knots: the outside exactly its
own surface, with knots put in; the inside interpolated at those knots' means
(Greville's places) through S − g N.  So both have border rows over one knot
vector, and the four sides are the straight lines between them, ruled.  Faces
share their edges; nothing is fitted or sewn.

Where a filler bends tighter than its sheet is thick the parallel surface folds
and there is no solid; it is then its outside face alone.
"""

from __future__ import annotations

import numpy as np
from OCP.Geom import Geom_Line
from OCP.gp import gp_Dir, gp_Pnt
from OCP.TopoDS import TopoDS_Shape
from scipy.interpolate import BSpline, make_interp_spline

from .exactfaces import border_pcurve
from .exactkernel import (
    curve_of,
    lay_on,
    line_pcurve,
    made_edge,
    made_face,
    made_shell,
    made_solid,
    made_vertex,
    ruled_surface,
    surface_of,
)
from .fillers import Filler, refined
from .skin import Grid

FINER = 3  # spans of the solid's surfaces to one of the filler's own
_FORWARD = {"v0": True, "u1": True, "v1": False, "u0": False}  # counter-clockwise in (u, v)
_CORNERS = ((0, 0), (1, 0), (1, 1), (0, 1))
_STARTS = {"v0": (0, 0), "v1": (0, 1), "u0": (0, 0), "u1": (1, 0)}  # corners (u, v), by growing parameter
_ENDS = {"v0": (1, 0), "v1": (1, 1), "u0": (0, 1), "u1": (1, 1)}


def filler_face(filler: Filler) -> TopoDS_Shape:
    """Return the outside of a filler as a shell of one face, pointing out of the car."""
    surface = surface_of(filler.grid)
    corners = {at: made_vertex(_corner(filler.grid, at)) for at in _CORNERS}
    edges = {border: _edge(_row(filler.grid, border), border, corners) for border in _FORWARD}
    for border, edge in edges.items():
        lay_on(edge, border_pcurve(border), surface)
    ring = [(edges[border], forward) for border, forward in _FORWARD.items()]
    return made_shell([made_face(surface, [ring], is_reversed=filler.grid.outward < 0)])


def filler_solid(filler: Filler) -> TopoDS_Shape:
    """Return a filler with its gauge, under its outside."""
    gauge = filler.thickness_mm
    outside, inside = (_parallel(filler.grid, depth) for depth in (0.0, gauge))
    surfaces = surface_of(outside), surface_of(inside)
    posts = {}
    for at in _CORNERS:
        posts[at] = _across(*(_corner(grid, at) for grid in (outside, inside)))
    faces, rings = [], ([], [])
    for border, forward in _FORWARD.items():
        near, far = (_row(grid, border) for grid in (outside, inside))
        ends = [{at: post[k] for at, post in posts.items()} for k in (0, 1)]
        outer, inner = _edge(near, border, ends[0]), _edge(far, border, ends[1])
        for edge, surface, ring in zip((outer, inner), surfaces, rings, strict=True):
            lay_on(edge, border_pcurve(border), surface)
            ring.append((edge, forward))
        across = posts[_STARTS[border]], posts[_ENDS[border]]
        faces.append(_side(near, far, outer, inner, across, gauge, forward))
    inward = filler.grid.outward < 0
    faces.append(made_face(surfaces[0], [rings[0]], is_reversed=inward))
    faces.append(made_face(surfaces[1], [rings[1]], is_reversed=not inward))
    return made_solid(faces)


def _parallel(grid: Grid, depth_mm: float) -> Grid:
    """Return the surface at a depth under a grid's outside, on knots :data:`FINER` times as dense."""
    knots = [_finer_knots(breaks) for breaks in (grid.breaks_u, grid.breaks_v)]
    places = [np.array([t[i + 1 : i + 4].mean() for i in range(len(t) - 4)]) for t in knots]
    uv = np.stack(np.meshgrid(*places, indexing="ij"), axis=-1)
    point, _, _, normal = grid.frame(uv.reshape(-1, 2))
    poles = (point - depth_mm * normal).reshape(*uv.shape[:2], 3)
    for axis in (0, 1):
        fitted = make_interp_spline(places[axis], poles.swapaxes(0, axis), k=3, t=knots[axis])
        poles = fitted.c.swapaxes(0, axis)
    return Grid(grid.name, grid.kind, *knots, 3, 3, poles, grid.outward)


def _finer_knots(breaks):
    return np.concatenate([breaks[[0] * 3], refined(breaks, FINER), breaks[[-1] * 3]])


def _corner(grid: Grid, at) -> np.ndarray:
    """Return a corner of a grid, where its outermost pole lies. [mm]"""
    return grid.poles_mm[-at[0], -at[1]]


def _row(grid: Grid, border) -> BSpline:
    """Return a border of a grid as a spline over its own parameter."""
    at = -int(border[1])
    if border[0] == "v":
        return BSpline(grid.knots_u, grid.poles_mm[:, at], grid.degree_u)
    return BSpline(grid.knots_v, grid.poles_mm[at], grid.degree_v)


def _edge(row, border, corners):
    return made_edge(curve_of(row), (0.0, 1.0), corners[_STARTS[border]], corners[_ENDS[border]])


def _across(outer_mm, inner_mm):
    """Return the outer and inner vertex at a corner, and the edge from one to the other."""
    outer, inner, way = made_vertex(outer_mm), made_vertex(inner_mm), inner_mm - outer_mm
    line = Geom_Line(gp_Pnt(*map(float, outer_mm)), gp_Dir(*map(float, way)))
    return outer, inner, made_edge(line, (0.0, float(np.linalg.norm(way))), outer, inner)


def _side(near, far, outer, inner, across, gauge_mm, forward):
    """Return the ruled face under a border; it points out of the metal."""
    ruled = ruled_surface(near, far, gauge_mm)
    start, end = across
    lay_on(outer, line_pcurve((0, 0), (1, 0)), ruled)
    lay_on(inner, line_pcurve((0, gauge_mm), (1, 0)), ruled)
    for at, post in ((0.0, start), (1.0, end)):
        lay_on(post[2], line_pcurve((at, 0), (0, 1)), ruled)
    ring = [(outer, True), (end[2], True), (inner, False), (start[2], False)]
    return made_face(ruled, [ring], is_reversed=not forward)
