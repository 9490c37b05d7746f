"""A reader of exported STEP files that knows nothing of the program that wrote them.

It imports a STEP reader, numpy and scipy; ``test_independence.py`` holds it to
that.  What a file holds comes out as parts, faces and edges with spline
arithmetic of their own.  Frame: car (x to the rear, y to the car's right, z
up).  Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepTools import BRepTools
from OCP.Geom import Geom_Plane, Geom_RectangularTrimmedSurface, Geom_TrimmedCurve
from OCP.GeomConvert import GeomConvert
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_WIRE
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool
from scipy.interpolate import BSpline
from scipy.spatial import cKDTree

GAUSS_AT, GAUSS_WEIGHT = np.polynomial.legendre.leggauss(6)


def dot(a, b):
    """Return the products of paired vectors."""
    return np.sum(np.asarray(a) * b, axis=-1)


def unit(a):
    """Return vectors at length one."""
    a = np.asarray(a, float)
    return a / np.linalg.norm(a, axis=-1, keepdims=True)


# ---------------------------------------------------------------- edges


@dataclass(eq=False)
class Edge:
    """One edge of a face, run with the metal on its left as seen from outside."""

    spline: BSpline
    start: float
    end: float
    is_reversed: bool

    @cached_property
    def slope(self):
        """The spline's derivative."""
        return self.spline.derivative()

    @cached_property
    def spans(self):
        """Parameters between which the spline is one polynomial, finely enough for Gauss's rule."""
        knots = np.unique(self.spline.t)
        inner = knots[(knots > self.start) & (knots < self.end)]
        ends = np.concatenate([[self.start], inner, [self.end]])
        parts = max(1, int(np.ceil(8 / (len(ends) - 1))))
        return np.concatenate(
            [*(np.linspace(a, b, parts + 1)[:-1] for a, b in zip(ends, ends[1:], strict=False)), [self.end]]
        )

    def arc_mm(self, low, high):
        """Return the lengths between pairs of parameters no further apart than a span."""
        low, high = np.asarray(low, float), np.asarray(high, float)
        half, mid = (high - low) / 2, (high + low) / 2
        at = mid[..., None] + half[..., None] * GAUSS_AT
        return half * (np.linalg.norm(self.slope(at), axis=-1) @ GAUSS_WEIGHT)

    @cached_property
    def arcs(self):
        """Length from the start to every span's end."""
        return np.concatenate([[0.0], np.cumsum(self.arc_mm(self.spans[:-1], self.spans[1:]))])

    @cached_property
    def length_mm(self):
        """Length of the edge."""
        return float(self.arcs[-1])

    def along_mm(self, at):
        """Return the length from the start to parameters."""
        at = np.asarray(at, float)
        k = np.clip(np.searchsorted(self.spans, at, side="right") - 1, 0, len(self.spans) - 2)
        return self.arcs[k] + self.arc_mm(self.spans[k], at)

    def at_length(self, along_mm):
        """Return the parameters at lengths from the start."""
        along_mm = np.asarray(along_mm, float)
        at = np.interp(along_mm, self.arcs, self.spans)
        for _ in range(8):
            off = self.along_mm(at) - along_mm
            if np.all(np.abs(off) < 1e-10):
                break
            at = np.clip(at - off / np.linalg.norm(self.slope(at), axis=-1), self.start, self.end)
        return at

    def points(self, at):
        """Return points at parameters."""
        return self.spline(at)

    def directions(self, at):
        """Return unit tangents, metal on the left."""
        return unit(self.slope(at)) * (-1.0 if self.is_reversed else 1.0)

    @cached_property
    def ends_mm(self):
        """Both ends."""
        return self.spline(np.array([self.start, self.end]))

    @cached_property
    def dense(self):
        """Parameters at most half a millimetre apart, every span's end among them."""
        parts = [
            np.linspace(a, b, int(np.ceil(s / 0.5)) + 1)[:-1]
            for a, b, s in zip(self.spans, self.spans[1:], np.diff(self.arcs), strict=False)
        ]
        return np.concatenate([*parts, [self.end]])

    def moved(self, move):
        """Return the edge carried along by a rigid move."""
        t, c, k = self.spline.tck
        return Edge(BSpline(t, move.points(c), k), self.start, self.end, self.is_reversed)

    def crossings(self, point, normal):
        """Return where the edge crosses planes: index of the plane and parameter of the edge."""
        at, knots_mm = self.dense, self.spline(self.dense)
        side = knots_mm @ normal.T - dot(point, normal)  # sample by plane
        low, high = side[:-1], side[1:]
        span, plane = np.nonzero(((low <= 0) & (high > 0)) | ((low >= 0) & (high < 0)))
        a, b = at[span], at[span + 1]
        fa, fb = low[span, plane], high[span, plane]
        for _ in range(60):
            c = np.where(np.abs(fb - fa) > 0, a - fa * (b - a) / np.where(fb == fa, 1.0, fb - fa), a)
            if _ % 3 == 2:
                c = (a + b) / 2
            fc = dot(self.spline(c) - point[plane], normal[plane])
            same = np.sign(fc) == np.sign(fa)
            a, fa = np.where(same, c, a), np.where(same, fc, fa)
            b, fb = np.where(same, b, c), np.where(same, fb, fc)
        return plane, np.where(np.abs(fa) < np.abs(fb), a, b)


