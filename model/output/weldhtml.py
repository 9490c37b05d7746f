"""The weld plan as a page of its own: what to weld, in which order, every run drawn to scale."""

from __future__ import annotations

from html import escape

from ..units import shop_inches
from ..weldreport import WeldPlan, WeldRun
from .cells import length_cell, place_cell
from .text import CAUTION_CUT, CAUTION_ROAD, CAUTION_WELD
from .weldtext import CAUTION_FUME, NOT_READY, crown_cell, paired, sheet_cell, total_rows

SCROLLED = 5  # columns from which on a table is scrolled by itself where a screen is narrow
_WIDE = 940  # of the drawing of the longest run
_HIGH, _TOP = 26, 12
_LEAST_FOR_NUMBER = 13.0
_EARLY, _LATE = (247, 203, 132), (122, 46, 22)  # first stretch to last

_STYLE = """
body{font:14px/1.45 system-ui,sans-serif;color:#23282e;max-width:980px;margin:24px auto;padding:0 16px}
h1{font-size:22px;margin:0 0 2px}
h2{font-size:16px;break-after:avoid;margin:24px 0 6px;border-bottom:1px solid #d8dde2}
p{margin:4px 0} .quiet{color:#5b6570}
table{border-collapse:collapse;width:100%;font-size:13px;font-variant-numeric:tabular-nums}
th{font-weight:500;color:#5b6570;text-align:left;border-bottom:1px solid #d8dde2}
th,td{padding:3px 10px 3px 0;vertical-align:top} td{border-bottom:1px solid #eef1f4}
.wide{overflow-x:auto} .wide:focus-visible{outline:3px solid #1f5f8f} tr{break-inside:avoid}
.n{text-align:right;white-space:nowrap} .flag{color:#9a3412;font-weight:600}
.caution{border-left:3px solid #d9a441;padding-left:8px;margin:8px 0}
.run{break-inside:avoid;margin:2px 0;display:flex;flex-wrap:wrap;align-items:end;gap:0 14px}
.run svg{display:block;max-width:100%;height:auto} .run p{margin:0 0 9px}
.seam{margin:10px 0} .seam b{display:block;break-after:avoid}
li{margin:3px 0} svg text{font:10px system-ui,sans-serif}
.wide td:first-child{min-width:12em} .wide td:nth-child(3){min-width:7em}
@media print{body{margin:0;max-width:none;font-size:12px} .wide{overflow:visible}
table{font-size:10.5px} th,td{padding:1.5px 7px 1.5px 0}}
"""


def weld_page(plan: WeldPlan) -> str:
    """Return the page as HTML, whole in itself."""
    unit = plan.car["unit"]
    longest = max((run.length_mm for seam in plan.seams for run in seam.runs), default=1.0)
    parts = [
        f"<h1>How it is welded</h1><p>{escape(plan.car['name'])}, plan: {escape(plan.plan)}</p>",
        _table((), [[escape(a), escape(b)] for a, b in total_rows(plan, unit)]),
        "".join(
            f'<p class="caution">{text}</p>'
            for text in (CAUTION_WELD, CAUTION_FUME, CAUTION_CUT, CAUTION_ROAD)
        ),
        "<h2>Order of work</h2><ol>",
        *(
            f"<li><b>{step.do}</b> {escape(paired(step.seams))}. "
            f'<span class="quiet">{escape(step.why[0].upper() + step.why[1:])}.</span></li>'
            for step in plan.steps
        ),
        "</ol><h2>Seams</h2>",
        _seams(plan, unit),
        "<h2>Every run, to scale</h2>",
        '<p class="quiet">Numbers are turns: weld 1, then 2, and so on; light first, dark last. Triangles '
        "are tacks, numbered in the order in which they are set. The mark is at the left end.</p>",
        *(_seam_drawing(seam, unit, longest) for seam in plan.seams),
        _pulls(plan, unit),
        "<h2>Rules this plan was made by</h2>",
        _table(("", "rule", "source"), [[escape(t) for t in (r.what, r.rule, r.source)] for r in plan.rules]),
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Weld plan: {escape(plan.car['name'])}</title><style>{_STYLE}</style></head>\n"
        f"<body>{''.join(parts)}</body></html>\n"
    )


def _table(heads, rows, numbers=()):
    number = ' class="n"'

    def line(cells, tag):
        return "".join(
            f"<{tag}{number if i in numbers else ''}>{cell}</{tag}>" for i, cell in enumerate(cells)
        )

    head = f"<thead><tr>{line(heads, 'th')}</tr></thead>" if heads else ""
    body = "".join(f"<tr>{line(row, 'td')}</tr>" for row in rows)
    table = f"<table>{head}<tbody>{body}</tbody></table>"
    if len(heads) < SCROLLED:
        return table
    label = f"table, a row for each {heads[0] or 'panel'}"
    return f'<div class="wide" tabindex="0" role="group" aria-label="{label}">{table}</div>'


