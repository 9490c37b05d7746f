"""Sheet steel against the gauge tables, and what a butt weld in it takes against the welding standards."""

from __future__ import annotations

import math
from functools import cache, partial

from .. import gauges
from ..evaluate import evaluate
from ..plan import Plan, RoofMove
from .check import FROM_MEMORY, NO_SOURCE, Check, group
from .knowncars import wedge_car

GAUGE, FIT = "sheet: gauge and mass", "weld: what fit-up is flagged"
INCH = 25.4

READ = "Manufacturers' Standard Gauge, uncoated: ehow.co.uk/facts_7803200"
READ_10 = "Manufacturers' Standard Gauge: offroaders.com/tech/sheet-metal-gauge-thickness.htm"
REMEMBERED = f"Manufacturers' Standard Gauge in Machinery's Handbook, {FROM_MEMORY}"
WEIGHT_18 = "Manufacturers' Standard Gauge, 2.0 and 2.5 lb/ft²: williamkristinprt90.web.app, a low-grade copy"
DENSITY = f"closed form: printed thickness × 7850 kg/m³, worked out apart; density {FROM_MEMORY}"
HI_LO = f"ISO 5817:2014 no. 507, level D, 0.2 mm + 0.25 t, {FROM_MEMORY}"
SQUARE_BUTT = f"ISO 9692-1 table 1, square butt, gap about the thickness, {FROM_MEMORY}"

# Gauge and thickness as printed. [in]
READ_ROWS = ((16, 0.0598), (18, 0.0478), (20, 0.0359), (22, 0.0299))
REMEMBERED_ROWS = ((12, 0.1046), (14, 0.0747), (17, 0.0538), (19, 0.0418), (21, 0.0329), (24, 0.0239))


def sheet_checks() -> list[Check]:
    """Return the checks of sheet gauges, mass and fit-up limits."""
    return [*_gauge_checks(), *_fit_checks()]


def _thickness_in(number):
    return gauges.thickness_mm(f"{number} ga") / INCH


def _mass_kg_m2(number):
    return gauges.sheet_kg_m2(gauges.thickness_mm(f"{number} ga"))


def _gauge_checks():
    def thickness(number, printed):
        return (f"thickness, {number} ga", partial(_thickness_in, number), printed, 1e-9)

    def weight(number, printed):
        return (f"gauge weight, {number} ga", lambda: gauges.OUNCES[number] / 16, printed, 1e-9)

    masses = [
        (f"mass, {number} ga", partial(_mass_kg_m2, number), mass, 0.0005)
        for number, mass in ((16, 11.924), (18, 9.531), (20, 7.158), (22, 5.962))
    ]
    return [
        *group(GAUGE, "in", READ, *(thickness(*row) for row in READ_ROWS)),
        *group(GAUGE, "in", REMEMBERED, *(thickness(*row) for row in REMEMBERED_ROWS)),
        *group(GAUGE, "in", READ_10, thickness(10, 0.1345)),
        *group(GAUGE, "lb/ft²", READ_10, weight(10, 5.625)),
        *group(GAUGE, "lb/ft²", WEIGHT_18, weight(16, 2.5), weight(18, 2.0)),
        *group(GAUGE, "kg/m²", DENSITY, *masses),
    ]


@cache
def _limits(gauge_mm):
    """Return the limit of every kind of finding on the wedge 50 mm lower, of sheet so thick."""
    plan = Plan(roof=RoofMove(front_drop_mm=50, rear_drop_mm=50), kerf_mm=0.5, root_gap_mm=0.5)
    found = evaluate(wedge_car(gauge_mm=gauge_mm), plan).findings
    return {finding.kind: finding.limit for finding in found}


def _fit_checks():
    def limit(kind, gauge_mm):
        return lambda: _limits(gauge_mm).get(kind, math.nan)  # nan: not flagged

    steps = [
        (f"step between edges of {t:g} mm sheet", limit("step", t), printed, 0.005)
        for t, printed in ((0.91, 0.43), (1.2, 0.50), (2.0, 0.70))
    ]
    gaps = [
        (f"gap between edges of {t:g} mm sheet", limit("gap", t), t, 0.1 + 1e-9) for t in (0.91, 1.2, 2.0)
    ]
    return [
        *group(FIT, "mm", HI_LO, *steps),
        *group(FIT, "mm", SQUARE_BUTT, *gaps),
        *group(
            FIT,
            "mm",
            f"{NO_SOURCE}: half the wall",
            ("miss of a post's ends, wall 1.5 mm", limit("ends miss across", 1.2), 0.75, 1e-9),
        ),
    ]
