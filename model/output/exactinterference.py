"""What exact solids have in common, as text and for the notebook."""

from __future__ import annotations

from html import escape

from .cells import gap_cell, place_cell, table_lines, volume_cell

NONE = "Nothing runs into anything."
UNDECIDED = "not decided, for new metal that bends tighter than its gauge is no solid"
_HEADS = ("pieces", "volume", "depth", "middle at")


def interference_text(bodies, undecided, car, plan) -> str:
    """Return what runs into what as lines of text; ``bodies`` as dicts, the largest first.

    ``undecided`` are pairs of names that neither triangles nor solids could tell of.
    """
    head = f"{car.name}   plan: {plan.name or 'stock'}   INTERFERENCE OF EXACT SOLIDS"
    lines = table_lines(_HEADS, _rows(bodies, car.unit)) if bodies else [f"  {NONE}"]
    doubtful = [body for body in bodies if not body["is_valid"]]
    if doubtful:
        lines.append(f"  ? the kernel doubts its own result at {len(doubtful)} of these")
    lines += [f"  ? {UNDECIDED}: {' and '.join(pair)}" for pair in undecided]
    return "\n".join([head, *lines]) + "\n"


def interference_html(bodies, undecided, unit) -> str:
    """Return what runs into what as a table."""
    notes = "".join(
        f'<p class="pd-quiet">{UNDECIDED.capitalize()}: {escape(" and ".join(pair))}</p>'
        for pair in undecided
    )
    if not bodies:
        return f'<p class="pd-quiet">{NONE}</p>' + notes
    heads = "".join(f'<th scope="col" class="pd-word">{head}</th>' for head in _HEADS)
    rows = "".join(
        "<tr>" + "".join(f'<td class="pd-word">{escape(cell)}</td>' for cell in row) + "</tr>"
        for row in _rows(bodies, unit)
    )
    return f'<table class="pd-table"><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>' + notes


def _rows(bodies, unit):
    return [
        [
            " and ".join(body["pieces"]) + ("" if body["is_valid"] else " ?"),
            volume_cell(body["volume_mm3"], unit),
            gap_cell(body["depth_mm"], unit),
            place_cell(body["at_mm"], unit),
        ]
        for body in bodies
    ]
