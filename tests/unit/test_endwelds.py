"""Ends of new metal that lie beside other metal, and holes too small for sheet."""

from dataclasses import replace

import numpy as np
import pytest
from shipped_plans import closed_plan

from model import fillertips
from model.cornerholes import WELDED_UP
from model.edges import Edge, Edges
from model.endwelds import SPACING_MM, end_welds
from model.evaluate import fit_report_of
from model.fillerruns import CORNER, OPENING, STEP_FROM_MM, Run
from model.fillers import closes_from_mm, fillers_from_runs, fillers_of
from model.fillertips import WELDED_UP_MM
from model.seams import FILLER_SEAM, Seam, seam_reports
from model.weldplan import weld_plan

ROOT_MM, CLOSES_MM = 0.8, 1.7
FAR_UP_MM = 1e5  # where no car is


def strip(name, start, end, width_mm, up_mm=0.0):
    """Return a flat strip along x that ends open at ``start``, far from any car."""
    x = np.linspace(start, end, 30)

    def line(y, order):
        points = np.stack([x, np.full(30, y), np.full(30, FAR_UP_MM + up_mm)], axis=1)[::order]
        return Edge(points, np.broadcast_to([0.0, 0.0, 1.0], points.shape))

    turn = 1 if end > start else -1
    laid = Edges([line(turn * width_mm / 2, 1), line(-turn * width_mm / 2, -1)])
    a, b = laid.length_mm.tolist()
    seam = Seam(name, "strip", "centre", (f"{name} a", f"{name} b"), (), (), ())
    run = Run(seam, laid, 0, 1, (0.0, a), (b, 0.0), (CORNER, OPENING), width_mm, 0.0)
    (filler,) = fillers_from_runs([run], ROOT_MM, 1.0)
    return filler


@pytest.mark.parametrize(
    ("gap_mm", "up_mm", "is_closed"),
    [
        (0.8, 0.0, True),
        (CLOSES_MM - 0.05, 0.0, True),
        (CLOSES_MM + 0.05, 0.0, False),
        (-0.2, 0.0, False),
        (0.8, STEP_FROM_MM - 0.05, True),
        (0.8, STEP_FROM_MM + 0.05, False),
    ],
)
def test_two_ends_are_welded_where_gap_and_step_are_within_a_weld(gap_mm, up_mm, is_closed):
    pair = [strip("one", 0.0, 200.0, 30.0), strip("other", -gap_mm, -200.0, 24.0, up_mm)]
    told = {
        (weld.filler, weld.end): weld.to
        for weld in end_welds(closed_plan("pickup", "split"), pair, CLOSES_MM)
    }
    assert told == ({(0, 0): "filler other", (1, 0): "filler one"} if is_closed else {})


@pytest.mark.parametrize(("wide_mm", "told"), [(WELDED_UP_MM - 0.05, [WELDED_UP]), (WELDED_UP_MM + 0.05, [])])
def test_a_narrow_end_at_nothing_is_welded_up_and_a_wider_one_stays_open(wide_mm, told):
    """The hole between the two pieces, two root gaps wider than the end of the strip."""
    alone = [strip("one", 0.0, 200.0, wide_mm)]
    assert [weld.to for weld in end_welds(closed_plan("pickup", "split"), alone, CLOSES_MM)] == told


def test_strips_are_welded_to_what_they_run_up_against():
    built = closed_plan("pickup", "split")
    report = fit_report_of(built)
    assert not [finding for finding in report.findings if finding.kind in ("open corner", "open gap")]
    (back,) = [m for m in report.new_metal if m.name == "filler roof rear left to roof rear right, back"]
    assert back.ends[0] == "window panel" and back.open_corner_mm == 0.0
    (seam,) = [s for s in report.seams if s.name == f"{back.name}, end, to window panel"]
    assert seam.kind == FILLER_SEAM and seam.pieces == (back.name, "window panel")
    assert seam.length_mm == pytest.approx(back.width_min_mm, abs=0.1)
    assert seam.gap_mm.max == pytest.approx(built.plan.root_gap_mm, abs=0.02)


def test_what_a_strip_covers_of_a_piece_is_no_open_gap_and_is_welded_once():
    built = closed_plan("coupe", "split")
    report = fit_report_of(built)
    assert not [f for f in report.findings if f.kind == "open gap" and f.where.startswith("divider")]
    beside = [s for s in report.seams if s.name.startswith("divider centre, front skin")]
    (end,) = [s for s in report.seams if s.name.endswith("end, to divider centre lower")]
    edges_mm = sum(s.edge_mm for s in seam_reports(built) if s.name.startswith("divider centre, front skin"))
    assert len(beside) == 2 and all(seam.facing_mm == pytest.approx(seam.edge_mm) for seam in beside)
    # what is beside the strip is taken off: its width, and either side a root gap and half a spacing
    beyond_mm = 2 * built.plan.root_gap_mm + SPACING_MM
    assert sum(seam.edge_mm for seam in beside) == pytest.approx(edges_mm - end.edge_mm, abs=beyond_mm + 1e-6)


def test_a_hole_that_is_welded_up_counts_as_a_bead_and_is_told_as_one(monkeypatch):
    """With no step drawn flush over a short run, two fillers 3.8 mm wide end open beside the A-posts."""
    monkeypatch.setattr(fillertips, "DRAWN_MM", 0.0)
    built = replace(closed_plan("pickup", "laid-back"))  # nothing of it is remembered
    report = fit_report_of(built)
    beads = [seam for seam in report.seams if seam.kind == WELDED_UP]
    assert len(beads) == 4  # two ends, and the tips of two corner patches
    for bead in beads:
        assert bead.gap_mm is None and 0 < bead.length_mm < 12.0
        assert ("weld up", bead.name) in {(f.kind, f.where) for f in report.findings}
        assert ("edges do not face", bead.name) not in {(f.kind, f.where) for f in report.findings}
    assert report.totals.weld_by_kind_mm[WELDED_UP] == pytest.approx(sum(s.length_mm for s in beads))
    assert closes_from_mm(built) < min(bead.length_mm for bead in beads)
    assert [f.name for f in fillers_of(built) if WELDED_UP in f.ends] == [
        "filler A left, front skin",
        "filler A right, front skin",
        "filler corner of rear corner left, back skin",
        "filler corner of rear corner right, back skin",
    ]
    planned = {seam.name: seam for seam in weld_plan(built, report).seams}
    assert all(planned[bead.name].length_mm == bead.length_mm for bead in beads)
