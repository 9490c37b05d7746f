"""Sheet steel by gauge number, and what it weighs.

A number of the Manufacturers' Standard Gauge stands for a weight, in ounces
to the square foot.  The sheet's thickness is that weight at 41.82 lb/ft² to
an inch, printed to 1/10000 in: number 18 is 32 oz/ft² and 0.0478 in.  It is
for uncoated sheet; galvanized sheet has a table of its own.

41.82 lb/ft² to an inch would be 8039 kg/m³, 2.4 % more than steel has.  What a
piece weighs is therefore its thickness times steel's density, never the
gauge's weight times its area.
"""

from __future__ import annotations

import re

from .errors import MeasureError

# Number: ounces to the square foot.  10, 16 and 18 were read in published tables; the rest from memory
# (Machinery's Handbook, "Manufacturers' Standard Gauge for Sheet Steel").
OUNCES = {
    10: 90,
    11: 80,
    12: 70,
    13: 60,
    14: 50,
    15: 45,
    16: 40,
    17: 36,
    18: 32,
    19: 28,
    20: 24,
    21: 22,
    22: 20,
    23: 18,
    24: 16,
}
LB_PER_FT2_INCH = 41.82  # the standard's own basis
STEEL_KG_M3 = 7850.0  # 490 lb/ft³; common value of structural codes, from memory

_GAUGE = re.compile(r"(?:no\.?\s*)?(\d+)\s*(?:ga|gauge)\.?", re.IGNORECASE)


def is_gauge(text) -> bool:
    """Return whether a value names a gauge, such as ``18 ga``, and not a length."""
    return isinstance(text, str) and _GAUGE.fullmatch(text.strip()) is not None


def thickness_mm(text: str, where="gauge") -> float:
    """Return the thickness of uncoated sheet by its gauge, such as ``18 ga`` or ``18 gauge``. [mm]

    Raises
    ------
    MeasureError
        If it is none of the gauges 10 to 24.

    Examples
    --------
    >>> round(thickness_mm("18 ga"), 5)
    1.21412
    """
    match = _GAUGE.fullmatch(text.strip())
    number = int(match[1]) if match else None
    if number not in OUNCES:
        raise MeasureError(
            f"{where} must be a sheet gauge from {min(OUNCES)} ga to {max(OUNCES)} ga; got {text!r:.40}.",
            "Give the thickness as a micrometer shows it, such as 1.2 mm.",
        )
    return round(OUNCES[number] / 16 / LB_PER_FT2_INCH, 4) * 25.4


def sheet_kg_m2(sheet_mm: float) -> float:
    """Return the mass of a square metre of steel sheet of a thickness. [kg/m²]"""
    return sheet_mm / 1000 * STEEL_KG_M3
