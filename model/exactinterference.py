"""What the placed solids have in common, by the CAD kernel: the measure of the live tier's answer.

The kernel's booleans take seconds to minutes a pair and are asked last.  Of
all pairs of pieces, posts, new metal and keep-outs

1. those whose boxes do not meet share nothing;
2. those that triangles of the kernel's own faces prove apart share nothing
   (:mod:`model.meshdistance`, with the strays of :mod:`model.exactmeshes`);
3. of two fillers that share a border, and of a corner patch and the end it is
   laid from, each is drawn at full gauge up to it.
   Where the skin turns there by φ both have the wedge under it in common,
   which reaches g / cos(φ/2) from the border: the mitre of one sheet that is
   bent there, and no interference.  They share nothing else if triangles
   prove them apart outside a tube of :data:`MITRE` gauges around the border;
4. of the rest the common body is worked out.

New metal that bends tighter than its gauge has no solid.  It takes part in 1
to 3 by layers of triangles; a pair of it that is left over can only be named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape

from .bodies import KeepOutBody, posts_of
from .built import Built
from .cornerholes import KIND as CORNER_PATCH
from .exactfaces import exact_faces
from .exactkernel import location_of
from .exactmeshes import boundary_of, box_of, layers_of
from .exactsheets import Sheets
from .fillers import fillers_of
from .fillerseams import shared_borders
from .layout import BODY, METAL, Cell
from .measured import KeepOut
from .meshdistance import Boundary, are_apart, boxes_are_near, outside_tube
from .moves import RigidMove
from .solids import filler_parts, keep_out_solid, post_parts, post_piece_parts

LEAST_VOLUME_MM3 = 1.0  # as in the live tier
CHORD_MM = 0.1  # asked of the triangles: strays are then up to 0.3, two of them less than a root gap
APART_MM = 1e-3  # least clearance that counts as proved; rounding is 1e-9
MITRE = 2.5  # gauges from a shared border: enough for skin that turns by 130° there
_MESH_MM = 0.2  # of a common body, for its depth only
_SPACING_MM, _MOST_STEPS = 3.0, 100


@dataclass(frozen=True, kw_only=True)
class CommonBody:
    """What two placed parts have in common, as the kernel finds it.

    ``depth_mm`` in a keep-out or a post is the greatest distance inside it;
    of two sheets, how far the common body must be pushed along a sheet's
    normal to be out of that sheet, on the nearer side and of the nearer sheet
    (at most the gauge).
    """

    pieces: tuple[str, str]
    volume_mm3: float
    depth_mm: float
    at_mm: tuple[float, float, float]
    is_valid: bool  # as the kernel judges its own result


@dataclass(frozen=True, eq=False)
class Placed:
    """One body in place.

    Attributes
    ----------
    solid : TopoDS_Shape or None
        None for new metal that bends tighter than its gauge.
    box_mm : (2, 3)
        Least and greatest coordinates; may be too large.
    triangles : callable
        Makes :attr:`boundary`, which takes a while.
    depth : callable
        Maps points in place to how deep that set of points lies in it. [mm]
    """

    name: str
    piece: str
    is_keep_out: bool
    solid: TopoDS_Shape | None
    box_mm: np.ndarray
    triangles: Callable[[], Boundary]
    depth: Callable[[np.ndarray], float]

    @cached_property
    def boundary(self) -> Boundary:
        """Triangles of it in place."""
        return self.triangles()


Pair = tuple[Placed, Placed]


@dataclass(frozen=True, eq=False)
class Mitre:
    """The border that two fillers share, as points in place, and their gauge."""

    border_mm: np.ndarray
    gauge_mm: float


def exact_interference(built: Built) -> list[CommonBody]:
    """Return every pair of pieces, posts and keep-outs that share space, largest first."""
    return list(interference_steps(built))[-1][1]


def interference_steps(built: Built) -> Iterator[tuple[float, list[CommonBody]]]:
    """Work out what shares space; yield the share of the pairs done and what is found so far.

    Each cell's solid is taken on its own; the pairs are those that triangles
    do not settle.  The last share is 1, and what is found with it is all of
    it, largest first.
    """
    yield 0.0, []
    found: dict[tuple[str, str], list[tuple[float, np.ndarray, float, bool]]] = {}
    pairs = [(a, b) for a, b in unsettled_pairs(built) if a.solid is not None and b.solid is not None]
    for done, (a, b) in enumerate(pairs):
        yield done / len(pairs), _common_bodies(found)
        for solid in _solids_in(BRepAlgoAPI_Common(a.solid, b.solid).Shape()):
            volume, centre = _volume_and_centre(solid)
            points = _mesh_points(solid)
            depth = b.depth(points) if b.is_keep_out else min(a.depth(points), b.depth(points))
            valid = BRepCheck_Analyzer(solid).IsValid() and volume > 0
            found.setdefault((a.name, b.name), []).append((volume, centre, depth, valid))
    yield 1.0, _common_bodies(found)


def undecided(built: Built) -> list[tuple[str, str]]:
    """Return the names of pairs of which one has no solid and triangles prove nothing."""
    return [(a.name, b.name) for a, b in unsettled_pairs(built) if a.solid is None or b.solid is None]


@lru_cache(maxsize=1)
def unsettled_pairs(built: Built) -> list[Pair]:
    """Return the pairs of bodies that triangles do not prove to share nothing."""
    mitres = mitres_of(built)
    return [pair for pair in pairs_in_reach(placed_bodies(built), 0.0) if not is_settled(pair, mitres)]


def pairs_in_reach(bodies: list[Placed], within_mm: float) -> list[Pair]:
    """Return pairs of bodies of different pieces whose boxes come that near; what stays is one piece. [mm]"""
    return [
        (a, b)
        for a, b in combinations(bodies, 2)
        if a.piece != b.piece
        and boxes_are_near(a.box_mm, b.box_mm, within_mm)
        and boxes_are_near(a.boundary.box_mm, b.boundary.box_mm, within_mm)
    ]


def is_settled(pair: Pair, mitres: dict[frozenset[str], Mitre]) -> bool:
    """Return whether triangles prove that two bodies share nothing, or nothing but a mitre."""
    a, b = (body.boundary for body in pair)
    if are_apart(a, b, APART_MM):
        return True
    mitre = mitres.get(frozenset(body.name for body in pair))
    if mitre is None:
        return False
    radius, size = MITRE * mitre.gauge_mm, mitre.gauge_mm / 2
    rest = (outside_tube(boundary, mitre.border_mm, radius, size) for boundary in (a, b))
    return are_apart(*rest, APART_MM)


def mitres_of(built: Built) -> dict[frozenset[str], Mitre]:
    """Return where new sheets meet that turn there, by the names of the two."""
    fillers = fillers_of(built)
    named = {filler.name: filler for filler in fillers}
    meeting = [(filler, border, other) for filler, border, other, _ in shared_borders(fillers)]
    meeting += [(f, "v0", named[f.seam.pieces[0]]) for f in fillers if f.seam.kind == CORNER_PATCH]
    return {
        frozenset((filler.name, other.name)): Mitre(
            filler.border(border).point_mm, max(filler.thickness_mm, other.thickness_mm)
        )
        for filler, border, other in meeting
    }


def _common_bodies(found) -> list[CommonBody]:
    """Return what was found pair by pair as records, largest first."""
    out = []
    for pieces, bodies in found.items():
        volume = sum(v for v, *_ in bodies)
        if volume > LEAST_VOLUME_MM3:
            at = sum(v * centre for v, centre, *_ in bodies) / volume
            depth = max(d for *_, d, _ in bodies)
            valid = all(is_valid for *_, is_valid in bodies)
            out.append(
                CommonBody(
                    pieces=pieces, volume_mm3=volume, depth_mm=depth, at_mm=tuple(at.tolist()), is_valid=valid
                )
            )
    return sorted(out, key=lambda body: -body.volume_mm3)


def placed_bodies(built: Built) -> list[Placed]:
    """Return sheets, new metal, posts, then keep-outs; what stays counts as one piece with the keep-outs."""
    sheets, out = Sheets(exact_faces(built.layout)), []
    for cell in built.layout.cells:
        if cell.role == METAL:
            move = built.moves[cell.carrier]
            solid = _butted(built, sheets, cell).Moved(location_of(move))
            depth = _depth_in_sheet(cell, move, built.shape.car.gauge_mm)
            out.append(_placed(cell.part, cell.carrier, solid, depth))
    for filler, part in zip(fillers_of(built), filler_parts(built), strict=True):
        depth = _depth_in_filler(filler)
        if part.shape.ShapeType() == TopAbs_SOLID:
            out.append(_placed(part.name, part.piece, part.shape, depth))
        else:
            layers = layers_of(filler)
            out.append(Placed(part.name, part.piece, False, None, layers.box_mm, lambda x=layers: x, depth))
    bodies = {body.name: body for _, body in posts_of(built)}
    for part in (*post_parts(built), *post_piece_parts(built)):
        if not part.is_removed:
            solid = part.shape.Moved(location_of(part.move))
            out.append(_placed(part.name, part.piece, solid, _depth_in_post(bodies[part.name])))
    for body in built.shape.car.keep_outs:
        placed = _placed(body.name, BODY, keep_out_solid(body), _depth_in_keep_out(body))
        out.append(replace(placed, is_keep_out=True))
    return out


def _placed(name, piece, solid, depth) -> Placed:
    return Placed(name, piece, False, solid, box_of(solid), lambda: boundary_of(solid, CHORD_MM), depth)


def _butted(built: Built, sheets: Sheets, cell: Cell) -> TopoDS_Shape:
    """Return a cell's solid; on a side, less what sheets of other pieces hold across the gutter.

    Both sheets are drawn at full gauge up to the crease, so where the crease
    parts two pieces they share a wedge on the uncut car already: no
    interference of the plan's.
    """
    gauge_mm = built.shape.car.gauge_mm
    solid = sheets.solid(cell, gauge_mm)
    if cell.grid.kind != "side":
        return solid
    across = {}
    for chain in built.layout.chains_of[id(cell)]:
        if chain.line.startswith("border"):
            other = built.layout.neighbour(chain)
            if other is not None and other.role == METAL and other.carrier != cell.carrier:
                across[id(other)] = other
    for other in across.values():
        solid = BRepAlgoAPI_Cut(solid, sheets.solid(other, gauge_mm)).Shape()
    return solid


def _depth_in_sheet(cell: Cell, move: RigidMove, gauge_mm: float):
    def depth(points):
        distance = cell.grid.foot(move.inverse().points(points)).distance_mm
        return float(max(min(gauge_mm + distance.max(), -distance.min()), 0.0))

    return depth


def _depth_in_filler(filler):
    def depth(points):
        distance = filler.grid.foot(points).distance_mm
        return float(max(min(filler.thickness_mm + distance.max(), -distance.min()), 0.0))

    return depth


def _depth_in_post(body):
    def depth(points):
        whole = body.inside(points, np.zeros_like(points), np.zeros(1), np.inf)[0]
        return float(max(-np.max([bound[0] for bound in whole], axis=0).min(), 0.0))

    return depth


def _depth_in_keep_out(body: KeepOut):
    def depth(points):
        return float(max(-np.max(KeepOutBody(body).outside_mm(points), axis=0).min(), 0.0))

    return depth


def _solids_in(shape):
    explorer = TopExp_Explorer(shape, TopAbs_SOLID)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _volume_and_centre(solid):
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, properties, 1e-6)
    centre = properties.CentreOfMass()
    return properties.Mass(), np.array([centre.X(), centre.Y(), centre.Z()])


def _mesh_points(solid) -> np.ndarray:
    """Return points all over the faces of a solid, no more than :data:`_SPACING_MM` apart."""
    BRepMesh_IncrementalMesh(solid, _MESH_MM, False, 0.1)
    explorer, points = TopExp_Explorer(solid, TopAbs_FACE), []
    while explorer.More():
        location = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(TopoDS.Face_s(explorer.Current()), location)
        if mesh is not None:
            placed = (
                mesh.Node(i).Transformed(location.Transformation()) for i in range(1, mesh.NbNodes() + 1)
            )
            nodes = np.array([node.Coord() for node in placed])
            corners = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)]) - 1
            points += [_spread_over(nodes[triangle]) for triangle in corners]
        explorer.Next()
    return np.concatenate(points)


def _spread_over(triangle) -> np.ndarray:
    longest = np.linalg.norm(triangle - np.roll(triangle, 1, axis=0), axis=1).max()
    n = min(_MOST_STEPS, max(1, int(np.ceil(longest / _SPACING_MM))))
    i, j = np.nonzero(np.tri(n + 1)[::-1])
    return (
        triangle[0]
        + (i[:, None] * (triangle[1] - triangle[0]) + j[:, None] * (triangle[2] - triangle[0])) / n
    )
