"""The headline numbers of a report, one by one: to set plans side by side and to say how they differ."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..report import Report
from .cells import angle_cell, area_cell, gap_cell, length_cell, long_cell

NONE, NO_CHANGE = "—", "same"


@dataclass(frozen=True)
class Headline:
    """One number of a report.

    Attributes
    ----------
    value : callable
        Of a report, to the number; None where the car has none.
    cell : callable
        Of the number and the unit, to text.
    """

    label: str
    value: Callable[[Report], float | None]
    cell: Callable[[float | None, str], str]
    change: Callable[[float, str], str]  # the size of a difference; where it is no text of its own, the cell

    def text(self, report: Report, unit: str) -> str:
        """Return the number as a table shows it."""
        return self.cell(self.value(report), unit)

    def difference(self, report: Report, base: Report, unit: str) -> str:
        """Return by how much it is more or less than in another report; ``same`` where both read alike.

        Examples
        --------
        Of two plans, the second with an inch more at the rear: ``+1" (25.4)``.
        """
        here, there = self.value(report), self.value(base)
        if here is None or there is None:
            return NONE
        if self.change(abs(here - there), unit) == self.change(0.0, unit):
            return NO_CHANGE
        return f"{'+' if here > there else '−'}{self.change(abs(here - there), unit)}"


def greatest_gap_mm(report: Report) -> float | None:
    """Return the widest gap along any seam; None where nothing faces. [mm]"""
    return max((s.gap_mm.max for s in report.seams if s.gap_mm), default=None)


def deepest_overlap_mm(report: Report) -> float:
    """Return how far pieces lap at the most, at least 0. [mm]"""
    return max(0.0, -min((s.gap_mm.min for s in report.seams if s.gap_mm), default=0.0))


def _greatest(field):
    return lambda report: max((abs(getattr(post, field)) for post in report.posts), default=0.0)


def _length(label, value):
    return Headline(label, value, length_cell, length_cell)


def _gap(label, value):
    return Headline(label, value, gap_cell, gap_cell)


def _angle(label, value):
    return Headline(label, value, lambda deg, unit: angle_cell(deg), lambda deg, unit: angle_cell(deg))


def _lean(label, value):
    return Headline(
        label,
        value,
        lambda deg, unit: angle_cell(deg, "rearward", "forward"),
        lambda deg, unit: angle_cell(deg),
    )


def _count(label, value):
    return Headline(label, value, lambda n, unit: str(n), lambda n, unit: str(n or 0))


HEADLINES = (
    _length("front drop", lambda r: r.totals.front_drop_mm),
    _length("rear drop", lambda r: r.totals.rear_drop_mm),
    _length("roof forward", lambda r: r.totals.roof_forward_mm),
    _angle("roof pitch, + rear down", lambda r: r.totals.roof_pitch_deg),
    _length("highest point after", lambda r: r.totals.height_after_mm),
    _length("headroom after", lambda r: r.totals.headroom_after_mm),
    _length("windshield along glass", lambda r: r.window.windshield_height_after_mm),
    _lean("windshield rake after", lambda r: r.window.windshield_rake_after_deg),
    _lean("rear window rake after", lambda r: r.window.rear_rake_after_deg),
    _length("rear window forward", lambda r: r.window.rear_forward_mm),
    _length("rear window down", lambda r: r.window.rear_down_mm),
    _length("greatest take-out", _greatest("take_out_mm")),
    _length("greatest miss fore-aft", _greatest("miss_fore_aft_mm")),
    _length("greatest miss across", _greatest("miss_across_mm")),
    _gap("greatest gap", greatest_gap_mm),
    _gap("deepest overlap", deepest_overlap_mm),
    _count("interference, places", lambda r: len(r.interference)),
    _count("seams", lambda r: len(r.seams)),
    Headline("weld", lambda r: r.totals.weld_mm, long_cell, long_cell),
    Headline("skin cut out", lambda r: r.totals.removed_area_mm2, area_cell, area_cell),
    _count("findings", lambda r: len(r.findings)),
)
