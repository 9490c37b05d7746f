"""A blank as an SVG drawing: what to cut, what to stretch and what to shrink, how far to crown it.

Seen from outside.  The cut line is drawn full, the net line it is trimmed back
to dashed.  Cells are coloured by the strain they are worked for
(`strainmarks`), with a short mark along it: an outward double arrow where the
metal is stretched, two arrows head to head where it is shrunk.  Heights of the
cut line above the base line are tabled at whole stations.
"""

from __future__ import annotations

import textwrap
from html import escape

import numpy as np
import shapely

from ..blanks import YIELD_STRAIN, Blank
from ..ordinates import ordinates_of, step_for
from ..trapeziums import trapezium_of
from ..units import shop_inches, shown
from .strainmarks import CLASSES, class_of, colour_of, labels_of, legend, percent, worked_strains

WIDTH_PX, MARGIN_PX, ROW_PX = 1000, 70, 20
LINE_PX = 24.0  # of a side's name, with room above and below
TALLEST_PX = 620
MARK_PX = 32  # from one mark of stretch or shrink to the next
ROUGH = 0.5  # assumed: strains that change by more than this share of the greatest are told to be rough
INK, FAINT, DIMENSION_INK = "#2b3036", "#7d8792", "#9a3412"
CAUTION = (
    "Try it in card first: a flat shape from measured points is no better than the tape. Cut and formed "
    "edges are sharp; shrinking by heat, welding and grinding need the shop's own safety rules and licensed "
    "practice."
)


def blank_svg(blank: Blank, *, name: str, unit: str, side_names=("", "", "", "")) -> str:
    """Return the drawing of a blank as SVG text.

    Parameters
    ----------
    blank : Blank
    name : str
        What the piece is called in the report.
    unit : str
        ``in`` or ``mm``: which comes first.
    side_names : four str
        What each of ``blank.sides_mm`` is welded to; written beside it.
    """
    page = _Page(blank, unit)
    heading = [page.text(MARGIN_PX, 34, name, size=22, weight="bold")]
    heading += [page.text(MARGIN_PX, 60 + ROW_PX * k, line) for k, line in enumerate(page.facts)]
    drawing = [
        f'<g stroke="none">{"".join(_cells(page, blank))}</g>',
        *_marks(page, blank),
        page.path(blank.outline_mm, f'fill="none" stroke="{INK}" stroke-width="1.2" stroke-dasharray="7 4"'),
        page.path(blank.trim_outline_mm, f'fill="none" stroke="{INK}" stroke-width="2.2"'),
        *_ruling(page, blank),
        *_labels(page, blank),
        *_side_names(page, blank, side_names),
        *_dimensions(page, blank, unit),
        *_stations(page, blank, unit),
    ]
    y = page.bottom + 96
    below, y = _scale_and_legend(page, blank, unit, y)
    table, y = _table(page, blank, unit, y)
    warning = folded(f"Caution: {CAUTION}", 118)
    caution = [page.text(MARGIN_PX, y + 12 + 18 * k, line, size=13) for k, line in enumerate(warning)]
    y += 18 * len(warning) + 24
    label = escape(f"Blank of {name}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{label}" '
        f'viewBox="0 0 {WIDTH_PX} {y:.0f}" width="{WIDTH_PX}" height="{y:.0f}" '
        f'font-family="system-ui, sans-serif" fill="{INK}"><title>{label}</title>'
        f'<rect width="{WIDTH_PX}" height="{y:.0f}" fill="#ffffff"/>'
        f"{''.join([*heading, *drawing, *below, *table, *caution])}</svg>"
    )


class _Page:
    """Paper in pixels, x to the right, y down; the blank's lower left corner at (left, bottom)."""

    def __init__(self, blank, unit):
        self.unit = unit
        self.scale = min((WIDTH_PX - 2 * MARGIN_PX) / blank.length_mm, TALLEST_PX / blank.width_mm)
        self.left = (WIDTH_PX - self.scale * blank.length_mm) / 2
        self.facts = [row for line in fact_lines(blank, unit) for row in folded(line, 112)]
        self.top = 60 + ROW_PX * len(self.facts) + 24
        self.bottom = self.top + self.scale * blank.width_mm

    def at(self, points_mm):
        points = np.asarray(points_mm)
        return np.stack(
            [self.left + self.scale * points[..., 0], self.bottom - self.scale * points[..., 1]], -1
        )

    def path(self, points_mm, style):
        points = " L".join(f"{x:.2f} {y:.2f}" for x, y in self.at(points_mm))
        return f'<path d="M{points} Z" {style}/>'

    def text(self, x, y, words, *, size=14, anchor="start", weight="normal", colour=INK, halo=False):
        edge = (
            ' stroke="#ffffff" stroke-width="4" stroke-linejoin="round" paint-order="stroke"' if halo else ""
        )
        return (
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}" '
            f'fill="{colour}"{edge}>{escape(words)}</text>'
        )


