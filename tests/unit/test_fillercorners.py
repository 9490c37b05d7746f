"""How fillers leave corners on a crease, between two boxes whose creases run side by side."""

import numpy as np
import pytest

from model.edges import Edge, Edges
from model.fillercorners import corners_of
from model.fillerruns import CORNER, OPENING, Run
from model.fillers import fillers_from_runs
from model.seams import Seam

ROOT_MM, LONG_MM, FAR_MM, DEEP_MM = 0.8, 100.0, 300.0, 200.0


def line(start, end, normal):
    """Return a straight edge, metal on its left as seen against the normal."""
    points = np.linspace(start, end, 40)
    return Edge(points, np.broadcast_to(np.asarray(normal, float), points.shape))


def top_and_side(aside_mm, side_from_mm):
    """Return the runs on top (z = 0) and at the side of two boxes with a gap of LONG_MM along x between them.

    The first has its crease along y = 0, the second along y = −aside; the side's run begins so far down.
    """
    top = Edges(
        [
            line((0, 0, 0), (0, FAR_MM, 0), (0, 0, 1)),
            line((LONG_MM, FAR_MM, 0), (LONG_MM, -aside_mm, 0), (0, 0, 1)),
        ]
    )
    side = Edges(
        [
            line((0, 0, -DEEP_MM), (0, 0, 0), (0, -1, 0)),
            line((LONG_MM, -aside_mm, 0), (LONG_MM, -aside_mm, -DEEP_MM), (0, -1, 0)),
        ]
    )
    pieces = ("first", "second")
    far = FAR_MM + aside_mm
    on_top = Run(Seam("top", "skin", "left", pieces, (), (), ()), top, 0, 1, (0.0, FAR_MM), (far, 0.0),
                 (CORNER, OPENING), LONG_MM, 0.0)  # fmt: skip
    along = DEEP_MM - side_from_mm
    at_side = Run(Seam("side", "skin", "left", pieces, (), (), ()), side, 0, 1, (0.0, along),
                  (DEEP_MM, side_from_mm), (OPENING, CORNER), LONG_MM, aside_mm)  # fmt: skip
    return [on_top, at_side]


def off_the_chord_mm(points):
    """Return how far points are off the straight way from the first to the last."""
    way = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
    rest = points - points[0]
    return np.linalg.norm(rest - (rest @ way)[:, None] * way, axis=1)


@pytest.mark.parametrize("aside_mm", [5.0, 30.0, 60.0])
def test_a_shared_border_leaves_both_boxes_along_their_creases_and_swings_out_between(aside_mm):
    runs = top_and_side(aside_mm, 0.0)
    corners = corners_of(runs, ROOT_MM)
    assert {at: corner.other for at, corner in corners.items()} == {(0, 0): 1, (1, 1): 0}
    top, side = fillers_from_runs(runs, ROOT_MM, 1.0)
    assert top.ends == (side.name, OPENING) and side.ends == (OPENING, top.name)
    border = top.border("u0").point_mm
    assert np.abs(border[::-1] - side.border("u1").point_mm).max() < 1e-9
    chord = np.hypot(LONG_MM - 2 * ROOT_MM, aside_mm)
    beta = np.arctan2(aside_mm, LONG_MM - 2 * ROOT_MM)
    swing = chord * np.tan(beta / 2) / (3 * np.sqrt(3))
    t = np.linspace(0.0, 1.0, 2001)
    fine = top.grid.point(np.stack([np.zeros_like(t), t], axis=1))
    assert off_the_chord_mm(fine).max() == pytest.approx(swing, rel=1e-5)


@pytest.mark.parametrize("aside_mm", [5.0, 30.0, 60.0])
def test_an_end_alone_on_both_creases_is_straight_and_a_root_gap_off_both_edges(aside_mm):
    runs = top_and_side(aside_mm, 50.0)
    corners = corners_of(runs, ROOT_MM)
    assert {at: corner.other for at, corner in corners.items()} == {(0, 0): None}
    top, side = fillers_from_runs(runs, ROOT_MM, 1.0)
    assert top.ends == (CORNER, OPENING) and side.ends == (OPENING, CORNER)
    assert off_the_chord_mm(top.border("u0").point_mm).max() < 1e-9
    for border, x in (("v0", ROOT_MM), ("v1", LONG_MM - ROOT_MM)):
        assert np.abs(top.border(border).point_mm[:, 0] - x).max() < 1e-9
    assert np.abs(top.grid.point(np.random.default_rng(3).uniform(size=(100, 2)))[:, 2]).max() < 1e-9


def test_an_end_at_no_crease_is_not_turned():
    (on_top, _) = top_and_side(30.0, 50.0)
    assert corners_of([on_top], ROOT_MM) == {}
