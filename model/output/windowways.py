"""The rear window left where it was, moved and laid down, and fitted: pictures and what each costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from html import escape

from ..built import Built
from ..carfile import demo_car_path, demo_plan_path, read_car
from ..comparison import with_window_in_stock_place
from ..evaluate import build_checked, report_of
from ..measured import Car
from ..plan import FIT, Plan
from ..planfile import read_plan
from ..report import Report
from ..silhouette import VIEWS, drawing_of
from .cells import angle_cell
from .html import NONE, length_html, long_html
from .ribbonsvg import ribbons_html

PICTURES = ("rear three-quarter", "rear", "side")


@dataclass(frozen=True, eq=False)
class WindowWays:
    """Plans of one car that differ in the rear window only, carried out.

    Shown by a notebook as pictures side by side and a table.
    """

    car: Car
    built: tuple[Built, ...]
    reports: tuple[Report, ...]

    def _repr_html_(self) -> str:
        return ways_html(self)


def window_ways(car: Car, plan: Plan) -> WindowWays:
    """Return the plan with its rear window left where it was, as the plan has it, and fitted.

    Parameters
    ----------
    plan : Plan
        One that cuts the rear window out.
    """
    plans = (
        replace(with_window_in_stock_place(plan), name="rear window where it was"),
        replace(plan, name="moved forward and laid down"),
        replace(
            plan,
            name="fitted to the roof",
            window=replace(plan.window, forward_mm=FIT, down_mm=FIT, lay_down_deg=FIT),
        ),
    )
    built = tuple(build_checked(car, each) for each in plans)
    return WindowWays(car, built, tuple(report_of(each) for each in built))


def demo_window_ways(name: str) -> WindowWays:
    """Return all three ways for a car that ships, with the roof as its own plan has it."""
    car = read_car(demo_car_path(name))
    return window_ways(car, read_plan(demo_plan_path(name), car))


def ways_html(ways: WindowWays) -> str:
    """Return pictures, a column for each plan, over the table of what each costs."""
    names = [built.plan.name for built in ways.built]
    head = "".join(f"<th>{escape(name)}</th>" for name in names)
    rows = []
    for view in PICTURES:
        pictures = (drawing_of(built, VIEWS[view]).svg(420, 30, f"{view}: {n}") for built, n in _named(ways))
        cells = "".join(f"<td>{picture}</td>" for picture in pictures)
        rows.append(f"<tr><th>{view}</th>{cells}</tr>")
    cells = "".join(f"<td>{ribbons_html(report)}</td>" for report in ways.reports)
    rows.append(f"<tr><th>its seams, laid out straight</th>{cells}</tr>")
    for label, cell in _ROWS:
        cells = "".join(f"<td>{cell(report, ways.car.unit)}</td>" for report in ways.reports)
        rows.append(f"<tr><th>{label}</th>{cells}</tr>")
    table = f'<table class="pd-ways"><thead><tr><td></td>{head}</tr></thead>{"".join(rows)}</table>'
    return f"{_STYLE}<h3>{escape(ways.car.name)}</h3>{table}"


def _named(ways):
    return [(built, built.plan.name) for built in ways.built]


_STYLE = """<style>
table.pd-ways {width:100%; table-layout:fixed; border-collapse:collapse; font-variant-numeric:tabular-nums;}
.pd-ways th:first-child {width:13%; font-weight:500;}
.pd-ways td, .pd-ways th {text-align:left !important; vertical-align:baseline !important; padding:3px 10px;}
.pd-ways tr {background:none !important; border-bottom:1px solid #e3e7eb;}
.pd-ways small {color:#5b6570; margin-left:.4em;}
</style>"""


def _window_seams(report):
    return [seam for seam in report.seams if seam.kind == "window"]


def _window_weld(report, unit):
    return long_html(sum(seam.length_mm for seam in _window_seams(report)), unit)


def _gap(report, unit):
    gaps = [seam.gap_mm.max for seam in _window_seams(report) if seam.gap_mm]
    widest = max(gaps, default=0.0)
    return length_html(widest, unit, 32) if widest > 0.05 else "none"


def _lap(report, unit):
    laps = [-seam.gap_mm.min for seam in _window_seams(report) if seam.gap_mm]
    deepest = max(laps, default=0.0)
    return length_html(deepest, unit, 32) if deepest > 0.05 else "none"


def _step(report, unit):
    steps = [max(s.step_mm.max, -s.step_mm.min) for s in _window_seams(report) if s.step_mm]
    return length_html(max(steps), unit, 32) if steps else NONE


def _facing(report, unit):
    seams = _window_seams(report)
    edge, facing = sum(s.edge_mm for s in seams), sum(s.facing_mm for s in seams)
    return f"{100 * facing / edge:.0f} % of its edge" if edge else NONE


def _glass(report, unit):
    change = report.window.rear_opening_change_mm
    words = "stock glass fits" if change < 0.05 else "new glass"
    return f"{words}; opening changed by {change:.3f} mm"


def _rake(report, unit):
    w = report.window
    after, before = (
        angle_cell(a, "rearward", "forward") for a in (w.rear_rake_after_deg, w.rear_rake_before_deg)
    )
    return f"{after} going up; stock {before}"


_ROWS = (  # what each way costs
    ("rear window forward", lambda r, u: length_html(r.window.rear_forward_mm, u)),
    ("rear window down", lambda r, u: length_html(r.window.rear_down_mm, u)),
    ("laid down", lambda r, u: angle_cell(r.window.rear_lay_down_deg)),
    ("panel rake", _rake),
    ("rear glass", _glass),
    ("weld around the panel", _window_weld),
    ("weld in all", lambda r, u: long_html(r.totals.weld_mm, u)),
    ("widest gap at the panel", _gap),
    ("deepest lap at the panel", _lap),
    ("largest step at the panel", _step),
    ("metal faces metal along", _facing),
    ("findings", lambda r, u: str(len(r.findings))),
)
