"""The kernel's solids as triangles, with a bound for how far the boundary strays from each.

The mesher's own word for its error is not taken.  On every triangle the face
is asked at the middles of its three sides *in the face's parameters*: where
the face is quadratic over the triangle the stray at shares (α, β, γ) is
4 (αβ s₁ + βγ s₂ + γα s₃), at most 4/3 of the greatest of the three.  Of s only
what is square to the side counts, for what runs along it shifts points within
the triangle; but where that is more than a quarter of the side, points may
overshoot its end, and all of s counts.  Along the edges of the face its curve
is asked in the same way half-way between neighbouring nodes, for there the
triangles stop at a chord.  A triangle's stray is :data:`SAFETY` times the
greatest at its sides and the greatest at its chords together: half as much
again as a quadratic needs, for terms of higher order (assumed; a test looks
how much of it is used).

A face that the mesher leaves out, having next to no area, stands as its box.

New metal that bends tighter than its gauge has no solid.  It is the points
S − z N, 0 ≤ z ≤ g, and is filled with layers of triangles: a point between two
of them is no further than half their spacing from one.
"""

from __future__ import annotations

import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape

from .fillers import Filler, refined
from .meshdistance import EDGES, Boundary
from .numeric import dot

SAFETY = 2.0  # on the largest strays seen
LAYERS = 9  # of new metal without a solid
_LAYER_STEPS = 4  # of triangles to a span of its spline
_ANGLE = 0.5  # between neighbouring triangles' normals, the mesher's other limit [rad]
_SHORT_MM = 1e-9  # keeps what is divided by above zero
_BOX_SIDES = np.array(
    [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
)  # corners of a box, counter-clockwise seen from outside; corner 4 i + 2 j + k is at (i, j, k)


def boundary_of(solid: TopoDS_Shape, chord_mm: float) -> Boundary:
    """Return a solid's boundary as triangles in place, asked for with a chord error. [mm]"""
    BRepMesh_IncrementalMesh(solid, chord_mm, False, _ANGLE, False)
    corners, strays, marks = [], [], []
    faces = TopExp_Explorer(solid, TopAbs_FACE)
    while faces.More():
        face, location = TopoDS.Face_s(faces.Current()), TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(face, location)
        faces.Next()
        if mesh is None or not mesh.NbTriangles():
            corners.append(_box_triangles(face))
            strays.append(np.zeros(len(corners[-1])))
            continue
        nodes = np.array([mesh.Node(i).Coord() for i in range(1, mesh.NbNodes() + 1)])
        nodes = _placed(nodes, location)
        triangles = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)]) - 1
        at_middles = _at_middles_mm(face, mesh, nodes, triangles)
        at_chords = _at_chords_mm(face, mesh, location, nodes, triangles)
        strays.append(SAFETY * (at_middles + at_chords))
        corners.append(nodes[triangles[:, ::-1] if face.Orientation() == TopAbs_REVERSED else triangles])
        marks.append(nodes[:1])
    marks = np.concatenate(marks) if marks else corners[0][:1, 0]
    return Boundary(np.concatenate(corners), np.concatenate(strays), marks)


def layers_of(filler: Filler) -> Boundary:
    """Return triangles all through a filler's sheet, for one that has no solid."""
    grid, gauge = filler.grid, filler.thickness_mm
    u, v = (refined(breaks, _LAYER_STEPS) for breaks in (grid.breaks_u, grid.breaks_v))
    uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    k = (np.arange(len(u) - 1)[:, None] * len(v) + np.arange(len(v) - 1)).ravel()
    far = k + len(v)
    triangles = np.concatenate([np.stack([k, k + 1, far], axis=1), np.stack([k + 1, far + 1, far], axis=1)])
    pairs, which = _edges_of(triangles)
    point, _, _, normal = grid.frame(uv)
    middle, _, _, middle_normal = grid.frame(uv[pairs].mean(axis=1))
    corners, strays = [], []
    for depth in np.linspace(0.0, gauge, LAYERS):
        nodes = point - depth * normal
        off = _off_sides_mm(middle - depth * middle_normal, nodes[pairs[:, 0]], nodes[pairs[:, 1]])
        corners.append(nodes[triangles])
        strays.append(SAFETY * off[which].max(axis=1) + gauge / (LAYERS - 1) / 2)
    return Boundary(np.concatenate(corners), np.concatenate(strays), point[:1], fills_body=True)


