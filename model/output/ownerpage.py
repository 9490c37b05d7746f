"""The owner's page: one HTML file that opens from a disk, without a network, on a phone or a desktop.

On a screen stock and every plan are one drawing that is turned and swiped; on
paper every plan is one page.  The pictures and numbers of a plan are there
without a script, too.  A policy in the page's head forbids it to fetch anything.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import escape
from importlib import resources

from ..built import Built, build_on
from ..evaluate import build_checked, report_of
from ..files import write_text_atomically
from ..fillers import KIND as FILLER
from ..fillers import fillers_of
from ..layout import BODY, ROOF, WINDOW
from ..measured import Car
from ..occupant import driver_eye_mm
from ..piececolours import colour_of
from ..plan import Plan
from ..progress import say_nothing
from ..report import Report
from ..review import PlanReview, plan_review
from ..silhouette import VIEWS, drawing_of, side_drawing
from ..viewparts import LOOKS, before_parts, hull_corners, parts_of
from .packedparts import box_of, packed
from .pictures import drops_said
from .text import CAUTION_CUT, CAUTION_GLASS, CAUTION_ROAD

SHOWN = ("lower_shell", "upper_shell", "edges", "lower_panes", "upper_panes")  # of a plan in the 3-D picture
FLAT_SAG_MM, TURNED_SAG_MM = 0.6, 2.0  # of drawings and of the 3-D picture: under a pixel of a phone, assumed
FIRST_VIEW, EYE = "three-quarter", "driver's eye"
PAIRS = ("side", "front", "rear", "plan")
BACKGROUND, FIELD_OF_VIEW_DEG, EYE_FIELD_DEG = 0xF6F7F8, 16.0, 62.0  # as in the notebook
PAINT = (58, 78, 104)  # one colour for the whole car, for the look alone
LABEL = "The car in 3-D, stock left of the line and planned right of it. Arrow keys turn it."
POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"
CAUTION_PLAN = (
    "This is a plan drawn from a tape's measures, not an engineering approval and no promise of how the car "
    "drives or protects. Local codes and licensed practice decide."
)


def review_page(car: Car, plans: list[Plan], on_progress: Callable[[float, str], None] = say_nothing) -> str:
    """Return the page of one or more plans of a car as HTML.

    ``on_progress`` is told the share that is done, and of what.

    Raises
    ------
    PlanError
        If a plan cannot be built on this car.
    """
    built = [build_checked(car, plan) for plan in plans]
    reports = []
    for done, each in enumerate(built):
        on_progress(done / (2 * len(built)), "of the page: numbers")
        reports.append(report_of(each))
    on_progress(0.5, "of the page: drawings")
    reviews = [plan_review(each, report) for each, report in zip(built, reports, strict=True)]
    stock = build_on(built[0].shape, Plan())
    articles = "".join(
        _article(stock, each, report, review, number)
        for number, (each, report, review) in enumerate(zip(built, reports, reviews, strict=True), start=1)
    )
    name = escape(car.name)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{name}: how a lower roof would look</title><style>{_own_file('review.css')}</style></head>"
        f'<body><header class="screen"><h1>{name}: how a lower roof would look</h1>'
        '<p class="quiet">Drawn from the measured car. Nothing is cut yet; every number can still move.</p>'
        f"</header><main>{_stage(stock, built, reviews)}{_at_a_glance(reviews)}{articles}</main>"
        f"{_script(stock, built, reports)}</body></html>\n"
    )


def write_review(
    car: Car, plans: list[Plan], path, on_progress: Callable[[float, str], None] = say_nothing
) -> None:
    """Write the owner's page, all or nothing.

    Raises
    ------
    PlanError
        If a plan cannot be built on this car.
    FileRefused
        If it cannot be written there.
    """
    write_text_atomically(path, review_page(car, plans, on_progress))


def _stage(stock: Built, built, reviews) -> str:
    """Return the part that is turned and swiped; without 3-D it shows a drawing."""
    views = "".join(
        f'<button type="button" data-view="{escape(name)}" aria-pressed="false">{escape(name)}</button>'
        for name in _views(stock)
    )
    turns = "".join(
        f'<button type="button" data-turn="{turn}">{words}</button>'
        for turn, words in (
            ("-3 0", "turn left"),
            ("3 0", "turn right"),
            ("0 -3", "from higher"),
            ("0 3", "from lower"),
        )
    )
    choice = "".join(
        f'<label class="choice"><input type="radio" name="pd-plan" value="{number}"'
        f"{' checked' if number == 0 else ''}>{escape(review.name)}</label>"
        for number, review in enumerate(reviews)
    )
    plans = f"<fieldset><legend>Plan</legend>{choice}</fieldset>" if len(reviews) > 1 else ""
    flat = drawing_of(stock, VIEWS[FIRST_VIEW], sag_mm=FLAT_SAG_MM).svg(900, 60, "the stock car")
    return (
        '<section class="screen" aria-labelledby="pd-turn"><h2 id="pd-turn">Turn it, and swipe from stock to '
        f'planned</h2><div id="pd-stage"></div><figure id="pd-flat">{flat}'
        "<figcaption>the stock car</figcaption></figure>"
        '<p id="pd-no3d" class="quiet" hidden>This device cannot draw in 3-D. Every view is below.</p>'
        '<div id="pd-controls" hidden><label class="swipe">Move the line: stock is left of it, planned right'
        '<input id="pd-swipe" type="range" min="0" max="100" step="1" value="50"></label>'
        f'{plans}<div class="row" role="group" aria-label="Look from">{views}</div>'
        f'<div class="row" role="group" aria-label="Turn">{turns}</div>'
        '<label class="choice"><input id="pd-plain" type="checkbox">all in one colour, for the look</label>'
        f"{_key(built)}</div></section>"
    )


def _key(built) -> str:
    """Return what the colours of the pieces of these plans mean."""
    said: dict[str, dict[str, None]] = {}
    for name in _pieces(built):
        said.setdefault(colour_of(name), {})[_piece_said(name)] = None
    marks = "".join(
        f'<span><i style="background:{colour}"></i>{", or ".join(words)}</span>'
        for colour, words in said.items()
    )
    is_closed = all(each.plan.new_metal for each in built)
    is_open = "" if is_closed else "<span>open between pieces: new metal closes it</span>"
    return f'<p class="key">{marks}{is_open}</p>'


def _pieces(built) -> list[str]:
    """Return the names of everything that these plans move or let in."""
    names = (name for each in built for name in (*each.moves, *(f.name for f in fillers_of(each))))
    return list(dict.fromkeys(names))


def _piece_said(name) -> str:
    """Return what becomes of a piece."""
    said = {
        BODY: "stays where it is",
        ROOF: "stock sheet, moved as one piece",
        WINDOW: "rim of the rear window, moved as one piece",
    }
    if name.startswith(FILLER):
        return "new sheet"
    if name.startswith(f"{ROOF} "):
        return "part of the split roof"
    kinds = {"strip": "strip that changes sides", "lower": "lower end of a post, leaned"}
    return said.get(name) or kinds.get(name.rpartition(" ")[2], "post moved along the rail")


def _at_a_glance(reviews) -> str:
    """Return the numbers of several plans side by side."""
    if len(reviews) < 2:
        return ""
    labels = list(dict.fromkeys(row.label for review in reviews for row in review.numbers))
    rows = []
    for label in labels:
        found = [next((row for row in review.numbers if row.label == label), None) for review in reviews]
        stock = next(row.stock for row in found if row)
        cells = "".join(f"<td>{_cell(row.planned) if row else '—'}</td>" for row in found)
        rows.append(f'<tr><th scope="row">{escape(label)}</th><td>{_cell(stock)}</td>{cells}</tr>')
    heads = "".join(f'<th scope="col">{escape(review.name)}</th>' for review in reviews)
    return (
        '<section class="screen" aria-labelledby="pd-glance"><h2 id="pd-glance">The plans side by side</h2>'
        '<div class="wide" tabindex="0" role="group" aria-label="table of the plans"><table><thead><tr>'
        f'<td></td><th scope="col">stock</th>{heads}</tr></thead><tbody>{"".join(rows)}</tbody></table></div>'
        "</section>"
    )


def _article(stock: Built, built: Built, report: Report, review: PlanReview, number: int) -> str:
    """Return one plan: one page on paper."""
    said = drops_said(report)
    big = side_drawing(built, report, FLAT_SAG_MM).svg(980, 60, f"side view with dimensions, {said}")
    pairs = "".join(
        f"<figure>{drawing_of(each, VIEWS[name], sag_mm=FLAT_SAG_MM).svg(480, 40, f'{name}, {state}')}"
        f"<figcaption>{name}, {state}</figcaption></figure>"
        for name in PAIRS
        for state, each in (("stock", stock), ("planned, stock dashed", built))
    )
    flagged = ""
    if review.flagged:
        flagged = f'<div class="flagged"><h3>Look at this first</h3>{_list(review.flagged)}</div>'
    has_new_glass = any(finding.kind == "new glass" for finding in report.findings)
    cautions = [CAUTION_PLAN, CAUTION_CUT, *([CAUTION_GLASS] if has_new_glass else []), CAUTION_ROAD]
    return (
        f'<article aria-labelledby="pd-plan-{number}"><h2 id="pd-plan-{number}">'
        f"{escape(report.car['name'])}: {escape(review.name)}</h2><p>{escape(_capital(said))}.</p>"
        f'<figure class="big">{big}<figcaption>stock dashed</figcaption></figure>{_key([built])}'
        f'<div class="views">{pairs}</div>'
        f'{flagged}<div class="told"><div>{_numbers(review)}</div>'
        f"<div><h3>What stays stock</h3>{_list(review.stays)}<h3>What is new</h3>{_list(review.is_new)}</div>"
        f"</div><h3>What is asked of you</h3><div class='asked'>{_list(review.asked)}</div>"
        f'<div class="caution">{"".join(f"<p>{escape(text)}</p>" for text in cautions)}</div>'
        '<p class="agreed" aria-hidden="true"><span>agreed</span><span>date</span></p></article>'
    )


def _cell(text: str) -> str:
    """Return what is said in a cell; no line ends within a mixed fraction or brackets."""
    return re.sub(r"\d+-\d\S*|\([^)]*\)", r'<span class="keep">\g<0></span>', escape(text))


def _numbers(review) -> str:
    rows = "".join(
        f'<tr><th scope="row">{escape(row.label)}</th><td>{_cell(row.stock)}</td>'
        f"<td>{_cell(row.planned)}</td></tr>"
        for row in review.numbers
    )
    return (
        '<table><caption>In numbers</caption><thead><tr><td></td><th scope="col">stock</th>'
        f'<th scope="col">planned</th></tr></thead><tbody>{rows}</tbody></table>'
    )


def _list(texts) -> str:
    return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"


def _views(stock: Built) -> dict[str, dict]:
    """Return every view by name, as the drawing takes it."""
    corners = hull_corners(stock.shape)
    views = {
        name: {"toward": list(view.toward), "up": list(view.up), "points": corners}
        for name, view in VIEWS.items()
    }
    car = stock.shape.car
    if car.seat_mm is not None:
        eye = driver_eye_mm(car.seat_mm, car.driver).tolist()
        views[EYE] = {"eye": eye, "toward": [1.0, 0.0, 0.0], "field_of_view": EYE_FIELD_DEG}
    return views


def _script(stock: Built, built, reports) -> str:
    """Return the drawing's script and what it draws."""
    pictures = [before_parts(stock, TURNED_SAG_MM)]
    for each, report in zip(built, reports, strict=True):
        parts = parts_of(each, report, TURNED_SAG_MM)
        pictures.append({name: parts[name] for name in SHOWN if name in parts})
    box = box_of(pictures)
    first, *others = [{name: packed(part, box) for name, part in parts.items()} for parts in pictures]
    page = {
        "low": box.low_mm.tolist(),
        "step": box.step_mm,
        "looks": {name: LOOKS[name] for name in (*first, *SHOWN)},
        "stock": first,
        "plans": others,
        "views": _views(stock),
        "first_view": FIRST_VIEW,
        "background": BACKGROUND,
        "field_of_view": FIELD_OF_VIEW_DEG,
        "label": LABEL,
        "paint": PAINT,
        "notes": _notes(built),
    }
    data = json.dumps(page, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    code = "\n".join(_own_file(name) for name in ("three.min.js", "roofdrawing.js", "review.js"))
    return f'<script type="application/json" id="pd-data">{data}</script><script>{code}</script>'


def _notes(built) -> dict[str, str]:
    """Return what is said of a piece that is pointed at."""
    return {name: f"<b>{escape(name)}</b><br>{_piece_said(name)}" for name in _pieces(built)}


def _own_file(name) -> str:
    return (resources.files(__package__.rpartition(".")[0]) / name).read_text(encoding="utf-8")


def _capital(text):
    return text[:1].upper() + text[1:]
