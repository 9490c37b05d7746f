"""The ways of lowering a roof side by side, and in a sentence each what sets them apart."""

from __future__ import annotations

from ..waycomparison import WayComparison, WayReport
from .cells import angle_cell, area_cell, gap_cell, length_cell, long_cell, table_lines, wrapped
from .text import CAUTION_CUT, CAUTION_ROAD, CAUTION_WELD

NONE = "—"


def ways_text(found: WayComparison) -> str:
    """Return the comparison as text of at most 100 columns, ending with a line end."""
    unit, ways = found.car["unit"], [way for way in found.ways if not way.refused]
    lines = [f"{found.car['name']}   plan: {found.plan}   ways of doing it, for the same drops", ""]
    for way in found.ways:
        lines += wrapped(f"{way.way}: {way.words}", "  ", "      ")
    for way in found.ways:
        if way.refused:
            lines += wrapped(f"{way.way} cannot be carried out on this car: {way.refused}", "  ", "      ")
    if ways:
        lines += ["", *table_lines(["", *(way.way for way in ways)], _rows(ways, unit))]
        lines += wrapped(
            f"Turn: how far the skin bends across a seam, a corner too. Hours: {found.rates}.", "  ", "  "
        )
        lines += ["", "WHAT CAN GO WRONG   findings, by kind", *_findings(ways)]
        lines += ["", "WHAT DIFFERS", *_differences(ways, unit)]
    for caution in (CAUTION_CUT, CAUTION_WELD, CAUTION_ROAD):
        lines += ["", *wrapped(caution, "  Caution: ", "  ")]
    return "\n".join(lines) + "\n"


def _rows(ways, unit):
    kinds = list(dict.fromkeys(kind for way in ways for kind in way.weld_by_kind_mm))

    def row(label, cell):
        return [label, *(cell(way) for way in ways)]

    return [
        row("weld", lambda w: long_cell(w.weld_mm, unit)),
        *(
            row(f"  {kind}", lambda w, k=kind: _or_none(w.weld_by_kind_mm.get(k), long_cell, unit))
            for kind in kinds
        ),
        row("seams", lambda w: str(w.seam_count)),
        row("seams in low-crown sheet", lambda w: str(w.low_crown_count)),
        row("  their length", lambda w: long_cell(w.low_crown_mm, unit)),
        row("new metal, sheets", lambda w: str(w.new_metal_count)),
        row("  area", lambda w: area_cell(w.new_metal_mm2, unit) if w.new_metal_count else NONE),
        row("panes made anew", lambda w: str(len(w.panes_new))),
        row("panes kept stock", lambda w: str(len(w.panes_kept))),
        row("windshield rake", lambda w: angle_cell(w.windshield_rake_deg, "rearward", "forward")),
        row("length of the roof", lambda w: length_cell(w.roof_length_mm, unit)),
        row("welding, hours", lambda w: "{:.1f} to {:.1f}".format(*w.weld_hours)),
        row("largest miss, side posts", lambda w: length_cell(w.largest_miss_mm, unit)),
        row("largest gap", lambda w: gap_cell(w.largest_gap_mm, unit)),
        row("largest overlap", lambda w: gap_cell(w.largest_overlap_mm, unit)),
        row("largest step", lambda w: gap_cell(w.largest_step_mm, unit)),
        row("largest turn", lambda w: angle_cell(w.largest_turn_deg)),
        row("interference, places", lambda w: str(w.interference_count)),
    ]


def _or_none(mm, cell, unit):
    return NONE if mm is None else cell(mm, unit)


def _findings(ways):
    kinds = list(dict.fromkeys(kind for way in ways for kind in way.findings))
    rows = [[kind, *(str(way.findings.get(kind, 0) or NONE) for way in ways)] for kind in kinds]
    return table_lines(["", *(way.way for way in ways)], rows)


def _differences(ways: list[WayReport], unit):
    """Return one sentence for each way after the first: what it asks and leaves, held against that."""
    base, lines = ways[0], []
    for way in ways[1:]:
        more = way.weld_mm - base.weld_mm
        miss = way.largest_miss_mm - base.largest_miss_mm
        rake = way.windshield_rake_deg - base.windshield_rake_deg
        parts = [
            f"{long_cell(abs(more), unit)} {'more' if more > 0 else 'less'} to weld",
            f"the worst post misses by {length_cell(abs(miss), unit)} {'more' if miss > 0 else 'less'}",
        ]
        if abs(rake) > 0.05:
            parts.append(
                f"the windshield lies {angle_cell(abs(rake))} {'flatter' if rake > 0 else 'steeper'}"
            )
        longer = way.roof_length_mm - base.roof_length_mm
        if abs(longer) > 0.8:
            parts.append(
                f"the roof is {length_cell(abs(longer), unit)} {'longer' if longer > 0 else 'shorter'}"
            )
        panes = len(way.panes_new) - len(base.panes_new)
        if panes:
            parts.append(f"{abs(panes)} {'more' if panes > 0 else 'fewer'} panes are made anew")
        seams = way.low_crown_count - base.low_crown_count
        if seams:
            parts.append(f"{abs(seams)} seams {'more' if seams > 0 else 'fewer'} cross low-crown sheet")
        lines += wrapped(f"{way.way} against {base.way}: {'; '.join(parts)}.", "  ", "      ")
    return lines
