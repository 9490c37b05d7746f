"""How seams of the closed roof meet as the kernel has it: nearest points of faces, the faces' own normals.

At a place on the first piece let P be the nearest point of the second piece's
outside, r the way to it, n₁ and n₂ the faces' normals at either end.  Then

    step = r · n,  n the mean of both;   gap = √(r² − step²);   break = ∠(n₁, n₂)

seen along the edge, r × n: what the two turn about r is the skin's own.

The live tier reads across in the plane square to the edge; the nearest point
is no further off than its facing point, so that the kernel's opening |r| is at
most the live one, and the same where the two edges run alongside.  It has no
sign: what overlaps is told by what the solids have in common.
"""

from dataclasses import dataclass

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.gp import gp_Pnt, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_VERTEX
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

from model.exactfaces import exact_faces
from model.exactkernel import location_of, made_compound
from model.fit import turn_deg
from model.solids import FILLER, POST, SURFACES, exact_parts

EVERY = 12  # of the report's places, beside those of the greatest gap and the greatest step


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A place on a seam by both tiers; ``own_mm`` is how far it lies from the kernel's first piece."""

    seam: str
    kind: str
    pieces: tuple[str, str]
    is_box: bool
    at_mm: tuple[float, float, float]
    own_mm: float
    live_mm: tuple[float, float]  # gap, step
    live_break_deg: float
    gap_mm: float
    step_mm: float
    break_deg: float

    @property
    def opening_mm(self) -> float:
        """Distance of the second piece."""
        return float(np.hypot(self.gap_mm, self.step_mm))


class Faces:
    """Outsides of one piece in place, and the face that a nearest point lies on."""

    def __init__(self, shape):
        self.shape, self.surfaces = shape, {}
        self.of_edge, self.of_vertex = (TopTools_IndexedDataMapOfShapeListOfShape() for _ in range(2))
        TopExp.MapShapesAndAncestors_s(shape, TopAbs_EDGE, TopAbs_FACE, self.of_edge)
        TopExp.MapShapesAndAncestors_s(shape, TopAbs_VERTEX, TopAbs_FACE, self.of_vertex)

    def nearest(self, point):
        """Return the nearest point and the normal there, out of the car."""
        found = BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex(), self.shape)
        at, support = found.PointOnShape2(1), found.SupportOnShape2(1)
        kind = support.ShapeType()
        if kind == TopAbs_FACE:
            face = support
        else:
            owners = self.of_edge if kind == TopAbs_EDGE else self.of_vertex
            face = owners.FindFromKey(support).First()
        return np.array(at.Coord()), self._normal(TopoDS.Face_s(face), at)

    def _normal(self, face, at):
        surface = BRep_Tool.Surface_s(face)
        uv = ShapeAnalysis_Surface(surface).ValueOfUV(at, 1e-6)
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        surface.D1(uv.X(), uv.Y(), point, du, dv)
        normal = np.array(du.Crossed(dv).Normalized().Coord())
        return -normal if face.Orientation() == TopAbs_REVERSED else normal


def openings_by_kernel(built, seams):
    """Yield an :class:`Opening` for places along every seam between two pieces that has a facing edge."""
    sheet, boxes = _outsides(built)
    for seam in seams:
        if not seam.stations or seam.pieces[0] == seam.pieces[1]:
            continue
        is_box = ", post" in seam.name
        first, second = ((boxes if is_box else sheet)[piece] for piece in seam.pieces)
        gaps, steps = (np.array([getattr(s, f"{x}_mm") for s in seam.stations]) for x in ("gap", "step"))
        some = {*range(0, len(gaps), EVERY), int(gaps.argmax()), int(np.abs(steps).argmax())}
        for station in (seam.stations[i] for i in sorted(some)):
            own, first_normal = first.nearest(station.at_mm)
            other, second_normal = second.nearest(station.at_mm)
            way, mean = other - station.at_mm, first_normal + second_normal
            step = float(way @ mean / np.linalg.norm(mean))
            yield Opening(
                seam=seam.name,
                kind=seam.kind,
                pieces=seam.pieces,
                is_box=is_box,
                at_mm=station.at_mm,
                own_mm=float(np.linalg.norm(own - station.at_mm)),
                live_mm=(station.gap_mm, station.step_mm),
                live_break_deg=abs(float(turn_deg(station.angle_first_deg, station.angle_second_deg))),
                gap_mm=float(np.sqrt(max(way @ way - step**2, 0.0))),
                step_mm=step,
                break_deg=_angle_deg(first_normal, second_normal, np.cross(way, mean)),
            )


def _angle_deg(first, second, along):
    """Return the angle between two directions as it is seen along a third; as it is, where that is none."""
    size = np.linalg.norm(along)
    if size > 1e-9:
        first, second = (x - (x @ along) * along / size**2 for x in (first, second))
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(first, second)), first @ second)))


def _outsides(built):
    """Return the outside of every piece's skin and new sheet, and of every piece's posts, by its name."""
    sheet, boxes = {}, {}
    for part in exact_parts(built, form=SURFACES, faces=exact_faces(built.layout)):
        if part.is_removed:
            continue
        is_box = part.kind == POST or (part.kind == FILLER and _count_of_faces(part.shape) > 1)
        (boxes if is_box else sheet).setdefault(part.piece, []).append(
            part.shape.Moved(location_of(part.move))
        )
    return tuple({name: Faces(made_compound(shapes)) for name, shapes in d.items()} for d in (sheet, boxes))


def _count_of_faces(shape):
    explorer, count = TopExp_Explorer(shape, TopAbs_FACE), 0
    while explorer.More():
        count += 1
        explorer.Next()
    return count
