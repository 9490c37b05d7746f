"""Can this car be right?  Checks of a measured car before any geometry is made of it."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from itertools import pairwise

from .errors import MeasureError
from .fields import choice_hint
from .measured import CROWN, GUTTER
from .partcheck import check_keep_outs, check_openings, check_posts, refuse_repeated, segments_cross
from .readings import places_of
from .units import LONGEST_MM, UNITS, shown

BELT = "belt"
GAUGE_MM = (0.4, 3.0)  # assumed: body sheet, thin to patched double
GLASS_MM = (2.0, 12.0)  # assumed: car glass, single to armoured laminated
STATURE_MM = (1200.0, 2300.0)  # assumed: a grown person
BACK_DEG = (5.0, 40.0)  # what UN Regulation 125's table of back angles covers
TAPE_MM = (0.1, 25.0)  # assumed: a scanner at best, a guess at worst


def check_car(car):
    """Refuse a car whose measures cannot be right; return None.

    An opening off the skin is not found here: that takes the skin.

    Raises
    ------
    MeasureError
        With the place, the value, the rule and the next step.
    """
    _check_finite(car, "")
    _check_head(car)
    _check_rows(car.rows)
    _check_hoops(car)
    _check_fan(car)
    _check_panels(car)
    _check_rear_point(car)
    _check_driver(car)
    check_openings(car)
    check_posts(car)
    check_keep_outs(car)
    _check_read_again(car)


def _check_read_again(car):
    places = tuple(dict.fromkeys(place for place, _, _ in places_of(car)))
    for place, _ in car.read_again:
        if place not in places:
            raise MeasureError(
                f'read_again must name places of this car; it has no "{place}".', choice_hint(place, places)
            )


def _check_finite(item, place):
    if isinstance(item, bool) or item is None or isinstance(item, str):
        return
    if isinstance(item, (int, float)):
        if not abs(item) <= LONGEST_MM:
            raise MeasureError(
                f"{place} must be finite and at most 10 m; got {item} mm.", "Measure it again."
            )
    elif is_dataclass(item):
        own = (
            f'{type(item).__name__.lower()} "{getattr(item, "name", "")}"' if hasattr(item, "name") else place
        )
        for field in fields(item):
            _check_finite(getattr(item, field.name), f"{own}, {field.name.removesuffix('_mm')}")
    else:
        for number, part in enumerate(item, start=1):
            _check_finite(part, f"{place} {number}")


def _check_head(car):
    if not car.name.strip():
        raise MeasureError("name must not be empty.", "Give the car a name.")
    if car.unit not in UNITS:
        raise MeasureError(f"unit must be in or mm; got {car.unit!r}.", "Choose one of the two.")
    limits = (
        ("gauge", car.gauge_mm, GAUGE_MM),
        ("glass", car.glass_mm, GLASS_MM),
        ("tape", car.tape_mm, TAPE_MM),
    )
    for name, value_mm, (least_mm, most_mm) in limits:
        if not least_mm <= value_mm <= most_mm:
            raise MeasureError(
                f"{name} must be between {least_mm:g} and {most_mm:g} mm; got {value_mm:.4g} mm.",
                f"Measure it again and check its unit: a plain number is in {car.unit}.",
            )


def _check_rows(rows):
    refuse_repeated("row", rows)
    if not rows or rows[0] != BELT or rows[-1] != CROWN:
        raise MeasureError(
            f'rows must run from "{BELT}" to "{CROWN}"; got {", ".join(rows)}.', "Order the rows."
        )
    if GUTTER not in rows:
        raise MeasureError(
            f'rows must contain "{GUTTER}", the corner between side and roof; got {", ".join(rows)}.',
            "Name the row along the drip gutter so.",
        )
    for row in rows:
        if "/" in row:
            raise MeasureError(f'row "{row}" must have no "/" in its name.', "Choose another name.")


def _check_hoops(car):
    refuse_repeated("hoop", [hoop.name for hoop in car.hoops])
    if len(car.hoops) < 2:
        raise MeasureError(
            f"the car must have at least 2 hoops; got {len(car.hoops)}.", "Measure another hoop."
        )
    for hoop in car.hoops:
        for side in ("right", "left"):
            points = hoop.side_mm(side)
            if len(points) != len(car.rows):
                raise MeasureError(
                    f'hoop "{hoop.name}" must have a point for each of the {len(car.rows)} rows; '
                    f"got {len(points)} on the {side}.",
                    f"The rows are: {', '.join(car.rows)}.",
                )
            for row, point in zip(car.rows, points, strict=True):
                _check_side(point, side, row == CROWN, car, f'hoop "{hoop.name}", {side}, row "{row}"')
            for (row, point), above in zip(zip(car.rows, points, strict=False), points[1:], strict=False):
                if math.dist(point, above) <= car.tape_mm:
                    raise MeasureError(
                        f'hoop "{hoop.name}", {side}: row "{row}" and the row above it are the same point.',
                        "Measure one of them again.",
                    )
        if hoop.left_mm and math.dist(hoop.left_mm[-1], hoop.right_mm[-1]) > car.tape_mm:
            raise MeasureError(
                f'hoop "{hoop.name}": the left crown must be the right one.', "Correct one of them."
            )


def _check_side(point, side, is_crown, car, place):
    y = point[1]
    if is_crown and abs(y) > car.tape_mm:
        raise MeasureError(
            f"{place} must lie on the centre plane y = 0, "
            f"within the tape's {shown(car.tape_mm, car.unit, 64)}; got y = {shown(y, car.unit)}.",
            "Measure it again, or move the origin's y to the centreline.",
        )
    if not is_crown and not (y > 0 if side == "right" else y < 0):
        sign = "positive" if side == "right" else "negative"
        raise MeasureError(
            f"{place} must have a {sign} y; got {shown(y, car.unit)}.",
            "y is to the car's right, measured from the centreline.",
        )


def _check_fan(car):
    """Refuse hoops that are out of order, meet, or cross."""
    for side in ("right", "left"):
        hoops = [(hoop.name, hoop.side_mm(side)) for hoop in car.hoops]
        for place, row in enumerate(car.rows):
            _check_row_runs_rearward(
                [(name, points[place]) for name, points in hoops], f'{side}, row "{row}"', car
            )
        for i, (name, points) in enumerate(hoops):
            for other, others in hoops[i + 1 :]:
                for k, row in enumerate(car.rows[:-1]):
                    ends = [(p[0], p[2]) for p in (points[k], points[k + 1], others[k], others[k + 1])]
                    if segments_cross(*ends):
                        raise MeasureError(
                            f'hoops "{name}" and "{other}" cross, seen from the {side}, '
                            f'between the rows "{row}" and "{car.rows[k + 1]}".',
                            "Check x and z of these points in both hoops.",
                        )


def _check_row_runs_rearward(named_points, place, car):
    (first, start), (last, end) = named_points[0], named_points[-1]
    if not end[0] > start[0]:
        raise MeasureError(
            f'hoops must be listed from the front rearward; {place}: "{first}" is at '
            f'x = {shown(start[0], car.unit)}, "{last}" at {shown(end[0], car.unit)}.',
            "x is to the rear: order the hoops, or correct these points.",
        )
    for (name, point), (next_name, next_point) in pairwise(named_points):
        if math.dist(point, next_point) <= car.tape_mm:
            raise MeasureError(
                f'{place}: hoops "{name}" and "{next_name}" are at the same point.',
                "Measure one of them again.",
            )
    for (before, a), (name, b), (after, c) in zip(
        named_points, named_points[1:], named_points[2:], strict=False
    ):
        if sum((b[i] - a[i]) * (c[i] - b[i]) for i in range(3)) <= 0:
            raise MeasureError(
                f'hoops "{before}", "{name}" and "{after}" cross: {place} folds back at "{name}", '
                f"x = {shown(b[0], car.unit)}.",
                "Order the hoops from the front rearward, or measure that point again.",
            )


def _check_panels(car):
    refuse_repeated("panel", [panel.name for panel in car.panels])
    heights, columns = car.rows[: car.gutter_index], car.rows[car.gutter_index + 1 :]
    height_count, column_count = len(heights), len(columns)
    for panel in car.panels:
        if panel.name not in ("front", "back"):
            raise MeasureError(f'panel "{panel.name}" must be called front or back.', "Correct its name.")
        for side in ("right", "left"):
            lines = panel.side_mm(side)
            if len(lines) != height_count or any(len(line) != column_count for line in lines):
                raise MeasureError(
                    f'panel "{panel.name}", {side}, must have a line of {column_count} points '
                    f"for each of the {height_count} rows below the gutter.",
                    f"Lines: {', '.join(heights)}; in each: {', '.join(columns)}.",
                )
            for height, line in zip(heights, lines, strict=True):
                for column, point in zip(columns, line, strict=True):
                    place = f'panel "{panel.name}", {side}, row "{height}/{column}"'
                    _check_side(point, side, column == CROWN, car, place)
        for right, left in zip(panel.right_mm, panel.left_mm or panel.right_mm, strict=True):
            if math.dist(right[-1], left[-1]) > car.tape_mm:
                raise MeasureError(
                    f'panel "{panel.name}": the left crown must be the right one.', "Correct one."
                )


def _check_rear_point(car):
    hoop, row = car.rear_point
    names = [h.name for h in car.hoops]
    if hoop not in names:
        raise MeasureError(
            f'rear_point must be on a hoop of this car; got "{hoop}".', choice_hint(hoop, names)
        )
    on_roof = car.rows[car.gutter_index :]
    if row not in on_roof:
        raise MeasureError(
            f'rear_point must be on a row of the roof; got "{row}".', choice_hint(row, on_roof)
        )
    if hoop == names[0]:
        raise MeasureError(
            f'rear_point must be behind the first hoop; got "{hoop}".', "Choose the hoop where the roof ends."
        )


def _check_driver(car):
    stature_mm, back_deg = car.driver.stature_mm, car.driver.back_deg
    least_mm, most_mm = STATURE_MM
    if stature_mm is not None and not least_mm <= stature_mm <= most_mm:
        raise MeasureError(
            f"driver, stature must be between {shown(least_mm, car.unit)} and {shown(most_mm, car.unit)}; "
            f"got {shown(stature_mm, car.unit)}.",
            f"Check its unit: a plain number is in {car.unit}.",
        )
    if not BACK_DEG[0] <= back_deg <= BACK_DEG[1]:
        raise MeasureError(
            f"driver, back must be between {BACK_DEG[0]:g} and {BACK_DEG[1]:g} degrees from plumb; "
            f"got {back_deg:g}.",
            "Measure the lean of the seat's back with a person in it.",
        )
