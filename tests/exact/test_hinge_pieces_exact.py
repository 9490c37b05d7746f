"""Hinge pieces for the CAD kernel: valid, of the prismatoid's volume, a root gap from foot and loose end."""

import pytest
from cases import CARS
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from shipped_plans import closed_plan

from model.exactkernel import location_of
from model.exactposts import foot, lower_end, post_solid, wedge
from model.hingepieces import hinge_pieces
from model.output.step import STOCK, assembly_of
from model.solids import SURFACES, exact_parts, post_parts, post_piece_parts, volume_mm3

PLANS = [(car, way) for car in CARS for way in ("forward", "laid-back")]


@pytest.fixture(params=PLANS, ids=["-".join(plan) for plan in PLANS])
def built(request):
    return closed_plan(*request.param)


def test_a_piece_stands_a_root_gap_from_foot_and_loose_end_and_shares_nothing_with_them(built):
    parts = {part.name: part for part in (*post_piece_parts(built), *post_parts(built))}
    assert hinge_pieces(built)
    for key, piece in hinge_pieces(built).items():
        solid = parts[piece.name].shape
        assert BRepCheck_Analyzer(solid).IsValid()
        assert volume_mm3(solid) == pytest.approx(piece.box.metal_mm3, rel=1e-9)
        for end in ("foot", "lower"):
            part = parts[f"post {' '.join(key)} {end}"]
            stub = part.shape.Moved(location_of(part.move))
            assert BRepCheck_Analyzer(stub).IsValid()
            assert volume_mm3(BRepAlgoAPI_Common(solid, stub).Shape()) == pytest.approx(0.0, abs=1e-6)
            apart = BRepExtrema_DistShapeShape(solid, stub).Value()
            assert apart == pytest.approx(built.plan.root_gap_mm, abs=1e-6)


def test_what_is_cut_back_goes_with_the_wedge_and_nothing_is_lost(built):
    """Foot, wedge and loose end make up the lower end of the post whatever the wedge is: the same volume."""
    for piece in hinge_pieces(built).values():
        whole = [
            sum(volume_mm3(post_solid(part(ends))) for part in (foot, wedge, lower_end))
            for ends in (piece.ends, piece.stub_ends)
        ]
        # A bent wall is ruled between its own two ends, two cuts of it a little differently.
        assert whole[0] == pytest.approx(whole[1], rel=1e-5)
        assert volume_mm3(post_solid(wedge(piece.stub_ends))) > volume_mm3(post_solid(wedge(piece.ends)))


def test_pieces_are_in_the_step_assembly_and_not_in_the_stock_car():
    built = closed_plan("pickup", "forward")
    names = {piece.name for piece in hinge_pieces(built).values()}
    whole = {child.name for child in assembly_of(built, form=SURFACES).children}
    stock = {child.name for child in assembly_of(built, stays=STOCK, form=SURFACES).children}
    assert names and names <= whole and not names & stock
    assert names <= {part.name for part in exact_parts(built, form=SURFACES)}
