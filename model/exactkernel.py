"""The few calls of the CAD kernel that build shapes, in this package's own nouns.

Edges, faces and solids are put together by hand, edge by edge, so that
neighbours share what they share and nothing is fitted, sewn or healed.
Everything dimensional is in mm.
"""

from __future__ import annotations

import numpy as np
from OCP.BRep import BRep_Builder
from OCP.Geom import Geom_BSplineCurve, Geom_BSplineSurface
from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Line
from OCP.gp import gp_Dir2d, gp_Pnt, gp_Pnt2d, gp_Trsf
from OCP.TColgp import TColgp_Array1OfPnt, TColgp_Array1OfPnt2d, TColgp_Array2OfPnt
from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal
from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import (
    TopoDS_Compound,
    TopoDS_Edge,
    TopoDS_Face,
    TopoDS_Shell,
    TopoDS_Solid,
    TopoDS_Vertex,
    TopoDS_Wire,
)
from scipy.interpolate import BSpline

from .moves import RigidMove
from .skin import Grid

TOLERANCE_MM = 2e-6  # of edges and faces; twice exactcurves.SPACE_MM

_BUILD = BRep_Builder()
_HERE = TopLoc_Location()


def surface_of(grid: Grid) -> Geom_BSplineSurface:
    """Return a grid as the kernel's surface: same poles, knots and degrees."""
    poles = TColgp_Array2OfPnt(1, grid.poles_mm.shape[0], 1, grid.poles_mm.shape[1])
    for i, row in enumerate(grid.poles_mm.tolist()):
        for j, pole in enumerate(row):
            poles.SetValue(i + 1, j + 1, gp_Pnt(*pole))
    knots_u, count_u = _knots(grid.knots_u)
    knots_v, count_v = _knots(grid.knots_v)
    return Geom_BSplineSurface(poles, knots_u, knots_v, count_u, count_v, grid.degree_u, grid.degree_v)


def ruled_surface(near: BSpline, far: BSpline, width: float) -> Geom_BSplineSurface:
    """Return the straight lines between two splines over one knot vector; λ runs from 0 to ``width``."""
    poles = TColgp_Array2OfPnt(1, len(near.c), 1, 2)
    for i, pair in enumerate(zip(near.c.tolist(), far.c.tolist(), strict=True)):
        for j, pole in enumerate(pair):
            poles.SetValue(i + 1, j + 1, gp_Pnt(*pole))
    knots, count = _knots(near.t)
    across, twice = _knots(np.array([0.0, 0.0, width, width]))
    return Geom_BSplineSurface(poles, knots, across, count, twice, near.k, 1)


def curve_of(spline: BSpline) -> Geom_BSplineCurve:
    """Return a spline in space as the kernel's curve."""
    poles = TColgp_Array1OfPnt(1, len(spline.c))
    for i, pole in enumerate(spline.c.tolist()):
        poles.SetValue(i + 1, gp_Pnt(*pole))
    return Geom_BSplineCurve(poles, *_knots(spline.t), spline.k)


def pcurve_of(spline: BSpline) -> Geom2d_BSplineCurve:
    """Return a spline in (u, v) as the kernel's curve on a surface."""
    poles = TColgp_Array1OfPnt2d(1, len(spline.c))
    for i, pole in enumerate(spline.c.tolist()):
        poles.SetValue(i + 1, gp_Pnt2d(*pole))
    return Geom2d_BSplineCurve(poles, *_knots(spline.t), spline.k)


def line_pcurve(start, direction) -> Geom2d_Line:
    """Return the straight line start + t direction, ``direction`` of length one."""
    return Geom2d_Line(gp_Pnt2d(*map(float, start)), gp_Dir2d(*map(float, direction)))


def _knots(full):
    distinct, counts = np.unique(full, return_counts=True)
    knots, times = TColStd_Array1OfReal(1, len(distinct)), TColStd_Array1OfInteger(1, len(distinct))
    for i, (knot, count) in enumerate(zip(distinct.tolist(), counts.tolist(), strict=True)):
        knots.SetValue(i + 1, knot)
        times.SetValue(i + 1, count)
    return knots, times


def made_vertex(point_mm, tolerance_mm: float = TOLERANCE_MM) -> TopoDS_Vertex:
    """Return a vertex, twice as loose as the edges that end there."""
    vertex = TopoDS_Vertex()
    _BUILD.MakeVertex(vertex, gp_Pnt(*map(float, point_mm)), 2 * tolerance_mm)
    return vertex


def made_edge(curve, limits, start: TopoDS_Vertex, end: TopoDS_Vertex) -> TopoDS_Edge:
    """Return the edge along ``curve`` between two parameters and two vertices."""
    edge = TopoDS_Edge()
    _BUILD.MakeEdge(edge, curve, TOLERANCE_MM)
    _BUILD.Add(edge, start.Oriented(TopAbs_FORWARD))
    _BUILD.Add(edge, end.Oriented(TopAbs_REVERSED))
    _BUILD.Range(edge, float(limits[0]), float(limits[1]))
    return edge


def lay_on(edge: TopoDS_Edge, pcurve, surface, tolerance_mm: float = TOLERANCE_MM) -> None:
    """Tell an edge its line in the parameters of a surface; same parameter as in space."""
    _BUILD.UpdateEdge(edge, pcurve, surface, _HERE, tolerance_mm)
    _BUILD.SameRange(edge, True)
    _BUILD.SameParameter(edge, True)


def made_face(surface, rings, *, is_reversed: bool) -> TopoDS_Face:
    """Return a face inside rings of (edge, runs forward), each keeping it on its left in (u, v)."""
    face = TopoDS_Face()
    _BUILD.MakeFace(face, surface, _HERE, TOLERANCE_MM)
    for ring in rings:
        wire = TopoDS_Wire()
        _BUILD.MakeWire(wire)
        for edge, forward in ring:
            _BUILD.Add(wire, edge.Oriented(TopAbs_FORWARD if forward else TopAbs_REVERSED))
        wire.Closed(True)
        _BUILD.Add(face, wire)
    return face.Oriented(TopAbs_REVERSED) if is_reversed else face


def made_shell(faces, *, is_closed: bool = False) -> TopoDS_Shell:
    """Return a shell of faces that share edges."""
    shell = TopoDS_Shell()
    _BUILD.MakeShell(shell)
    for face in faces:
        _BUILD.Add(shell, face)
    shell.Closed(is_closed)
    return shell


def made_solid(faces) -> TopoDS_Solid:
    """Return the solid inside faces that share edges and point outward."""
    solid = TopoDS_Solid()
    _BUILD.MakeSolid(solid)
    _BUILD.Add(solid, made_shell(faces, is_closed=True))
    return solid


def made_compound(shapes):
    """Return shapes as one; a single shape is returned as it is."""
    shapes = list(shapes)
    if len(shapes) == 1:
        return shapes[0]
    compound = TopoDS_Compound()
    _BUILD.MakeCompound(compound)
    for shape in shapes:
        _BUILD.Add(compound, shape)
    return compound


def location_of(move: RigidMove) -> TopLoc_Location:
    """Return a rigid move as the kernel's placement."""
    if move.is_identity:
        return TopLoc_Location()
    trsf = gp_Trsf()
    trsf.SetValues(*move.matrix()[:3].ravel().tolist())
    return TopLoc_Location(trsf)