def folded(words: str, columns: int) -> list[str]:
    """Return a sentence in lines of at most so many letters."""
    return textwrap.wrap(words, columns, break_long_words=False)


def fact_lines(blank: Blank, unit: str) -> list[str]:
    """Return what is said about a blank, a line each."""
    lines = [
        f"Seen from outside. Sheet {blank.gauge_mm:.2f} mm, {blank.mass_kg:.3f} kg finished.",
        f"Cut line full; net line dashed, {shown(blank.trim_mm, unit)} inside it, for trimming when it fits.",
        _forming(blank),
        f"Crown lengthwise: {_crown(blank.crown_lengthwise, unit)}.",
        f"Crown crosswise: {_crown(blank.crown_crosswise, unit)}.",
    ]
    straight = trapezium_of(blank)
    if straight.is_enough:
        first, second, start, end = (shown(mm, unit, 32) for mm in (*straight.along_mm, *straight.ends_mm))
        one, other = (shown(mm, unit, 32) for mm in straight.diagonals_mm)
        lines.append(
            f"Net with four straight sides: long {first} and {second}, ends {start} and {end}, "
            f"diagonals {one} and {other}; {straight.off_mm:.2f} mm off at most."
        )
    if blank.bends.least_radius_mm is not None:
        lines.append(f"Tightest bend: radius {shown(blank.bends.least_radius_mm, unit)}.")
    if blank.doubt_strain > max(YIELD_STRAIN, ROUGH * abs(blank.max_strain)):
        lines.append(
            f"The strains are rough: a look half as fine differs by {percent(blank.doubt_strain)}. "
            "The surface crumples somewhere, mostly in a corner."
        )
    if not blank.is_settled:
        lines.append("The flat shape did not come to rest, or lies over itself: make it of smaller pieces.")
    return lines


def _forming(blank):
    if blank.bends.is_flat and blank.can_be_rolled:
        return "Flat: nothing to form."
    if blank.can_be_rolled:
        fan, angle = blank.bends.ruling_fan_deg, round(blank.bends.ruling_angle_deg)
        turned = f"{abs(angle)}° {'counter-clockwise' if angle > 0 else 'clockwise'} from"
        turned = {0: "along", 90: "square to"}.get(abs(angle), turned)
        parallel = "all the same way" if fan < 1 else f"up to {fan:.0f}° either side of that: feed it fanwise"
        return f"Bend only, by roller or over a tube: bend lines lie {turned} the base line, {parallel}."
    if blank.is_developable:
        return (
            "No stretching or shrinking: bend and twist it over a form; its straightest lines still bow "
            f"{blank.bends.ruling_bow_mm:.1f} mm."
        )
    worst = (
        f"{percent(blank.peak_strain)} {'stretch' if blank.peak_strain > 0 else 'shrink'} at the worst place"
    )
    return (
        f"Stretch up to {percent(blank.max_stretch)}, shrink up to {percent(blank.max_shrink)} "
        f"over 99 % of its area; {worst}."
    )


def _crown(crown, unit):
    size = abs(crown.sagitta_mm)
    if size < 0.2:
        return f"none over {shown(crown.chord_mm, unit)}"
    way = "outward" if crown.sagitta_mm > 0 else "inward"
    return f"{shown(size, unit, 32)} {way} over {shown(crown.chord_mm, unit)}"


def _cells(page, blank):
    strains, _ = worked_strains(blank.strain_map)
    corners = page.at(blank.strain_map.corners_mm)
    for (i, j), strain in np.ndenumerate(strains):
        ring = (corners[i, j], corners[i + 1, j], corners[i + 1, j + 1], corners[i, j + 1])
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in ring)
        colour = colour_of(strain)
        yield f'<polygon points="{points}" fill="{colour}" stroke="{colour}" stroke-width="0.6"/>'


