"""Every part of a car as an exact shape: skin with its gauge, posts, panes, keep-outs.

A part lies where it is on the uncut car and carries the move that puts it
in its new place.  ``exact_parts`` with ``form="surfaces"`` gives the outside
only: the measured skin, and the outer faces of the posts.

Names of parts are the layout's, and ``post A right lower``, ``upper``,
``slug`` (``post A right`` where the roof is not cut); of a leaned post also
``foot`` and ``wedge``.  ``post piece A right`` is let in where its stubs are
cut back; what comes off them is ``post A right lower offcut``, ``… upper offcut``.  A pane that is made
anew is whole, ``pane door glass right``, and the stock one with what is removed, in two parts,
``pane door glass right on body`` and ``… on roof``.
"""

from __future__ import annotations

from dataclasses import dataclass

from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS_Shape

from .built import Built
from .exactfaces import ExactFaces, exact_faces
from .exactfillers import filler_face, filler_solid
from .exactkernel import made_compound
from .exactpanes import pane_outside, pane_solid
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
from .layout import BODY, GLASS_WASTE, METAL, PANE, WASTE
from .measured import KeepOut
from .moves import IDENTITY, RigidMove
from .newpanes import new_panes, part_name
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

    @property
    def is_new(self) -> bool:
        """Whether it is no part of the stock car: new metal, or a pane made anew."""
        return self.kind == FILLER or (self.kind == PANE and self.piece == self.name)


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
    new = [*filler_parts(built, form), *post_piece_parts(built, form), *new_pane_parts(built, form)]
    parts = [*skin_parts(built, faces, form), *new, *post_parts(built, form)]
    for body in built.shape.car.keep_outs:
        parts.append(ExactPart(f"keep-out {body.name}", KEEP_OUT, BODY, keep_out_solid(body), IDENTITY))
    order = (METAL, FILLER, POST, PANE, WASTE, GLASS_WASTE, KEEP_OUT)
    return sorted(parts, key=lambda part: (part.is_removed, order.index(part.kind)))


def skin_parts(built: Built, faces: ExactFaces, form: str = SOLIDS) -> list[ExactPart]:
    """Return the parts of the skin: pieces, panes, slugs and trimmings."""
    car, sheets = built.shape.car, Sheets(faces)
    parts, anew = [], {part_name(pane) for pane in new_panes(built)}
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
            if name in anew:
                role = GLASS_WASTE
            is_removed = role in (WASTE, GLASS_WASTE)
            move = IDENTITY if is_removed else built.moves.get(carrier, IDENTITY)
            parts.append(ExactPart(full_name, role, carrier, shape, move, is_removed))
    return parts


def new_pane_parts(built: Built, form: str = SOLIDS) -> list[ExactPart]:
    """Return the panes that are made anew, in place."""
    glass_mm = built.shape.car.glass_mm
    return [
        ExactPart(
            part_name(pane),
            PANE,
            part_name(pane),
            pane_outside(pane) if form == SURFACES else pane_solid(pane, glass_mm),
            IDENTITY,
        )
        for pane in new_panes(built)
    ]


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
