"""What the kernel says lies between new metal and both the pieces that it is welded to."""

from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.gp import gp_Pnt

from model.exactfaces import exact_faces
from model.exactfillers import filler_face
from model.exactkernel import location_of
from model.fillers import fillers_of

CORNER_MM = 0.25  # what the root gap gives way by where sheets come to a corner; 0.22 seen; see DEVELOPERS
PLACES = 5  # along every long edge


def gaps_by_kernel(built):
    """Yield (filler, piece, place in mm, distance in mm) along both long edges of every filler."""
    faces = exact_faces(built.layout)
    pieces = {filler.name: filler_face(filler) for filler in fillers_of(built)}
    for filler in fillers_of(built):
        for which, piece in zip(("v0", "v1"), filler.seam.pieces, strict=True):
            if piece not in pieces:
                pieces[piece] = faces.sheet(built.layout.parts[piece]).Moved(location_of(built.moves[piece]))
            border = filler.border(which).point_mm
            for point in border[:: max(1, len(border) // PLACES)]:
                vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*point.tolist())).Vertex()
                yield filler.name, piece, point, BRepExtrema_DistShapeShape(vertex, pieces[piece]).Value()
