"""Corner patches: a rectangle in a plane, what is left open, and root gap and tangent planes on the cars."""

import numpy as np
import pytest
import shapely
from shipped_plans import closed_plan

from model.cornerholes import KIND, WELDED_UP, corner_holes
from model.edges import Edge, Edges
from model.evaluate import fit_report_of
from model.fillerruns import CORNER, OPENING, Run
from model.fillers import fillers_from_runs, fillers_of, with_corner_patches
from model.fillertips import WELDED_UP_MM
from model.metalfindings import BREAK_LIMIT_DEG
from model.seams import Seam

ROOT_MM, CLOSES_MM = 0.8, 2.0
WIDE, HIGH, FAR = 60.0, 35.0, 300.0  # of the hole, and how far flat sheets reach


def line(start, end):
    """Return a straight edge in the plane z = 0, seen from above, metal on its left."""
    points = np.linspace((*start, 0.0), (*end, 0.0), 40)
    return Edge(points, np.broadcast_to([0.0, 0.0, 1.0], points.shape))


def run_between(name, pieces, first, second, first_mm, second_mm, ends):
    """Return a run between two lines."""
    laid = Edges([first, second])
    seam = Seam(name, "skin", "centre", pieces, (), (), ())
    gap_mm = float(np.linalg.norm(first.point_mm[0] - second.point_mm[-1]))
    return Run(seam, laid, 0, 1, first_mm, second_mm, ends, gap_mm, 0.0)


def strip_below(low, left):
    """Return the run between "low" and the first FAR of "left"."""
    return run_between("below", ("low", "left"), low, left, (0.0, FAR), (FAR, 0.0), (CORNER, OPENING))


def three_strips(turn=0.0):
    """Return fillers around a hole 0 < x < WIDE, 0 < y < HIGH, whose left side is the edge of one piece.

    "low" and "high" are beside the base strip, which runs off to the right; "left" has x < 0 for its metal.
    """
    c, s = np.cos(turn), np.sin(turn)

    def at(x, y):
        return c * x - s * y, s * x + c * y

    left = line(at(0, -FAR), at(0, HIGH + FAR))  # metal on the left: x < 0
    base = run_between(
        "base",
        ("high", "low"),
        line(at(WIDE, HIGH), at(WIDE + FAR, HIGH)),
        line(at(WIDE + FAR, 0), at(WIDE, 0)),
        (0.0, FAR),
        (FAR, 0.0),
        (CORNER, OPENING),
    )
    below = strip_below(line(at(WIDE, 0), at(WIDE, -FAR)), left)
    above = run_between(
        "above",
        ("high", "left"),
        line(at(WIDE, HIGH + FAR), at(WIDE, HIGH)),
        left,
        (0.0, FAR),
        (HIGH + 2 * FAR, HIGH + FAR),
        (OPENING, CORNER),
    )
    return fillers_from_runs([base, below, above], ROOT_MM, 1.0)


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.5])
def test_in_a_plane_it_is_the_rectangle_less_a_root_gap_all_around(turn):
    *strips, patch = with_corner_patches(three_strips(turn), ROOT_MM, CLOSES_MM)
    assert [strip.ends for strip in strips] == [
        (patch.name, OPENING),
        (patch.name, OPENING),
        (OPENING, patch.name),
    ]
    assert patch.name == "filler corner of base" and patch.seam.kind == KIND
    assert sorted(patch.ends) == ["filler above", "filler below"]
    assert patch.seam.pieces == ("filler base", "left")
    wide, high = WIDE - 2 * ROOT_MM, HIGH - 2 * ROOT_MM
    assert patch.grid.area_mm2() == pytest.approx(wide * high, rel=1e-9)
    corners = patch.grid.point(np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]))[:, :2]
    back = corners @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    assert np.abs(np.sort(back, axis=0) - np.sort([[ROOT_MM, ROOT_MM], [ROOT_MM, HIGH - ROOT_MM],
        [WIDE - ROOT_MM, ROOT_MM], [WIDE - ROOT_MM, HIGH - ROOT_MM]], axis=0)).max() < 1e-9  # fmt: skip


def test_the_base_is_the_end_that_meets_both_others():
    (hole,) = corner_holes(three_strips(), ROOT_MM, CLOSES_MM)
    assert hole.base.name == "filler base"
    assert {side.name for side in hole.sides} == {"filler below", "filler above"}


