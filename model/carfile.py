"""Car files: a measured car as TOML, read, checked and written.

Lengths are as a tape shows them (see :mod:`model.units`), plain numbers in
the car's unit.  The published schema is ``schemas/car.schema.json``.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from .carcheck import check_car
from .errors import FileRefused, MeasureError
from .fields import Fields, choice_hint, read_lengths, read_point
from .files import read_text, read_toml, write_text_atomically
from .hooptable import hoop_from_points, hoops_and_panels, panel_from_points, panel_rows
from .measured import Car, Corner, Driver, KeepOut, Opening, Post
from .tomltext import inline_table, key, length, lengths, point_lines, quoted, quoted_list
from .units import UNITS, unit_name

SCHEMA = 1
HEAD = (
    "schema",
    "name",
    "unit",
    "origin",
    "rows",
    "gauge",
    "glass",
    "tape",
    "rear_point",
    "seat",
    "readings",
    "read_again",
    "driver",
    "hoop_table",
)
LISTS = ("hoop", "panel", "opening", "post", "keep_out")
SECTION = ("name", "right", "left")
OPENING = ("name", "role", "grid", "view", "side", "corners", "well", "well_room")
POST = ("name", "side", "axis", "width", "depth", "wall", "cut_from", "cut_at", "cut_to")
DRIVER = ("stature", "back", "mirror")
KEEP_OUT = ("name", "shape", "at", "size", "to", "radius")


def demo_car_names():
    """Return the names of the cars that ship with Plumbdrop."""
    names = (item.name for item in (resources.files(__package__) / "cars").iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml") and "-" not in n))


def demo_car_path(name):
    """Return the path of a car that ships with Plumbdrop, such as ``coupe``."""
    return _demo_path(name, f"{name}.toml")


def demo_plan_path(name):
    """Return the path of the plan that ships for a demo car."""
    return _demo_path(name, f"{name}-plan.toml")


def demo_laid_back_path(name):
    """Return the path of a demo car's plan that comes straight down, its A-posts laid back."""
    return _demo_path(name, f"{name}-laid-back.toml")


def demo_closed_path(name):
    """Return the path of the same plan with new metal, that ships for a demo car."""
    return _demo_path(name, f"{name}-closed.toml")


def demo_closed_way_path(name, way):
    """Return the path of a demo car's plan that closes the whole roof, by one of :data:`model.plan.WAYS`."""
    return _demo_path(name, f"{name}-{way}-closed.toml")


def demo_split_path(name):
    """Return the path of the plan that splits and spreads the roof of a demo car."""
    return _demo_path(name, f"{name}-split.toml")


def demo_tacked_path(name):
    """Return the path of the tacked roof, measured again, that ships for a demo car."""
    return _demo_path(name, f"{name}-tacked.toml")


def read_car(path) -> Car:
    """Return the measured car in a file, checked.

    Parameters
    ----------
    path : str or Path
        A TOML file; a hoop table it names is looked for beside it.

    Raises
    ------
    FileRefused
        If the file cannot be read, or is not complete TOML text.
    MeasureError
        If a measure cannot be read, or the car cannot be right.
    """
    path = Path(path)
    values = read_toml(path)
    try:
        car = _car_from_values(values, path.parent)
        check_car(car)
    except MeasureError as problem:
        raise MeasureError(f"{path}: {problem.message}", problem.next_step) from None
    return car


def write_car(car: Car, path):
    """Write a car to a file that :func:`read_car` reads back, all or nothing.

    Raises
    ------
    MeasureError
        If the car cannot be right: no file is written that would be refused.
    FileRefused
        If the file cannot be written; an older one stays as it was.
    """
    check_car(car)
    write_text_atomically(path, car_toml(car))


