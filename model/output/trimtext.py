"""Trim lines as lines of the report's text: which piece, from which mark, how deep."""

from __future__ import annotations

from ..trimreport import END_MARK
from .cells import area_cell, length_cell, long_cell, place_cell, table_lines, wrapped

STROKE_MM = 1.5875  # a lap to be dressed with the file, not cut: under 1/16 in
PAIRS = 2  # of place and depth beside each other
MOST_STATIONS = 15
CAUTION = (
    "Mark a trim line on the car, with the roof tacked where it stays, from the edge that is not cut; saw on "
    "the waste side and dress to the line. A bare edge cuts and may carry lead: gloves, glasses, respirator."
)


def trim_lines(report, unit) -> list[str]:
    """Return every trim line with its stations; none where nothing laps."""
    if not report.trims:
        return []
    lines = ["TRIM LINES   depth from the edge as cut, square to it, root gap included"]
    for trim in report.trims:
        lines += _one(trim, unit)
    return [*lines, *wrapped(CAUTION, "  Caution: ", "  ")]


def _one(trim, unit):
    deepest = max(station.depth_mm for station in trim.stations)
    head = f"{trim.seam}: trim the {trim.piece}; {trim.reason}."
    if deepest < STROKE_MM:
        text = f"{head} Dress up to {length_cell(deepest, unit, 32)} along {long_cell(trim.length_mm, unit)}."
        return wrapped(text, "  ", "      ")
    apart = ""
    if trim.apart_mm > STROKE_MM:
        off = length_cell(trim.apart_mm, unit)
        apart = f" The two stand up to {off} off each other there: mark it again once they are together."
    at = (
        f" at {place_cell(trim.mark_mm, unit)}" if trim.mark == END_MARK else ""
    )  # there is one on either side
    text = (
        f"{head} From the {trim.mark}{at}, along the edge of the {trim.piece}, "
        f"{long_cell(trim.length_mm, unit)} of it; {area_cell(trim.area_mm2, unit)} fall off.{apart}"
    )
    cells = [[place_text(trim, s, unit), length_cell(s.depth_mm, unit)] for s in chosen_stations(trim)]
    depths = {depth for _, depth in cells}
    if len(depths) == 1:
        ends = " to ".join(dict.fromkeys((cells[0][0], cells[-1][0])))
        return wrapped(f"{text} It is {depths.pop()} deep all along, from {ends}.", "  ", "      ")
    count = -(-len(cells) // PAIRS)
    columns = [cells[k * count : (k + 1) * count] for k in range(PAIRS)]
    rows = [
        [text for column in columns for text in (column[i] if i < len(column) else ["", ""])]
        for i in range(count)
    ]
    return [*wrapped(text, "  ", "      "), *table_lines(["from the mark", "depth"] * PAIRS, rows)]


def chosen_stations(trim):
    """Return at most 15 stations of a trim line, evenly along it, both ends among them."""
    count = min(MOST_STATIONS, len(trim.stations))
    last = len(trim.stations) - 1
    return [trim.stations[round(k * last / max(count - 1, 1))] for k in range(count)]


def place_text(trim, station, unit) -> str:
    """Return where a station is, from the line's mark."""
    along = station.from_mark_mm
    size = length_cell(abs(along), unit)
    return "at the mark" if abs(along) < 0.8 else f"{size} {trim.plus_way if along > 0 else trim.minus_way}"
