"""A seam laid out straight: gap, step and turn of the skin along it, as three strips over one length.

The length runs along the first piece's edge from where it crosses the
centreline, + towards the car's right (from the start of the edge where it
does not cross).  Gap and step are as in :mod:`model.fit`; the turn is how far
the skin bends from one piece to the other, + over a crown, − into a hollow:
the sum of the two angles that the report gives at each place.

Each strip has limits: below or above them a careful fabricator would do
something.  Gap: nothing below 0, the root gap as asked, nothing wider than a
weld closes.  Step: what a butt weld still takes, either way.  Turn: where a
break of the line begins to be seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .findings import hi_lo_limit_mm, widest_gap_mm
from .fit import turn_deg
from .panelfindings import BREAK_MOST_DEG
from .report import Report, SeamReport

APART = 1.8  # stations further apart than that many steps have something between them that does not face


@dataclass(frozen=True, eq=False)
class Strip:
    """One quantity along a seam.

    Attributes
    ----------
    values : (n,)
        At the stations.  [mm or deg]
    low, high : float
        Limits within which nothing is to be done.
    wanted : float
        What the plan asks for.
    """

    name: str
    unit: str  # mm or deg
    values: np.ndarray
    low: float
    high: float
    wanted: float

    @property
    def reach(self) -> tuple[float, float]:
        """Least and greatest of values and limits."""
        ends = (self.low, self.high, self.wanted, 0.0)
        return float(min(self.values.min(), *ends)), float(max(self.values.max(), *ends))


@dataclass(frozen=True, eq=False)
class Ribbon:
    """A seam laid out straight.

    ``along_mm`` rises; ``runs`` are the stretches (slices of stations) with
    something facing throughout.
    """

    seam: str
    pieces: tuple[str, str]
    along_mm: np.ndarray
    has_centreline: bool
    runs: tuple[slice, ...]
    strips: tuple[Strip, Strip, Strip]


def ribbon_of(report: Report, seam: SeamReport) -> Ribbon | None:
    """Return one seam laid out straight; None where nothing faces it."""
    if len(seam.stations) < 2:
        return None
    y = np.array([s.at_mm[1] for s in seam.stations])
    along = np.array([s.along_mm for s in seam.stations])
    gap, step, first, second = (
        np.array([getattr(s, name) for s in seam.stations])
        for name in ("gap_mm", "step_mm", "angle_first_deg", "angle_second_deg")
    )
    crossing = np.nonzero(y[:-1] * y[1:] <= 0)[0]
    if len(crossing):
        i = crossing[len(crossing) // 2]
        share = y[i] / (y[i] - y[i + 1]) if y[i] != y[i + 1] else 0.0
        along = along - (along[i] + share * (along[i + 1] - along[i]))
        along = along if y[-1] >= y[0] else -along
    order = np.argsort(along, kind="stable")
    along = along[order]
    limits = np.nonzero(np.diff(along) > APART * np.median(np.diff(along)))[0] + 1
    ends = [0, *limits.tolist(), len(along)]
    plan, gauge = report.plan, report.car["gauge_mm"]
    hi_lo = hi_lo_limit_mm(gauge)
    proud = plan["window"]["proud_mm"] if plan["window"] and seam.pieces == ("roof", "window panel") else 0.0
    widest = widest_gap_mm(gauge, plan["root_gap_mm"], plan["kerf_mm"])
    turn = turn_deg(first, second)[order]
    return Ribbon(
        seam=seam.name,
        pieces=seam.pieces,
        along_mm=along,
        has_centreline=bool(len(crossing)),
        runs=tuple(slice(a, b) for a, b in zip(ends[:-1], ends[1:], strict=True) if b - a > 1),
        strips=(
            Strip("gap", "mm", gap[order], 0.0, widest, plan["root_gap_mm"]),
            Strip("step", "mm", step[order], proud - hi_lo, proud + hi_lo, proud),
            Strip("turn", "deg", turn, -BREAK_MOST_DEG, BREAK_MOST_DEG, 0.0),
        ),
    )


def window_ribbons(report: Report) -> tuple[Ribbon, ...]:
    """Return the seams around the rear window panel laid out straight, the roof's first."""
    seams = sorted((s for s in report.seams if s.kind == "window"), key=lambda s: s.pieces[0] != "roof")
    return tuple(r for r in (ribbon_of(report, seam) for seam in seams) if r is not None)
