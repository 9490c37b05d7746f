"""The two beads of a post piece, around its ends, and what is told of it as new metal.

Each bead runs where the post's own would: between the straight rims of a stub
and of the piece, a root gap apart square to the cut; its length is the first
piece's rim, the stub's below and the piece's own above.
"""

from __future__ import annotations

import numpy as np

from .built import Built
from .edges import Edge
from .fillers import FLAT_MM
from .fit import Facing
from .gauges import sheet_kg_m2
from .numeric import cross, dot, unit
from .postpiecereport import PostWall
from .postpieces import KIND, ClosedPost, closed_posts
from .report import NewMetalEdge, NewMetalReport, SeamReport
from .seams import POST, Seam, metal_below, moved_rims
from .taperedbox import TaperedBox

WALLS = ("front", "inner", "rear", "outer")
_SAMPLES = 7  # along a rim of the piece, whose wall may be twisted


def seam_names(closed: ClosedPost) -> tuple[str, str]:
    """Return the names of the lower and the upper bead."""
    key = " ".join(closed.key)
    return f"{key}, post lower", f"{key}, post upper"


def stub_names(closed: ClosedPost) -> tuple[str, str]:
    """Return the names of the stubs as bodies."""
    key = " ".join(closed.key)
    return f"post {key} lower", f"post {key} upper"


def post_piece_facings(built: Built) -> list[tuple[Seam, list[Facing]]]:
    """Return the two seams of every post piece, and which edge faces which."""
    out = []
    for key, closed in closed_posts(built).items():
        carriers = (built.lower_piece(key), closed.name), (closed.name, built.upper_piece(key))
        seams = [
            Seam(name, POST, key[1], pieces, (), (), (), key)
            for name, pieces in zip(seam_names(closed), carriers, strict=True)
        ]
        out += bead_facings(seams, rims_of(closed))
    return out


def bead_facings(seams, rims) -> list[tuple[Seam, list[Facing]]]:
    """Return each bead's seam with its faces: the first piece's rim against the second's, face by face."""
    return [
        (seam, [Facing((a,), (b,)) for a, b in zip(*faces, strict=True)])
        for seam, faces in zip(seams, rims, strict=True)
    ]


def rims_of(closed: ClosedPost):
    """Return ((stub's, piece's) edges of the lower bead, (piece's, stub's) of the upper), in place.

    Order of faces and sense as :func:`model.seams.post_edges`.
    """
    ends, line = closed.ends, closed.ends.line
    stubs = (
        moved_rims(line.face_outline(closed.s_lower, -closed.s_lower), ends.lower_move),
        moved_rims(line.face_outline(closed.s_upper, 1 - closed.s_upper), ends.move),
    )
    own = [piece_rims(closed.box, end) for end in (0, 1)]
    return (stubs[0], own[0]), (own[1], stubs[1])


def piece_rims(box: TaperedBox, end: int) -> list[Edge]:
    """Return the straight rims of one end of a piece, with the walls' normals along them."""
    corners = box.corners_mm
    share = np.linspace(0, 1, _SAMPLES)[:, None]
    ways = corners[1] - corners[0]
    out = []
    for i in range(4):
        j = (i + 1) % 4
        points = (1 - share) * corners[end, i] + share * corners[end, j]
        up = (1 - share) * ways[i] + share * ways[j]
        normals = unit(cross(np.broadcast_to(corners[end, j] - corners[end, i], up.shape), up))
        normals *= np.sign(dot(normals, points - corners[end].mean(axis=0)))[:, None]
        out.append(metal_below(points, normals))
    return out


def post_piece_reports(built: Built, seams: list[SeamReport]) -> tuple[NewMetalReport, ...]:
    """Return what every post piece is, and how it sits: from the seams of the closed roof."""
    by_name = {seam.name: seam for seam in seams}
    root_gap_mm = built.plan.root_gap_mm
    return tuple(
        _report(built, closed, [by_name[name] for name in seam_names(closed)], root_gap_mm)
        for closed in closed_posts(built).values()
    )