def test_where_a_bead_closes_one_side_the_sheet_ends_where_the_hole_is_narrow_and_the_tip_is_welded_up():
    """The base end runs from (0, HIGH), where a weld closes it to the left piece, to (WIDE, 0)."""
    left = line((0, -FAR), (0, HIGH + FAR))
    base = run_between(
        "base",
        ("high", "low"),
        line((CLOSES_MM - 1e-6, HIGH), (CLOSES_MM + FAR, HIGH)),
        line((WIDE + FAR, 0), (WIDE, 0)),
        (0.0, FAR),
        (FAR, 0.0),
        (CORNER, OPENING),
    )
    below = strip_below(line((WIDE, 0), (WIDE, -FAR)), left)
    *strips, patch = with_corner_patches(fillers_from_runs([base, below], ROOT_MM, 1.0), ROOT_MM, CLOSES_MM)
    assert sorted(patch.ends) == sorted(["filler below", WELDED_UP])
    tip = patch.ends.index(WELDED_UP)
    at = patch.run.first_mm[tip]
    corner = patch.run.laid.at(np.array([0]), np.array([at]))[0][0]
    # from the left piece's edge, x = 0: the hole is a tip of 3.5 gauges and two root gaps wide there
    assert corner[0] == pytest.approx(3.5 * 1.0 + 2 * ROOT_MM, abs=1e-6)
    assert corner[0] < WELDED_UP_MM
    ring = np.concatenate([patch.border(b).point_mm[:-1, :2] for b in ("v1", "u1", "v0", "u0")])
    assert patch.grid.area_mm2() == pytest.approx(shapely.Polygon(ring).area, rel=1e-4)
    # the base, the left piece and the strip below bound it: all points within, a root gap off
    points = patch.grid.point(np.random.default_rng(7).uniform(size=(200, 2)))
    assert points[:, 0].min() > ROOT_MM - 1e-9 and points[:, 1].min() > ROOT_MM - 0.1
    assert strips[0].ends[0] == patch.name and strips[1].ends[0] == patch.name


@pytest.mark.parametrize("left_out", [0, 1, 2])
def test_two_ends_that_no_bead_joins_are_left_open(left_out):
    strips = tuple(f for k, f in enumerate(three_strips()) if k != left_out)
    assert with_corner_patches(strips, ROOT_MM, CLOSES_MM) == strips


CASES = [("coupe", "forward", 9018.0), ("pickup", "forward", 3033.0)]


@pytest.fixture(scope="module", params=CASES, ids=["-".join(case[:2]) for case in CASES])
def case(request):
    """Return a closed plan carried out, and the area of a patch of it as it was seen."""
    return closed_plan(*request.param[:2]), request.param[2]


def test_on_a_car_all_four_borders_lie_a_root_gap_off_in_the_tangent_planes_beyond(case):
    built, area_mm2 = case
    report = fit_report_of(built)
    patches = [metal for metal in report.new_metal if metal.kind == KIND]
    assert len(patches) == 2
    for patch in patches:
        assert patch.area_mm2 == pytest.approx(area_mm2, rel=1e-3)
        assert len(patch.edges) == 4 and CORNER not in patch.ends
        own = [seam for seam in report.seams if patch.name in seam.pieces]
        assert len(own) == 4 and len({seam.name for seam in own}) == 4
        for seam in own:
            assert seam.facing_mm == pytest.approx(seam.edge_mm)
            assert seam.gap_mm.min == pytest.approx(built.plan.root_gap_mm, abs=5e-3)
            assert seam.gap_mm.max == pytest.approx(built.plan.root_gap_mm, abs=5e-3)
            assert max(abs(seam.step_mm.min), abs(seam.step_mm.max)) < 5e-3
            assert seam.length_mm > 20
        assert max(edge.tangent_break_deg for edge in patch.edges) < BREAK_LIMIT_DEG


def test_its_area_is_that_of_its_triangles(case):
    built, _ = case
    for patch in (f for f in fillers_of(built) if f.seam.kind == KIND):
        t = np.linspace(0, 1, 301)
        uv = np.stack(np.meshgrid(t, t, indexing="ij"), axis=-1).reshape(-1, 2)
        p = patch.grid.point(uv).reshape(301, 301, 3)
        a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
        halves = [np.linalg.norm(np.cross(q - a, r - a), axis=-1).sum() / 2 for q, r in ((b, c), (c, d))]
        assert patch.grid.area_mm2() == pytest.approx(sum(halves), rel=1e-4)


def test_a_symmetric_car_has_a_patch_on_both_sides_mirrored():
    left, right = (f for f in fillers_of(closed_plan("pickup", "forward")) if f.seam.kind == KIND)
    t = np.linspace(0, 1, 21)
    uv = np.stack(np.meshgrid(t, t, indexing="ij"), axis=-1).reshape(-1, 2)
    a, b = left.grid.point(uv), right.grid.point(np.stack([1 - uv[:, 0], uv[:, 1]], axis=1))
    assert np.abs(a * (1, -1, 1) - b).max() < 1e-3