def _marks(page, blank):
    """Return arrow pairs over the cells that need work: apart where stretched, together where shrunk.

    One in each square of a net over the paper, by the cell nearest to the square's middle.
    """
    strains, directions = worked_strains(blank.strain_map)
    corners = page.at(blank.strain_map.corners_mm)
    middles = (corners[:-1, :-1] + corners[1:, 1:] + corners[1:, :-1] + corners[:-1, 1:]) / 4
    squares = np.floor(middles / MARK_PX)
    off = np.linalg.norm(middles - (squares + 0.5) * MARK_PX, axis=2)
    lines, taken = [], set()
    for k in np.argsort(off, axis=None):
        cell = np.unravel_index(k, off.shape)
        square = tuple(squares[cell])
        if square not in taken:
            taken.add(square)
            if class_of(strains[cell]) is not CLASSES[0]:
                way = directions[cell] * [1, -1]
                lines += [_arrow(middles[cell], s * way, 0.3 * MARK_PX, strains[cell] > 0) for s in (1, -1)]
    return [f'<path d="{" ".join(lines)}" fill="none" stroke="{INK}" stroke-width="0.9"/>'] if lines else []


def _arrow(middle, way, reach, is_outward):
    """Return half a mark: a stem from near the middle out, its head at the far end or at the middle."""
    side = np.array([-way[1], way[0]])
    near, far = middle + 0.15 * reach * way, middle + reach * way
    tip, back = (far, -1) if is_outward else (near, 1)
    barbs = [tip + 0.35 * reach * (back * way + s * 0.7 * side) for s in (1, -1)]
    lines = ((near, far), (barbs[0], tip, barbs[1]))
    return " ".join("M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in line) for line in lines)


def _labels(page, blank):
    """Return where the metal is stretched and shrunk most, in words; a label on another goes below it."""
    out, taken = [], []
    for label in labels_of(blank.strain_map):
        x, y = page.at(label.at_mm)
        half = 4.4 * len(label.words)
        low, high = page.left + half + 3, page.left + page.scale * blank.length_mm - half - 3
        x = min(max(x, low), high) if low < high else (low + high) / 2
        while any(abs(x - a) < half + b and abs(y - c) < 17 for a, b, c in taken):
            y += 17
        taken.append((x, half, y))
        out.append(page.text(x, y + 5, label.words, size=14, anchor="middle", weight="bold", halo=True))
    return out


def _side_names(page, blank, names):
    """Return each side's name by its middle: in the trim where it is level and words fit, else inside."""
    cut = shapely.LinearRing(page.at(point) for point in blank.trim_outline_mm)
    inner = page.at(shapely.Polygon(blank.outline_mm).centroid.coords[0])
    out = []
    for side, name in zip(blank.sides_mm, names, strict=True):
        if name:
            x, y = page.at(
                shapely.line_interpolate_point(shapely.LineString(side), 0.5, normalized=True).coords[0]
            )
            across, up = np.abs(np.subtract(side[-1], side[0]))
            if across > 2 * up and cut.distance(shapely.Point(x, y)) > LINE_PX:
                y -= np.copysign(LINE_PX / 2, inner[1] - y)
            else:
                x, y = x + np.clip(inner[0] - x, -60, 60), y + np.clip(inner[1] - y, -16, 16)
            out.append(page.text(x, y + 4, name, size=13, anchor="middle", colour=DIMENSION_INK, halo=True))
    return out


def _ruling(page, blank):
    """Return a bend line through the middle of a blank that can be rolled."""
    bends = blank.bends
    if not blank.can_be_rolled or bends.ruling_angle_deg is None:
        return []
    middle = page.at(blank.outline_mm.mean(axis=0))
    angle = np.radians(bends.ruling_angle_deg)
    way = np.array([np.cos(angle), -np.sin(angle)])
    reach = 0.3 * page.scale * (blank.width_mm if abs(way[1]) > 0.5 else blank.length_mm)
    a, b = middle - reach * way, middle + reach * way
    line = (
        f'<path d="M{a[0]:.1f} {a[1]:.1f} L{b[0]:.1f} {b[1]:.1f}" stroke="{FAINT}" stroke-width="1.4" '
        f'stroke-dasharray="14 4 3 4"/>'
    )
    return [line, page.text(middle[0] + 8, middle[1] - 8, "bend line", size=13, colour=FAINT, halo=True)]


def _dimensions(page, blank, unit):
    """Return length below and width to the left of the rectangle around the cut line."""
    left, right = page.left, page.left + page.scale * blank.length_mm
    below, beside = page.bottom + 62, max(page.left - 24, 20)
    style = f'stroke="{DIMENSION_INK}" stroke-width="1" fill="none"'
    middle = (page.top + page.bottom) / 2
    lying = f"M{left:.1f} {below} H{right:.1f} M{left:.1f} {below - 6} v12 M{right:.1f} {below - 6} v12"
    upright = f"M{beside:.1f} {page.top:.1f} V{page.bottom:.1f}"
    ends = " ".join(f"M{beside - 6:.1f} {y:.1f} h12" for y in (page.top, page.bottom))
    length, width = shown(blank.length_mm, unit), shown(blank.width_mm, unit)
    in_middle = {"anchor": "middle", "colour": DIMENSION_INK}
    return [
        f'<path d="{lying} {upright} {ends}" {style}/>',
        page.text((left + right) / 2, below + 18, length, **in_middle),
        f'<g transform="rotate(-90 {beside - 6:.1f} {middle:.1f})">',
        page.text(beside - 6, middle, width, **in_middle),
        "</g>",
    ]


def _stations(page, blank, unit):
    """Return the base line with its numbered stations."""
    y = page.bottom + 12
    right = page.left + page.scale * blank.length_mm
    out = [f'<path d="M{page.left:.1f} {y:.1f} H{right:.1f}" stroke="{FAINT}" stroke-width="1"/>']
    for k, row in enumerate(ordinates_of(blank.trim_outline_mm, step_for(blank.length_mm, unit))):
        x = page.left + page.scale * row.along_mm
        out.append(f'<path d="M{x:.1f} {y - 4:.1f} v8" stroke="{FAINT}" stroke-width="1"/>')
        out.append(page.text(x, y + 20, str(k), size=12, anchor="middle", colour=FAINT))
    return out


def _scale_and_legend(page, blank, unit, y):
    bar_mm = next(
        (
            mm
            for mm in ((304.8, 152.4, 50.8, 25.4) if unit == "in" else (500, 200, 100, 50, 20))
            if mm < blank.length_mm / 2
        ),
        25.4 if unit == "in" else 20.0,
    )
    width = page.scale * bar_mm
    out = [
        f'<rect x="{MARGIN_PX}" y="{y:.1f}" width="{width / 2:.1f}" height="8" fill="{INK}"/>',
        f'<rect x="{MARGIN_PX + width / 2:.1f}" y="{y:.1f}" width="{width / 2:.1f}" height="8" '
        f'fill="#ffffff" stroke="{INK}" stroke-width="1"/>',
        page.text(MARGIN_PX + width + 10, y + 10, shown(bar_mm, unit)),
    ]
    y += 34
    if blank.is_developable:
        return out, y
    x = MARGIN_PX + 66
    out += [page.text(MARGIN_PX, y + 14, "stretch", size=13), page.text(MARGIN_PX, y + 34, "shrink", size=13)]
    for stretch, shrink, words in legend():
        for row, colour in enumerate((stretch, shrink)):
            out.append(
                f'<rect x="{x}" y="{y + 20 * row:.1f}" width="100" height="18" '
                f'fill="{colour}" stroke="{FAINT}" stroke-width="0.5"/>'
            )
        out.append(page.text(x, y + 56, words, size=12))
        x += 140
    sample = [
        f'<path d="{_arrow(np.array([x - 20.0, y + 9 + 20 * row]), np.array([sign, 0.0]), 11, row == 0)}" '
        f'fill="none" stroke="{INK}" stroke-width="1"/>'
        for row in (0, 1)
        for sign in (1, -1)
    ]
    return [*out, *sample], y + 78


def _table(page, blank, unit, y):
    """Return the heights of the cut line above the base line, station by station."""
    rows = ordinates_of(blank.trim_outline_mm, step_for(blank.length_mm, unit))
    heads = ("station", "along", "lower", "upper")

    def short(mm):
        return shop_inches(mm, 32) if unit == "in" else f"{mm:.1f}"

    columns = [
        heads,
        *((str(k), short(r.along_mm), short(r.lower_mm), short(r.upper_mm)) for k, r in enumerate(rows)),
    ]
    wide = (WIDTH_PX - MARGIN_PX - 20 - 66) / max(len(rows), 1)
    out = [
        page.text(
            MARGIN_PX, y, f"Cut line above the base line, {'inches' if unit == 'in' else 'mm'}", weight="bold"
        )
    ]
    for c, column in enumerate(columns):
        x = MARGIN_PX if c == 0 else MARGIN_PX + 66 + (c - 1) * min(wide, 90)
        out += [page.text(x, y + 20 + 18 * r, cell, size=12 if c else 13) for r, cell in enumerate(column)]
    return out, y + 20 + 18 * 4 + 6
