"""Panes made anew in the exact tier: whole, as large as their templates, as thick as glass."""

import numpy as np
import pytest
import shapely
from shipped_plans import closed_plan

from model.display import patches_of
from model.doors import side_glass
from model.exactfaces import area_mm2, exact_faces
from model.layout import GLASS_WASTE, PANE
from model.namedparts import named_parts
from model.newpanes import new_panes, pane_mesh, part_name
from model.output.step import colour_of
from model.piececolours import part_rgba
from model.solids import SURFACES, new_pane_parts, skin_parts, volume_mm3

CASES = (("coupe", "laid-back"), ("pickup", "forward"))


@pytest.fixture(scope="module", params=CASES, ids="-".join)
def built(request):
    return closed_plan(*request.param)


def test_side_panes_have_the_areas_of_their_templates_and_the_thickness_of_the_glass(built):
    """The kernel's integrals against the shoelace formula on the template's flat outline."""
    outsides = {part.name: part for part in new_pane_parts(built, SURFACES)}
    solids = {part.name: part for part in new_pane_parts(built)}
    told = [pane for pane in side_glass(built) if pane.outline_after_mm]
    assert told
    for pane in told:
        name = f"pane {pane.pane} {pane.side}"
        expected = shapely.Polygon(pane.outline_after_mm).area
        assert area_mm2(outsides[name].shape) == pytest.approx(expected, rel=1e-6)
        glass_mm = built.shape.car.glass_mm
        assert volume_mm3(solids[name].shape) == pytest.approx(expected * glass_mm, rel=1e-6)


def test_windshields_are_as_large_as_drawn_and_as_thick_along_their_one_normal(built):
    """Volume: the shoelace formula on the edge as seen along the normal, times the thickness."""
    outsides = {part.name: part for part in new_pane_parts(built, SURFACES)}
    solids = {part.name: part for part in new_pane_parts(built)}
    shields = [pane for pane in new_panes(built) if pane.name.startswith("windshield")]
    assert shields
    for pane in shields:
        point, _, triangles = pane_mesh(pane)
        a, b, c = point[triangles].swapaxes(0, 1)
        drawn = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
        assert area_mm2(outsides[part_name(pane)].shape) == pytest.approx(drawn, rel=1e-9)
        along, up = pane.axes
        seen = abs(shapely.Polygon(np.stack([pane.edge_mm @ along, pane.edge_mm @ up], axis=1)).area)
        seen *= abs(np.cross(along, up) @ pane.normal)
        expected = seen * built.shape.car.glass_mm
        assert volume_mm3(solids[part_name(pane)].shape) == pytest.approx(expected, rel=1e-6)


def test_each_pane_is_there_once_in_the_picture_s_name_and_colour_and_its_stock_glass_is_removed(built):
    anew = {part.name: part for part in new_pane_parts(built, SURFACES)}
    skin = skin_parts(built, exact_faces(built.layout), SURFACES)
    meshed = {part.name: part for part in named_parts(built) if part.kind == PANE}
    drawn = {patch.part: patch for patch in patches_of(built) if patch.role == PANE}
    halves = [part for part in skin if part.name.startswith(tuple(anew))]
    assert anew and len(halves) >= 2 * len(anew)
    assert all(part.is_removed and part.kind == GLASS_WASTE for part in halves)
    stays = {part.name for part in skin if part.kind == PANE and not part.is_removed}
    assert set(meshed) == stays | set(anew)
    for name, part in anew.items():
        assert part.kind == PANE and part.is_new and not part.is_removed and part.move.is_identity
        assert colour_of(part) == part_rgba(PANE, drawn[name].carrier)
        assert part_rgba(meshed[name].kind, meshed[name].carrier) == colour_of(part)
        np.testing.assert_allclose(meshed[name].placed_mm, drawn[name].point_mm, atol=1e-9)