class Border:
    """Edges as one set of points, asked how far from it another point lies."""

    def __init__(self, edges):
        lines = [e.points(e.dense) for e in edges]
        self.starts = np.concatenate([p[:-1] for p in lines])
        self.ends = np.concatenate([p[1:] for p in lines])
        self.tree = cKDTree((self.starts + self.ends) / 2)
        self.low, self.high = self.starts.min(axis=0), self.starts.max(axis=0)

    def distance_mm(self, points):
        """Return distances from the nearest of the edges."""
        _, near = self.tree.query(points, k=min(3, len(self.starts)))
        a, b = self.starts[near], self.ends[near]
        along = np.clip(dot(points[:, None] - a, b - a) / np.maximum(dot(b - a, b - a), 1e-30), 0, 1)
        return np.linalg.norm(a + along[..., None] * (b - a) - points[:, None], axis=-1).min(axis=1)

    def carries(self, edge, tolerance_mm=0.01):
        """Whether an edge lies on these; refused where only a part of it does."""
        points = edge.points(edge.dense[np.linspace(0, len(edge.dense) - 1, 15).astype(int)[1:-1]])
        if np.any(points.max(axis=0) < self.low - 1) or np.any(points.min(axis=0) > self.high + 1):
            return False
        on = self.distance_mm(points) < tolerance_mm
        if on.sum() > 2 and not on.all() and edge.length_mm > 10 * tolerance_mm:
            raise AssertionError(
                f"an edge lies on a border in part ({on.sum()} of 13), length {edge.length_mm:.3f}"
            )
        return bool(on.all())


# ---------------------------------------------------------------- faces


@dataclass(eq=False)
class Surface:
    """A spline surface: basis in u and in v, poles (nu, nv, 3)."""

    u: BSpline
    v: BSpline
    poles: np.ndarray

    @cached_property
    def slopes(self):
        """Derivatives of both bases."""
        return self.u.derivative(), self.v.derivative()

    def points(self, uv):
        """Return points."""
        return self._summed(self.u(uv[:, 0]), self.v(uv[:, 1]))

    def _summed(self, in_u, in_v):
        return np.einsum("nj,njk->nk", in_v, np.tensordot(in_u, self.poles, 1))

    def tangents(self, uv):
        """Return derivatives along u and along v."""
        bu, bv = self.u(uv[:, 0]), self.v(uv[:, 1])
        du, dv = self.slopes[0](uv[:, 0]), self.slopes[1](uv[:, 1])
        return self._summed(du, bv), self._summed(bu, dv)

    def normals(self, uv):
        """Return unit normals along u × v."""
        return unit(np.cross(*self.tangents(uv)))

    @cached_property
    def lattice(self):
        """A net of (u, v) over the whole surface, and its points in a tree."""
        u, v = np.unique(self.u.t), np.unique(self.v.t)
        u = np.unique(np.concatenate([np.linspace(a, b, 9) for a, b in zip(u, u[1:], strict=False)]))
        v = np.unique(np.concatenate([np.linspace(a, b, 9) for a, b in zip(v, v[1:], strict=False)]))
        uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        return uv, cKDTree(self.points(uv))

    def nearest(self, points):
        """Return (u, v) of the feet of points on, or very near, the surface."""
        uv = self.lattice[0][self.lattice[1].query(points)[1]].copy()
        for _ in range(12):
            away = points - self.points(uv)
            before = uv.copy()
            a, b = self.tangents(uv)
            g = np.stack([dot(a, a), dot(a, b), dot(b, b)], axis=-1)
            ra, rb = dot(a, away), dot(b, away)
            det = g[:, 0] * g[:, 2] - g[:, 1] ** 2
            uv += np.stack([g[:, 2] * ra - g[:, 1] * rb, g[:, 0] * rb - g[:, 1] * ra], axis=-1) / det[:, None]
            if np.all(np.linalg.norm(uv - before, axis=1) < 1e-13):
                break
        return uv