def car_toml(car: Car) -> str:
    """Return the text of a car file."""
    heights, columns = panel_rows(car.rows)
    head = [
        "# A measured car. Frame: x to the rear, y to the car's right, z up.",
        f"# Plain numbers are {unit_name(car.unit)}.",
        f"schema = {SCHEMA}",
        f"name = {quoted(car.name)}",
        f"unit = {quoted(car.unit)}",
        f"origin = {quoted(car.origin)}",
        f"rows = {quoted_list(car.rows)}",
        f"gauge = {length(car.gauge_mm, car.unit)}",
        f"glass = {length(car.glass_mm, car.unit)}",
        f"tape = {length(car.tape_mm, car.unit)}",
        f"rear_point = {inline_table(zip(('hoop', 'row'), map(quoted, car.rear_point), strict=True))}",
        *([f"seat = {lengths(car.seat_mm, car.unit)}"] if car.seat_mm else []),
    ]
    if car.readings > 1:
        head.append(f"readings = {car.readings}")
    body = _driver_lines(car)
    if car.read_again:
        body += ["", "[read_again]", *(f"{key(place)} = {times}" for place, times in car.read_again)]
    for hoop in car.hoops:
        body += ["", "[[hoop]]", f"name = {quoted(hoop.name)}"]
        for side, points, rows in (
            ("right", hoop.right_mm, car.rows),
            ("left", hoop.left_mm or (), car.rows[:-1]),
        ):
            body += ["", f"[hoop.{side}]"] if points else []
            body += [f"{key(row)} = {lengths(p, car.unit)}" for row, p in zip(rows, points, strict=False)]
    for panel in car.panels:
        body += ["", "[[panel]]", f"name = {quoted(panel.name)}"]
        for side, lines, own in (
            ("right", panel.right_mm, columns),
            ("left", panel.left_mm or (), columns[:-1]),
        ):
            body += ["", f"[panel.{side}]"] if lines else []
            for height, line in zip(heights, lines, strict=False):
                pairs = [(column, lengths(p, car.unit)) for column, p in zip(own, line, strict=False)]
                body.append(f"{key(height)} = {inline_table(pairs)}")
    for opening in car.openings:
        body += ["", "[[opening]]", *(f"{name} = {quoted(getattr(opening, name))}" for name in OPENING[:5])]
        corners = [(c.across_mm, c.up_mm, c.radius_mm)[: 3 if c.radius_mm else 2] for c in opening.corners]
        body.append(f"corners = {point_lines(corners, car.unit)}")
        for name in OPENING[6:]:
            value = getattr(opening, f"{name}_mm")
            body += [] if value is None else [f"{name} = {length(value, car.unit)}"]
    for post in car.posts:
        body += ["", "[[post]]", f"name = {quoted(post.name)}", f"side = {quoted(post.side)}"]
        body.append(f"axis = {point_lines(post.axis_mm, car.unit)}")
        body += [f"{name} = {length(getattr(post, f'{name}_mm'), car.unit)}" for name in POST[3:]]
    for item in car.keep_outs:
        body += ["", "[[keep_out]]", f"name = {quoted(item.name)}", f"shape = {quoted(item.shape)}"]
        for name in KEEP_OUT[2:]:
            value = getattr(item, f"{name}_mm")
            if value is not None:
                body.append(
                    f"{name} = {length(value, car.unit) if name == 'radius' else lengths(value, car.unit)}"
                )
    return "\n".join([*head, *body]) + "\n"


def _driver_lines(car):
    driver, lines = car.driver, []
    if driver.stature_mm is not None:
        lines.append(f"stature = {length(driver.stature_mm, car.unit)}")
    if driver.back_deg != Driver().back_deg:
        lines.append(f"back = {driver.back_deg:g}")
    if driver.mirror_mm is not None:
        lines.append(f"mirror = {lengths(driver.mirror_mm, car.unit)}")
    return ["", "[driver]", *lines] if lines else []


def _demo_path(name, file_name):
    names = demo_car_names()
    path = Path(str(resources.files(__package__) / "cars" / file_name))
    if name not in names or not path.is_file():
        raise FileRefused(file_name, "is not among the demo cars.", choice_hint(name, names))
    return path


def _car_from_values(values, folder):
    unit = Fields(values, HEAD + LISTS).choice("unit", UNITS)
    head = Fields(values, HEAD + LISTS, unit=unit)
    head.choice("schema", (SCHEMA,), SCHEMA)
    rows, tape_mm = head.texts("rows"), head.length("tape")
    hoops, panels = _sections(head, rows, tape_mm, folder)
    rear = head.table("rear_point", ("hoop", "row"))
    return Car(
        name=head.text("name"),
        unit=unit,
        origin=head.text("origin"),
        rows=rows,
        hoops=hoops,
        panels=panels,
        openings=tuple(map(_opening, head.tables("opening", OPENING))),
        posts=tuple(map(_post, head.tables("post", POST))),
        gauge_mm=head.thickness("gauge"),
        glass_mm=head.length("glass"),
        tape_mm=tape_mm,
        rear_point=(rear.text("hoop"), rear.text("row")),
        seat_mm=head.point("seat", None),
        readings=head.count("readings", 1),
        read_again=_read_again(head),
        driver=_driver(head.table("driver", DRIVER)) if "driver" in head.values else Driver(),
        keep_outs=tuple(map(_keep_out, head.tables("keep_out", KEEP_OUT))),
    )


