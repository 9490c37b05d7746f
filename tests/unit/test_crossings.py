"""The sheet where four strips cross: a rectangle in a plane, and a root gap from all four on both cars."""

import numpy as np
import pytest
from shipped_plans import closed_plan

from model.crossings import crossings_of
from model.edges import Edge, Edges
from model.evaluate import fit_report_of
from model.fillerruns import CORNER, OPENING, Run
from model.fillers import fillers_from_runs, fillers_of, with_crossings
from model.fillerseams import tangent_break_deg
from model.seams import Seam

ROOT_MM = 0.8
HALF_X, HALF_Y, FAR = 40.0, 15.0, 300.0  # of the hole; how far the four flat sheets reach


def strip_run(name, turn, half_hole, half_width):
    """Return the run of a strip that lies along +x from the hole outwards, turned about z by right angles."""
    c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][turn]
    x = np.linspace(half_hole, FAR, 40)
    turned = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])

    def edge(y, order):
        points = np.stack([x, np.full(40, y), 0 * x], axis=1)[::order] @ turned.T
        return Edge(points, np.broadcast_to([0.0, 0.0, 1.0], (40, 3)))

    laid = Edges([edge(half_width, 1), edge(-half_width, -1)])
    a, b = laid.length_mm.tolist()
    seam = Seam(name, "strip", "centre", (f"{name} a", f"{name} b"), (), (), ())
    return Run(seam, laid, 0, 1, (0.0, a), (b, 0.0), (CORNER, OPENING), 2 * half_width, 0.0)


def flat_strips(count=4):
    """Return strips along +x, +y, −x and −y that end at the corners of one rectangle."""
    holes = [(HALF_X, HALF_Y), (HALF_Y, HALF_X)]
    runs = [strip_run(f"strip {k}", k, *holes[k % 2]) for k in range(count)]
    return fillers_from_runs(runs, ROOT_MM, 1.0)


def test_in_a_plane_it_is_the_rectangle_between_the_strips_less_the_root_gaps():
    *strips, patch = with_crossings(flat_strips(), ROOT_MM)
    assert len(strips) == 4 and CORNER not in patch.ends
    assert all(strip.ends == (patch.name, OPENING) for strip in strips)
    # A root gap from the ends of two strips, and beside the other two.
    assert patch.grid.area_mm2() == pytest.approx(
        (2 * HALF_X - 2 * ROOT_MM) * (2 * HALF_Y - 2 * ROOT_MM), rel=1e-9
    )
    point, _, _, normal = patch.grid.frame(np.random.default_rng(4).uniform(size=(100, 2)))
    assert np.abs(point[:, 2]).max() < 1e-12 and np.abs(normal - (0, 0, 1)).max() < 1e-12
    assert (np.abs(point[:, :2]) < (HALF_X - ROOT_MM + 1e-9, HALF_Y - ROOT_MM + 1e-9)).all()


def test_three_ends_are_no_crossing():
    strips = flat_strips(3)
    assert crossings_of(strips) == [] and with_crossings(strips, ROOT_MM) == strips


@pytest.fixture(scope="module", params=["coupe", "pickup"])
def built(request):
    """Return the closed plan with a split roof."""
    return closed_plan(request.param, "split")


def test_on_a_car_it_lies_a_root_gap_from_all_four_strips(built):
    (patch,) = [f for f in fillers_of(built) if f.name == "filler crossing"]
    seams = [s for s in fit_report_of(built).seams if patch.name in s.pieces]
    assert len(seams) == 4
    for seam in seams:
        assert seam.facing_mm == pytest.approx(seam.edge_mm)
        assert seam.gap_mm.min == pytest.approx(built.plan.root_gap_mm, abs=1e-3)
        assert seam.gap_mm.max == pytest.approx(built.plan.root_gap_mm, abs=1e-3)
        assert max(abs(seam.step_mm.min), abs(seam.step_mm.max)) < 1e-3
        assert tangent_break_deg(seam) < 0.01


def test_a_symmetric_car_has_a_symmetric_crossing():
    (patch,) = [f for f in fillers_of(closed_plan("pickup", "split")) if f.name == "filler crossing"]
    t = np.linspace(0, 1, 21)
    uv = np.stack(np.meshgrid(t, t, indexing="ij"), axis=-1).reshape(-1, 2)
    a, b = patch.grid.point(uv), patch.grid.point(np.stack([1 - uv[:, 0], uv[:, 1]], axis=1))
    assert np.abs(a * (1, -1, 1) - b).max() < 1e-6
