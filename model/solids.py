"""Every part of a car as an exact shape: skin with its gauge, posts, panes, keep-outs.

A part lies where it is on the uncut car and carries the move that puts it
in its new place.  ``exact_parts`` with ``form="surfaces"`` gives the outside
only: the measured skin, and the outer faces of the posts.

``exact_interference`` asks the kernel what the placed solids have in common:
slow, and the measure of the live tier's answer.

Names of parts are the layout's, and ``post A right lower``, ``upper``,
``slug`` (``post A right`` where the roof is not cut); of a leaned post also
``foot`` and ``wedge``.  ``post piece A right`` is let in where its stubs are
cut back; what comes off them is ``post A right lower offcut``, ``… upper offcut``.  A pane that is cut
through is two parts, ``pane door glass right on body`` and ``… on roof``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape

from .bodies import KeepOutBody, posts_of
from .built import Built
from .exactfaces import ExactFaces, exact_faces
from .exactfillers import filler_face, filler_solid
from .exactkernel import location_of, made_compound
from .exactposts import (
    foot,
    lower_end,
    offcuts,
    post_outside,
    post_piece,
    post_solid,
    slug,
    upper_end,
    wedge,
    whole_post,
)
from .exactsheets import Sheets
from .fillers import fillers_of
from .fillerseams import least_radius_mm
from .hingepieces import hinge_pieces, stubs_of
from .layout import BODY, GLASS_WASTE, METAL, PANE, WASTE, Cell
from .measured import KeepOut
from .moves import IDENTITY, RigidMove
from .postpieces import closed_posts

SOLIDS, SURFACES = "solids", "surfaces"
POST, KEEP_OUT, FILLER = "post", "keep-out", "filler"
LEAST_VOLUME_MM3 = 1.0  # as in the live tier
_MESH_MM = 0.2  # of a common body, for its depth only
_SPACING_MM, _MOST_STEPS = 3.0, 100


@dataclass(frozen=True, eq=False)
class ExactPart:
    """One named part of the car.

    Attributes
    ----------
    kind : str
        ``metal``, ``filler``, ``pane``, ``post``, ``waste``, ``glass waste`` or ``keep-out``.
    piece : str
        The piece it moves with; ``body`` also for what does not move.
    shape : TopoDS_Shape
        Where it is on the uncut car.
    move : RigidMove
        To where the plan puts it.
    is_removed : bool
        Cut out: a slug, a trimming, or glass of the stock pane.
    """

    name: str
    kind: str
    piece: str
    shape: TopoDS_Shape
    move: RigidMove
    is_removed: bool = False


def exact_parts(built: Built, *, form: str = SOLIDS, faces: ExactFaces | None = None) -> list[ExactPart]:
    """Return every part of a plan, pieces first, then new metal, posts, panes, what is removed, keep-outs.

    Parameters
    ----------
    form : str
        ``solids``, or ``surfaces`` for the outside only.
    faces : ExactFaces, optional
        Of ``built.layout``, if they are at hand.
    """
    if form not in (SOLIDS, SURFACES):
        raise ValueError(f"form must be 'solids' or 'surfaces'; got {form!r}.")
    faces = faces or exact_faces(built.layout)
    new = [*filler_parts(built, form), *post_piece_parts(built, form)]
    parts = [*skin_parts(built, faces, form), *new, *post_parts(built, form)]
    for body in built.shape.car.keep_outs:
        parts.append(ExactPart(f"keep-out {body.name}", KEEP_OUT, BODY, keep_out_solid(body), IDENTITY))
    order = (METAL, FILLER, POST, PANE, WASTE, GLASS_WASTE, KEEP_OUT)
    return sorted(parts, key=lambda part: (part.is_removed, order.index(part.kind)))


def skin_parts(built: Built, faces: ExactFaces, form: str = SOLIDS) -> list[ExactPart]:
    """Return the parts of the skin: pieces, panes, slugs and trimmings."""
    car, sheets = built.shape.car, Sheets(faces)
    parts = []
    for name, all_cells in built.layout.parts.items():
        carriers = list(dict.fromkeys(cell.carrier for cell in all_cells))
        for carrier in carriers:
            cells = [cell for cell in all_cells if cell.carrier == carrier]
            role = cells[0].role
            if form == SURFACES:
                shape = faces.sheet(cells)
            else:
                gauge = car.glass_mm if role in (PANE, GLASS_WASTE) else car.gauge_mm
                shape = made_compound(sheets.solid(cell, gauge) for cell in cells)
            full_name = f"{name} on {carrier}" if len(carriers) > 1 else name
            is_removed = role in (WASTE, GLASS_WASTE)
            move = IDENTITY if is_removed else built.moves.get(carrier, IDENTITY)
            parts.append(ExactPart(full_name, role, carrier, shape, move, is_removed))
    return parts


def filler_parts(built: Built, form: str = SOLIDS) -> list[ExactPart]:
    """Return the new metal of the plan, in place; what bends tighter than its gauge is its outside alone."""
    parts = []
    for filler in fillers_of(built):
        is_solid = form == SOLIDS and least_radius_mm(filler.grid) >= filler.thickness_mm
        shape = filler_solid(filler) if is_solid else filler_face(filler)
        parts.append(ExactPart(filler.name, FILLER, filler.name, shape, IDENTITY))
    return parts


def post_piece_parts(built: Built, form: str = SOLIDS) -> list[ExactPart]:
    """Return the pieces let in between the stubs of posts and around their hinges, in place."""
    shaped = post_solid if form == SOLIDS else post_outside
    return [
        ExactPart(closed.name, FILLER, closed.name, shaped(post_piece(closed)), IDENTITY)
        for closed in (*closed_posts(built).values(), *hinge_pieces(built).values())
    ]


def post_parts(built: Built, form: str = SOLIDS) -> list[ExactPart]:
    """Return lower end, upper end and slug of every post, or whole posts where none is cut."""
    shaped = post_solid if form == SOLIDS else post_outside
    parts, pieces, stubs = [], closed_posts(built), stubs_of(built)
    for key, line in built.shape.lines.items():
        name = f"post {' '.join(key)}"
        ends = stubs.get(key)
        if ends is None:
            parts.append(ExactPart(name, POST, BODY, shaped(whole_post(line)), IDENTITY))
            continue
        piece = built.upper_piece(key)
        below = built.lower_piece(key)
        closed = pieces.get(key)
        back = (0.0, 0.0) if closed is None else closed.back_mm
        parts.append(
            ExactPart(f"{name} lower", POST, below, shaped(lower_end(ends, back[0])), ends.lower_move)
        )
        parts.append(ExactPart(f"{name} upper", POST, piece, shaped(upper_end(ends, back[1])), ends.move))
        parts.append(ExactPart(f"{name} slug", POST, BODY, shaped(slug(ends)), IDENTITY, True))
        for end, off in zip(("lower", "upper"), offcuts(closed) if closed else (), strict=False):
            if off is not None:
                parts.append(ExactPart(f"{name} {end} offcut", POST, BODY, shaped(off), IDENTITY, True))
        if ends.hinge is not None:
            parts.append(ExactPart(f"{name} foot", POST, BODY, shaped(foot(ends)), IDENTITY))
            parts.append(ExactPart(f"{name} wedge", POST, BODY, shaped(wedge(ends)), IDENTITY, True))
    return parts


def keep_out_solid(body: KeepOut) -> TopoDS_Shape:
    """Return a keep-out as a solid."""
    at = gp_Pnt(*map(float, body.at_mm))
    if body.shape == "sphere":
        return BRepPrimAPI_MakeSphere(at, body.radius_mm).Solid()
    if body.shape == "cylinder":
        axis = [float(b - a) for a, b in zip(body.at_mm, body.to_mm, strict=True)]
        length = sum(x * x for x in axis) ** 0.5
        return BRepPrimAPI_MakeCylinder(gp_Ax2(at, gp_Dir(*axis)), body.radius_mm, length).Solid()
    corner = [float(c - s / 2) for c, s in zip(body.at_mm, body.size_mm, strict=True)]
    return BRepPrimAPI_MakeBox(gp_Pnt(*corner), *map(float, body.size_mm)).Solid()


def volume_mm3(shape: TopoDS_Shape, relative_error: float = 1e-7) -> float:
    """Return the volume of solids, as the kernel integrates it. [mm³]"""
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties, relative_error)
    return properties.Mass()


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
class _Placed:
    """One solid in place; ``depth`` maps points in place to how deep each set of points lies in it."""

    name: str
    piece: str
    is_keep_out: bool
    solid: TopoDS_Shape
    box_mm: np.ndarray
    depth: Callable[[np.ndarray], float]


def exact_interference(built: Built) -> list[CommonBody]:
    """Return every pair of pieces, posts and keep-outs that share space, largest first."""
    return list(interference_steps(built))[-1][1]


def interference_steps(built: Built) -> Iterator[tuple[float, list[CommonBody]]]:
    """Work out what shares space; yield the share of the pairs done and what is found so far.

    Each cell's solid is taken on its own, and booleans only where boxes meet.
    The last share is 1, and what is found with it is all of it, largest first.
    """
    names = {filler.name for filler in fillers_of(built)}
    joined = {(filler.name, end) for filler in fillers_of(built) for end in filler.ends if end in names}
    found: dict[tuple[str, str], list[tuple[float, np.ndarray, float, bool]]] = {}
    pairs = [
        (a, b)
        for a, b in combinations(_placed(built), 2)
        if (a.piece, b.piece) not in joined
        and a.piece != b.piece
        and not (a.box_mm[0] > b.box_mm[1]).any()
        and not (b.box_mm[0] > a.box_mm[1]).any()
    ]
    for done, (a, b) in enumerate(pairs):
        yield done / len(pairs), _common_bodies(found)
        common = BRepAlgoAPI_Common(a.solid, b.solid).Shape()
        for solid in _solids_in(common):
            volume, centre = _volume_and_centre(solid)
            points = _mesh_points(solid)
            depth = b.depth(points) if b.is_keep_out else min(a.depth(points), b.depth(points))
            valid = BRepCheck_Analyzer(solid).IsValid() and volume > 0
            found.setdefault((a.name, b.name), []).append((volume, centre, depth, valid))
    yield 1.0, _common_bodies(found)


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


def _placed(built: Built) -> list[_Placed]:
    """Return sheets, then posts, then keep-outs; what stays counts as one piece with the keep-outs."""
    sheets, out = Sheets(exact_faces(built.layout)), []
    for cell in built.layout.cells:
        if cell.role == METAL:
            move = built.moves[cell.carrier]
            solid = _butted(built, sheets, cell).Moved(location_of(move))
            depth = _depth_in_sheet(cell, move, built.shape.car.gauge_mm)
            out.append(_Placed(cell.part, cell.carrier, False, solid, _box_of(solid), depth))
    for filler, part in zip(fillers_of(built), filler_parts(built), strict=True):
        if part.shape.ShapeType() == TopAbs_SOLID:
            depth = _depth_in_filler(filler)
            out.append(_Placed(part.name, part.piece, False, part.shape, _box_of(part.shape), depth))
    bodies = {body.name: body for _, body in posts_of(built)}
    for part in (*post_parts(built), *post_piece_parts(built)):
        if not part.is_removed:
            solid = part.shape.Moved(location_of(part.move))
            out.append(
                _Placed(
                    part.name, part.piece, False, solid, _box_of(solid), _depth_in_post(bodies[part.name])
                )
            )
    for body in built.shape.car.keep_outs:
        solid = keep_out_solid(body)
        out.append(_Placed(body.name, BODY, True, solid, _box_of(solid), _depth_in_keep_out(body)))
    return out


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


def _box_of(shape) -> np.ndarray:
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    return np.array(box.Get()).reshape(2, 3)


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
