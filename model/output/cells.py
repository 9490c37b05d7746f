"""Numbers as a person with a tape reads them, and columns that line up."""

from __future__ import annotations

import textwrap
from math import copysign

from ..units import shop_inches

WIDTH = 100  # columns of text, so that a report prints upright
LEAST_FIRST = 12  # columns that a table's first one keeps, though the table be wider than the page then
SMALL_AREA = 4.0  # in² or cm²: less of them is said to a tenth
GAP_INCH = 32  # gaps and steps are read to 1/32 in, everything else to 1/16
_MM2_PER_IN2 = 25.4**2
_MM3_PER_IN3 = 25.4**3


def length_cell(mm, unit, denominator=16):
    """Return a length for a table: shop inches with mm beside, or mm alone.

    Examples
    --------
    >>> length_cell(57.15, "in"), length_cell(57.15, "mm"), length_cell(None, "in")
    ('2-1/4" (57.2)', '57.2', '—')
    """
    if mm is None:
        return "—"
    metric = tenths(mm)
    return f"{shop_inches(mm, denominator)} ({metric})" if unit == "in" else metric


def gap_cell(mm, unit):
    """Return a gap or a step for a table, to 1/32 in."""
    return length_cell(mm, unit, GAP_INCH)


def signed_cell(mm, unit, positive, negative):
    """Return a length whose sign is said in words.

    Examples
    --------
    >>> signed_cell(-36.5, "in", "rearward", "forward"), signed_cell(0.02, "mm", "inboard", "outboard")
    ('1-7/16" (36.5) forward', '0.0')
    """
    size = length_cell(abs(mm), unit)
    return size if abs(mm) < 0.05 else f"{size} {positive if mm > 0 else negative}"


def angle_cell(deg, positive="", negative=""):
    """Return an angle for a table, its sign in words where there are any.

    Examples
    --------
    >>> angle_cell(32.04, "rearward", "forward"), angle_cell(-3), angle_cell(0.01, "inboard", "outboard")
    ('32.0° rearward', '-3.0°', '0.0°')
    """
    if not positive:
        return f"{tenths(deg)}°"
    word = "" if abs(deg) < 0.05 else f" {positive if deg > 0 else negative}"
    return f"{tenths(abs(deg))}°{word}"


def long_cell(mm, unit):
    """Return a long length: feet and inches with mm beside, or mm alone.

    Examples
    --------
    >>> long_cell(9563.1, "in"), long_cell(9563.1, "mm"), long_cell(200, "in")
    ('31\\' 4-1/2" (9563)', '9563', '7-7/8" (200)')
    """
    metric = f"{mm:.0f}"
    if unit != "in":
        return metric
    sixteenths = round(abs(mm) / 25.4 * 16)
    feet, rest = divmod(sixteenths, 12 * 16)
    inches = shop_inches(rest * 25.4 / 16)
    sign = "-" if mm < 0 and sixteenths else ""
    return f"{sign}{feet}' {inches} ({metric})" if feet else f"{sign}{inches} ({metric})"


def area_cell(mm2, unit):
    """Return an area: square inches with cm² beside, or cm² alone; a small one to a tenth.

    Examples
    --------
    >>> area_cell(64516, "in"), area_cell(322.58, "in"), area_cell(322.58, "mm")
    ('100 in² (645 cm²)', '0.5 in² (3.2 cm²)', '3.2 cm²')
    """
    metric = f"{_whole_or_tenths(mm2 / 100)} cm²"
    return f"{_whole_or_tenths(mm2 / _MM2_PER_IN2)} in² ({metric})" if unit == "in" else metric


def _whole_or_tenths(area):
    return f"{area:.1f}" if abs(area) < SMALL_AREA else f"{area:.0f}"


def volume_cell(mm3, unit):
    """Return a volume: cubic inches with cm³ beside, or cm³ alone."""
    metric = f"{mm3 / 1000:.2f} cm³"
    return f"{mm3 / _MM3_PER_IN3:.2f} in³ ({metric})" if unit == "in" else metric


def place_cell(point_mm, unit):
    """Return a place in the car frame.

    Examples
    --------
    >>> place_cell((1016, -584.2, 1270), "in"), place_cell((1016, -584.2, 1270), "mm")
    ('x 40" y -23" z 50"', 'x 1016 y -584 z 1270')
    """
    if point_mm is None:
        return "—"
    texts = (shop_inches(c) if unit == "in" else f"{c:.0f}" for c in point_mm)
    return " ".join(f"{axis} {text}" for axis, text in zip("xyz", texts, strict=True))


def table_lines(heads, rows, words=1):
    """Return aligned lines: a head, then the rows, indented by two.

    A table that would be wider than the page has its first column folded.

    Parameters
    ----------
    heads : sequence of str
        One for each column.
    rows : sequence of sequence of str
    words : int
        How many of the first columns hold words, set to the left; the others
        hold numbers, set to the right.
    """
    rows = [list(row) for row in rows]
    first, *widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    first = min(first, max(WIDTH - 2 - sum(width + 2 for width in widths), LEAST_FIRST))
    lines = []
    for name, *cells in [heads, *rows]:
        folded = textwrap.wrap(name, first, subsequent_indent="  ") or [""]
        set_cells = (
            cell.ljust(width) if i < words else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True), 1)
        )
        lines.append("  ".join(["  " + folded[0].ljust(first), *set_cells]).rstrip())
        lines += ["  " + more for more in folded[1:]]
    return lines


def wrapped(text, first="  ", rest=None):
    """Return a paragraph as lines that fit the page."""
    rest = " " * len(first) if rest is None else rest
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def signed_tenths(value):
    """Return a number to a tenth with its sign, and nothing with a sign that rounds to zero."""
    shown = tenths(value)
    return f"+{shown}" if value > 0 and float(shown) else shown


def tenths(value):
    """Return a number to a tenth, halves up, and no zero below zero."""
    rounded = round(value + copysign(1e-9, value), 1)
    return f"{rounded + 0.0 if rounded else 0.0:.1f}"
