"""What the work is, as plain tables folded away until asked for: remedies of every post, the weld plan."""

from __future__ import annotations

from html import escape

from ..report import Report
from ..weldreport import WeldPlan
from .html import length_html, table_html
from .weldtext import paired, total_rows

OPEN_ROOF = '<p class="pd-quiet">The weld plan is worked out when no slider moves.</p>'


def remedies_html(report: Report) -> str:
    """Return every remedy of every post, those that the plan has chosen named; nothing where none is cut."""
    unit = report.car["unit"]
    rows, places = [], []
    for post in report.posts:
        for kind in post.chosen:
            rows.append(
                [f"{escape(post.post)} {post.side}", f"<b>{escape(kind)}</b>", "the plan's choice", "—"]
            )
            places.append(f"{post.post} {post.side}")
        for remedy in post.remedies:
            words = remedy.text if not remedy.reason else f"{remedy.text}: {remedy.reason}"
            weld = sum(seam.length_mm for seam in remedy.seams)
            cost = length_html(weld, unit) if remedy.seams else "—"
            rows.append([f"{escape(post.post)} {post.side}", escape(remedy.kind), escape(words), cost])
            places.append(f"{post.post} {post.side}")
    if not rows:
        return ""
    heads = ["post", "remedy", "what to do, or why not", "weld it costs"]
    return _folded("Remedies, post by post", table_html(heads, rows, "", words=(0, 1, 2), places=places))


def welding_html(plan: WeldPlan) -> str:
    """Return sums, order of work and seams of a weld plan, each in a fold of its own."""
    unit = plan.car["unit"]
    if not plan.seams:
        return '<p class="pd-quiet">Nothing is welded.</p>'
    sums = [[escape(what), escape(much)] for what, much in total_rows(plan, unit)]
    steps = [[step.do, escape(paired(step.seams)), escape(step.why)] for step in plan.steps]
    seams = [
        [
            escape(seam.name),
            escape(seam.access),
            length_html(seam.length_mm, unit),
            f"{len(seam.runs)}",
            f"{seam.filler_g[0]:.0f} to {seam.filler_g[1]:.0f}",
            f"{seam.arc_min[0]:.0f} to {seam.arc_min[1]:.0f}",
            "yes" if seam.is_ready else "no",
        ]
        for seam in plan.seams
    ]
    heads = ["seam", "access", "length", "runs", "filler g", "arc min", "edges lie ready"]
    places = [seam.name for seam in plan.seams]
    return (
        _folded("Sums", table_html(["", ""], sums, "", words=(0, 1)))
        + _folded("Order of work", table_html(["do", "seams", "why"], steps, "", words=(0, 1, 2)))
        + _folded("Seam by seam", table_html(heads, seams, "", words=(0, 1, 6), places=places))
    )


def _folded(summary: str, inside: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>{inside}</details>"
