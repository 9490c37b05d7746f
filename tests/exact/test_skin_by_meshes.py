"""Areas and lengths of the skin from fine meshes, extrapolated; and where the kernel's defaults are worse.

A mesh of n × n squares to a knot span errs by c/n² + O(1/n⁴): (4 A(2n) − A(n)) / 3 takes the first term
out (Richardson).  Chords of a line likewise.
"""

import numpy as np
import pytest
import trimesh
from cases import CARS, CASES, built_of, faces_of
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from quadrature import cell_area

from model.exactfaces import area_mm2
from model.skinlines import line_length_mm

LINES = (((0, 0), (1, 0)), ((0, 1), (1, 1)), ((0, 0.5), (1, 0.5)), ((0.05, 0.1), (0.9, 0.8)))  # in (u, v)


def extrapolated(value, n):
    return (4 * value(2 * n) - value(n)) / 3


def in_every_span(breaks, n):
    spans = [np.linspace(a, b, n, endpoint=False) for a, b in zip(breaks[:-1], breaks[1:], strict=True)]
    return np.concatenate([*spans, breaks[-1:]])


def mesh_area_mm2(grid, n):
    u, v = in_every_span(grid.breaks_u, n), in_every_span(grid.breaks_v, n)
    points = grid.point(np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2))
    corner = (np.arange(len(u) - 1)[:, None] * len(v) + np.arange(len(v) - 1)).ravel()
    squares = np.stack([corner, corner + len(v), corner + len(v) + 1, corner + 1], axis=1)
    triangles = np.concatenate([squares[:, :3], squares[:, [0, 2, 3]]])
    return trimesh.Trimesh(points, triangles, process=False).area


@pytest.mark.parametrize("car", CARS)
def test_area_of_the_whole_skin(car, largest):
    skin = built_of(f"{car} stock").shape.skin
    area = sum(extrapolated(lambda n, g=g: mesh_area_mm2(g, n), 12) for g in skin.grids.values())
    largest.note("skin area, trimesh", "relative", skin.area_mm2 / area, 1.0, car, 1e-6)


@pytest.mark.parametrize("car", CARS)
def test_lengths_along_the_skin(car, largest):
    """Borders, the crown, a diagonal of every grid."""
    for grid in built_of(f"{car} stock").shape.skin.grids.values():
        for start, end in (
            ((0, 0), (1, 0)),
            ((0, 1), (1, 1)),
            ((0, 0.5), (1, 0.5)),
            ((0.05, 0.1), (0.9, 0.8)),
        ):
            start, end = np.array(start, float), np.array(end, float)

            def chords(n, grid=grid, start=start, end=end):
                points = grid.point(start + np.linspace(0, 1, n + 1)[:, None] * (end - start))
                return np.linalg.norm(np.diff(points, axis=0), axis=1).sum()

            length = line_length_mm(grid, start, end)
            other = extrapolated(chords, 4000)
            largest.note("length on the skin, chords", "mm", length, other, f"{car} {grid.name}", 1e-4)


def default_area_mm2(face):
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, props)
    return props.Mass()


def test_the_kernels_default_area_is_worse(largest):
    """Of a cell trimmed out of the spline: Green's theorem and the kernel held to a tolerance agree.

    Its default length of an edge is as good as with a tolerance (1e-9 mm), so no test is made of that.
    """
    worst = {"default": 0.0, "Green": 0.0}
    for case in CASES[::2]:
        faces = faces_of(case)
        for cell in faces.layout.cells:
            exact, own = area_mm2(faces.face(cell)), cell_area(faces, cell)
            largest.note("area of a cell, Green", "relative", own / exact, 1.0, f"{case} {cell.part}", 1e-6)
            worst["Green"] = max(worst["Green"], abs(own / exact - 1))
            worst["default"] = max(worst["default"], abs(default_area_mm2(faces.face(cell)) / exact - 1))
    assert worst["default"] > 20 * worst["Green"]
