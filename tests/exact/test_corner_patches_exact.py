"""Corner patches by the CAD kernel: sound sheet of the right area, a root gap from all four neighbours."""

import pytest
from new_metal_gaps import CORNER_MM
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.gp import gp_Pnt
from OCP.GProp import GProp_GProps
from shipped_plans import closed_plan

from model.cornerholes import KIND, WELDED_UP
from model.exactfaces import exact_faces
from model.exactfillers import filler_face, filler_solid
from model.exactkernel import location_of
from model.fillers import fillers_of
from model.solids import volume_mm3

CASES = [
    ("pickup", "forward"),
    *(
        pytest.param(*case, marks=pytest.mark.heavy)
        for case in (
            ("pickup", "laid-back"),
            ("coupe", "laid-back"),
            ("coupe", "forward"),
            ("coupe", "split"),
        )
    ),
]
PLACES = 5  # along every border


def patches_of(built):
    """Return the corner patches of a plan."""
    found = [filler for filler in fillers_of(built) if filler.seam.kind == KIND]
    assert found
    return found


@pytest.mark.parametrize(("car", "way"), CASES)
def test_a_corner_patch_has_the_area_and_volume_that_the_kernel_finds(car, way):
    for patch in patches_of(closed_plan(car, way)):
        face, solid = filler_face(patch), filler_solid(patch)
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, properties, 1e-6)
        assert properties.Mass() == pytest.approx(patch.grid.area_mm2(), rel=1e-5)
        assert BRepCheck_Analyzer(solid).IsValid()
        sheet_mm3 = patch.thickness_mm * patch.grid.area_mm2()
        assert volume_mm3(solid, 1e-5) == pytest.approx(sheet_mm3, rel=0.1)  # they bend to R 1.7


@pytest.mark.parametrize(("car", "way"), CASES)
def test_a_root_gap_lies_between_a_corner_patch_and_what_is_around_it(car, way):
    built = closed_plan(car, way)
    off_mm = CORNER_MM if way == "split" else 0.1  # there patches break from the ends they are laid from
    faces = exact_faces(built.layout)
    fillers = {filler.name: filler_face(filler) for filler in fillers_of(built)}
    for patch in patches_of(built):
        base, piece = patch.seam.pieces
        sheet = faces.sheet(built.layout.parts[piece]).Moved(location_of(built.moves[piece]))
        around = {"v0": fillers[base], "v1": sheet}
        around |= {f"u{k}": fillers[end] for k, end in enumerate(patch.ends) if end != WELDED_UP}
        for border, beyond in around.items():
            points = patch.border(border).point_mm
            for point in points[:: max(1, len(points) // PLACES)]:
                vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*point.tolist())).Vertex()
                apart_mm = BRepExtrema_DistShapeShape(vertex, beyond).Value()
                assert apart_mm == pytest.approx(built.plan.root_gap_mm, abs=off_mm), (border, point)
