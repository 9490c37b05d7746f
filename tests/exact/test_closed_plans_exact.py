"""The closed plans of every way by the CAD kernel: sound sheet, a root gap from all that it is welded to."""

from functools import lru_cache

import pytest
from cases import CARS, car_of
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.gp import gp_Pnt

from model.carfile import demo_closed_way_path
from model.evaluate import build_checked
from model.exactfaces import exact_faces
from model.exactfillers import filler_face
from model.exactkernel import location_of
from model.fillers import fillers_of
from model.fillerseams import least_radius_mm
from model.plan import WAYS
from model.planfile import read_plan
from model.solids import filler_parts, volume_mm3

CORNER_MM = 0.2  # what the root gap gives way by where two fillers share a corner; see DEVELOPERS
PLACES = 5  # along every long edge

CASES = [
    pytest.param(car, way, marks=() if (car, way) == ("pickup", "split") else pytest.mark.heavy)
    for car in CARS
    for way in WAYS
]


@lru_cache
def closed(car, way):
    """Return the closed plan of one way that ships for a car, carried out."""
    return build_checked(car_of(car), read_plan(demo_closed_way_path(car, way), car_of(car)))


@pytest.mark.parametrize(("car", "way"), CASES)
def test_all_new_metal_that_can_be_formed_is_a_sound_solid(car, way):
    parts = {part.name: part.shape for part in filler_parts(closed(car, way))}
    for filler in fillers_of(closed(car, way)):
        shape = parts[filler.name]
        assert BRepCheck_Analyzer(shape).IsValid(), filler.name
        if least_radius_mm(filler.grid) >= filler.thickness_mm:
            sheet_mm3 = filler.thickness_mm * filler.grid.area_mm2()
            assert volume_mm3(shape, 1e-5) == pytest.approx(sheet_mm3, rel=0.05), filler.name


@pytest.mark.parametrize(("car", "way"), CASES)
def test_a_root_gap_lies_between_new_metal_and_both_its_neighbours(car, way):
    built = closed(car, way)
    faces, gap_mm = exact_faces(built.layout), built.plan.root_gap_mm
    pieces = {filler.name: filler_face(filler) for filler in fillers_of(built)}
    for filler in fillers_of(built):
        for which, piece in zip(("v0", "v1"), filler.seam.pieces, strict=True):
            if piece not in pieces:
                move = location_of(built.moves[piece])
                pieces[piece] = faces.sheet(built.layout.parts[piece]).Moved(move)
            border = filler.border(which).point_mm
            for point in border[:: max(1, len(border) // PLACES)]:
                vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*point.tolist())).Vertex()
                apart_mm = BRepExtrema_DistShapeShape(vertex, pieces[piece]).Value()
                assert apart_mm == pytest.approx(gap_mm, abs=CORNER_MM), (filler.name, piece, point)


@pytest.mark.parametrize("car", CARS)
def test_the_sheet_at_the_crossing_shares_no_metal_with_its_strips_and_lies_a_root_gap_off(car):
    built = closed(car, "split")
    parts = {part.name: part.shape for part in filler_parts(built)}
    (patch,) = [f for f in fillers_of(built) if f.name == "filler crossing"]
    for strip in (*patch.seam.pieces, *patch.ends):
        assert volume_mm3(BRepAlgoAPI_Common(parts[patch.name], parts[strip]).Shape(), 1e-5) < 1e-3
        apart_mm = BRepExtrema_DistShapeShape(parts[patch.name], parts[strip]).Value()
        assert apart_mm == pytest.approx(built.plan.root_gap_mm, abs=0.02)
