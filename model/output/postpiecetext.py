"""Pieces let into posts as lines of the report: how far stubs are cut back, and the walls to cut out."""

from __future__ import annotations

from ..report import Report
from .cells import area_cell, gap_cell, length_cell, table_lines, wrapped

HEAD = "POST PIECES   let in between stubs cut back further than the marks above; lengths square to the cut"
PIECE_HEADS = ("post", "lower back", "upper back", "piece long", "climbs 1 in", "outer wall set in")
MARK_HEADS = ("post", "edge", "lower stub z", "back", "upper stub z", "back")
SIDE_HEADS = ("wall", "lower rim", "upper rim", "first side", "other side")
DIAGONAL_HEADS = ("wall", "diagonal", "up to", "twist", "area")
NOTE = (
    "Take-out is as the marks say; the further marks are where the stubs end for the piece, the kerf on the "
    "waste side."
)
HINGE_HEAD = (
    "HINGE PIECES   let in where a leaned post's own walls stand open; lengths square to the foot's cut"
)
HINGE_HEADS = ("post", "edge", "piece long", "loose end from z", "back")
HINGE_NOTE = (
    "Lean the post first and check that its ends meet at the roof; then cut the loose end back to these "
    "marks, parallel to the foot's cut and on the waste side, and weld the piece in before the sheet over it "
    "is closed. Back is along the edge from the hinge's own upper mark."
)
WALL_NOTE = (
    "Going around the post, front, inner, rear, outer, a wall begins with its first side; its "
    "diagonal goes from the lower end of one side up to the first or the other. A twisted wall is laid flat "
    "as two triangles about that diagonal; twist is how far its fourth corner stands off the flat."
)
CAUTION = (
    "Caution: a post holds the roof up, and a piece let into it carries what the post did: its joints, and "
    "whether it may be done at all, are for local code and licensed practice."
)


def post_piece_lines(report: Report, unit: str) -> list[str]:
    """Return the pieces between the ends of posts as lines of the report; none where there is none."""
    pieces = [(f"{post.post} {post.side}", post.piece) for post in report.posts if post.piece]
    if not pieces:
        return []
    rows = [
        [
            name,
            *(length_cell(mm, unit) for mm in (piece.lower_back_mm, piece.upper_back_mm, piece.length_mm)),
            f"{1 / piece.climb:.1f}" if piece.climb else "—",
            gap_cell(piece.set_in_mm, unit),
        ]
        for name, piece in pieces
    ]
    marks = [
        [
            name if i == 0 else "",
            mark.edge,
            length_cell(mark.lower_mm[2], unit),
            length_cell(mark.lower_back_mm, unit),
            length_cell(mark.upper_mm[2], unit),
            length_cell(mark.upper_back_mm, unit),
        ]
        for name, piece in pieces
        for i, mark in enumerate(piece.edges)
    ]
    return [
        HEAD,
        *table_lines(PIECE_HEADS, rows),
        "",
        *table_lines(MARK_HEADS, marks, words=2),
        *_wall_lines(report, pieces, unit),
        "",
        *wrapped(f"{NOTE} {WALL_NOTE}", "  ", "  "),
        *wrapped(CAUTION, "  ", "  "),
    ]


def hinge_piece_lines(report: Report, unit: str) -> list[str]:
    """Return the pieces around the hinges of leaned posts as lines; none where there is none."""
    pieces = [
        (f"{post.post} {post.side}", post.lean.piece)
        for post in report.posts
        if post.lean and post.lean.piece
    ]
    if not pieces:
        return []
    rows = [
        [
            name if i == 0 else "",
            mark.edge,
            length_cell(piece.length_mm, unit) if i == 0 else "",
            length_cell(mark.loose_mm[2], unit),
            length_cell(mark.back_mm, unit),
        ]
        for name, piece in pieces
        for i, mark in enumerate(piece.edges)
    ]
    return [
        HINGE_HEAD,
        *table_lines(HINGE_HEADS, rows, words=2),
        *_wall_lines(report, pieces, unit),
        "",
        *wrapped(f"{HINGE_NOTE} {WALL_NOTE}", "  ", "  "),
        *wrapped(CAUTION, "  ", "  "),
    ]


def _wall_lines(report, pieces, unit):
    """Return the walls of pieces, (post, piece) each, as two tables."""
    walls_of = {metal.name: metal.walls for metal in report.new_metal}
    walls = [(f"{name} {wall.wall}", wall) for name, piece in pieces for wall in walls_of.get(piece.name, ())]
    if not walls:
        return []
    sides = [[name, *_side_cells(wall, unit)] for name, wall in walls]
    diagonals = [[name, *_diagonal_cells(wall, unit)] for name, wall in walls]
    return ["", *table_lines(SIDE_HEADS, sides), "", *table_lines(DIAGONAL_HEADS, diagonals)]


def _side_cells(wall, unit):
    corners = wall.corners_mm
    return [length_cell(_apart(corners[a], corners[b]), unit) for a, b in ((0, 1), (3, 2), (0, 3), (1, 2))]


def _diagonal_cells(wall, unit):
    up_to = "other" if wall.diagonal == (0, 2) else "first"
    return [
        length_cell(wall.diagonal_mm, unit),
        up_to,
        gap_cell(wall.twist_mm, unit),
        area_cell(wall.area_mm2, unit),
    ]


def _apart(p, q):
    return ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5
