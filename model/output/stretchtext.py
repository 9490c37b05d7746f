"""Where a post is straightest, as text, beside where the plan cuts it."""

from __future__ import annotations

from ..report import Report
from .cells import gap_cell, length_cell, table_lines


def stretch_lines(report: Report, unit: str) -> list[str]:
    """Return the best stretch of every post against the plan's."""
    if not report.posts:
        return []
    rows = []
    for post in report.posts:
        stretch = post.stretch
        row = [f"{post.post} {post.side}"]
        if stretch.sagitta_mm is None:
            row += ["none long enough", "—", "—"]
        else:
            row += [length_cell(mm, unit) for mm in (stretch.from_mm, stretch.cut_at_mm)]
            row.append(gap_cell(stretch.sagitta_mm, unit))
        rows.append([*row, gap_cell(stretch.at_plan_sagitta_mm, unit)])
    return [
        "POSTS: STRAIGHTEST STRETCH   long enough for the cut and the post's width to clamp at either end;",
        "       bow: how far the axis strays from a straight edge over it",
        *table_lines(["post", "from z", "cut at z", "bow", "bow as planned"], rows),
    ]
