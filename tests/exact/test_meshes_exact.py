"""Triangles of the kernel's solids: how far the boundary really is from them, against their strays."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from cases import CARS, built_of
from OCP.BRep import BRep_Tool
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
from OCP.TopAbs import TopAbs_FACE
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from scipy.spatial import cKDTree
from shipped_plans import closed_plan

from model.exactfaces import exact_faces
from model.exactmeshes import boundary_of, layers_of
from model.exactsheets import Sheets
from model.fillers import fillers_of
from model.layout import METAL
from model.meshdistance import clearance_mm, winding_numbers

CHORD_MM = 0.1
LARGE_SHARE, MOST = 0.4, 500
ROUNDING_MM = 1e-4  # of triangles that are said to stray by nothing


def points_on_faces(solid, rng, each=3):
    """Yield points of the faces themselves, in the parameters of every triangle's inside. [mm]"""
    faces = TopExp_Explorer(solid, TopAbs_FACE)
    while faces.More():
        face = TopoDS.Face_s(faces.Current())
        mesh, surface = BRep_Tool.Triangulation_s(face, TopLoc_Location()), BRep_Tool.Surface_s(face)
        faces.Next()
        uv = np.array([mesh.UVNode(i).Coord() for i in range(1, mesh.NbNodes() + 1)])
        corners = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)]) - 1
        some = rng.permutation(len(corners))[:30]
        for share in rng.dirichlet(np.ones(3), each):
            for u, v in np.einsum("k,nkj->nj", share, uv[corners[some]]).tolist():
                yield surface.Value(u, v).Coord()


def share_of_stray(found, points, among=12):
    """Return each point's distance from a triangle as a share of its stray, the least of those about it."""
    which = cKDTree(found.corners_mm.mean(axis=1)).query(points, k=among)[1]
    corners = found.corners_mm[which.ravel()]
    on = trimesh.triangles.closest_point(corners, np.repeat(points, among, axis=0))
    off = np.linalg.norm(on.reshape(*which.shape, 3) - points[:, None], axis=2)
    share = (off / np.maximum(found.stray_mm[which], ROUNDING_MM)).min(axis=1)
    far = share > LARGE_SHARE
    if far.any() and among < MOST:  # long triangles have their middles far off
        share[far] = share_of_stray(found, points[far], MOST)
    return share


@pytest.mark.parametrize("car", CARS)
def test_no_point_of_a_face_is_further_from_the_triangles_than_their_stray(car):
    """Over the inside of triangles of every grid; what is used of the stray is told by the last line."""
    built, rng = built_of(f"{car} stock"), np.random.default_rng(7)
    sheets, used = Sheets(exact_faces(built.layout)), []
    grids = {}
    for cell in built.layout.cells:
        if cell.role == METAL:
            grids.setdefault(cell.grid.name, cell)
    for cell in grids.values():
        solid = sheets.solid(cell, built.shape.car.gauge_mm)
        found = boundary_of(solid, CHORD_MM)
        points = np.array(list(points_on_faces(solid, rng)))
        used.append(share_of_stray(found, points).max())
        assert used[-1] <= 1, cell.grid.name
    assert 0.3 < max(used) < 0.7  # 4/3 to 2, if every face were quadratic


def test_a_ball_and_a_cylinder_stray_by_their_sagitta_and_their_triangles_turn_outward():
    """The stray claimed is at least the true one, R less the least distance of a triangle's middle."""
    ball = BRepPrimAPI_MakeSphere(50.0).Solid()
    cylinder = BRepPrimAPI_MakeCylinder(50.0, 80.0).Solid()
    for solid, middle in ((ball, (0.0, 0.0, 0.0)), (cylinder, (0.0, 0.0, 40.0))):
        found = boundary_of(solid, 0.05)
        assert winding_numbers(found.corners_mm, np.array([middle])) == pytest.approx(1.0, abs=1e-6)
        assert winding_numbers(found.corners_mm, np.array([[0.0, 70.0, 0.0]])) == pytest.approx(0.0, abs=1e-6)
        centres = found.corners_mm.mean(axis=1)
        if solid is cylinder:
            centres = centres[(centres[:, 2] > 0) & (centres[:, 2] < 80)] * (1, 1, 0)
        off = 50.0 - np.linalg.norm(centres, axis=1)
        assert off.max() <= found.stray_mm.max()
        assert np.median(found.stray_mm) < 0.15


def test_a_finer_mesh_has_lesser_strays():
    solid = BRepPrimAPI_MakeCylinder(200.0, 80.0).Solid()
    coarse, fine = (boundary_of(solid, chord).stray_mm.max() for chord in (0.2, 0.02))
    assert fine < coarse / 4


def test_layers_of_a_filler_hold_every_point_of_its_sheet():
    """At random depths under random places, none is further from a layer than its stray."""
    filler = fillers_of(closed_plan("pickup"))[0]
    found, rng = layers_of(filler), np.random.default_rng(2)
    point, _, _, normal = filler.grid.frame(rng.random((300, 2)))
    points = point - rng.random((300, 1)) * filler.thickness_mm * normal
    assert 0.5 < share_of_stray(found, points).max() <= 1
    assert found.fills_body
    beside = replace(found, corners_mm=found.corners_mm + (0.0, 0.0, 500.0))
    assert clearance_mm(found, beside, 10.0) == 10.0
