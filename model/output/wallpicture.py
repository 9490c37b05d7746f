"""Walls of a piece let into a post as an SVG drawing at true size: what to cut out, and a bar to check by.

Seen from outside the post, side by side as one goes around it.  One unit of
the drawing is a millimetre on paper: printed at 100 % the outlines are
templates, and a bar of stated length says whether they are.  A wall's lower
rim is at the bottom.  With p = (x, y) a corner of the wall laid flat
(:class:`model.postpiecereport.PostWall`: x from the wall's first corner, around
the post), a right or centre post's walls are drawn with x to the right; a left
post's run the other way round it, and are drawn with x to the left.
A wall
longer up the post than around it stands on paper with its left side upright.
"""

from __future__ import annotations

from html import escape

import numpy as np

from ..report import NewMetalReport
from ..units import shown
from .blankpicture import DIMENSION_INK, FAINT, INK, folded

PAGE_MM, MARGIN_MM = 190.0, 8.0  # what either of the two common sheets of paper prints
TALL_MM = 150.0  # with its figures, of a wall that still fits on one sheet of paper beside the words
TEXT_MM, LINE_MM = 3.1, 4.6
BESIDE_MM, ABOVE_MM = 9.0, 6.0  # room for the figures around a wall
COLUMNS = 112  # letters to a line of the page
FLAT_MM = 25.4 / 64  # less twist than this reads as none
BARS_MM = {"in": 50.8, "mm": 50.0}
TOO_TALL = "Longer than a sheet of paper: print it in tiles, or mark it out by its sides and diagonals."
CAUTION = (
    "Caution: a post holds the roof up; whether it may be pieced, and how it is welded, are for local code "
    "and licensed practice. Cut edges are sharp. Try the piece in card first."
)


def walls_svg(metal: NewMetalReport, *, unit: str) -> str:
    """Return the drawing of a piece's walls as SVG text, in millimetres of paper."""
    rows, y = [], 12.0
    for size, words in ((5.0, [metal.name]), (TEXT_MM, _facts(metal, unit))):
        for line in words:
            for part in folded(line, COLUMNS):
                rows.append(
                    _text(MARGIN_MM, y, part, size=size, weight="bold" if size > TEXT_MM else "normal")
                )
                y += LINE_MM if size == TEXT_MM else 6.5
    x, tallest = MARGIN_MM, 0.0
    drawn = [_wall_group(wall, metal.side, unit) for wall in metal.walls]
    for group, width, height in drawn:
        if x > MARGIN_MM and x + width > PAGE_MM - MARGIN_MM:
            x, y, tallest = MARGIN_MM, y + tallest, 0.0
        rows.append(f'<g transform="translate({x:.3f} {y:.3f})">{group}</g>')
        x, tallest = x + width, max(tallest, height)
    y += tallest + 4
    rows += _bar(y, unit)
    y += 10
    for part in folded(CAUTION, COLUMNS):
        rows.append(_text(MARGIN_MM, y, part))
        y += LINE_MM
    label = escape(f"Walls of {metal.name}")
    wide = max(PAGE_MM, 2 * MARGIN_MM + max(width for _, width, _ in drawn))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{label}" '
        f'viewBox="0 0 {wide:.2f} {y:.2f}" width="{wide:.2f}mm" height="{y:.2f}mm" '
        f'font-family="system-ui, sans-serif" fill="{INK}"><title>{label}</title>'
        f'<rect width="{wide:.2f}" height="{y:.2f}" fill="#ffffff"/>{"".join(rows)}</svg>'
    )


def _facts(metal, unit):
    mean = f"Sheet {metal.gauge_mm:.2f} mm, {metal.mass_kg:.3f} kg. Fits between {' and '.join(metal.ends)}."
    return [
        mean,
        "Seen from outside, in the order around the post; lower rim at the bottom. True size when printed at "
        f"100 %: the bar below is {shown(BARS_MM[unit], unit)}. Cut to the line, which is the net outside.",
        *([TOO_TALL] if max(y for wall in metal.walls for _, y in wall.corners_mm) > TALL_MM else []),
    ]


