"""The mouth of a wedge at the hinge of a leaned post takes new metal, and its beads count once."""

from dataclasses import replace

import numpy as np
import pytest

from model.carfile import demo_car_path, demo_laid_back_path, read_car
from model.evaluate import build_checked
from model.fillers import closes_from_mm, fillers_of
from model.fillerseams import closed_seam_reports, piece_edges, tangent_break_deg
from model.fillertips import tip_width_mm
from model.hingepieces import hinge_pieces
from model.metalfindings import BREAK_LIMIT_DEG
from model.plan import NewMetal
from model.planfile import read_plan
from model.seams import FILLER_SEAM, HINGE, seam_reports
from model.weldruns import beside_post, parts_of, post_of


@pytest.fixture(params=["coupe", "pickup"])
def built(request):
    """Return the plan that leans the A-posts, with new metal between the edges as they were cut."""
    car = read_car(demo_car_path(request.param))
    plan = read_plan(demo_laid_back_path(request.param), car)
    return build_checked(car, replace(plan, new_metal=NewMetal(cut_back_mm=0.0)))


def is_in_skin(seam):
    """Return whether a hinge's seam runs through sheet."""
    return seam.kind == HINGE and not seam.name.endswith(", post")


def test_the_mouth_is_closed_straight_on_from_both_sheets(built):
    fillers = [f for f in fillers_of(built) if f.seam.kind == HINGE]
    was_open = [s for s in seam_reports(built) if is_in_skin(s) and s.gap_mm.max > closes_from_mm(built)]
    is_wide = {s.name for s in was_open if s.gap_mm.max > tip_width_mm(1.0) + 2 * built.plan.root_gap_mm}
    assert is_wide <= {f.seam.name for f in fillers} <= {s.name for s in was_open} and is_wide
    seams = {s.name: s for s in closed_seam_reports(built, tuple(fillers))}
    for filler in fillers:
        for piece in filler.seam.pieces:
            seam = seams[f"{filler.name} to {piece}"]
            assert seam.kind == FILLER_SEAM and tangent_break_deg(seam) < BREAK_LIMIT_DEG
            assert seam.gap_mm.mean == pytest.approx(built.plan.root_gap_mm, abs=0.05)


def test_the_edges_along_a_wedge_strip_lie_in_the_two_cuts_of_its_hinge(built):
    fillers = [f for f in fillers_of(built) if f.seam.kind == HINGE]
    assert fillers
    for filler in fillers:
        hinge = built.leans[[lean.name in filler.name for lean in built.leans].index(True)].hinge
        below, above = piece_edges(filler)
        assert np.abs(hinge.foot.height_above(below.point_mm)).max() < 0.02
        move = built.moves[filler.seam.pieces[1]]
        assert np.abs(hinge.loose.height_above(move.inverse().points(above.point_mm))).max() < 0.02


def test_sheet_beside_a_box_with_a_piece_in_it_is_welded_by_itself(built):
    """The piece's own beads lie further up and down, so that no bead of the box counts for the sheet;
    where weld closes the box at its hinge, it does."""
    fillers = fillers_of(built)
    closed = closed_seam_reports(built, fillers)
    hinges = list(filter(is_in_skin, seam_reports(built)))
    pieced = set(hinge_pieces(built))
    assert pieced <= {post_of(built, seam) for seam in hinges}
    for seam in hinges:
        along_body = [
            s
            for s in closed
            if s.pieces[0] == "body" and (s.name == seam.name or s.name.startswith(f"filler {seam.name}"))
        ]
        assert sum(s.edge_mm for s in along_body) == pytest.approx(seam.edge_mm, abs=2e-3)
        assert seam.over_post_mm > 10.0
        over_mm = 0.0 if post_of(built, seam) in pieced else seam.over_post_mm
        assert sum(s.over_post_mm for s in along_body) == pytest.approx(over_mm, abs=2e-3)


def test_what_is_welded_of_an_open_hinge_lies_beside_the_box(built):
    seams = [s for s in seam_reports(built) if is_in_skin(s) and s.over_post_mm > 1.0]
    assert seams
    for seam in seams:
        key = post_of(built, seam)
        post = built.ends[key].line.post
        half = (post.width_mm if "side skin" in seam.name else post.depth_mm) / 2
        runs = parts_of(built, seam)
        assert sum(length for *_, length in runs) == pytest.approx(seam.length_mm, abs=1e-6)
        for place in beside_post(built, seam, key, np.array([p for _, *ends, _ in runs for p in ends])):
            assert abs(place) > half - 1.0
