"""Lines parted at their nodes, held against shapely's own answers by sampling."""

import numpy as np
import pytest
import shapely

from model.arrangement import SAME_UV, _places_in, _standing_in, beside, noded, parted


def square():
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)], float)
    return [("border", np.linspace(a, b, 5)) for a, b in zip(corners[:-1], corners[1:], strict=True)]


def ring(name, radius, n=48):
    angle = np.linspace(0, 2 * np.pi, n + 1)
    loop = 0.5 + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    loop[-1] = loop[0]
    return name, loop


WAVE = ("cut", np.stack([np.linspace(0, 1, 21), 0.5 + 0.1 * np.sin(np.linspace(0, 9, 21))], axis=1))
CASES = {
    "a square alone": square(),
    "cut in two": [*square(), ("cut", np.array([(0.5, -0.1), (0.5, 0.37), (0.5, 1.1)]))],
    "a hole": [*square(), ring("opening", 0.3)],
    "a ring in a ring, crossed": [*square(), ring("flange", 0.4), ring("opening", 0.25), WAVE],
}


@pytest.mark.parametrize("lines", CASES.values(), ids=CASES.keys())
def test_what_lies_beside_a_chain_is_what_a_point_a_hair_beside_it_lies_in(lines):
    chains, tags, polygons = noded(lines)
    assert sum(p.area for p in polygons) == pytest.approx(1.0, abs=1e-12)
    for chain, tag, sides in zip(chains, tags, beside(chains, polygons), strict=True):
        middle, along = (chain[0] + chain[1]) / 2, chain[1] - chain[0]
        left = np.array([-along[1], along[0]]) / np.linalg.norm(along)
        for sign, found in zip((1, -1), sides, strict=True):
            inside = np.nonzero(shapely.contains_xy(polygons, *(middle + sign * 1e-6 * left)))[0].tolist()
            assert ([] if found is None else [found]) == inside
        own = shapely.MultiLineString([uv for name, uv in lines if name == tag])
        assert own.distance(shapely.Point(middle)) < 1e-9


def test_chains_are_all_of_the_lines():
    lines = CASES["a ring in a ring, crossed"]
    chains, _, _ = noded(lines)
    whole = sum(shapely.LineString(uv).length for _, uv in lines)
    assert sum(shapely.LineString(uv).length for uv in chains) == pytest.approx(whole, rel=1e-12)


def three_crossing_at_once():
    """Three straight lines through one place of a square that none of them has a sample at."""
    at = np.array([0.47, 0.63])
    out = square()
    for k, degrees in enumerate((74.0, 99.0, 5.0)):
        way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
        out.append((f"line {k}", np.array([at - 1.3 * way, at - 0.9 * way, at + 1.1 * way, at + 1.4 * way])))
    return out


def test_three_lines_that_cross_in_one_place_bound_no_triangle_of_nothing():
    lines = three_crossing_at_once()
    bare = shapely.node(shapely.MultiLineString([uv for _, uv in lines]))
    slivers = [line for line in bare.geoms if line.length < SAME_UV]
    assert slivers  # the library leaves them, or this test shows nothing
    chains, _, polygons = noded(lines)
    assert min(shapely.LineString(uv).length for uv in chains) > 0.01
    assert len(polygons) == 6 and sum(p.area for p in polygons) == pytest.approx(1.0, abs=1e-12)


def test_stretches_are_those_of_split():
    rows = np.arange(20.0).reshape(10, 2)
    for limits in ([], [3], [1, 4, 9]):
        own, numpys = parted(rows, np.array(limits, int)), np.split(rows, limits)
        assert [a.tolist() for a in own] == [a.tolist() for a in numpys]


def test_places_in_a_table_are_those_a_search_finds():
    random = np.random.default_rng(7)
    for _ in range(30):
        table = random.integers(0, 12, 40) + 1j * random.integers(0, 3, 40)
        wanted = random.integers(0, 14, 9) + 1j * random.integers(0, 4, 9)
        expected = [max(np.nonzero(table == w)[0], default=-1) for w in wanted]
        assert _places_in(table, wanted).tolist() == expected
        at, which = _standing_in(table, wanted)
        found = sorted(zip(at.tolist(), which.tolist(), strict=True))
        assert found == sorted(
            (i, k) for k, w in enumerate(wanted) for i in np.nonzero(table == w)[0].tolist()
        )
