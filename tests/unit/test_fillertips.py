"""Where a filler ends for want of width, in closed form; strips over a step; what is welded up instead."""

import numpy as np
import pytest

from model.edges import Edge, Edges
from model.fillerruns import BEAD, OPENING, STEP_FROM_MM, Run
from model.fillers import fillers_from_runs
from model.fillerseams import least_radius_mm
from model.fillertips import DRAWN_MM, SHORT_MM, TIP_GAUGES, TIP_MM, WELDED_UP_MM, tip_width_mm
from model.seams import Seam

ROOT_MM, GAUGE_MM = 0.8, 0.9  # the tip is then 1/8 in, not 3.5 gauges
SEAM = Seam("slot", "skin", "centre", ("body", "roof"), (), (), ())


def slot(gap_mm, step_mm, length_mm, *, ends=(OPENING, OPENING), gauge_mm=GAUGE_MM):
    """Return the fillers of a slot in level skins; gap and step are those at both ends, straight between."""
    x = np.linspace(0.0, length_mm, 61)
    up = np.broadcast_to([0.0, 0.0, 1.0], (61, 3))
    gap, step = (np.interp(x, (0.0, length_mm), pair) for pair in (gap_mm, step_mm))
    first = Edge(np.stack([x, 0 * x, 0 * x], axis=1), up)
    second = Edge(np.stack([x, -gap, step], axis=1)[::-1], up)
    laid = Edges([first, second])
    a, b = laid.length_mm.tolist()
    run = Run(SEAM, laid, 0, 1, (0.0, a), (b, 0.0), ends, max(gap_mm), max(step_mm, key=abs))
    return fillers_from_runs([run], ROOT_MM, gauge_mm)


def test_a_wedge_ends_where_it_is_as_wide_as_can_be_cut():
    """Gap 0.02 x in a plane; both borders lie a root gap off, the second along its own direction out."""
    slope, length = 0.02, 1000.0
    (filler,) = slot((2 * ROOT_MM, slope * length + 2 * ROOT_MM), (0.0, 0.0), length, ends=(BEAD, OPENING))
    (start, end), (mouth,) = filler.run.first_mm, filler.mouths_mm
    by_hand = TIP_MM / slope  # width slope · x, but for the second edge's cosine
    assert start == pytest.approx(by_hand, abs=3.0) and start >= by_hand * 0.995  # a place of the lattice
    assert end == length and mouth == (0.0, start) and filler.ends == (BEAD, OPENING)
    border = np.linalg.norm(filler.border("v0").point_mm - filler.border("v1").point_mm[::-1], axis=1)
    assert border.min() >= TIP_MM - 1e-6
    assert 2 * ROOT_MM + slope * start < WELDED_UP_MM


def test_a_wedge_whose_ends_are_wide_enough_stays_as_it_is():
    (filler,) = slot((12.0, 40.0), (0.0, 0.0), 300.0)
    assert filler.run.first_mm == (0.0, 300.0) and filler.mouths_mm == ()


def test_an_end_too_wide_to_be_welded_up_stays_and_is_told():
    """Beside a step of 7 mm only 1 mm is left within the skin: too tight, and no weld closes that either."""
    (filler,) = slot((1.0 + 2 * ROOT_MM, 60.0), (7.0, 4.0), 300.0, ends=(BEAD, OPENING))
    assert filler.run.first_mm == (0.0, 300.0) and filler.mouths_mm == ()
    assert least_radius_mm(filler.grid) < GAUGE_MM


@pytest.mark.parametrize("step_gauges", np.geomspace(0.5, 60, 15))
def test_a_strip_as_wide_as_a_tip_can_be_bent_over_any_step(step_gauges):
    """Least radius of the cross line by differences of its tangent angle, away from the code's formula."""
    gauge, width, step = 1.0, TIP_GAUGES, float(step_gauges)
    (filler,) = slot((width + 2 * ROOT_MM,) * 2, (step, step), 200.0, gauge_mm=gauge)
    t = np.linspace(0, 1, 20001)
    line = filler.grid.point(np.stack([0 * t + 0.5, t], axis=1))
    angle = np.unwrap(np.arctan2(*np.diff(line[:, [1, 2]], axis=0).T))
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    radius = 1 / (np.abs(np.diff(angle)) / length[1:])[5:-5].max()
    assert radius > 1.2 * gauge
    assert least_radius_mm(filler.grid) == pytest.approx(radius, rel=0.03)
    (narrow,) = slot((2.5 + 2 * ROOT_MM,) * 2, (5.0, 5.0), 200.0, gauge_mm=gauge)
    assert least_radius_mm(narrow.grid) < gauge  # or the width above says nothing


@pytest.mark.parametrize(
    ("gap_mm", "step_mm", "length_mm", "count"),
    [
        (1.9, 0.0, 300.0, 0),  # narrow all along
        (1.9, STEP_FROM_MM + 0.3, SHORT_MM - 1, 0),  # and a step that is drawn flush over a short run
        (1.9, STEP_FROM_MM + 0.3, SHORT_MM + 1, 1),
        (1.9, DRAWN_MM + 0.1, SHORT_MM - 1, 1),
        (TIP_MM + 2 * ROOT_MM + 0.01, 0.0, 300.0, 1),
    ],
)
def test_what_a_weld_closes_all_the_same_gets_no_filler(gap_mm, step_mm, length_mm, count):
    assert len(slot((gap_mm,) * 2, (step_mm,) * 2, length_mm)) == count


def test_thick_sheet_needs_a_wider_tip():
    assert tip_width_mm(GAUGE_MM) == TIP_MM and tip_width_mm(1.5) == pytest.approx(TIP_GAUGES * 1.5)
