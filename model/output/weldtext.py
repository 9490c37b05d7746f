"""The weld plan as text, for the bench."""

from __future__ import annotations

from ..weldreport import WeldPlan
from .cells import gap_cell, length_cell, long_cell, place_cell, table_lines, wrapped
from .doortext import door_frame_words
from .text import CAUTION_CUT, CAUTION_ROAD, CAUTION_WELD

CAUTION_FUME = (
    "Zinc coating, seam sealer and old solder give off poisonous fume under the arc: grind or melt them off "
    "an inch to either side first, with a respirator, and let no solder run into the seam. Tank, lines and "
    "upholstery out; battery off. Which welds may carry the roof is for local codes and a licensed welder."
)
NOT_READY = (
    "not ready: a gap, lap, step or bare edge that this bead alone does not close; first do what the "
    "report's finding of that name says: weld it up over copper, build its edges up, trim, draw it flush"
)


def weld_text(plan: WeldPlan) -> str:
    """Return the weld plan as text of at most 100 columns, ending with a line end."""
    unit = plan.car["unit"]
    sections = [
        [
            f"{plan.car['name']}   plan: {plan.plan}   how it is welded",
            "Ranges run from the rules' one end to the other; they are no tolerances.",
        ],
        totals_lines(plan, unit),
        _seams(plan, unit),
        _order(plan),
        _runs(plan, unit),
        _pulls(plan, unit),
        _rules(plan),
        *(
            wrapped(text, "  Caution: ", "  ")
            for text in (CAUTION_WELD, CAUTION_FUME, CAUTION_CUT, CAUTION_ROAD)
        ),
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def totals_lines(plan: WeldPlan, unit: str) -> list[str]:
    """Return sums."""
    rows = [[label, value] for label, value in total_rows(plan, unit)]
    return ["TOTALS", *table_lines(["", ""], rows, words=2)[1:]]


def total_rows(plan: WeldPlan, unit: str) -> list[tuple[str, str]]:
    """Return (what, how much) of the sums."""
    waiting = [s for s in plan.seams if not s.is_ready]
    return [
        ("weld", f"{long_cell(plan.length_mm, unit)} in {len(plan.seams)} seams"),
        ("in low-crown sheet", long_cell(plan.low_crown_mm, unit)),
        ("not ready to weld", f"{long_cell(sum(s.length_mm for s in waiting), unit)}, {len(waiting)} seams"),
        (
            "filler wire",
            f"{_range(plan.filler_g, 0)} g; {_range(plan.wire_m, 0)} m of 0.8 mm (0.030 in) wire",
        ),
        ("arc burning", f"{_range(plan.arc_min, 0)} min"),
        ("at the car", f"{_range([m / 60 for m in plan.bench_min], 1)} h, fitting and grinding on top"),
        ("door frames, apart", door_frame_words(plan.door_seams, unit)),
    ]


def _range(ends, digits):
    return f"{ends[0]:.{digits}f} to {ends[1]:.{digits}f}"


def crown_cell(seam, unit: str) -> str:
    """Return the crown beside a seam; low crown is marked."""
    if seam.crown_mm is None:
        return "—"
    return length_cell(seam.crown_mm, unit) + " low" * seam.is_low_crown


def sheet_cell(seam) -> str:
    """Return the thickness of the sheets a seam joins. [mm]"""
    first, second = (f"{mm:.2f}".rstrip("0").rstrip(".") for mm in seam.sheet_mm)
    return first if first == second else f"{first}/{second}"


def _seams(plan, unit):
    are_some_ready = any(seam.is_ready for seam in plan.seams)
    rows = [
        [
            seam.name + ("" if seam.is_ready or not are_some_ready else " *"),
            seam.access,
            length_cell(seam.length_mm, unit),
            sheet_cell(seam),
            crown_cell(seam, unit),
            _range(seam.shrink_mm, 1),
        ]
        for seam in plan.seams
    ]
    if not rows:
        return ["SEAMS", "  nothing is welded"]
    heads = ["seam", "access", "length", "sheet mm", "crown", "shrinks mm"]
    lines = ["SEAMS   butt welds; crown: of the flattest sheet beside it over 12 in (305 mm)"]
    lines += table_lines(heads, [[r[0], _short(r[1]), *r[2:]] for r in rows], words=2)
    if not are_some_ready:
        lines += wrapped(f"All are {NOT_READY}.")
    elif any(not seam.is_ready for seam in plan.seams):
        lines += wrapped(f"* {NOT_READY}.")
    lines += wrapped("—: a post's box, or new metal on both sides, whose own crown its maker decides.")
    lap = [seam.name for seam in plan.seams if seam.joint == "lap"]
    return lines + (wrapped(f"Lapped: {', '.join(lap)}.") if lap else [])


def _short(access):
    return {"both sides": "both sides", "outside only": "outside"}.get(access, "both; outside at post")


def _order(plan):
    lines = ["ORDER OF WORK   left and right by turns"] if plan.steps else []
    for number, step in enumerate(plan.steps, start=1):
        lines += wrapped(f"{step.do} {paired(step.seams)}: {step.why}.", f"  {number}. ", "     ")
    return lines


def paired(names) -> str:
    """Return names of seams, a right one and the left one that follows it as one.

    Examples
    --------
    >>> paired(("A right, post", "A left, post", "divider centre, post", "B left, post"))
    'A post (right, left); divider centre, post; B left, post'
    """
    words, left = [], list(names)
    while left:
        name = left.pop(0)
        if left and name != left[0] and name.replace(" right", " left") == left[0]:
            left.pop(0)
            words.append(f"{name.replace(' right,', '').replace(' right', '')} (right, left)")
        else:
            words.append(name)
    return "; ".join(words)


def _runs(plan, unit):
    lines = [
        "TACKS AND STRETCHES   stretches are counted from the run's mark and welded in the order given;",
        "                      tacks sit where they meet, both ends first, then halved",
    ]
    for seam in plan.seams:
        lines.append(f"  {seam.name}, {len(seam.runs)} run{'s' * (len(seam.runs) != 1)}")
        for run in seam.runs:
            lines += wrapped(run_words(run, unit), "    - ", "      ")
    return lines if plan.seams else []


def run_words(run, unit: str) -> str:
    """Say where a run starts, how it is tacked, and in which order its stretches are welded."""
    step = run.length_mm / len(run.stretches)
    numbers = [round(s.from_mm / step) + 1 for s in run.stretches]
    place = f"from {place_cell(run.mark_mm, unit)}" if run.mark_mm else "place not known yet"
    part = f"{run.part}, " if run.part else ""
    order = " ".join(map(str, numbers))
    tacks = f"{len(run.tacks_mm)} tack{'s' * (len(run.tacks_mm) > 1)}"
    words = f"{part}{length_cell(run.length_mm, unit)} {place}: {tacks}"
    if len(numbers) == 1:
        return f"{words}; in one go"
    return f"{words}; {len(numbers)} stretches of {gap_cell(step, unit)}: {order}"


def _pulls(plan, unit):
    if not plan.pulls:
        return []
    rows = [
        [
            f"{pull.panel}, along {pull.along}",
            length_cell(pull.chord_mm, unit),
            length_cell(pull.crown_mm, unit),
            f"{_range(pull.falls_mm, 1)} mm",
            f"{_range(pull.rises_mm, 1)} mm",
        ]
        for pull in plan.pulls
    ]
    shrink, welded = plan.pulls[0].shrink_mm, plan.pulls[0].edges_welded
    return [
        "WHAT SHRINKAGE WOULD DO TO THE LARGEST PANEL   if both ends of the line were welded all along",
        *table_lines(["", "chord", "crown", "crown falls by", "or rises by"], rows),
        *wrapped(
            f"Each seam draws in {_range(shrink, 2)} mm across. Held at its ends the arc has then less "
            "length and its crown falls; an edge that shortens along itself leaves the middle too long, and "
            f"it rises. This plan welds {welded} of the two ends along the centreline and none at the "
            "gutters. Both are upper ends: hammering the bead while it is warm gives much of it back."
        ),
    ]


def _rules(plan):
    lines = ["RULES THIS PLAN WAS MADE BY"]
    for rule in plan.rules:
        lines += wrapped(f"{rule.what}: {rule.rule} [{rule.source}]", "  - ")
    return lines
