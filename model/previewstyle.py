"""How the preview looks: its style sheet and the small pieces of HTML around the tables."""

from __future__ import annotations

from html import escape
from importlib import resources

import ipywidgets as widgets

from .layout import BODY, ROOF, WINDOW
from .piececolours import FILLER_COLOUR, SHIFTED_COLOUR, colour_of
from .seamcolours import legend


def style_html() -> str:
    """Return the style sheet as HTML."""
    return f"<style>{(resources.files(__package__) / 'preview.css').read_text(encoding='utf-8')}</style>"


def status_html(text: str, is_refusal: bool = False) -> str:
    """Return the status line: what was done, or what was refused and why."""
    kind = " pd-refused" if is_refusal else ""
    return f'<div class="pd-status{kind}" role="status">{escape(text)}</div>'


def heading_html(title: str) -> str:
    """Return the heading of a group of controls or of a picture."""
    return f'<div class="pd-group">{escape(title)}</div>'


def section(title: str, body) -> widgets.VBox:
    """Return a titled part of the report."""
    return widgets.VBox([widgets.HTML(f'<div class="pd-section">{escape(title)}</div>'), body])


def legend_html(unit: str) -> str:
    """Return what the colours of pieces and seams mean."""
    pieces = [(colour_of(BODY), "body"), (colour_of(ROOF), "roof"), (colour_of(WINDOW), "rear window panel")]
    pieces += [(SHIFTED_COLOUR, "shifted post"), (FILLER_COLOUR, "new metal")]
    first = "".join(f'<span><i style="background:{colour}"></i>{words}</span>' for colour, words in pieces)
    second = "".join(
        f'<span><i class="{"pd-lap" if words.startswith("lap") else ""}" style="background:{colour}"></i>'
        f"{escape(words)}</span>"
        for colour, words in legend(unit)
    )
    return f'<div class="pd-legend">{first}</div><div class="pd-legend">{second}</div>'