@dataclass(eq=False)
class Face:
    """A trimmed face; ``loops`` has its border, outer loop first."""

    surface: Surface
    sign: float  # of the outward normal against u × v
    loops: list

    @property
    def edges(self):
        """Every edge of the border."""
        return [e for loop in self.loops for e in loop]

    def outward(self, points):
        """Return outward unit normals at points of the face."""
        return self.sign * self.surface.normals(self.surface.nearest(points))

    @cached_property
    def mean_outward(self):
        """Mean outward normal of the whole surface, roughly by area."""
        ends = [np.linspace(b.t[0], b.t[-1], 13) for b in (self.surface.u, self.surface.v)]
        uv = np.stack(np.meshgrid(*ends), axis=-1).reshape(-1, 2)
        return self.sign * unit(np.cross(*self.surface.tangents(uv)).sum(axis=0))

    @cached_property
    def grid(self):
        """Which way it looks: ``side right``, ``side left``, ``roof``, ``front`` or ``back``."""
        k = int(np.argmax(np.abs(self.mean_outward)))
        is_plus = int(self.mean_outward[k] > 0)
        return {0: ("front", "back"), 1: ("side left", "side right"), 2: ("roof", "roof")}[k][is_plus]


@dataclass(eq=False)
class Part:
    """One named part of the file, where it stands in the file's assembly."""

    name: str
    faces: list
    _borders: dict = field(default_factory=dict)

    @property
    def edges(self):
        """Every edge of every face."""
        return [e for f in self.faces for e in f.edges]

    @cached_property
    def border(self):
        """All its edges, to be asked for distances."""
        return Border(self.edges)

    def moved(self, move):
        """Return the part with its borders carried along by a rigid move; its surfaces stay."""
        return Part(
            self.name,
            [
                Face(f.surface, f.sign, [[e.moved(move) for e in loop] for loop in f.loops])
                for f in self.faces
            ],
        )

    def sample_mm(self):
        """Return points that two copies of one part have in the same order."""
        return np.concatenate([e.points(np.linspace(e.start, e.end, 4)) for e in self.edges])


@dataclass(frozen=True)
class Move:
    """A rigid move: rotation, then translation."""

    rotation: np.ndarray
    shift: np.ndarray
    residual_mm: float = 0.0

    def points(self, points):
        """Return where points go."""
        return points @ self.rotation.T + self.shift

    def vectors(self, vectors):
        """Return where directions point."""
        return vectors @ self.rotation.T

    def back(self, points):
        """Return where points came from."""
        return (points - self.shift) @ self.rotation

    @property
    def turn_deg(self):
        """Rotation about the car's y axis, + nose up."""
        r = self.rotation
        return float(np.degrees(np.arctan2(r[0, 2] - r[2, 0], r[0, 0] + r[2, 2])))


def move_between(before_mm, after_mm):
    """Return the rigid move that best carries one set of points onto another, with what is left over."""
    b, a = before_mm.mean(axis=0), after_mm.mean(axis=0)
    left, _, right = np.linalg.svd((before_mm - b).T @ (after_mm - a))
    flip = np.diag([1.0, 1.0, np.linalg.det(left @ right)])
    rotation = (left @ flip @ right).T
    shift = a - rotation @ b
    rest = np.abs(before_mm @ rotation.T + shift - after_mm).max()
    return Move(rotation, shift, float(rest))


