"""Lengths as they are typed and shown against the definition of the inch."""

from __future__ import annotations

from functools import partial

from ..output.cells import long_cell
from ..units import length_mm, shop_inches, typed_length
from .check import FROM_MEMORY, Check, group
from .rafters import NAVY_SOURCE, leaning_ends

READ_IN, SHOWN = "units: what is typed", "units: what is shown"
DEFINITION = f"international yard and pound agreement, 1959: 1 in = 25.4 mm exactly; {FROM_MEMORY}"
EQUIVALENTS = "closed form: decimal equivalents of a fraction of an inch, × 25.4"
METRIC = "closed form: mm / 25.4 to the nearest 1/16"


def unit_checks() -> list[Check]:
    """Return the checks of lengths in and out."""

    def typed(text, reference, unit="in"):
        car = "inches" if unit == "in" else "mm"
        return (f"{text} typed, car in {car}", partial(length_mm, text, unit), reference, 1e-12)

    def in_inches(mm, text, denominator=16):
        return (f"{mm:g} mm to 1/{denominator} in", partial(shop_inches, mm, denominator), text, None)

    def long():
        return long_cell(leaning_ends(7 / 12, 0, 96).take_out_mm[0], "in").split(" (")[0]

    return [
        *group(
            READ_IN,
            "mm",
            DEFINITION,
            typed("1", 25.4),
            typed("1 in", 25.4, "mm"),
            typed("1 ft", 304.8),
            typed("2-1/4", 57.15, "mm"),
            typed("4' 2-1/2\"", 1282.7),
            typed("36.5 cm", 365.0),
        ),
        *group(
            READ_IN,
            "mm",
            EQUIVALENTS,
            typed("1/64", 0.396875),
            typed("1/16", 1.5875),
            typed("11/32", 8.73125),
            typed("⅝", 15.875),
            typed("15/16", 23.8125),
        ),
        *group(
            SHOWN,
            "",
            METRIC,
            in_inches(57.15, '2-1/4"'),
            in_inches(100.0, '3-15/16"'),
            in_inches(-9.525, '-3/8"'),
            in_inches(0.79375, '1/32"', 32),
            (
                "57.15 mm in a car file in inches",
                lambda: str(typed_length(57.15, "in")),
                "2-1/4",
                None,
            ),
        ),
        *group(
            SHOWN,
            "",
            f"{NAVY_SOURCE}: 9 ft 3-1/8 in",
            ("take-out to 8 ft plumb, in feet", long, "9' 3-1/8\"", None),
        ),
    ]
