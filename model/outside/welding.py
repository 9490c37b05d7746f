"""Welding sheet: filler, shrinkage and the crown of a panel against worked examples."""

from __future__ import annotations

from ..weldrules import arc_length_mm, deposit_g, shrink_across_mm, throat_mm2, wire_m
from .check import FROM_MEMORY, Check, group
from .curves import SECTIONS_SOURCE

KIND = "welding: filler and shrinkage"
GAP, SHEET, WIDE, HIGH, ROD = 0.5, 1.2, 4.0, 0.5, 1.6  # of the worked bead
METRE = 1000.0


def welding_checks() -> list[Check]:
    """Return the checks of the weld plan's rules."""
    throat = throat_mm2(GAP, SHEET, WIDE, HIGH)
    return [
        *group(
            KIND,
            "g",
            "closed form: (0.5 · 1.2 + 4 · 0.5) mm² · 7850 kg/m³",
            (
                "filler in a metre: gap 0.5, sheet 1.2, bead 4 × 0.5 mm",
                lambda: deposit_g(throat, METRE),
                20.41,
                1e-9,
            ),
        ),
        *group(
            KIND,
            "m",
            "closed form: section of the bead over that of the rod",
            ("1.6 mm rod for that metre", lambda: wire_m(deposit_g(throat, METRE), ROD), 1.29, 0.005),
        ),
        *group(
            KIND,
            "mm",
            "0.10 A / t, credited to Blodgett; scribd.com/document/572472467",
            (
                "shrinkage across, A 2 mm², t 1 mm",
                lambda: shrink_across_mm((2.0, 2.0), 1.0, 0.5)[0],
                0.20,
                1e-9,
            ),
        ),
        *group(
            KIND,
            "mm",
            f"0.2 A / t + 0.05 gap, Spraragen and Ettinger, {FROM_MEMORY}",
            (
                "shrinkage across, A 2 mm², t 1 mm, gap 0.5 mm",
                lambda: shrink_across_mm((2.0, 2.0), 1.0, 0.5)[1],
                0.425,
                1e-9,
            ),
        ),
        *group(
            KIND,
            "1",
            SECTIONS_SOURCE,
            ("length of an arc, chord 21, crown 6", lambda: arc_length_mm(21.0, 6.0), 25.308373, 5e-7),
        ),
    ]
