"""Files of a tacked roof measured again, as TOML: the sheet to fill in, and reading it back.

Lengths are as a tape shows them (see :mod:`model.units`), plain numbers in
the car's unit.  The published schema is ``schemas/measured.schema.json``.
"""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path

from .carcheck import TAPE_MM
from .errors import MeasureError
from .fields import Fields
from .files import read_toml
from .measured import Car
from .plan import Plan
from .tacked import AXES, TackedPoint, TackedRoof
from .tomltext import length, quoted
from .units import shop_inches, shown, unit_name

SCHEMA = 1
HEAD = ("schema", "car", "plan", "tape", "point")
POINT = ("name", "before", *AXES)


def read_tacked(path, car: Car, plan: Plan, known) -> TackedRoof:
    """Return what was measured of a tacked roof, checked against car and plan.

    Parameters
    ----------
    path : str or Path
        A TOML file; its plain numbers are in the car's unit.
    known : collection of str
        Names of the car's marked points; any other point has to say where it was before.

    Raises
    ------
    FileRefused
        If the file cannot be read, or is not complete TOML text.
    MeasureError
        If a measure cannot be read, a point is unknown or given twice, or
        the file is of another car or plan.
    """
    path = Path(path)
    values = read_toml(path)
    try:
        return _tacked_from_values(values, car, plan, known)
    except MeasureError as problem:
        raise MeasureError(f"{path}: {problem.message}", problem.next_step) from None


def tacked_sheet(car: Car, plan: Plan, chosen, others, doubt_mm) -> str:
    """Return the text of a file to fill in, with where the plan puts every point.

    Parameters
    ----------
    chosen, others : sequence of MarkedPoint
        Points to measure, and names that may be used as well.
    doubt_mm : float
        The ± to which the chosen ones tell the height of the roof's corners. [mm]
    """
    text = [
        "# The tacked roof, measured again before it is welded.",
        "# x to the rear, y to the car's right, z up; the origin is the car file's:",
        f"# {' '.join(car.origin.split())}.",
        f"# Plain numbers are {unit_name(car.unit)}.",
        "#",
        '# Fill in what the tape shows between the quotes; leave "" where you did not measure.',
        f"# These {len(chosen)} points are enough: all measured, they tell the height of every corner of the",
        f"# roof to ± {shown(doubt_mm, car.unit, 32)}. Take five at the least, front and rear, right and",
        "# left, not along one line. Heights alone tell up and down, pitch and roll, but not fore-and-aft.",
        "#",
        "# A mark of your own, such as a punch mark, needs its place on the uncut roof:",
        "#   before = [x, y, z]",
        "",
        f"schema = {SCHEMA}",
        f"car = {quoted(car.name)}",
        f"plan = {quoted(plan.name)}",
        f"tape = {length(car.tape_mm, car.unit)}",
    ]
    for point in chosen:
        text += ["", "[[point]]", f"name = {quoted(point.name)}"]
        if point.is_mirrored:
            text += [
                "# Planned from the mirror image of the other side. Better: measure it before the cut.",
                '# before = ["", "", ""]',
            ]
        text += [
            f'{axis} = ""  # planned at {_place(mm, car.unit)}'
            for axis, mm in zip(AXES, point.planned_mm, strict=True)
        ]
    text += ["", "# Other points that may be measured instead or as well, with where the plan puts them:"]
    for point in others:
        place = " ".join(f"{a} {_place(mm, car.unit)}" for a, mm in zip(AXES, point.planned_mm, strict=True))
        text.append(f"#   {quoted(point.name)}  {place}{'  (mirrored)' * point.is_mirrored}")
    return "\n".join(text) + "\n"


def _place(mm, unit):
    return shop_inches(mm, 32) if unit == "in" else f"{mm:.1f}"


def _tacked_from_values(values, car, plan, known):
    head = Fields(values, HEAD, unit=car.unit)
    head.choice("schema", (SCHEMA,), SCHEMA)
    for what, name in (("car", car.name), ("plan", plan.name)):
        given = head.text(what, name)
        if given != name:
            raise MeasureError(
                f'{what} must be "{name}"; the points were measured for "{given}".',
                f"Take the {what} that this roof was cut by, or correct the name.",
            )
    tape_mm = head.length("tape", car.tape_mm)
    if not TAPE_MM[0] <= tape_mm <= TAPE_MM[1]:
        raise MeasureError(
            f"tape must be between {TAPE_MM[0]:g} and {TAPE_MM[1]:g} mm; got {shown(tape_mm, car.unit, 64)}.",
            "Give the finest mark of the tape that measured these points.",
        )
    points, seen = [], set()
    for fields in head.tables("point", POINT):
        point = _point(fields, known)
        if point.name in seen:
            raise MeasureError(
                f"{fields.place} must be given once; it is given twice.", "Keep one of the two."
            )
        seen.add(point.name)
        points.append(point)
    measured = tuple(point for point in points if any(mm is not None for mm in point.at_mm))
    if not measured:
        raise MeasureError(
            "at least one point must be measured; none is.",
            'Fill in x, y or z of a point, as in z = "54-3/4".',
        )
    return TackedRoof(points=measured, tape_mm=tape_mm)


def _point(fields, known):
    name = " ".join(fields.text("name").split())
    before = fields.point("before", None)
    if before is None and name not in known:
        near = get_close_matches(name, known, n=3)
        hint = f"Did you mean {' or '.join(map(quoted, near))}? " if near else ""
        raise MeasureError(
            f"{fields.place} must be a marked point of this roof.",
            f"{hint}The sheet that plumbdrop points writes lists them; a mark of your own needs "
            "before = [x, y, z], its place on the uncut roof.",
        )
    at = (None if fields.value(axis, "") == "" else fields.length(axis) for axis in AXES)
    return TackedPoint(name=name, at_mm=tuple(at), before_mm=before)