# ---------------------------------------------------------------- the file


def read_step(path):
    """Return the parts of a STEP file by name, each where the assembly puts it."""
    document = TDocStd_Document(TCollection_ExtendedString("blind"))
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.ReadFile(str(path))
    reader.Transfer(document)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    found = {}
    for i in range(1, roots.Length() + 1):
        _collect(roots.Value(i), TopLoc_Location(), found)
    # Keep-outs are bought bodies, not metal: nothing that is recovered lies on them.
    return {n: Part(n, _faces(shape)) for n, shape in found.items() if not n.startswith("keep-out ")}


def _name_of(label):
    name = TDataStd_Name()
    return name.Get().ToExtString() if label.FindAttribute(TDataStd_Name.GetID_s(), name) else ""


def _collect(label, location, found):
    target = label
    if XCAFDoc_ShapeTool.IsReference_s(label):
        target = TDF_Label()
        XCAFDoc_ShapeTool.GetReferredShape_s(label, target)
        location = location.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(label))
    if XCAFDoc_ShapeTool.IsAssembly_s(target):
        children = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(target, children)
        for i in range(1, children.Length() + 1):
            _collect(children.Value(i), location, found)
        return
    name = _name_of(target)
    assert name not in found, f"two parts are called {name!r}"
    found[name] = XCAFDoc_ShapeTool.GetShape_s(target).Moved(location)


def _explored(shape, kind):
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _faces(shape):
    faces = []
    for item in _explored(shape, TopAbs_FACE):
        face = TopoDS.Face_s(item)
        outer = BRepTools.OuterWire_s(face)
        wires = sorted(_explored(face, TopAbs_WIRE), key=lambda w: not w.IsSame(outer))
        loops = [[_edge(TopoDS.Edge_s(e)) for e in _explored(w, TopAbs_EDGE)] for w in wires]
        sign = -1.0 if face.Orientation() == TopAbs_REVERSED else 1.0
        faces.append(Face(_surface(face), sign, loops))
    return faces


def _basis(knots, multiplicities, degree):
    t = np.repeat(knots, multiplicities)
    return BSpline(t, np.eye(len(t) - degree - 1), degree)


def _surface(face):
    surface = BRep_Tool.Surface_s(face)
    if isinstance(surface, Geom_Plane):  # of flat glass: without end
        surface = Geom_RectangularTrimmedSurface(surface, *BRepTools.UVBounds_s(face))
    found = GeomConvert.SurfaceToBSplineSurface_s(surface)
    assert not any((found.IsURational(), found.IsVRational(), found.IsUPeriodic(), found.IsVPeriodic()))
    nu, nv = found.NbUPoles(), found.NbVPoles()
    poles = np.empty((nu, nv, 3))
    for i in range(nu):
        for j in range(nv):
            p = found.Pole(i + 1, j + 1)
            poles[i, j] = p.X(), p.Y(), p.Z()
    u, mu = zip(
        *((found.UKnot(i), found.UMultiplicity(i)) for i in range(1, found.NbUKnots() + 1)), strict=True
    )
    v, mv = zip(
        *((found.VKnot(i), found.VMultiplicity(i)) for i in range(1, found.NbVKnots() + 1)), strict=True
    )
    return Surface(_basis(u, mu, found.UDegree()), _basis(v, mv, found.VDegree()), poles)


def _edge(edge):
    curve = BRep_Tool.Curve_s(edge, 0.0, 1.0)
    first, last = BRep_Tool.Range_s(edge)
    found = GeomConvert.CurveToBSplineCurve_s(Geom_TrimmedCurve(curve, first, last))
    knots = [(found.Knot(i), found.Multiplicity(i)) for i in range(1, found.NbKnots() + 1)]
    poles = np.array([(p.X(), p.Y(), p.Z()) for p in (found.Pole(i) for i in range(1, found.NbPoles() + 1))])
    t = np.repeat(*map(np.array, zip(*knots, strict=True)))
    spline = BSpline(t, poles, found.Degree())
    return Edge(spline, found.FirstParameter(), found.LastParameter(), edge.Orientation() == TopAbs_REVERSED)
