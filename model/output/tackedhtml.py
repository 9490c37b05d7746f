"""How a tacked roof stands against its plan, for the notebook."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from ..carfile import demo_car_path, demo_plan_path, demo_tacked_path, read_car
from ..planfile import read_plan
from ..tacked import TackedReport
from ..tackedfit import fitted_from_file
from .tackedtext import BENDS, TO_MEET_THE_PLAN, TOO_MUCH, estimate_cell


@dataclass(frozen=True, eq=False)
class TackedView:
    """A report of a tacked roof that a notebook shows as HTML."""

    report: TackedReport

    def _repr_html_(self) -> str:
        return tacked_html(self.report)


def demo_tacked_roof(name: str) -> TackedView:
    """Return the tacked roof that ships for a demo car, held against the car's own plan."""
    car = read_car(demo_car_path(name))
    plan = read_plan(demo_plan_path(name), car)
    return TackedView(fitted_from_file(car, plan, demo_tacked_path(name)))


def tacked_html(report: TackedReport) -> str:
    """Return what to do, what to know first, and the numbers behind it."""
    unit = report.unit
    sections = [("What to do", _list(report.advice)), ("Before you do it", _list(report.notes))]
    wrong = [
        f"{w.axis} of {w.point} reads {estimate_cell(w.too_much_mm, unit, *TOO_MUCH[w.axis])}"
        for w in report.left_out
    ]
    sections.append(("Readings left out: measure these again", _list(wrong)))
    rows = [
        [f"{name}, {head}", estimate_cell(getattr(report.place(name), field), unit, *words)]
        for head, names, field, words in TO_MEET_THE_PLAN
        for name in names
    ]
    sections.append(("To meet the plan", _table(["", "move it"], rows)))
    rows = [
        [BENDS[bend.kind][0], estimate_cell(bend.amount_mm, unit, *BENDS[bend.kind][1:]), "yes" * bend.shows]
        for bend in report.bends
    ]
    sections.append(("Twist and spring", _table(["", "found", "more than chance"], rows)))
    rows = [
        [
            f"{post.post} {post.side}",
            estimate_cell(post.miss_fore_aft_mm, unit, "rearward", "forward"),
            estimate_cell(post.miss_across_mm, unit, "inboard", "outboard"),
            estimate_cell(post.gap_mm, unit),
        ]
        for post in report.posts
    ]
    heads = ["post as tacked", "miss fore-and-aft", "miss across", "gap on the axis"]
    sections.append(("Where the posts' ends stand", _table(heads, rows)))
    body = "".join(f"<h4>{escape(head)}</h4>{html}" for head, html in sections if html)
    return f"{_STYLE}<div class='pd-tacked'><h3>{escape(report.car)}, roof tacked</h3>{body}</div>"


def _list(sentences):
    items = "".join(f"<li>{escape(text)}</li>" for text in sentences)
    return f"<ul>{items}</ul>" if items else ""


def _table(heads, rows):
    def line(cells, tag):
        return f"<tr>{''.join(f'<{tag}>{escape(cell)}</{tag}>' for cell in cells)}</tr>"

    return f"<table>{line(heads, 'th')}{''.join(line(row, 'td') for row in rows)}</table>"


_STYLE = """<style>
.pd-tacked table {border-collapse:collapse; font-variant-numeric:tabular-nums;}
.pd-tacked td, .pd-tacked th {text-align:left !important; padding:2px 12px 2px 0;}
.pd-tacked tr {background:none !important; border-bottom:1px solid #e3e7eb;}
.pd-tacked h4 {margin:10px 0 2px;}
</style>"""
