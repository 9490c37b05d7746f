"""Triangles of every part that a chopped car is made of, under the names that the STEP file has.

Frame: car, mm.  A part lies where it is on the uncut car and carries the move
that puts it in its new place.  Sheet and glass are the measured outside of the
skin, without its gauge.  What is cut out (slugs, trimmings, glass of the stock
panes, the whole of one that is made anew) is no part of the chopped car.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bodies import posts_of
from .built import Built
from .display import KEEP_OUT, POST
from .fillers import fillers_of
from .fillersheets import filler_mesh
from .finermesh import finer_mesh
from .layout import BODY, METAL, PANE
from .moves import IDENTITY, RigidMove
from .newpanes import new_panes, pane_mesh, part_name
from .numeric import cross, dot, unit
from .scene import cell_mesh, keep_out_mesh

SAG_MM = 0.4  # of a triangle's edge off the skin: a fifth of a pixel where a car is 2000 pixels long, assumed


@dataclass(frozen=True, eq=False)
class NamedPart:
    """One part.

    Attributes
    ----------
    kind : str
        ``metal``, ``post``, ``pane`` or ``keep-out``.
    carrier : str
        The piece it moves with; ``body`` also for what does not move.
    point_mm, normal : (n, 3)
        On the uncut car; normals point out of the car.
    triangles : (m, 3) int
        Counter-clockwise seen from outside.
    move : RigidMove
        To where the plan puts it.
    """

    name: str
    kind: str
    carrier: str
    point_mm: np.ndarray
    normal: np.ndarray
    triangles: np.ndarray
    move: RigidMove

    @property
    def placed_mm(self) -> np.ndarray:
        """The points where the plan puts them."""
        return self.move.points(self.point_mm)


def named_parts(built: Built) -> list[NamedPart]:
    """Return every part of a plan: pieces, new metal, posts, panes, keep-outs."""
    sheets = _sheets(built)
    pieces = [part for part in sheets if part.kind == METAL]
    panes = [*(part for part in sheets if part.kind == PANE), *_new_panes(built)]
    return [*pieces, *_fillers(built), *_posts(built), *panes, *_keep_outs(built)]


def _sheets(built):
    parts, anew = [], {part_name(pane) for pane in new_panes(built)}
    for name, all_cells in built.layout.parts.items():
        if name in anew:
            continue
        carriers = list(dict.fromkeys(cell.carrier for cell in all_cells))
        for carrier in carriers:
            cells = [cell for cell in all_cells if cell.carrier == carrier]
            if cells[0].role not in (METAL, PANE):
                continue
            meshes = [finer_mesh(cell.grid, cell_mesh(cell), SAG_MM) for cell in cells]
            full_name = f"{name} on {carrier}" if len(carriers) > 1 else name
            move = built.moves.get(carrier, IDENTITY)
            parts.append(NamedPart(full_name, cells[0].role, carrier, *_joined(meshes), move))
    return parts


def _new_panes(built):
    names = {part_name(pane): pane_mesh(pane) for pane in new_panes(built)}
    return [NamedPart(name, PANE, name, *mesh, IDENTITY) for name, mesh in names.items()]


def _fillers(built):
    parts = []
    for filler in fillers_of(built):
        mesh = filler_mesh(filler, per_span=3)
        arrays = mesh.point_mm, mesh.normal, mesh.triangles
        parts.append(NamedPart(filler.name, METAL, filler.name, *arrays, IDENTITY))
    return parts


def _joined(meshes):
    starts = np.cumsum([0] + [len(mesh.point_mm) for mesh in meshes[:-1]])
    return (
        np.concatenate([mesh.point_mm for mesh in meshes]),
        np.concatenate([mesh.normal for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=True)]),
    )


def _convex(point, triangles):
    """Return a convex body with its triangles apart, each with its own normal outward."""
    corners = point[triangles]
    normal = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal *= np.sign(dot(normal, corners.mean(axis=1) - point.mean(axis=0)))[:, None]
    is_flat = dot(normal, normal) == 0
    corners, normal = corners[~is_flat], unit(normal[~is_flat])
    apart = np.arange(3 * len(corners)).reshape(-1, 3)
    return _wound(corners.reshape(-1, 3), np.repeat(normal, 3, axis=0), apart)


def _wound(point, normal, triangles):
    """Return a mesh whose triangles run counter-clockwise seen from where its normals point."""
    a, b, c = point[triangles].swapaxes(0, 1)
    is_inside_out = dot(cross(b - a, c - a), normal[triangles].sum(axis=1)) < 0
    return point, normal, np.where(is_inside_out[:, None], triangles[:, ::-1], triangles)


def _posts(built):
    return [
        NamedPart(
            body.name,
            METAL if body.name == piece else POST,  # a post piece is carried by nothing else
            piece,
            *_wound(*body.mesh),
            body.move,
        )
        for piece, body in posts_of(built)
    ]


def _keep_outs(built):
    return [
        NamedPart(f"keep-out {body.name}", KEEP_OUT, BODY, *_convex(*keep_out_mesh(body)[::2]), IDENTITY)
        for body in built.shape.car.keep_outs
    ]
