"""Every part of a car as an exact shape: skin with its gauge, posts, panes, keep-outs.

A part lies where it is on the uncut car and carries the move that puts it
in its new place.  ``exact_parts`` with ``form="surfaces"`` gives the outside
only: the measured skin, and the outer faces of the posts.

Names of parts are the layout's, and ``post A right lower``, ``upper``,
``slug`` (``post A right`` where the roof is not cut).  A pane that is cut
through is two parts, ``pane door glass right on body`` and ``… on roof``.
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
from .exactkernel import made_compound
from .exactposts import lower_end, post_outside, post_solid, slug, upper_end, whole_post
from .exactsheets import Sheets
from .layout import BODY, GLASS_WASTE, METAL, PANE, WASTE
from .measured import KeepOut
from .moves import IDENTITY, RigidMove

SOLIDS, SURFACES = "solids", "surfaces"
POST, KEEP_OUT = "post", "keep-out"


@dataclass(frozen=True, eq=False)
class ExactPart:
    """One named part of the car.

    Attributes
    ----------
    kind : str
        ``metal``, ``pane``, ``post``, ``waste``, ``glass waste`` or ``keep-out``.
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
    """Return every part of a plan, pieces first, then posts, panes, what is removed, keep-outs.

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
    parts = [*skin_parts(built, faces, form), *post_parts(built, form)]
    parts += [ExactPart(f"keep-out {k.name}", KEEP_OUT, BODY, keep_out_solid(k), IDENTITY) for k in built.shape.car.keep_outs]
    order = (METAL, POST, PANE, WASTE, GLASS_WASTE, KEEP_OUT)
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


def post_parts(built: Built, form: str = SOLIDS) -> list[ExactPart]:
    """Return lower end, upper end and slug of every post, or whole posts where none is cut."""
    shaped = post_solid if form == SOLIDS else post_outside
    parts = []
    for key, line in built.shape.lines.items():
        name = f"post {' '.join(key)}"
        ends = built.ends.get(key)
        if ends is None:
            parts.append(ExactPart(name, POST, BODY, shaped(whole_post(line)), IDENTITY))
            continue
        piece = built.upper_piece(key)
        parts.append(ExactPart(f"{name} lower", POST, BODY, shaped(lower_end(ends)), IDENTITY))
        parts.append(ExactPart(f"{name} upper", POST, piece, shaped(upper_end(ends)), ends.move))
        parts.append(ExactPart(f"{name} slug", POST, BODY, shaped(slug(ends)), IDENTITY, True))
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
