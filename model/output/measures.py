"""A measured car's own check as text and as HTML: readings against the fair surface, left against right."""

from __future__ import annotations

from html import escape

from ..carfindings import CarCheck
from ..units import shop_inches
from .cells import GAP_INCH, length_cell, signed_cell, table_lines, wrapped
from .html import finding_list_html

_WAYS = {"x": ("rearward", "forward"), "y": ("out", "in"), "z": ("up", "down")}
_FAIR_HEADS = ("row", "worst at", "off by", "of limit", "x slip", "y slip", "z slip")
_SIDE_HEADS = ("left less right at", "x, rearward", "y, outward", "z, up")


def measures_lines(check: CarCheck) -> list[str]:
    """Return the tables of a car's check as lines of at most 100 columns."""
    unit = check.car["unit"]
    lines = [
        "READINGS AGAINST THE FAIR SURFACE   each judged by all the others; the skin goes through every one",
        *table_lines(_FAIR_HEADS, _fair_rows(check), words=2),
        *wrapped(_scatter_words(check)),
        "",
        "LEFT AGAINST RIGHT   + left lies further rearward, further out, higher",
    ]
    if not check.sides:
        return [
            *lines,
            "  Nothing was measured on both sides: the left is taken as the right's mirror image.",
        ]
    rows = [
        [f"{d.place}, {d.row}", *(length_cell(mm, unit) for mm in (d.x_mm, d.y_mm, d.z_mm))]
        for d in check.sides
    ]
    sizes = zip(*((d.x_mm, d.y_mm, d.z_mm) for d in check.sides), strict=True)
    rows.append(["mean", *(length_cell(sum(column) / len(column), unit) for column in sizes)])
    return [*lines, *table_lines(_SIDE_HEADS, rows)]


def measures_html(check: CarCheck) -> str:
    """Return a car's check for the notebook: findings in sight, the tables folded away."""
    unit = check.car["unit"]
    fair = _table(_FAIR_HEADS, _fair_rows(check), words=2)
    sides = "<p>No point was measured on both sides.</p>"
    if check.sides:
        rows = [
            [f"{d.place}, {d.row}", *(length_cell(mm, unit) for mm in (d.x_mm, d.y_mm, d.z_mm))]
            for d in check.sides
        ]
        sides = _table(_SIDE_HEADS, rows, words=1)
    return (
        finding_list_html(check.findings, "Nothing to measure again.")
        + f"<details><summary>Readings against the fair surface, row by row</summary>{fair}"
        f"<p>{escape(_scatter_words(check))}</p></details>"
        f"<details><summary>Left against right, point by point</summary>{sides}</details>"
    )


def _fair_rows(check):
    """Return one row for each of the car's rows and each panel: the worst reading, and what would show."""
    unit, groups = check.car["unit"], {}
    for reading in check.fair.readings:
        name = reading.place if "/" in reading.row else reading.row
        groups.setdefault(name, []).append(reading)
    rows = []
    for name, readings in groups.items():
        worst = max(readings, key=lambda r: abs(r.off_mm) / r.explained_mm)
        size = signed_cell(worst.off_mm, unit, *_WAYS[worst.axis])
        place = worst.row if "/" in worst.row else worst.place
        if worst.side == "left":
            place += " left"
        slips = [
            _slip(max((r.found_from_mm for r in readings if r.axis == axis), default=None), unit)
            for axis in "xyz"
        ]
        rows.append([name, place, size, f"{abs(worst.off_mm) / worst.explained_mm:.0%}", *slips])
    return rows


def _slip(mm, unit):
    if mm is None:
        return "—"
    return shop_inches(mm, GAP_INCH) if unit == "in" else f"{mm:.1f}"


def _scatter_words(check):
    fair, unit = check.fair, check.car["unit"]
    if fair.scatter_mm <= check.car["tape_mm"] / 12**0.5 * 1.001:
        words = "The marks of the tape explain how the readings scatter"
    else:
        mm = fair.scatter_mm
        size = f'{mm / 25.4:.2f}" ({mm:.1f} mm)' if unit == "in" else f"{mm:.1f} mm"
        words = f"The readings scatter by {size}, one standard deviation, which is more than the tape's marks"
    text = (
        f"{words}. Of limit: of what tape and shape explain. Slip: the size of one that is found four times "
        "in five at the row's worst place; a row's ends and a panel with few rows hide more."
    )
    if fair.unjudged:
        text += f" {len(fair.unjudged)} readings have too few neighbours to be judged."
    return text


def _table(heads, rows, words):
    def line(cells, tag):
        return "".join(
            f'<{tag} class="{"pd-word" if i < words else "pd-num"}">{escape(cell)}</{tag}>'
            for i, cell in enumerate(cells)
        )

    body = "".join(f"<tr>{line(row, 'td')}</tr>" for row in rows)
    return f'<table class="pd-table"><thead><tr>{line(heads, "th")}</tr></thead><tbody>{body}</tbody></table>'
