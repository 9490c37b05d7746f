"""The report as HTML for the notebook: headline numbers and tables, stock against chopped."""

from __future__ import annotations

from collections import Counter
from html import escape

from ..report import Report
from ..units import shop_inches
from .cells import angle_cell, area_cell, tenths
from .sureness import spread_cell
from .text import worst_first
from .viewtext import view_rows

NONE = "—"
BEING_WORKED_OUT = "± being worked out"
NOT_WORKED_OUT = "± could not be worked out"
OF_THE_OPEN_ROOF = "± known without new metal only"
OTHER_NUMBER_MM = 0.5  # assumed: a number that differs by more from the one whose ± is known is another one
FLAT_MM = 1e5  # a bend of a greater radius is none to a reader


def length_html(mm, unit, denominator=16, sign=False):
    """Return a length in shop inches with mm small beside it; mm first where the car is in mm.

    Examples
    --------
    >>> length_html(57.15, "in")
    '2-1/4&quot;<small>57.2 mm</small>'
    >>> length_html(-3.2, "in", 32), length_html(-0.01, "in")
    ('−1/8&quot;<small>−3.2 mm</small>', '0&quot;<small>0.0 mm</small>')
    """
    if mm is None:
        return NONE
    plus = "+" if sign and mm > 0.05 else ""
    inches, metric = _minus(shop_inches(mm, denominator)), f"{_minus(tenths(mm))} mm"
    first, second = (inches, metric) if unit == "in" else (metric, inches)
    return f"{plus}{escape(first)}<small>{escape(second)}</small>"


def _minus(number):
    """Return a number with a minus that no one takes for the dash of a fraction."""
    return f"−{number[1:]}" if number.startswith("-") else number


def long_html(mm, unit):
    """Return a long length in feet and inches with metres small beside it."""
    if unit != "in":
        return f"{mm / 1000:.2f} m"
    feet, inches = divmod(round(abs(mm) / 25.4 * 2) / 2, 12)
    return f"{feet:.0f}' {escape(shop_inches(inches * 25.4, 2))}<small>{mm / 1000:.2f} m</small>"


def headline_html(report: Report, unsure: str = BEING_WORKED_OUT) -> str:
    """Return the headline numbers as tiles, each with its change on stock and its ±.

    ``unsure`` stands where a ± is not known, and says why.
    """
    unit, totals, window = report.car["unit"], report.totals, report.window
    widest, deepest = (_worst(report, *end, unsure) for end in (("max", 1), ("min", -1)))
    tiles = [
        (
            "Roof height",
            *_change(totals.height_before_mm, totals.height_after_mm, unit),
            _plus_minus(report, ("roof", "height"), totals.height_after_mm, unsure),
        ),
        (
            "Windshield glass",
            *_change(window.windshield_height_before_mm, window.windshield_height_after_mm, unit),
            _plus_minus(report, ("windshield", "height"), window.windshield_height_after_mm, unsure),
        ),
    ]
    if totals.headroom_before_mm is not None and totals.headroom_after_mm is not None:
        tiles.append(
            (
                "Headroom",
                *_change(totals.headroom_before_mm, totals.headroom_after_mm, unit),
                _plus_minus(report, ("driver's seat", "headroom"), totals.headroom_after_mm, unsure),
            )
        )
    tiles += [
        (
            "Weld",
            _plain(long_html(totals.weld_mm, unit)),
            f"{len(report.seams)} seams",
            _plus_minus(report, ("all seams", "weld"), totals.weld_mm, unsure) if report.seams else "",
        ),
        ("Widest gap", *widest),
        ("Deepest lap", *deepest),
        ("Findings", str(len(report.findings)), _by_kind(report), ""),
    ]
    cells = "".join(
        f'<div class="pd-tile"><div class="pd-name">{name}</div><div class="pd-number">'
        f'<span class="pd-value">{number}</span>{sure}</div>'
        f'<div class="pd-note" title="{note}">{note}</div></div>'
        for name, number, note, sure in tiles
    )
    return f'<div class="pd-tiles">{cells}</div>'


def _plus_minus(report, name, value, unsure):
    """Return the ± of a number or, in words, why there is none (yet).

    What is worked out on the open roof says nothing about a number of the closed one.
    """
    known = report.uncertainty and report.uncertainty.of(*name)
    if known is None:
        return f'<small class="pd-unsure">{escape(unsure)}</small>'
    if abs(known.value - value) > OTHER_NUMBER_MM:
        return f'<small class="pd-unsure">{escape(OF_THE_OPEN_ROOF)}</small>'
    return (
        f'<small title="± at 95 %, from the tape">± {escape(spread_cell(known, report.car["unit"]))}</small>'
    )


