"""The ways of lowering a roof to one look, carried out on one car and set side by side.

Hours are the arc's by the weld plan's rates over the share of the time in which
it burns (:mod:`model.weldrules`, ``assumed``); fitting and grinding come on top.
Length of the roof: from the first to the last hoop along the crown, straight,
and what it is lengthened by.  The turn is how far the skin bends across a seam
(:func:`model.fit.turn_deg`): over a corner of the car, the corner's own.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from .errors import PlanError
from .evaluate import build_checked, report_of
from .fit import turn_deg
from .measured import Car
from .placing import roof_length_mm
from .plan import FORWARD, LAID_BACK, SPLIT, WAYS, Plan
from .report import Report
from .seams import FILLER_SEAM
from .weldplan import weld_plan

WORDS = {
    FORWARD: "roof forward along the windshield, posts shifted",
    LAID_BACK: "straight down, front posts laid back to meet it",
    SPLIT: "straight down, roof split and spread, strips let in",
}
_SHARED_MM = 1e-3  # between two new sheets: their common border
RATES = "welding alone, by the weld plan's rates, assumed; fitting and grinding come on top"


@dataclass(frozen=True, kw_only=True)
class WayReport:
    """What one way asks and leaves.  All numbers are None, and lists empty, where it is refused."""

    way: str
    words: str
    refused: str  # why it cannot be carried out; empty where it can
    weld_mm: float | None = None
    weld_by_kind_mm: dict[str, float] | None = None
    seam_count: int | None = None
    low_crown_mm: float | None = None  # length of seams in low-crown sheet
    low_crown_count: int | None = None
    new_metal_count: int | None = None
    new_metal_mm2: float | None = None
    new_metal_kg: float | None = None
    panes_new: tuple[str, ...] = ()
    panes_kept: tuple[str, ...] = ()
    windshield_rake_deg: float | None = None
    roof_length_mm: float | None = None
    weld_hours: tuple[float, float] | None = None
    largest_miss_mm: float | None = None  # of a side post, either way
    largest_gap_mm: float | None = None
    largest_overlap_mm: float | None = None
    largest_step_mm: float | None = None
    largest_turn_deg: float | None = None
    interference_count: int | None = None
    findings: dict[str, int] | None = None  # how many of each kind


@dataclass(frozen=True, kw_only=True)
class WayComparison:
    """All ways of one plan on one car."""

    car: dict
    plan: str
    rates: str
    ways: tuple[WayReport, ...]

    def to_json(self) -> dict:
        """Return plain lists, dicts, numbers and strings."""
        return asdict(self)


def compare_ways(car: Car, plan: Plan) -> WayComparison:
    """Return every way of a plan on a car, each carried out or refused with its reason.

    Raises
    ------
    PlanError
        If the plan leaves the roof where it is.
    """
    if plan.roof is None:
        raise PlanError("roof", "must be lowered by the plan.", "Give the plan a front_drop and a rear_drop.")
    return WayComparison(
        car={"name": car.name, "unit": car.unit},
        plan=plan.name,
        rates=RATES,
        ways=tuple(_way(car, plan, way) for way in WAYS),
    )


def _way(car, plan, way):
    try:
        built = build_checked(car, plan.changed(way=way))
    except PlanError as refusal:  # a way this car has no room for is told, not left out
        return WayReport(way=way, words=WORDS[way], refused=str(refusal))
    report, panes = report_of(built), [o.name for o in built.shape.openings]
    welding = weld_plan(built, report)
    low_crown = [seam for seam in welding.seams if seam.is_low_crown]
    anew = {f.where for f in report.findings if f.kind == "new glass"}
    counts: dict[str, int] = {}
    for finding in report.findings:
        counts[finding.kind] = counts.get(finding.kind, 0) + 1
    return WayReport(
        way=way,
        words=WORDS[way],
        refused="",
        weld_mm=report.totals.weld_mm,
        weld_by_kind_mm=report.totals.weld_by_kind_mm,
        seam_count=len(report.seams),
        low_crown_mm=sum(seam.length_mm for seam in low_crown),
        low_crown_count=len(low_crown),
        new_metal_count=len(report.new_metal),
        new_metal_mm2=sum(sheet.area_mm2 for sheet in report.new_metal),
        new_metal_kg=sum(sheet.mass_kg for sheet in report.new_metal),
        panes_new=tuple(pane for pane in panes if pane in anew),
        panes_kept=tuple(pane for pane in panes if pane not in anew),
        windshield_rake_deg=report.window.windshield_rake_after_deg,
        roof_length_mm=roof_length_mm(car) + built.parts.lengthen_mm,
        weld_hours=tuple(minutes / 60 for minutes in welding.bench_min),
        largest_miss_mm=_largest_miss_mm(report),
        interference_count=len(report.interference),
        findings=counts,
        **_fit(report),
    )


def _largest_miss_mm(report: Report) -> float:
    sides = [post for post in report.posts if post.side != "centre"]
    return max(max(abs(post.miss_fore_aft_mm), abs(post.miss_across_mm)) for post in sides)


def _is_shared(seam) -> bool:
    return seam.kind == FILLER_SEAM and seam.gap_mm.max < _SHARED_MM


def _fit(report: Report) -> dict[str, float]:
    """Return the largest gap, overlap, step and turn over all seams but the posts' own.

    A border that two new sheets share is no break of the line: they turn there as the stock skin does.
    """
    seams = [seam for seam in report.seams if seam.gap_mm and seam.kind != "post" and not _is_shared(seam)]
    turns = [
        np.abs(turn_deg(station.angle_first_deg, station.angle_second_deg))
        for seam in seams
        for station in seam.stations
    ]
    return {
        "largest_gap_mm": max(seam.gap_mm.max for seam in seams),
        "largest_overlap_mm": max(0.0, -min(seam.gap_mm.min for seam in seams)),
        "largest_step_mm": max(max(abs(seam.step_mm.min), abs(seam.step_mm.max)) for seam in seams),
        "largest_turn_deg": float(max(turns)),
    }
