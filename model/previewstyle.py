"""How the preview looks: its style sheet and the small pieces of HTML around the tables."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from .layout import BODY, ROOF, WINDOW
from .seamcolours import legend
from .silhouette import SHIFTED_COLOUR, colour_of

STYLE = """<style>
.pd-preview {--pd-ink:#23282e; --pd-quiet:#5b6570; --pd-line:#d8dde2; --pd-accent:#1f5f8f; --pd-warn:#9a3412;
  color:var(--pd-ink); background:#fff; padding:6px 8px 12px; font-variant-numeric:tabular-nums;}
.pd-preview .widget-html-content {line-height:1.35; white-space:normal;}
.pd-preview small {color:var(--pd-quiet); font-size:.8em; margin-left:.35em;}
.pd-tiles {display:grid; grid-template-columns:repeat(auto-fit,minmax(118px,1fr)); gap:6px; margin:4px 0;}
.pd-tile {border:1px solid var(--pd-line); border-radius:6px; padding:5px 9px 6px; background:#fafbfc; min-width:0;}
.pd-name {font-size:11px; color:var(--pd-quiet);}
.pd-number {font-size:19px; font-weight:600; white-space:nowrap;}
.pd-number small {font-weight:400; font-size:11px;}
.pd-note {font-size:11px; color:var(--pd-quiet); overflow:hidden; text-overflow:ellipsis; white-space:nowrap;}
.pd-note small {font-size:10px;}
.pd-group {font-weight:600; font-size:13px; border-bottom:1px solid var(--pd-line); margin-top:4px;}
.pd-left {border-right:1px solid var(--pd-line); padding-right:10px; margin-right:10px;}
.pd-status {min-height:22px; font-size:13px; padding:2px 8px; border-radius:4px; color:var(--pd-quiet);}
.pd-status.pd-refused {background:#fff1e6; color:var(--pd-warn); border-left:4px solid var(--pd-warn);}
.pd-legend {display:flex; flex-wrap:wrap; gap:2px 12px; font-size:11.5px; color:var(--pd-quiet);}
.pd-legend span {white-space:nowrap;}
.pd-legend i {display:inline-block; width:16px; height:9px; border:1px solid #9aa3ac; margin-right:4px;}
.pd-legend i.pd-lap {border-style:dashed; border-color:#23282e;}
.pd-preview table.pd-table {border-collapse:collapse; font-size:12.5px; width:100%; margin:0; table-layout:auto;}
.pd-preview .pd-table th {color:var(--pd-quiet); font-weight:500; border-bottom:1px solid var(--pd-line);
  padding:2px 8px;}
.pd-preview .pd-table td {padding:2px 8px; border-bottom:1px solid #eef1f4; vertical-align:top;}
.pd-preview .pd-table tr {background:none !important;}
.pd-preview .pd-word {text-align:left !important;}
.pd-preview .pd-num {text-align:right !important; white-space:nowrap;}
.pd-section {font-weight:600; font-size:14px; margin:12px 0 2px;}
.pd-findings, .pd-preview details ol {margin:2px 0 2px 1.6em; padding:0; font-size:13px;}
.pd-preview li {margin:1px 0;}
.pd-source {color:var(--pd-quiet); font-size:11.5px; margin-left:.6em;}
.pd-preview details summary {cursor:pointer; color:var(--pd-accent); font-size:13px;}
.pd-quiet {color:var(--pd-quiet); margin:2px 0;}
.pd-caution {font-size:12px; color:var(--pd-quiet); border-left:3px solid #d9a441; padding-left:8px; margin:6px 0;}
.pd-preview .noUi-handle:focus-visible {outline:3px solid var(--pd-accent); outline-offset:2px;}
</style>"""


def status_html(text: str, is_refusal: bool = False) -> str:
    """Return the status line: what was done, or what was refused and why."""
    kind = " pd-refused" if is_refusal else ""
    return f'<div class="pd-status{kind}" role="status">{escape(text)}</div>'


def section(title: str, body) -> widgets.VBox:
    """Return a titled part of the report."""
    return widgets.VBox([widgets.HTML(f'<div class="pd-section">{escape(title)}</div>'), body])


def legend_html(unit: str) -> str:
    """Return what the colours of pieces and seams mean."""
    pieces = [(colour_of(BODY), "body"), (colour_of(ROOF), "roof"), (colour_of(WINDOW), "rear window panel")]
    pieces += [(SHIFTED_COLOUR, "shifted post")]
    first = "".join(f'<span><i style="background:{colour}"></i>{words}</span>' for colour, words in pieces)
    second = "".join(
        f'<span><i class="{"pd-lap" if words.startswith("lap") else ""}" style="background:{colour}"></i>'
        f"{escape(words)}</span>"
        for colour, words in legend(unit)
    )
    return f'<div class="pd-legend">{first}</div><div class="pd-legend">{second}</div>'
