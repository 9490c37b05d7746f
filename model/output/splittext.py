"""A split roof: how far each of its parts goes, and what is asked of whoever cuts it."""

from __future__ import annotations

from ..report import Report
from .cells import length_cell, signed_cell, table_lines, wrapped

CAUTION_SPLIT = (
    "A roof in parts holds nothing: brace the cab inside and every part before the first cut, and keep the "
    "braces until all strips are welded. Whether such a roof may carry a belt or guard in a rollover, local "
    "codes and licensed practice decide."
)


def split_lines(report: Report, unit: str) -> list[str]:
    """Return how the roof's parts go apart as lines of the report; none for a roof in one piece."""
    split = report.split
    if split is None:
        return []
    rows = [
        [
            part.name,
            signed_cell(part.forward_mm, unit, "forward", "rearward"),
            length_cell(part.outward_mm, unit),
        ]
        for part in split.parts
    ]
    cuts = []
    if split.across_at_mm is not None:
        at, apart = (length_cell(mm, unit) for mm in (split.across_at_mm, split.lengthen_mm))
        cuts.append(f"Cut across at x = {at} of the uncut car and lengthened by {apart}.")
    if any(part.name.endswith((" right", " left")) for part in split.parts):
        cuts.append(f"Cut along the centreline and spread by {length_cell(split.spread_mm, unit)}.")
    return [
        "ROOF SPLIT   how far each part goes from where the roof in one piece would be",
        *table_lines(["part", "fore-and-aft", "outboard"], rows),
        *(line for text in cuts for line in wrapped(text, "  ", "  ")),
        *wrapped("A strip is as wide as the opening and what the blade took.", "  ", "  "),
        *wrapped(CAUTION_SPLIT, "  Caution: ", "  "),
    ]