def _read_again(head):
    """Return places and how often they were read; whether the car has them is checked with the car."""
    values = head.value("read_again", {})
    if not isinstance(values, dict):
        raise MeasureError(
            f"read_again must be a table of places; got {values!r:.60}.",
            'Write [read_again], and under it lines such as "post A right, foot" = 2.',
        )
    places = head.table("read_again", tuple(values)) if values else None
    return tuple((place, places.count(place)) for place in values)


def _sections(head, rows, tape_mm, folder):
    """Return the hoops and panels, from the car file or from the hoop table it names."""
    hoops = [_hoop(fields, rows, tape_mm) for fields in head.tables("hoop", SECTION)]
    panels = [_panel(fields, rows, tape_mm) for fields in head.tables("panel", SECTION)]
    table = head.text("hoop_table", None)
    if table is None:
        return tuple(hoops), tuple(panels)
    if hoops:
        raise MeasureError(
            f'hoop_table must be the only place for hoops; "{hoops[0].name}" is in the car file too.',
            "Keep the [[hoop]] tables or the hoop_table.",
        )
    hoops, more_panels = hoops_and_panels(read_text(folder / table), rows, tape_mm, head.unit, table)
    return hoops, (*more_panels, *panels)


def _hoop(fields, rows, tape_mm):
    sides = {}
    for side in ("right", "left"):
        if side == "right" or side in fields.values:
            points = fields.table(side, rows)
            sides[side] = {(row,): points.point(row) for row in points.values}
    return hoop_from_points(fields.text("name"), sides, rows, tape_mm, fields.unit, fields.place)


def _panel(fields, rows, tape_mm):
    heights, columns = panel_rows(rows)
    sides = {}
    for side in ("right", "left"):
        if side == "right" or side in fields.values:
            lines = fields.table(side, heights)
            sides[side] = {}
            for height in lines.values:
                line = lines.table(height, columns)
                sides[side].update({(height, column): line.point(column) for column in line.values})
    return panel_from_points(fields.text("name"), sides, rows, tape_mm, fields.unit, fields.place)


def _opening(fields):
    corners = []
    for number, corner in enumerate(fields.list("corners"), start=1):
        names = ("across", "up", "radius")
        if isinstance(corner, list) and len(corner) == 2:
            names = names[:2]
        place = f"{fields.place}, corner {number}"
        lengths = read_lengths(corner, fields.unit, place, names, fields.refuse)
        corners.append(Corner(**{f"{name}_mm": length for name, length in zip(names, lengths, strict=True)}))
    return Opening(
        name=fields.text("name"),
        role=fields.text("role"),
        grid=fields.text("grid"),
        view=fields.text("view"),
        side=fields.text("side", "right"),
        corners=tuple(corners),
        well_mm=fields.length("well", None),
        well_room_mm=fields.length("well_room", None),
    )


def _post(fields):
    axis = [
        read_point(point, fields.unit, f"{fields.place}, axis point {number}", fields.refuse)
        for number, point in enumerate(fields.list("axis"), start=1)
    ]
    lengths = {
        f"{key}_mm": fields.thickness(key) if key == "wall" else fields.length(key) for key in POST[3:]
    }
    return Post(name=fields.text("name"), side=fields.text("side", "right"), axis_mm=tuple(axis), **lengths)


def _driver(fields):
    return Driver(
        stature_mm=fields.length("stature", None),
        back_deg=fields.angle("back", Driver().back_deg),
        mirror_mm=fields.point("mirror", None),
    )


def _keep_out(fields):
    return KeepOut(
        name=fields.text("name"),
        shape=fields.text("shape"),
        at_mm=fields.point("at"),
        size_mm=fields.point("size", None),
        to_mm=fields.point("to", None),
        radius_mm=fields.length("radius", None),
    )