def _placed(points, location):
    if location.IsIdentity():
        return points
    placing = location.Transformation()
    matrix = np.array([[placing.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    return points @ matrix[:, :3].T + matrix[:, 3]


def _edges_of(triangles):
    """Return every edge (n, 2) of triangles once, lesser node first, and which three each triangle has."""
    pairs = np.sort(np.stack([triangles[:, e] for e in EDGES], axis=1), axis=2)
    unique, which = np.unique(pairs.reshape(-1, 2), axis=0, return_inverse=True)
    return unique, which.reshape(-1, 3)


def _at_middles_mm(face, mesh, nodes, triangles) -> np.ndarray:
    """Return how far the face is from its triangles, half-way along their edges in its parameters. [mm]"""
    surface = BRepAdaptor_Surface(face)  # in place, and quick where one point is near the last
    uv = np.array([mesh.UVNode(i).Coord() for i in range(1, mesh.NbNodes() + 1)])
    pairs, which = _edges_of(triangles)
    points = np.array([surface.Value(u, v).Coord() for u, v in uv[pairs].mean(axis=1).tolist()])
    return _off_sides_mm(points, *np.moveaxis(nodes[pairs], 1, 0))[which].max(axis=1)


def _off_sides_mm(points, start, end) -> np.ndarray:
    """Return how far points that stand for the middles of sides are from them; see the module. [mm]"""
    along, off = end - start, points - (start + end) / 2
    length = np.maximum(np.linalg.norm(along, axis=1), _SHORT_MM)
    shift = np.abs(dot(off, along)) / length
    whole = np.linalg.norm(off, axis=1)
    square = np.sqrt(np.maximum(whole**2 - shift**2, 0.0))
    return np.where(shift < length / 4, square, whole)


def _at_chords_mm(face, mesh, location, nodes, triangles) -> np.ndarray:
    """Return how far the edges of a face are from the triangles' sides that stand for them, half-way. [mm]"""
    pairs, which = _edges_of(triangles)
    key = pairs @ (len(nodes), 1)
    off, edges = np.zeros(len(pairs)), TopExp_Explorer(face, TopAbs_EDGE)
    while edges.More():
        edge = TopoDS.Edge_s(edges.Current())
        edges.Next()
        chords = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, location)
        if chords is None or BRep_Tool.Degenerated_s(edge):
            continue
        count = range(1, chords.NbNodes() + 1)
        at, on = np.array([chords.Parameter(i) for i in count]), np.array([chords.Node(i) for i in count]) - 1
        curve = BRepAdaptor_Curve(edge)
        points = np.array([curve.Value(t).Coord() for t in ((at[:-1] + at[1:]) / 2).tolist()])
        stray = _off_sides_mm(points, nodes[on[:-1]], nodes[on[1:]])
        sides = np.sort(np.stack([on[:-1], on[1:]], axis=1), axis=1) @ (len(nodes), 1)
        place = np.minimum(np.searchsorted(key, sides), len(key) - 1)
        if (key[place] != sides).any():  # a side that no triangle has: told everywhere on the face
            off[:] = np.maximum(off, stray.max())
        np.maximum.at(off, place, stray)
    return off[which].max(axis=1)


def box_of(shape: TopoDS_Shape) -> np.ndarray:
    """Return least and greatest coordinates of a shape, (2, 3), from poles: maybe too large. [mm]"""
    box = Bnd_Box()
    BRepBndLib.Add_s(shape, box, False)
    return np.array(box.Get()).reshape(2, 3)


def _box_triangles(shape) -> np.ndarray:
    low, high = box_of(shape)
    corners = np.array([(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    sides = (low + corners * (high - low))[_BOX_SIDES]
    return np.concatenate([sides[:, [0, 1, 2]], sides[:, [0, 2, 3]]])