def outline_on_paper(wall, side: str) -> np.ndarray:
    """Return a wall's four corners on paper seen from outside, (4, 2): x to the right, y up, from (0, 0)."""
    corners = np.array(wall.corners_mm) * (-1.0 if side == "left" else 1.0, 1.0)
    rim, up = corners[1] - corners[0], corners[3] - corners[0]
    if side == "left":
        up = corners[2] - corners[1]
    length = np.linalg.norm(up)
    if length > np.linalg.norm(rim):
        corners = corners @ np.array([[up[1], up[0]], [-up[0], up[1]]]) / length
    return corners - corners.min(axis=0)


def _wall_group(wall, side, unit):
    """Return (SVG, width, height) of one wall with its figures, from its upper left."""
    flat = outline_on_paper(wall, side)
    wide, tall = flat.max(axis=0)
    width = max(wide + 2 * BESIDE_MM, 42.0)
    left = (width - wide) / 2
    top = ABOVE_MM + LINE_MM
    at = np.stack([left + flat[:, 0], top + tall - flat[:, 1]], axis=1)
    path = " L".join(f"{x:.3f} {y:.3f}" for x, y in at)
    a, b = wall.diagonal
    out = [
        _text(width / 2, LINE_MM - 1, wall.wall, anchor="middle", weight="bold"),
        f'<path d="M{path} Z" fill="none" stroke="{INK}" stroke-width="0.25"/>',
        f'<path d="M{at[a, 0]:.3f} {at[a, 1]:.3f} L{at[b, 0]:.3f} {at[b, 1]:.3f}" stroke="{FAINT}" '
        'stroke-width="0.2" stroke-dasharray="2 1.2"/>',
    ]
    out += [_figure(at[i], at[(i + 1) % 4], at.mean(axis=0), unit) for i in range(4)]
    y = top + tall + 4.2 + LINE_MM
    notes = [f"diagonal {shown(wall.diagonal_mm, unit, 32)}"]
    if wall.twist_mm > FLAT_MM:
        notes.append(f"twist {shown(wall.twist_mm, unit, 32)}")
    for note in notes:
        out.append(_text(width / 2, y, note, anchor="middle", size=2.8))
        y += 4
    return "".join(out), width, y + 2


def _figure(a, b, inside, unit):
    """Return the length of a side, written along it on its outside."""
    middle, way = (a + b) / 2, (b - a) / np.linalg.norm(b - a)
    if way[0] < -1e-9 or (abs(way[0]) <= 1e-9 and way[1] > 0):
        way = -way  # read from the left, or from below
    down = np.array([-way[1], way[0]])
    is_below = down @ (middle - inside) > 0
    x, y = middle + down * (3.6 if is_below else -1.3)
    words = _text(x, y, shown(float(np.linalg.norm(b - a)), unit, 32), anchor="middle", colour=DIMENSION_INK)
    return f'<g transform="rotate({np.degrees(np.arctan2(way[1], way[0])):.2f} {x:.2f} {y:.2f})">{words}</g>'


def _bar(y, unit):
    half = BARS_MM[unit] / 2
    style = f'height="2.5" stroke="{INK}" stroke-width="0.25"'
    return [
        f'<rect x="{MARGIN_MM}" y="{y:.2f}" width="{half}" fill="{INK}" {style}/>',
        f'<rect x="{MARGIN_MM + half}" y="{y:.2f}" width="{half}" fill="#ffffff" {style}/>',
        _text(
            MARGIN_MM + 2 * half + 3, y + 2.4, f"{shown(2 * half, unit)} on paper: measure it before cutting"
        ),
    ]


def _text(x, y, words, *, size=TEXT_MM, anchor="start", weight="normal", colour=INK):
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}" '
        f'fill="{colour}">{escape(words)}</text>'
    )
