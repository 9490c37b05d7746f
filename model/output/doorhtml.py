"""Doors and side glass for the notebook: every pane drawn, stock and lowered, with its numbers."""

from __future__ import annotations

from html import escape

from ..doorreport import DOOR, PaneReport
from .cells import angle_cell
from .html import length_html

_WIDE, _PAD = 250, 6


def side_glass_html(panes: tuple[PaneReport, ...], unit: str) -> str:
    """Return the panes as drawings with their numbers; nothing where no side pane changes."""
    if not panes:
        return ""
    longest = max(max(x for x, _ in pane.outline_before_mm) for pane in panes)
    cards = "".join(_card(pane, unit, longest) for pane in panes)
    return (
        '<div class="pd-group">Doors and side glass</div>'
        '<p class="pd-quiet">Outlines in the panes\' own planes: stock dashed, lowered filled; front at the '
        "left. Tempered glass cannot be cut: make a template of the welded opening.</p>"
        f'<div style="display:flex;flex-wrap:wrap;gap:6px 18px">{cards}</div>'
    )


def _card(pane, unit, longest):
    rows = [
        ("rail", length_html(pane.rail_before_mm, unit), length_html(pane.rail_after_mm, unit)),
        ("height", length_html(pane.height_before_mm, unit), length_html(pane.height_after_mm, unit)),
    ]
    rows += [
        (
            f"{corner.corner} corner leans",
            angle_cell(corner.lean_front_before_deg),
            angle_cell(corner.lean_front_after_deg),
        )
        for corner in pane.corners
    ]
    rows += [(f"{leg.leg} leg, take-out", "", length_html(leg.take_out_mm, unit)) for leg in pane.legs]
    if pane.well is not None:
        rows.append(("lower edge swings out", "", length_html(pane.well.swing_mm, unit)))
    body = "".join(
        f'<tr><td class="pd-word">{name}</td><td class="pd-num">{a}</td><td class="pd-num">{b}</td></tr>'
        for name, a, b in rows
    )
    kind = "door" if pane.kind == DOOR else "fixed"
    return (
        f"<div><b>{escape(pane.pane)}</b> {pane.side}, {kind}{_drawing(pane, longest)}"
        '<table class="pd-table"><thead><tr><td></td><th class="pd-num">stock</th>'
        '<th class="pd-num">lowered</th></tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _drawing(pane, longest):
    scale = _WIDE / longest
    high = max(y for _, y in pane.outline_before_mm) * scale

    def path(outline):
        places = " ".join(f"{x * scale + _PAD:.1f},{high - y * scale + _PAD:.1f}" for x, y in outline)
        return f'points="{places}"'

    new = f'<polygon {path(pane.outline_after_mm)} fill="#dceaf4" stroke="#1f5f8f" stroke-width="1.5"/>'
    return (
        f'<svg viewBox="0 0 {_WIDE + 2 * _PAD} {high + 2 * _PAD:.0f}" width="{_WIDE + 2 * _PAD}" '
        f'height="{high + 2 * _PAD:.0f}" style="display:block" role="img" '
        f'aria-label="{escape(pane.pane)} {pane.side}, stock and lowered">'
        f"{new if pane.outline_after_mm else ''}"
        f'<polygon {path(pane.outline_before_mm)} fill="none" stroke="#5b6570" stroke-dasharray="4 3"/></svg>'
    )
