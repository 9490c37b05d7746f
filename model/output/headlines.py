"""The headline numbers of a report, one by one: to set plans side by side and to say how they differ."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..report import Report
from .cells import angle_cell, area_cell, gap_cell, length_cell, long_cell

NONE, NO_CHANGE = "—", "same"


@dataclass(frozen=True, kw_only=True)
class Headline:
    """One number of a report.

    Attributes
    ----------
    value : callable
        Of a report, to the number; None where the car has none.
    cell : callable
        Of the number and the unit, to text.
    change : callable
        Of a difference, with its sign, and the unit, to text.
    """

    label: str
    value: Callable[[Report], float | None]
    cell: Callable[[float | None, str], str]
    change: Callable[[float, str], str]

    def text(self, report: Report, unit: str) -> str:
        """Return the number as a table shows it."""
        return self.cell(self.value(report), unit)

    def difference(self, report: Report, base: Report, unit: str) -> str:
        """Return what a report has more or less than another; ``same`` where that would read as nothing.

        Of two plans, the second with an inch more at the rear: ``+1" (25.4)``.
        """
        here, there = self.value(report), self.value(base)
        if here is None or there is None:
            return NONE
        change = self.change(here - there, unit)
        return NO_CHANGE if change.lstrip("+−") == self.change(0.0, unit) else change


def greatest_gap_mm(report: Report) -> float | None:
    """Return the widest gap along any seam; None where nothing faces. [mm]"""
    return max((s.gap_mm.max for s in report.seams if s.gap_mm), default=None)


def deepest_overlap_mm(report: Report) -> float:
    """Return how far pieces lap at the most, at least 0. [mm]"""
    return max(0.0, -min((s.gap_mm.min for s in report.seams if s.gap_mm), default=0.0))


def _greatest(field):
    return lambda report: max((abs(getattr(post, field)) for post in report.posts), default=0.0)


def _sized(label, value, cell):
    """A number whose difference is its size with a sign."""

    def change(difference, unit):
        sign = "+" if difference > 0 else "−" if difference < 0 else ""
        return f"{sign}{cell(abs(difference), unit)}"

    return Headline(label=label, value=value, cell=cell, change=change)


def _angle(deg, unit):
    return angle_cell(deg)


def _lean(label, value):
    return Headline(
        label=label,
        value=value,
        cell=lambda deg, unit: angle_cell(deg, "rearward", "forward"),
        change=lambda deg, unit: angle_cell(deg, "further rearward", "further forward"),
    )


def _count(n, unit):
    return str(int(n))


HEADLINES = (
    _sized("front drop", lambda r: r.totals.front_drop_mm, length_cell),
    _sized("rear drop", lambda r: r.totals.rear_drop_mm, length_cell),
    _sized("roof forward", lambda r: r.totals.roof_forward_mm, length_cell),
    _sized("roof pitch, + rear down", lambda r: r.totals.roof_pitch_deg, _angle),
    _sized("highest point after", lambda r: r.totals.height_after_mm, length_cell),
    _sized("headroom after", lambda r: r.totals.headroom_after_mm, length_cell),
    _sized("windshield along glass", lambda r: r.window.windshield_height_after_mm, length_cell),
    _lean("windshield rake after", lambda r: r.window.windshield_rake_after_deg),
    _lean("rear window rake after", lambda r: r.window.rear_rake_after_deg),
    _sized("rear window forward", lambda r: r.window.rear_forward_mm, length_cell),
    _sized("rear window down", lambda r: r.window.rear_down_mm, length_cell),
    _sized("greatest take-out", _greatest("take_out_mm"), length_cell),
    _sized("greatest miss fore-aft", _greatest("miss_fore_aft_mm"), length_cell),
    _sized("greatest miss across", _greatest("miss_across_mm"), length_cell),
    _sized("greatest gap", greatest_gap_mm, gap_cell),
    _sized("deepest overlap", deepest_overlap_mm, gap_cell),
    _sized("interference, places", lambda r: len(r.interference), _count),
    _sized("seams", lambda r: len(r.seams), _count),
    _sized("weld", lambda r: r.totals.weld_mm, long_cell),
    _sized("skin cut out", lambda r: r.totals.removed_area_mm2, area_cell),
    _sized("findings", lambda r: len(r.findings), _count),
)
