"""New metal as lines of the report: what to cut out, what it closes, how it sits."""

from __future__ import annotations

from ..report import NewMetalReport, Report
from .cells import angle_cell, area_cell, gap_cell, length_cell, signed_tenths, table_lines, wrapped

HEAD = "NEW METAL   sheet let in, a root gap from each piece; seams and totals are the closed roof's"
SIZE_HEADS = ("filler", "narrowest", "widest", "area", "mass")
BLANK_HEADS = ("filler", "blank, trim on", "crown", "strain", "doubt", "tightest bend", "rolled")
SIDE_HEADS = ("marked out straight", "along the first", "the second", "at the start", "at the end")
DIAGONAL_HEADS = ("checked by", "first's start to second's end", "the other diagonal", "off the flat")
TRAPEZIUM_WORDS = (
    "Net, from outside: first piece's side at the bottom, start at the right. The trim goes on all round; of "
    "all others the drawn blank is the word."
)
NO_BLANK = (
    "It bends tighter than its sheet is thick, or its folds lie too close to be laid flat surely: take a "
    "paper pattern from the tacked roof."
)
FIT_HEADS = ("filler", "closes a gap of", "and a step of", "breaks the line by")


def metal_lines(report: Report, unit: str) -> list[str]:
    """Return the new metal of a plan as lines of the report; none where there is none."""
    if not report.new_metal:
        return []
    lines = [HEAD, *table_lines(SIZE_HEADS, [size_cells(metal, unit) for metal in report.new_metal])]
    fillers = [metal for metal in report.new_metal if not metal.walls]
    if fillers:
        lines += ["", *table_lines(BLANK_HEADS, [blank_cells(metal, unit) for metal in fillers])]
        if any(metal.blank_mm is None for metal in fillers) and any(metal.blank_mm for metal in fillers):
            lines += ["", *wrapped(f"— no blank. {NO_BLANK}")]
        lines += trapezium_lines(fillers, unit)
        lines += ["", *table_lines(FIT_HEADS, [fit_cells(metal, unit) for metal in fillers]), ""]
    for metal in fillers:
        lines += wrapped(f"{metal.name}: {ends_words(metal, unit)}", "  ", "      ")
    return [*lines, "", *wrapped(total_words(report.new_metal, unit))]


def size_cells(metal: NewMetalReport, unit: str) -> list[str]:
    """Return how large one filler is: narrowest, widest, area, mass."""
    widths = (length_cell(mm, unit) for mm in (metal.width_min_mm, metal.width_max_mm))
    area = area_cell(metal.area_mm2, unit)
    return [metal.name.removeprefix("filler "), *widths, area, f"{metal.mass_kg:.3f} kg"]


def blank_cells(metal: NewMetalReport, unit: str) -> list[str]:
    """Return what one filler is cut from and what forming it asks: blank, crown, strain, tightest bend."""
    name = metal.name.removeprefix("filler ")
    bend = length_cell(metal.least_radius_mm, unit)
    if metal.blank_mm is None:
        return [name, *["—"] * 4, bend, "—"]
    blank = " × ".join(length_cell(mm, unit) for mm in metal.blank_mm)
    strains = (f"{signed_tenths(100 * metal.max_strain)} %", f"{100 * metal.doubt_strain:.1f} %")
    return [
        name,
        blank,
        gap_cell(metal.crown_mm, unit),
        *strains,
        bend,
        "yes" if metal.can_be_rolled else "no",
    ]


def trapezium_lines(new_metal: tuple[NewMetalReport, ...], unit: str) -> list[str]:
    """Return the four sides and the diagonals of the pieces that may be marked out straight."""
    straight = [metal for metal in new_metal if metal.trapezium is not None and metal.trapezium.is_enough]
    if not straight:
        return []
    sides, diagonals = [], []
    for metal in straight:
        name, blank = metal.name.removeprefix("filler "), metal.trapezium
        sides.append([name, *(gap_cell(mm, unit) for mm in (*blank.along_mm, *blank.ends_mm))])
        diagonals.append([name, *(gap_cell(mm, unit) for mm in (*blank.diagonals_mm, blank.off_mm))])
    return [
        "",
        *table_lines(SIDE_HEADS, sides),
        "",
        *table_lines(DIAGONAL_HEADS, diagonals),
        *wrapped(TRAPEZIUM_WORDS),
    ]


def fit_cells(metal: NewMetalReport, unit: str) -> list[str]:
    """Return what one filler closes: widest gap, largest step; and its greatest break."""
    opened = (gap_cell(mm, unit) for mm in (metal.closes_gap_mm, metal.closes_step_mm))
    breaks = max(edge.tangent_break_deg for edge in metal.edges)
    return [metal.name.removeprefix("filler "), *opened, angle_cell(breaks)]


def ends_words(metal: NewMetalReport, unit: str) -> str:
    """Say where both ends of a filler are."""
    words = {
        "opening": "free at an opening",
        "bead": "running out into the bead",
        "welded up": "welded up",
        "corner": f"open, up to {length_cell(metal.open_corner_mm, unit)} wide",
    }
    start, end = (words.get(end, f"welded to {end}") for end in metal.ends)
    return f"both ends {start}." if start == end else f"one end {start}, the other {end}."


def total_words(new_metal: tuple[NewMetalReport, ...], unit: str) -> str:
    """Say how much new metal there is in all."""
    count = len(new_metal)
    area = area_cell(sum(metal.area_mm2 for metal in new_metal), unit)
    mass = sum(metal.mass_kg for metal in new_metal)
    gauges = " and ".join(sorted({f"{metal.gauge_mm:.2f} mm" for metal in new_metal}))
    return f"In all {count} piece{'s' * (count != 1)} of {gauges} sheet, {area}, {mass:.3f} kg."