def _seams(plan, unit):
    rows = [
        [
            escape(seam.name) + ("" if seam.is_ready else ' <span class="flag">*</span>'),
            escape(seam.kind),
            escape(seam.access),
            length_cell(seam.length_mm, unit),
            sheet_cell(seam),
            length_cell(seam.root_gap_mm, unit, 32),
            escape(crown_cell(seam, unit)),
            f"{seam.filler_g[0]:.0f}–{seam.filler_g[1]:.0f}",
            f"{seam.shrink_mm[0]:.1f}–{seam.shrink_mm[1]:.1f}",
        ]
        for seam in plan.seams
    ]
    heads = ("seam", "kind", "access", "length", "sheet mm", "root gap", "crown", "filler g", "shrinks mm")
    note = (
        f'<p><span class="flag">*</span> {escape(NOT_READY)}.</p>'
        if any(not s.is_ready for s in plan.seams)
        else ""
    )
    return _table(heads, rows, (3, 4, 5, 6, 7, 8)) + note


def _seam_drawing(seam, unit, longest):
    runs = "".join(
        f'<div class="run">{_drawing(run, longest)}<p class="quiet">{escape(_run_head(run, unit))}</p></div>'
        for run in seam.runs
    )
    return f'<div class="seam"><b>{escape(seam.name)}</b>{runs}</div>'


def _run_head(run, unit):
    step = run.length_mm / len(run.stretches)
    size = shop_inches(step, 32) if unit == "in" else f"{step:.1f} mm"
    place = f", mark at {place_cell(run.mark_mm, unit)}" if run.mark_mm else ""
    part = f"{run.part}: " if run.part else ""
    goes = f"{len(run.stretches)} × {size}" if len(run.stretches) > 1 else "in one go"
    return f"{part}{length_cell(run.length_mm, unit)}{place}; {goes}"


def _drawing(run: WeldRun, longest: float) -> str:
    """Return a run as a bar: stretches with their turns, tacks above."""
    scale = _WIDE / longest
    width = max(run.length_mm * scale, 24.0)
    scale = width / run.length_mm
    count = len(run.stretches)
    shapes = []
    for stretch in run.stretches:
        share = (stretch.turn - 1) / max(count - 1, 1)
        colour = ",".join(f"{a + share * (b - a):.0f}" for a, b in zip(_EARLY, _LATE, strict=True))
        x, wide = stretch.from_mm * scale, (stretch.to_mm - stretch.from_mm) * scale
        shapes.append(
            f'<rect x="{x:.1f}" y="{_TOP + 8}" width="{wide:.1f}" height="{_HIGH}" fill="rgb({colour})" '
            'stroke="#fff"/>'
        )
        if wide >= _LEAST_FOR_NUMBER:
            ink = "#23282e" if share < 0.5 else "#fff"
            shapes.append(
                f'<text x="{x + wide / 2:.1f}" y="{_TOP + 25}" text-anchor="middle" fill="{ink}">'
                f"{stretch.turn}</text>"
            )
    for number, at in enumerate(run.tacks_mm, start=1):
        x = at * scale
        shapes.append(f'<path d="M{x - 3:.1f} {_TOP + 1}h6l-3 6z" fill="#1f5f8f"/>')
        if width / max(len(run.tacks_mm), 1) >= _LEAST_FOR_NUMBER:
            shapes.append(
                f'<text x="{x:.1f}" y="{_TOP - 2}" text-anchor="middle" fill="#1f5f8f">{number}</text>'
            )
    high = _TOP + 8 + _HIGH + 2
    return (
        f'<svg viewBox="-6 0 {width + 12:.0f} {high}" width="{width + 12:.0f}" height="{high}" role="img" '
        f'aria-label="order of {count} stretches">{"".join(shapes)}</svg>'
    )


def _pulls(plan, unit):
    if not plan.pulls:
        return ""
    rows = [
        [
            escape(f"{pull.panel}, along {pull.along}"),
            length_cell(pull.chord_mm, unit),
            length_cell(pull.crown_mm, unit),
            f"{pull.edges_welded} of 2",
            f"{pull.falls_mm[0]:.1f}–{pull.falls_mm[1]:.1f} mm",
            f"{pull.rises_mm[0]:.1f}–{pull.rises_mm[1]:.1f} mm",
        ]
        for pull in plan.pulls
    ]
    heads = ("", "chord", "crown", "ends welded", "crown falls by", "or rises by")
    return (
        '<h2>What shrinkage would do to the largest panel</h2><p class="quiet">If both ends of the line were '
        "welded all along: it falls where the frame holds its ends, it rises where the edges shorten along "
        f"themselves.</p>{_table(heads, rows, (1, 2, 3, 4, 5))}"
    )
