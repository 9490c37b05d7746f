"""The ways of lowering a roof as a page of its own: a side view of each, and the table."""

from __future__ import annotations

from html import escape

from ..evaluate import build_checked, fit_report_of
from ..measured import Car
from ..plan import Plan
from ..silhouette import side_drawing
from ..waycomparison import WayComparison
from .waystext import ways_text

_STYLE = """
body{font:14px/1.45 system-ui,sans-serif;color:#23282e;max-width:1100px;margin:24px auto;padding:0 16px}
h1{font-size:22px;margin:0 0 2px} h2{font-size:16px;margin:0 0 4px}
.ways{display:grid;grid-template-columns:repeat(auto-fit,minmax(300px,1fr));gap:20px;margin:18px 0}
.ways p{margin:4px 0;color:#5b6570} article{break-inside:avoid}
pre{font:12px/1.4 ui-monospace,monospace;overflow-x:auto}
@media print{body{margin:0;max-width:none} pre{font-size:9px}}
"""


def ways_page(car: Car, plan: Plan, found: WayComparison) -> str:
    """Return the page as HTML, whole in itself.

    Parameters
    ----------
    found : WayComparison
        Of this plan on this car.
    """
    articles = "".join(_article(car, plan, way) for way in found.ways)
    title = f"{found.car['name']}: ways of doing it"
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<style>{_STYLE}</style><h1>{escape(title)}</h1><p>Plan: {escape(found.plan)}</p>"
        f'<div class="ways">{articles}</div><pre>{escape(ways_text(found))}</pre></html>\n'
    )


def _article(car, plan, way):
    head = f"<h2>{escape(way.way)}</h2><p>{escape(way.words)}</p>"
    if way.refused:
        return f"<article>{head}<p>Cannot be carried out: {escape(way.refused)}</p></article>"
    built = build_checked(car, plan.changed(way=way.way))
    drawing = side_drawing(built, fit_report_of(built)).svg(520, title=f"{way.way}, from the side")
    return f"<article>{head}{drawing}</article>"
