"""The kernel's surfaces, edges and faces are the live tier's own, to rounding."""

import numpy as np
import pytest
from cases import CARS, CASES, built_of, car_of, faces_of
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.GeomLProp import GeomLProp_SLProps
from OCP.gp import gp_Pnt
from quadrature import cell_area

from model.built import remembered_shape
from model.exactcurves import SPACE_MM, offset_surface
from model.exactfaces import area_mm2
from model.exactkernel import surface_of


@pytest.mark.parametrize("car", CARS)
def test_kernel_and_live_surface_agree_to_rounding(car):
    rng = np.random.default_rng(1)
    for grid in remembered_shape(car_of(car)).skin.grids.values():
        surface = surface_of(grid)
        uv = rng.random((1000, 2))
        point, _, _, normal = grid.frame(uv)
        size = np.abs(point).max()
        for (u, v), p, n in zip(uv.tolist(), point, normal, strict=True):
            at = GeomLProp_SLProps(surface, u, v, 1, 1e-12)
            kernel = np.array(at.Value().Coord()), grid.outward * np.array(at.Normal().Coord())
            assert np.abs(kernel[0] - p).max() < 1e-12 * size
            assert np.abs(kernel[1] - n).max() < 1e-11


@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("inward_mm", [1.0, 6.35])
def test_offset_surface_lies_at_its_distance(car, inward_mm):
    uv = np.random.default_rng(2).random((3000, 2))
    for grid in remembered_shape(car_of(car)).skin.grids.values():
        point, _, _, normal = grid.frame(uv)
        assert np.abs(offset_surface(grid, inward_mm).point(uv) - point + inward_mm * normal).max() < 2e-5


@pytest.mark.parametrize("case", CASES)
def test_every_face_is_valid_and_of_the_live_area(case):
    faces = faces_of(case)
    for cell in faces.layout.cells:
        assert BRepCheck_Analyzer(faces.face(cell)).IsValid(), cell.part
        assert area_mm2(faces.face(cell)) == pytest.approx(cell_area(faces, cell), rel=1e-6), cell.part


@pytest.mark.parametrize("case", CASES)
def test_cells_fill_the_skin(case):
    faces = faces_of(case)
    whole = sum(area_mm2(faces.face(cell)) for cell in faces.layout.cells)
    assert whole == pytest.approx(built_of(case).shape.skin.area_mm2, rel=1e-8)


@pytest.mark.parametrize("case", CASES)
def test_edges_are_as_long_as_the_live_chains(case):
    faces = faces_of(case)
    for chain in faces.layout.chains:
        assert faces.edge_length_mm(chain) == pytest.approx(chain.length_mm, abs=1e-3), chain.line


@pytest.mark.parametrize("case", CASES)
def test_edges_pass_through_their_samples_and_lie_on_the_skin(case):
    faces = faces_of(case)
    rng = np.random.default_rng(3)
    for chain in faces.layout.chains:
        line = faces.lines[id(chain)]
        curve, first, last = _curve(faces.edge(chain))
        t = np.concatenate([rng.uniform(first, last, 20), line.samples])
        points = np.array([curve.Value(float(x)).Coord() for x in t])
        assert np.abs(points - line.points(t)).max() < 2 * SPACE_MM
        ends = chain.point_mm[[0, -1]]
        for end in (curve.Value(first), curve.Value(last)):
            assert min(end.Distance(gp_Pnt(*e.tolist())) for e in ends) < 1e-6


def _curve(edge):
    curve = BRepAdaptor_Curve(edge)
    return curve, curve.FirstParameter(), curve.LastParameter()


@pytest.mark.parametrize("case", CASES)
def test_neighbours_share_one_edge(case):
    """Inside a grid, and across the border of two grids."""
    faces = faces_of(case)
    alone = 0
    users = {}
    for cell in faces.layout.cells:
        for ring in faces.rings[id(cell)]:
            for chain, _ in ring:
                users.setdefault(hash(faces.edge(chain)), []).append(cell)
    for chain in faces.layout.chains:
        count = len(users[hash(faces.edge(chain))])
        border = chain.line.startswith("border")
        expected = 2 if not border or faces.layout.neighbour(chain) is not None else 1
        alone += count == 1
        assert count == expected, (chain.line, chain.grid.name)
    assert alone  # the car's lower edge