def _change(before, after, unit):
    moved = after - before
    note = f"{after:.0f} mm, as stock" if unit == "in" else "as stock"
    if abs(moved) >= 0.05:
        sign = "+" if moved > 0 else "−"
        note = f"{sign}{_plain(length_html(abs(moved), unit))} on stock"
    return _plain(length_html(after, unit)), note


def _plain(html):
    """Return a length without the small one beside it."""
    return html.partition("<small>")[0]


def _worst(report, end, sign, unsure):
    """Return the greatest gap (``max``, 1) or lap (``min``, −1), at which seam, and its ±."""
    seams = [seam for seam in report.seams if seam.gap_mm]
    worst = max(seams, key=lambda seam: sign * getattr(seam.gap_mm, end), default=None)
    if worst is None or sign * getattr(worst.gap_mm, end) < 0.05:
        return NONE, "none", ""
    unit = report.car["unit"]
    gap_mm = getattr(worst.gap_mm, end)
    size = _plain(length_html(sign * gap_mm, unit, 32))
    return size, escape(worst.name), _plus_minus(report, (worst.name, f"gap {end}"), gap_mm, unsure)


def _by_kind(report):
    counts = Counter(f.kind for f in report.findings)
    return ", ".join(f"{n} {escape(kind)}" for kind, n in counts.most_common(2)) or "nothing to flag"


def posts_html(report: Report) -> str:
    """Return what to cut on every post, and where its ends will miss."""
    unit = report.car["unit"]
    rows = [
        [
            f"<b>{escape(p.post)}</b> {p.side}",
            f"{_minus(angle_cell(p.lean_side_deg))} / {_minus(angle_cell(p.lean_front_deg))}",
            length_html(p.cut_height_mm, unit),
            length_html(p.take_out_mm, unit),
            length_html(p.removed_mm, unit),
            _miss(p, unit),
            escape(", ".join(p.chosen)) or NONE,
        ]
        for p in report.posts
    ]
    heads = [
        "post",
        "lean to the rear / inboard",
        "cut at height",
        "take-out",
        "mark to mark",
        "upper end lands",
        "the plan",
    ]
    places = [f"{p.post} {p.side}" for p in report.posts]
    return table_html(heads, rows, "The posts are not cut.", words=(0, 5, 6), places=places)


def _miss(post, unit):
    words = []
    for mm, positive, negative in (
        (post.miss_fore_aft_mm, "rearward", "forward"),
        (post.miss_across_mm, "inboard", "outboard"),
    ):
        if abs(mm) >= 0.4:
            words.append(f"{length_html(abs(mm), unit)} {positive if mm > 0 else negative}")
    return ", ".join(words) or "on the lower end"


def seams_html(report: Report) -> str:
    """Return every seam: its weld and how it fits; below, what has to be trimmed, and new metal."""
    unit = report.car["unit"]
    rows = [
        [
            f'<span title="{escape(" to ".join(s.pieces))}">{escape(s.name)}</span>',
            escape(s.kind),
            long_html(s.length_mm, unit) if s.length_mm > 304.8 else length_html(s.length_mm, unit),
            _range(s.gap_mm, unit),
            length_html(max(s.step_mm.min, s.step_mm.max, key=abs), unit, 32) if s.step_mm else NONE,
        ]
        for s in report.seams
    ]
    heads = ["seam", "kind", "weld", "gap (− lap)", "step"]
    places = [s.name for s in report.seams]
    table = table_html(heads, rows, "Nothing is welded.", words=(0, 1), places=places)
    return table + trims_html(report) + new_metal_html(report)


def trims_html(report: Report) -> str:
    """Return every trim line in one row; its stations are in the report's text. Nothing where none laps."""
    unit = report.car["unit"]
    rows = [
        [
            escape(trim.seam),
            f'<span title="{escape(trim.reason, quote=True)}">{escape(trim.piece)}</span>',
            escape(trim.mark),
            long_html(trim.length_mm, unit) if trim.length_mm > 304.8 else length_html(trim.length_mm, unit),
            length_html(max(s.depth_mm for s in trim.stations), unit),
            area_cell(trim.area_mm2, unit),
        ]
        for trim in report.trims
    ]
    if not rows:
        return ""
    heads = ["where two pieces lap", "trim the", "from the", "along its edge", "up to", "falls off"]
    places = [trim.seam for trim in report.trims]
    return table_html(heads, rows, "", words=(0, 1, 2), places=places)