def _report(built, closed: ClosedPost, seams, root_gap_mm) -> NewMetalReport:
    return box_report(
        closed,
        kind=KIND,
        carriers=(built.lower_piece(closed.key), built.upper_piece(closed.key)),
        stubs=stub_names(closed),
        edges=box_edges(stub_names(closed), seams, rims_of(closed), root_gap_mm),
        closes_gap_mm=corners_apart_mm(closed),
        closes_step_mm=max(closed.ends.miss_mm, key=abs),
    )


def box_report(
    closed, *, kind: str, carriers, stubs, edges, closes_gap_mm: float, closes_step_mm: float
) -> NewMetalReport:
    """Return the report of a box let in between two stubs of a post: ``closed`` has name, key and box."""
    box, key = closed.box, closed.key
    area_mm2 = float(box.wall_areas_mm2.sum())
    corner_edges = np.linalg.norm(box.corners_mm[1] - box.corners_mm[0], axis=1)
    return NewMetalReport(
        name=closed.name,
        kind=kind,
        side=key[1],
        pieces=carriers,
        gauge_mm=box.gauge_mm,
        area_mm2=area_mm2,
        mass_kg=area_mm2 / 1e6 * sheet_kg_m2(box.gauge_mm),
        width_min_mm=float(corner_edges.min()),
        width_max_mm=float(corner_edges.max()),
        closes_gap_mm=closes_gap_mm,
        closes_step_mm=closes_step_mm,
        ends=stubs,
        open_corner_mm=0.0,
        edges=edges,
        least_radius_mm=FLAT_MM,
        walls=walls_of(box, key[1]),
    )


def box_edges(stubs, seams: list[SeamReport], rims, root_gap_mm: float) -> tuple[NewMetalEdge, ...]:
    """Return both beads of a box let in: of the stub's name, the seam's report and both edges for each."""
    return tuple(
        NewMetalEdge(
            piece=stub,
            length_mm=seam.edge_mm,
            tangent_break_deg=_greatest_break_deg(faces),
            off_root_gap_mm=max(abs(x - root_gap_mm) for x in (seam.gap_mm.min, seam.gap_mm.max))
            if seam.gap_mm
            else 0.0,
        )
        for stub, seam, faces in zip(stubs, seams, rims, strict=True)
    )


def corners_apart_mm(closed: ClosedPost) -> float:
    """Return how far apart the plan's two ends have the corner that is furthest from its own. [mm]"""
    ends = closed.ends
    lower = ends.lower_move.points(ends.line.lines(ends.s_lower)[1:])
    upper = ends.move.points(ends.line.lines(ends.s_upper)[1:])
    return float(np.linalg.norm(upper - lower, axis=1).max())


def _greatest_break_deg(rims) -> float:
    """Return the greatest angle between a stub's face and the piece's wall along their rims. [deg]"""
    worst = 0.0
    for a, b in zip(*rims, strict=True):
        cosines = (unit(a.normal)[[0, -1]] * unit(b.normal)[[0, -1]]).sum(axis=1)
        worst = max(worst, float(np.degrees(np.arccos(np.clip(cosines, -1, 1))).max()))
    return worst


def walls_of(box: TaperedBox, side: str) -> tuple[PostWall, ...]:
    """Return the four walls of a box let into a post of that side, laid flat."""
    names = WALLS if side != "centre" else ("front", "left", "rear", "right")
    out = []
    for i, (name, area) in enumerate(zip(names, box.wall_areas_mm2, strict=True)):
        flat = box.flat_wall(i)
        a, b = flat.diagonal
        out.append(
            PostWall(
                wall=name,
                corners_mm=tuple(map(tuple, flat.corners_mm.tolist())),
                diagonal=flat.diagonal,
                diagonal_mm=float(np.linalg.norm(flat.corners_mm[a] - flat.corners_mm[b])),
                twist_mm=flat.twist_mm,
                area_mm2=float(area),
            )
        )
    return tuple(out)
