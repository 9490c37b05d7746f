"""What the CAD kernel is asked: its own curves, planes, lengths and frames; nothing of the live tier."""

from functools import cached_property

import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepBndLib import BRepBndLib
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.Geom import Geom_Plane, Geom_TrimmedCurve
from OCP.GeomAPI import GeomAPI_IntCS
from OCP.GeomLProp import GeomLProp_SLProps
from OCP.gp import gp_Ax1, gp_Dir, gp_Pln, gp_Pnt, gp_Trsf, gp_Vec
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FORWARD, TopAbs_REVERSED
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from model.fit import END_TOLERANCE_MM

LEVEL, ACROSS = gp_Dir(0, 0, 1), gp_Dir(0, 1, 0)


def xyz(point):
    return np.array(point.Coord())


def pnt(values):
    return gp_Pnt(*map(float, values))


def slid(x=0.0, y=0.0, z=0.0):
    move = gp_Trsf()
    move.SetTranslation(gp_Vec(x, y, z))
    return move


def turned(about, angle_deg):
    """Return a turn about the y-parallel through a point; positive lowers the rear."""
    move = gp_Trsf()
    move.SetRotation(gp_Ax1(pnt(about), ACROSS), np.radians(angle_deg))
    return move


def crossings(curve, plane):
    """Return the parameters at which a curve meets a plane."""
    found = GeomAPI_IntCS(curve, Geom_Plane(plane))
    return [found.Parameters(i)[2] for i in range(1, found.NbPoints() + 1)]


def signed_mm(adaptor, start, end):
    """Return the length from one parameter to another, negative if that is backward."""
    return np.sign(end - start) * GCPnts_AbscissaPoint.Length_s(adaptor, start, end, 1e-9)


def tangent(curve, at):
    point, along = gp_Pnt(), gp_Vec()
    curve.D1(at, point, along)
    return gp_Dir(along)


def box_of(shape):
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    return np.array(box.Get()).reshape(2, 3)


class MovedEdge:
    """An edge of a face, run with the metal on its left seen from outside, where a move puts it."""

    def __init__(self, edge, face, move):
        face = TopoDS.Face_s(face)
        explorer = TopExp_Explorer(face, TopAbs_EDGE)
        while not explorer.Current().IsSame(edge):
            explorer.Next()
        self.edge = TopoDS.Edge_s(explorer.Current())
        self.forward = self.edge.Orientation() == TopAbs_FORWARD
        self.out = -1.0 if face.Orientation() == TopAbs_REVERSED else 1.0
        self.adaptor = BRepAdaptor_Curve(self.edge)
        self.first, self.last = self.adaptor.FirstParameter(), self.adaptor.LastParameter()
        self.curve = Geom_TrimmedCurve(BRep_Tool.Curve_s(self.edge, 0.0, 1.0), self.first, self.last)
        self.on_surface = BRep_Tool.CurveOnSurface_s(self.edge, face, 0.0, 1.0)
        self.surface = BRep_Tool.Surface_s(face)
        self.move, self.back = move, move.Inverted()

    @cached_property
    def length_mm(self):
        return GCPnts_AbscissaPoint.Length_s(self.adaptor, 1e-9)

    def part_mm(self, start, end):
        return GCPnts_AbscissaPoint.Length_s(self.adaptor, start, end, 1e-9)

    def parameter(self, along_mm):
        s, start = (along_mm, self.first) if self.forward else (-along_mm, self.last)
        return GCPnts_AbscissaPoint(self.adaptor, s, start, 1e-9).Parameter()

    def frame(self, at):
        """Return point, direction and outward normal in place."""
        uv = self.on_surface.Value(at)
        normal = GeomLProp_SLProps(self.surface, uv.X(), uv.Y(), 1, 1e-9).Normal()
        along = xyz(tangent(self.curve, at).Transformed(self.move)) * (1.0 if self.forward else -1.0)
        return (
            xyz(self.curve.Value(at).Transformed(self.move)),
            along,
            self.out * xyz(normal.Transformed(self.move)),
        )

    def crossings(self, point, direction):
        """Return parameters where it meets a plane in place; an end that all but does counts."""
        plane = gp_Pln(pnt(point), gp_Dir(*direction.tolist())).Transformed(self.back)
        found = crossings(self.curve, plane)
        return found or [
            end for end in (self.first, self.last) if plane.Distance(self.curve.Value(end)) < END_TOLERANCE_MM
        ]


def read_across(edge, others, along_mm):
    """Return place, gap, step, both angles and the distance of the facing point; None where none faces."""
    point, along, normal = edge.frame(edge.parameter(along_mm))
    facing = [o.frame(at) for o in others for at in o.crossings(point, along)]
    if not facing:
        return None
    far, _, far_normal = min(facing, key=lambda f: np.linalg.norm(f[0] - point))
    r, mean = far - point, normal + far_normal
    mean -= (mean @ along) * along
    mean /= np.linalg.norm(mean)
    gap, step = r @ np.cross(along, mean), r @ mean
    angles = []
    for own, sign in ((normal, 1.0), (far_normal, -1.0)):
        own = own - (own @ along) * along
        way = -r if gap < 0 else r
        angles.append(-np.degrees(np.arctan2(sign * (way @ own), way @ np.cross(along, own))))
    return point, gap, step, angles, np.linalg.norm(r)
