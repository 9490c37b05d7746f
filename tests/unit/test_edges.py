"""Many edges end to end: each its own curve, whatever lies before and after it."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from model.edges import Edge, Edges, along_edges, cubic_pieces


def length(points):
    return along_edges(points, np.array([0, len(points)]))[-1]


@pytest.mark.parametrize("count", [9, 17, 65])
def test_length_of_an_arc_from_few_samples(count):
    """Quarter circle of R = 300: chords alone are short by θ²/24; corrected, by order θ⁴."""
    angle = np.linspace(0, np.pi / 2, count)
    points = 300 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    step = angle[1]
    exact = 300 * np.pi / 2
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    assert chords / exact - 1 == pytest.approx(-(step**2) / 24, rel=0.01)
    assert abs(length(points) / exact - 1) < 3 * step**4 / 640


def test_lengths_of_straight_edges_are_their_chords():
    """Also of an edge of two samples, and of one that begins where the last one ends or elsewhere."""
    edges = ([0, 1, 5, 12], [12, 15], [40, 38, 30], [0, 100])
    points = np.array([(x, 3.0, -2.0) for edge in edges for x in edge])
    starts = np.cumsum([0, *map(len, edges)])
    expected = [0, 1, 5, 12, 0, 3, 0, 2, 10, 0, 100]
    np.testing.assert_allclose(along_edges(points, starts), expected, atol=1e-12)


@pytest.mark.parametrize("counts", [[3], [4], [5], [40], [2, 3, 4, 5, 2, 9, 3, 2, 30, 4]])
def test_cubic_pieces_are_those_of_an_outside_library(counts):
    """Reference: scipy.interpolate.CubicSpline, not-a-knot, edge by edge."""
    rng = np.random.default_rng(len(counts))
    starts = np.cumsum([0, *counts])
    along = np.concatenate([np.cumsum(rng.uniform(0.5, 3, n)) for n in counts])
    along -= np.repeat(along[starts[:-1]], counts)
    values = rng.normal(size=(starts[-1], 6))
    ours = cubic_pieces(along, values, starts)
    for a, b in zip(starts[:-1], starts[1:], strict=True):
        if b - a == 2:
            slope = (values[b - 1] - values[a]) / along[b - 1]
            np.testing.assert_allclose(ours[:, a], [0 * slope, 0 * slope, slope, values[a]], atol=1e-9)
        else:
            theirs = CubicSpline(along[a:b], values[a:b]).c
            np.testing.assert_allclose(ours[:, a : b - 1], theirs, atol=1e-8)


def test_places_are_looked_up_on_their_own_edge():
    """A circle and a line through space, asked for in any order, also a little past their ends."""
    angle = np.linspace(0, 1, 41)
    circle = 200 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    line = np.array([[0.0, 0, 50], [30.0, 40, 50]])
    up = np.array([0.0, 0, 1])
    laid = Edges([Edge(circle, circle / 200), Edge(line, np.tile(up, (2, 1)))])
    np.testing.assert_allclose(laid.length_mm, [200, 50], atol=1e-5)
    point, direction, normal = laid.at(np.array([1, 0, 1, 0]), np.array([50.5, 100.0, -1.0, 0.0]))
    np.testing.assert_allclose(point[0], [30.3, 40.4, 50], atol=1e-9)
    np.testing.assert_allclose(point[1], 200 * np.array([np.cos(0.5), np.sin(0.5), 0]), atol=1e-5)
    np.testing.assert_allclose(point[2], [-0.6, -0.8, 50], atol=1e-9)
    np.testing.assert_allclose(direction[[0, 2]], [[0.6, 0.8, 0]] * 2, atol=1e-12)
    np.testing.assert_allclose(direction[1], [-np.sin(0.5), np.cos(0.5), 0], atol=1e-5)
    np.testing.assert_allclose(normal[[0, 2]], [up, up], atol=1e-12)
    np.testing.assert_allclose(normal[3], [1, 0, 0], atol=1e-12)
