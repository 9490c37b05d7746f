"""Trimmed pieces for the CAD kernel: valid faces and solids that make up the stock skin again."""

import pytest
from cases import CARS
from OCP.BRepCheck import BRepCheck_Analyzer
from quadrature import cell_area
from shipped_plans import closed_plan

from model.exactfaces import area_mm2, exact_faces
from model.exactsheets import Sheets
from model.sheets import waste_area_mm2
from model.solids import volume_mm3
from model.trimmings import is_cut_off, piece_of


@pytest.mark.parametrize("car", CARS)
def test_metal_waste_and_what_is_trimmed_make_up_the_stock_skin(car):
    """Area by area, every face against the live tier's cell, and all of them against the whole skin."""
    built = closed_plan(car)
    faces = exact_faces(built.layout)
    off = [cell for cell in built.layout.cells if is_cut_off(cell.part)]
    assert off
    total = 0.0
    for cell in built.layout.cells:
        face = faces.face(cell)
        assert BRepCheck_Analyzer(face).IsValid(), cell.part
        assert area_mm2(face) == pytest.approx(cell_area(faces, cell), rel=1e-6), cell.part
        total += area_mm2(face)
    assert total == pytest.approx(built.shape.skin.area_mm2, rel=1e-6)
    waste = sum(area_mm2(faces.face(c)) for c in built.layout.cells if c.role == "waste")
    assert waste == pytest.approx(waste_area_mm2(built), rel=1e-4)


@pytest.mark.parametrize("car", CARS)
def test_solids_of_what_was_trimmed_are_valid_and_of_area_times_gauge(car):
    built = closed_plan(car)
    faces = exact_faces(built.layout)
    sheets, gauge = Sheets(faces), built.shape.car.gauge_mm
    off = [cell for cell in built.layout.cells if is_cut_off(cell.part)]
    pieces = {piece_of(cell.part) for cell in off}
    for cell in (
        *off,
        *(c for c in built.layout.cells if c.part in pieces and c.grid in {o.grid for o in off}),
    ):
        solid = sheets.solid(cell, gauge)
        assert BRepCheck_Analyzer(solid).IsValid(), cell.part
        area = area_mm2(faces.face(cell))
        if cell in off:  # mean curvature changes a sheet's volume by t / R
            assert volume_mm3(solid) == pytest.approx(area * gauge, rel=0.01), cell.part
