"""Points by name into hoops and panels; and the hoop table, a CSV file for a spreadsheet.

The table has the columns ``hoop, row, side, x, y, z``: one line for each
measured point, hoops from the front rearward.  A line whose row is written
``belt/crown`` is a point of the front or back panel: ``hoop`` is then
``front`` or ``back``, the first row its height and the second its column.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from .carcheck import check_car
from .errors import MeasureError
from .fields import choice_hint, read_length, refuse_measure
from .measured import CROWN, GUTTER, Car, EndPanel, Hoop
from .units import shown, typed_length

COLUMNS = ("hoop", "row", "side", "x", "y", "z")
BETWEEN = "/"  # between the height row and the column of a panel's point


def hoop_from_points(name, points_mm, rows, tape_mm, unit, place):
    """Return a hoop from its points by side and row.

    The crown is the centreline, so its y counts as 0 where it is within the
    tape's resolution, and the left side shares the right side's crown.

    Parameters
    ----------
    points_mm : dict of dict
        ``points_mm[side][row]`` = (x, y, z); ``left`` may be absent. [mm]
    rows : tuple of str
        The car's rows.
    tape_mm : float
        Tape resolution. [mm]
    unit : str
        For messages.
    place : str
        Where the hoop was read, for messages.

    Raises
    ------
    MeasureError
        If a row is missing, or a crown point is off the centre plane.
    """
    sides = _with_shared_crown(points_mm, [(row,) for row in rows], tape_mm, unit, place)
    return Hoop(
        name=name, right_mm=tuple(sides["right"]), left_mm=tuple(sides["left"]) if "left" in sides else None
    )


def panel_from_points(name, points_mm, rows, tape_mm, unit, place):
    """Return a front or back panel from its points by side and (height row, column).

    As :func:`hoop_from_points`, with ``points_mm[side][row, column]``.
    """
    heights, columns = panel_rows(rows)
    sides = _with_shared_crown(points_mm, [(h, c) for h in heights for c in columns], tape_mm, unit, place)
    lines = {side: tuple(zip(*[iter(points)] * len(columns), strict=True)) for side, points in sides.items()}
    return EndPanel(name=name, right_mm=lines["right"], left_mm=lines.get("left"))


def panel_rows(rows):
    """Return the names of a panel's height rows and of its columns.

    Examples
    --------
    >>> panel_rows(("belt", "mid", "gutter", "shoulder", "crown"))
    (('belt', 'mid'), ('shoulder', 'crown'))
    """
    gutter = rows.index(GUTTER) if GUTTER in rows else len(rows)
    return tuple(rows[:gutter]), tuple(rows[gutter + 1 :])


def hoop_table_csv(car):
    """Return the points of a car's hoops and panels as CSV text.

    Fractions are written ``14 3/8``: a spreadsheet reads that as a number,
    where it would take ``14-3/8`` or a bare ``3/8`` for a date.
    """
    heights, columns = panel_rows(car.rows)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)

    def write(name, row, side, point_mm):
        writer.writerow([name, row, side, *(typed_length(c, car.unit, joint=" ") for c in point_mm)])

    for hoop in car.hoops:
        for side, points in (("right", hoop.right_mm), ("left", (hoop.left_mm or ())[:-1])):
            for row, point in zip(car.rows, points, strict=False):
                write(hoop.name, row, side, point)
    for panel in car.panels:
        for side, lines in (("right", panel.right_mm), ("left", panel.left_mm or ())):
            for height, line in zip(heights, lines, strict=False):
                for column, point in zip(columns, line, strict=True):
                    if side == "right" or column != CROWN:
                        write(panel.name, f"{height}{BETWEEN}{column}", side, point)
    return text.getvalue()


def car_with_hoop_table(car: Car, csv_text, source="hoop table") -> Car:
    """Return the car with the hoops of a table; its panels too if the table has any.

    Parameters
    ----------
    csv_text : str
        As :func:`hoop_table_csv` writes it; commas, semicolons or tabs.
    source : str
        Name of the table, for messages.

    Raises
    ------
    MeasureError
        If a line cannot be read or the car cannot be right with these hoops.
    """
    hoops, panels = hoops_and_panels(csv_text, car.rows, car.tape_mm, car.unit, source)
    changed = replace(car, hoops=hoops, panels=panels or car.panels)
    try:
        check_car(changed)
    except MeasureError as problem:
        raise MeasureError(f"{source}: {problem.message}", problem.next_step) from None
    return changed


def hoops_and_panels(csv_text, rows, tape_mm, unit, source):
    """Return the hoops and the panels of a table, in its order."""
    points = {}
    for place, line in _lines(csv_text, source):
        side = line["side"].lower() or "right"
        if side not in ("right", "left"):
            raise MeasureError(
                f"{place} must have the side right or left; got {side!r}.", "An empty one is right."
            )
        row = tuple(part.strip() for part in line["row"].split(BETWEEN))
        is_panel = len(row) > 1
        _check_row(row, rows, place)
        if not line["hoop"]:
            raise MeasureError(f"{place} must name its hoop.", "Fill the column hoop in every line.")
        if is_panel and line["hoop"] not in ("front", "back"):
            raise MeasureError(
                f"{place}: a panel must be front or back; got {line['hoop']!r}.", "Correct the hoop."
            )
        known = points.setdefault((is_panel, line["hoop"]), {}).setdefault(side, {})
        if row in known:
            raise MeasureError(
                f'{place} gives {line["hoop"]}, row "{line["row"]}", {side} a second time.',
                "Keep one of the two.",
            )
        known[row] = tuple(
            read_length(_number(line[c], place, c), unit, f"{place}, {c}", _refused) for c in "xyz"
        )
    found = {True: [], False: []}
    for (is_panel, name), sides in points.items():
        make = panel_from_points if is_panel else hoop_from_points
        place = f'{source}, {"panel" if is_panel else "hoop"} "{name}"'
        found[is_panel].append(make(name, sides, rows, tape_mm, unit, place))
    return tuple(found[False]), tuple(found[True])


def _with_shared_crown(points_mm, wanted, tape_mm, unit, place):
    sides = {}
    for side in ("right", "left"):
        given = points_mm.get(side)
        if given is None and (side == "left" or not wanted):
            continue
        sides[side] = []
        for row in wanted:
            point, label = (given or {}).get(row), BETWEEN.join(row)
            if row[-1] == CROWN:
                point = _crown(point, sides, side, tape_mm, unit, f'{place}, {side}, row "{label}"')
            if point is None:
                raise MeasureError(f'{place} has no row "{label}" on the {side}.', "Measure it and add it.")
            sides[side].append(point)
    return sides


def _crown(point, sides, side, tape_mm, unit, place):
    shared = sides["right"][len(sides["left"])] if side == "left" else None
    if point is not None and abs(point[1]) > tape_mm:
        raise MeasureError(
            f"{place} must lie on the centre plane y = 0 within the tape's {shown(tape_mm, unit, 64)}; "
            f"got y = {shown(point[1], unit)}.",
            "Measure it again, or move the origin's y to the centreline.",
        )
    if shared and point and max(abs(a - b) for a, b in zip(shared, point, strict=True)) > tape_mm:
        raise MeasureError(
            f"{place} must be the right side's point.", "Leave the left crown out, or correct it."
        )
    return shared or (point and (point[0], 0.0, point[2]))


def _check_row(row, rows, place):
    heights, columns = panel_rows(rows)
    for name, choices in [(row[0], rows)] if len(row) == 1 else zip(row, (heights, columns), strict=False):
        if name not in choices:
            raise MeasureError(f'{place} has the unknown row "{name}".', choice_hint(name, choices))
    if len(row) > 2:
        raise MeasureError(
            f"{place} must have a row such as belt{BETWEEN}crown; got {row}.", "Correct the row."
        )


def _lines(csv_text, source):
    """Yield the place and the cells by column of every line that is not blank."""
    first = csv_text.lstrip("\ufeff\r\n").splitlines()[:1]
    delimiter = max(",;\t", key=first[0].count) if first else ","
    reader = csv.reader(io.StringIO(csv_text.lstrip("\ufeff"), newline=""), delimiter=delimiter)
    header = None
    try:
        for cells in reader:
            place, cells = f"{source}, line {reader.line_num}", [cell.strip() for cell in cells]
            if not any(cells):
                continue
            if header is None:
                header = _checked_header([cell.lower() for cell in cells], place)
                continue
            while len(cells) > len(header) and not cells[-1]:
                cells.pop()
            if len(cells) != len(header):
                raise MeasureError(
                    f"{place} must have {len(header)} cells; got {len(cells)}.",
                    "Complete the line: hoop, row, side, x, y, z. Is the file half-written?",
                )
            yield place, dict(zip(header, cells, strict=True))
    except csv.Error as problem:
        raise MeasureError(
            f"{source}, line {reader.line_num} must be CSV: {problem}.", "Save it again."
        ) from problem
    if header is None:
        raise MeasureError(f"{source} must not be empty.", f"Its first line is: {','.join(COLUMNS)}")


def _checked_header(header, place):
    for name in header:
        if name not in COLUMNS:
            raise MeasureError(f'{place} has the unknown column "{name}".', choice_hint(name, COLUMNS))
    for name in COLUMNS:
        if header.count(name) != 1:
            raise MeasureError(
                f'{place} must have the column "{name}" once; got {header.count(name)}.',
                f"The first line is: {','.join(COLUMNS)}",
            )
    return header


def _number(cell, place, column):
    if not cell:
        raise MeasureError(f"{place}, {column} must not be empty.", "Measure the point or take the line out.")
    return cell


def _refused(place, message, next_step):
    hint = "If the spreadsheet made a date or a comma of it, format its cells as text."
    return refuse_measure(place, message, f"{next_step} {hint}")