def new_metal_html(report: Report) -> str:
    """Return every filler in one row. Nothing where no new metal is let in."""
    unit = report.car["unit"]
    rows = [
        [
            f'<span title="{escape(" to ".join(metal.pieces))}">{escape(metal.name)}</span>',
            f"{length_html(metal.width_min_mm, unit)} to {length_html(metal.width_max_mm, unit)}",
            area_cell(metal.area_mm2, unit),
            f"{metal.mass_kg:.3f} kg",
            length_html(metal.closes_gap_mm, unit, 32),
            length_html(metal.least_radius_mm, unit) if metal.least_radius_mm < FLAT_MM else NONE,
            f"{max(edge.tangent_break_deg for edge in metal.edges):.2f}°",
        ]
        for metal in report.new_metal
    ]
    if not rows:
        return ""
    heads = [
        "new metal",
        "width",
        "area",
        "mass",
        "closes a gap of",
        "tightest bend",
        "bend at its edges",
    ]
    return table_html(heads, rows, "", words=(0,), places=[metal.name for metal in report.new_metal])


def _range(spread, unit):
    if spread is None:
        return "no facing edge"
    ends = (spread.min, spread.max)
    texts = [_minus(shop_inches(mm, 32)) if unit == "in" else _minus(tenths(mm)) for mm in ends]
    small = f"<small>{_alike([_minus(tenths(mm)) for mm in ends])} mm</small>" if unit == "in" else " mm"
    return escape(_alike(texts)) + small


def _alike(ends):
    """Return both ends of a range, or one where they read alike."""
    return ends[0] if ends[0] == ends[1] else " … ".join(ends)


def window_html(report: Report) -> str:
    """Return rear window, windshield and the driver's view, stock against chopped."""
    unit, w = report.car["unit"], report.window
    rows = [
        _row("windshield glass, along it", w.windshield_height_before_mm, w.windshield_height_after_mm, unit),
        _row("windshield, plumb", w.windshield_plumb_before_mm, w.windshield_plumb_after_mm, unit),
        _angles("windshield leans, going up", w.windshield_rake_before_deg, w.windshield_rake_after_deg),
        _angles("rear window leans, going up", w.rear_rake_before_deg, w.rear_rake_after_deg),
        ["rear window forward", "", length_html(w.rear_forward_mm, unit)],
        ["rear window down", "", length_html(w.rear_down_mm, unit)],
        ["rear opening changes by", "", _change_of(w.rear_opening_change_mm, unit)],
        *([escape(label), *map(_view_angle, angles)] for label, angles, _ in view_rows(report.view)),
    ]
    head = report.view.head
    if head is not None:
        rows.append(
            _row("room over the owner's head", head.clearance_before_mm, head.clearance_after_mm, unit)
        )
    return table_html(["", "stock", "chopped"], rows, "")


def _change_of(mm, unit):
    return "nothing" if abs(mm) < 0.05 else length_html(mm, unit, 32)


def _view_angle(deg):
    return NONE if deg is None else _minus(angle_cell(deg))


def _row(name, before, after, unit):
    return [name, length_html(before, unit), length_html(after, unit)]


def _angles(name, before, after):
    return [name, *(angle_cell(deg, "rearward", "forward") for deg in (before, after))]


def findings_html(report: Report) -> str:
    """Return the findings by kind, the gravest first: the worst of each in sight, the others folded away."""
    return finding_list_html(report.findings, "Nothing to flag.")


def finding_list_html(findings, empty: str) -> str:
    """Return findings as :func:`findings_html` does, or ``empty`` where there are none."""
    if not findings:
        return f'<p class="pd-quiet">{escape(empty)}</p>'

    def line(finding):
        where = escape(finding.where)
        return f'<b data-place="{where}" tabindex="0">{where}</b>: {escape(finding.message)}'

    out = []
    for worst, *others in worst_first(findings):
        more = "".join(f"<li>{line(f)}</li>" for f in others)
        folded = (
            f"<details><summary>and {len(others)} more</summary><ul>{more}</ul></details>" if others else ""
        )
        out.append(
            f'<li><span class="pd-kind">{escape(worst.kind)}</span> {line(worst)} '
            f'<span class="pd-source">{escape(worst.source)}</span>{folded}</li>'
        )
    return f'<ul class="pd-findings">{"".join(out)}</ul>'


def table_html(heads, rows, empty, words=(0,), places=()):
    """A table; a row with a place lights it in the 3-D view when it is chosen."""
    if not rows:
        return f'<p class="pd-quiet">{empty}</p>'

    def line(cells, tag):
        tags = [tag if cell else "td" for cell in cells]  # a head that says nothing is none
        return "".join(
            f'<{each} class="{"pd-word" if i in words else "pd-num"}">{cell}</{each}>'
            for i, (cell, each) in enumerate(zip(cells, tags, strict=True))
        )

    marks = [f' data-place="{escape(place)}" tabindex="0"' for place in places] or [""] * len(rows)
    body = "".join(f"<tr{mark}>{line(row, 'td')}</tr>" for row, mark in zip(rows, marks, strict=True))
    head = f"<thead><tr>{line(heads, 'th')}</tr></thead>"
    return f'<div class="pd-wide"><table class="pd-table">{head}<tbody>{body}</tbody></table></div>'
