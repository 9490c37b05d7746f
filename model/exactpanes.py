"""Panes made anew for the CAD kernel: a side pane is one flat plate, a windshield facets between its edges.

Frame: car, in place (:mod:`model.newpanes`).  The outside of a flat pane is one
face inside the polygon of its template, so its area is the template's.  A
windshield is spanned by the triangles that the pictures have; how its glass
bulges between its edges was never measured.  A solid goes the glass's
thickness inward from there, everywhere along the pane's one normal, so its
volume is the thickness times the area of the outside as seen along that normal.
"""

from __future__ import annotations

import numpy as np
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeSolid,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepLib import BRepLib
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shape, TopoDS_Solid

from .newpanes import NewPane, pane_mesh

FLAT_MM = 1e-6  # off its plane, of a pane that is one face
_SEWN_MM = 1e-6


def pane_outside(pane: NewPane) -> TopoDS_Shape:
    """Return the outside of a new pane, facing out of the car."""
    if _is_flat(pane):
        return _facet(pane.edge_mm, pane.normal)
    return _sewn([_facet(corners) for corners in _triangles(pane)])


def pane_solid(pane: NewPane, glass_mm: float) -> TopoDS_Solid:
    """Return a new pane with its thickness, ``glass_mm`` under its outside."""
    inward = -glass_mm * pane.normal
    if _is_flat(pane):
        return TopoDS.Solid_s(
            BRepPrimAPI_MakePrism(_facet(pane.edge_mm, pane.normal), gp_Vec(*inward.tolist())).Shape()
        )
    facets = []
    for corners in _triangles(pane):
        facets += [_facet(corners), _facet(corners[::-1] + inward)]
    for a, b in zip(pane.edge_mm, np.roll(pane.edge_mm, -1, axis=0), strict=True):
        facets.append(_facet(np.array([a, b, b + inward, a + inward])))
    solid = BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(_sewn(facets))).Solid()
    BRepLib.OrientClosedSolid_s(solid)
    return solid


def _is_flat(pane):
    return np.abs((pane.edge_mm - pane.edge_mm[0]) @ pane.normal).max() < FLAT_MM


def _triangles(pane):
    point, _, triangles = pane_mesh(pane)
    return point[triangles]


def _facet(corners_mm, normal=None) -> TopoDS_Face:
    """Return the flat face inside a polygon; without a normal, that of its first three corners."""
    if normal is None:
        normal = np.cross(corners_mm[1] - corners_mm[0], corners_mm[2] - corners_mm[0])
    polygon = BRepBuilderAPI_MakePolygon()
    for corner in corners_mm:
        polygon.Add(gp_Pnt(*corner.tolist()))
    polygon.Close()
    plane = gp_Pln(gp_Pnt(*corners_mm[0].tolist()), gp_Dir(*normal.tolist()))
    return BRepBuilderAPI_MakeFace(plane, _counter_clockwise(polygon, corners_mm, normal)).Face()


def _counter_clockwise(polygon, corners_mm, normal):
    """Return a polygon's wire, turned so that it runs counter-clockwise seen from where a normal points."""
    around = np.cross(corners_mm - corners_mm[0], np.roll(corners_mm, -1, axis=0) - corners_mm[0])
    wire = polygon.Wire()
    return wire if around.sum(axis=0) @ normal > 0 else TopoDS.Wire_s(wire.Reversed())


def _sewn(faces) -> TopoDS_Shape:
    sewing = BRepBuilderAPI_Sewing(_SEWN_MM)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    return sewing.SewedShape()
