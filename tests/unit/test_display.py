"""Split triangles against the exact cells, and line drawings."""

import re

import numpy as np
import pytest

from model.built import build
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.display import EdgeLine, Patch, patches_of, split, thinned
from model.output.windowways import demo_window_ways
from model.planfile import read_plan
from model.scene import cell_mesh
from model.silhouette import VIEWS, boundary_loops, drawing_of


def area(thing):
    a, b, c = thing.point_mm[thing.triangles].swapaxes(0, 1)
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


def built(name):
    car = read_car(demo_car_path(name))
    return build(car, read_plan(demo_plan_path(name), car))


@pytest.fixture(scope="module", params=["coupe", "pickup"])
def chopped(request):
    return built(request.param)


def test_pieces_are_as_large_as_their_exact_cells(chopped):
    shown, exact = {}, {}
    for patch in patches_of(chopped):
        if patch.role == "metal":
            shown[patch.carrier] = shown.get(patch.carrier, 0.0) + area(patch)
    for cell in chopped.layout.cells:
        if cell.role == "metal":
            exact[cell.carrier] = exact.get(cell.carrier, 0.0) + area(cell_mesh(cell))
    assert shown.keys() == exact.keys()
    for piece, size in exact.items():
        assert shown[piece] == pytest.approx(size, rel=0.01), piece


def flat_square(n=6):
    x, y = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n), indexing="ij")
    point = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    k = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).reshape(-1, 1)
    triangles = np.concatenate([k + (0, n, n + 1), k + (0, n + 1, 1)])
    return Patch("body", "metal", None, point, np.tile([0.0, 0.0, 1.0], (n * n, 1)), triangles)


def test_split_keeps_every_bit_of_area():
    square = flat_square()
    below, above = split(square, square.point_mm[:, 0] + 0.3 * square.point_mm[:, 1] - 0.62)
    assert area(below) + area(above) == pytest.approx(1.0, abs=1e-12)
    assert area(below) == pytest.approx(0.62 - 0.15, abs=1e-12)


def test_one_loop_around_a_square():
    (loop,) = boundary_loops(flat_square())
    assert len(loop) == 4 * 5 + 1 and loop[0] == loop[-1]


@pytest.mark.parametrize("view", VIEWS)
def test_a_drawing_is_whole_from_every_side(chopped, view):
    svg = drawing_of(chopped, VIEWS[view]).svg(600, title=view)
    assert svg.count("<path") > 10 and "nan" not in svg and "inf" not in svg
    assert re.search(r'stroke-dasharray="14 9"', svg)  # stock
    assert len(svg) < 120_000


def test_stock_glass_fits_all_three_ways():
    ways = demo_window_ways("pickup")
    html = ways._repr_html_()
    assert html.count("stock glass fits") == 3 and html.count("<svg") == 3 * (3 + 2)  # views and two seams
    stays, moved, fitted = (report.window for report in ways.reports)
    assert stays.rear_forward_mm == 0 < moved.rear_forward_mm
    assert fitted.fit.free == ("window_forward", "window_down", "lay_down") and moved.fit is None


def test_thinned_edges_keep_their_ends_and_sag_no_more_than_asked():
    """A straight edge keeps two samples; on a circle of R = 800 a chord c sags by c² / 8 R."""
    line = np.linspace(0, 900, 101)[:, None] * [1.0, 0, 0]
    angle = np.linspace(0, 1.5, 400)
    arc = 800 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    up = np.array([0.0, 0, 1])
    edges = [EdgeLine("roof", p, np.tile(up, (len(p), 1))) for p in (line, arc, line[::-1])]
    point, normal, counts = thinned(edges, 1.0)
    assert counts[0] == counts[2] == 2 and len(point) == len(normal) == counts.sum()
    kept = np.split(point, np.cumsum(counts)[:-1])
    for edge, few in zip(edges, kept, strict=True):
        np.testing.assert_array_equal(few[[0, -1]], edge.point_mm[[0, -1]])
    chord = np.linalg.norm(np.diff(kept[1], axis=0), axis=1)
    sag = chord[:-1] ** 2 / 8 / 800
    assert sag.max() < 1.2 and np.median(sag) > 0.8
