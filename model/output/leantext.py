"""Leaned posts as text: where each is cut around, how far it turns, what comes out of the wedge."""

from __future__ import annotations

from ..report import Report
from .cells import angle_cell, gap_cell, length_cell, table_lines, wrapped

CAUTION_HINGE = (
    "A post cut around at its hinge holds nothing until it is welded: brace cowl and door opening first; "
    "what a roof post must still hold, local codes and licensed practice decide."
)


def lean_lines(report: Report, unit: str) -> list[str]:
    """Return what to do with every leaned post; nothing where none is."""
    leaned = [post for post in report.posts if post.lean]
    if not leaned:
        return []
    turns, marks = [], []
    for post in leaned:
        lean, name = post.lean, f"{post.post} {post.side}"
        turns.append(
            [
                name,
                length_cell(lean.hinge_mm[2], unit),
                length_cell(lean.height_mm, unit),
                angle_cell(lean.lean_side_before_deg),
                angle_cell(lean.lean_side_after_deg),
                angle_cell(lean.turn_deg),
                gap_cell(lean.mouth_mm, unit),
            ]
        )
        names = [name, *[""] * len(lean.edges)]
        for first, mark in zip(names, lean.edges, strict=False):
            heights = (length_cell(point_mm[2], unit) for point_mm in (mark.foot_mm, mark.loose_mm))
            marks.append(
                [first, mark.edge, *heights, gap_cell(mark.removed_mm, unit), gap_cell(mark.gap_mm, unit)]
            )
    return [
        "POSTS: LEANED   lower end cut around square to the post and turned about its axis at the hinge",
        *table_lines(
            ["post", "hinge z", "height", "lean before", "lean after", "turn", "mouth"], turns, words=1
        ),
        "",
        *table_lines(
            ["post", "edge", "lower mark z", "upper mark z", "cut out", "left open"], marks, words=2
        ),
        *wrapped(CAUTION_HINGE, "  Caution: ", "  "),
    ]
