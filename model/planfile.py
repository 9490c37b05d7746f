"""Plan files: what the fabricator decided, as TOML.

The published schema is ``schemas/plan.schema.json``.  The same plan as plain
dicts, for programs, is in :mod:`model.plandict`.
"""

from __future__ import annotations

from pathlib import Path

from .errors import MeasureError, PlanError
from .fields import Fields, choice_hint, read_angle, read_length
from .files import read_toml, write_text_atomically
from .gauges import is_gauge, thickness_mm
from .measured import SIDES, Car
from .plan import (
    ALONG_WINDSHIELD,
    FIT,
    LEVEL,
    LINE_UP,
    MEET,
    MEET_BOTH_WAYS,
    SQUARE,
    STRAIGHT_DOWN,
    WAYS,
    GivenPlane,
    NewMetal,
    Plan,
    PostCut,
    PostLean,
    PostPieCut,
    PostShift,
    RoofMove,
    RoofSplit,
    WindowMove,
)
from .plancheck import check_plan
from .tomltext import inline_table, length, quoted
from .units import unit_name

SCHEMA = 1
HEAD = (
    "schema",
    "car",
    "name",
    "way",
    "cut",
    "kerf",
    "root_gap",
    "roof",
    "window",
    "split",
    "new_metal",
    "post",
)
ROOF = ("front_drop", "rear_drop", "fore_aft")
WINDOW = ("forward", "down", "lay_down", "flange", "proud", "sink")
METAL = ("closes_from", "gauge", "trim", "cut_back")
SPLIT = ("spread", "lengthen", "across_at")
POST = ("name", "side", "cut", "cut_height", "shift", "lean", "hinge_height", "pie_cut")
GIVEN = ("rises_rearward", "rises_inboard")
AUTO = "auto"  # the window panel down to the roof's edge; new metal as the car and the weld ask


def read_plan(path, car: Car) -> Plan:
    """Return the plan in a file, checked against the car.

    Parameters
    ----------
    path : str or Path
        A TOML file; its plain numbers are in the car's unit.

    Raises
    ------
    FileRefused
        If the file cannot be read, or is not complete TOML text.
    PlanError
        If a value cannot be read, or the plan is not for this car.
    """
    path = Path(path)
    values = read_toml(path)
    try:
        plan = _plan_from_values(values, car.unit)
        check_plan(plan, car)
    except PlanError as problem:
        raise PlanError(
            problem.parameter,
            f"in {path} {problem.message}",
            problem.next_step,
            value_mm=problem.value_mm,
            limit_mm=problem.limit_mm,
        ) from None
    return plan


def write_plan(plan: Plan, car: Car, path):
    """Write a plan to a file that :func:`read_plan` reads back, all or nothing.

    Lines of one post and side are written as one; later ones override.

    Raises
    ------
    PlanError
        If the plan is not for this car: no file is written that would be refused.
    FileRefused
        If the file cannot be written; an older one stays as it was.
    """
    check_plan(plan, car)
    write_text_atomically(path, plan_toml(plan, car.unit))


def plan_toml(plan: Plan, unit) -> str:
    """Return the text of a plan file with its lengths in ``unit``."""
    text = [
        f"# A plan for lowering a roof. Plain numbers are {unit_name(unit)} and degrees.",
        f"schema = {SCHEMA}",
        *([f"car = {quoted(plan.car)}"] if plan.car else []),
        f"name = {quoted(plan.name)}",
        *([f"way = {quoted(plan.way)}"] if plan.way else []),
        f"cut = {quoted(plan.cut)}",
        f"kerf = {length(plan.kerf_mm, unit)}",
        f"root_gap = {length(plan.root_gap_mm, unit)}",
    ]
    if plan.roof:
        text += ["", "[roof]", f"front_drop = {length(plan.roof.front_drop_mm, unit)}"]
        text += [f"rear_drop = {length(plan.roof.rear_drop_mm, unit)}"]
        text += [f"fore_aft = {length(plan.roof.fore_aft, unit)}"]
    if plan.window:
        window = plan.window
        down = AUTO if window.down_mm is None else window.down_mm
        lay_down = quoted(FIT) if window.lay_down_deg == FIT else repr(window.lay_down_deg)
        text += ["", "[window]", f"forward = {length(window.forward_mm, unit)}"]
        text += [f"down = {length(down, unit)}", f"lay_down = {lay_down}"]
        text += [f"flange = {length(window.flange_mm, unit)}"]
        text += [f"proud = {length(window.proud_mm, unit)}"] if window.proud_mm else []
        text += [f"sink = {length(window.sink_mm, unit)}"] if window.sink_mm is not None else []
    if plan.split:
        text += ["", "[split]"]
        given = ((name, getattr(plan.split, f"{name}_mm")) for name in SPLIT)
        text += [f"{name} = {length(value, unit)}" for name, value in given if value is not None]
    if plan.new_metal:
        text += ["", "[new_metal]", *_metal_lines(plan.new_metal, unit)]
    for (name, side), line in _lines_by_post(plan, unit).items():
        text += ["", "[[post]]", f"name = {quoted(name)}", *([f"side = {quoted(side)}"] if side else [])]
        text += [f"{setting} = {line[setting]}" for setting in POST[2:] if setting in line]
    return "\n".join(text) + "\n"


def _metal_lines(metal, unit):
    lengths = (metal.closes_from_mm, metal.gauge_mm, metal.trim_mm, metal.cut_back_mm)
    values = (AUTO if mm is None else mm for mm in lengths)
    return [f"{name} = {length(value, unit)}" for name, value in zip(METAL, values, strict=True)]


def length_or_word(value, words, unit, parameter):
    """Return one of a few words as it is, or a length. [mm]"""
    if isinstance(value, str) and value.strip().lower() in words:
        return value.strip().lower()
    try:
        return read_length(value, unit, parameter, PlanError)
    except PlanError as problem:
        raise PlanError(
            parameter, problem.message, f"{problem.next_step} Or one of: {', '.join(words)}."
        ) from None


def angle_or_word(value, words, parameter):
    """Return one of a few words as it is, or an angle. [deg]"""
    if isinstance(value, str) and value.strip().lower() in words:
        return value.strip().lower()
    try:
        return read_angle(value, parameter, PlanError)
    except PlanError as problem:
        raise PlanError(
            parameter, problem.message, f"{problem.next_step} Or one of: {', '.join(words)}."
        ) from None


def _plan_from_values(values, unit):
    head = Fields(values, HEAD, unit=unit, refuse=PlanError)
    head.choice("schema", (SCHEMA,), SCHEMA)
    lines = head.tables("post", POST)
    _refuse_repeated_posts(lines)
    return Plan(
        car=head.text("car", ""),
        name=head.text("name", Plan.name),
        way=head.choice("way", WAYS, Plan.way),
        roof=_roof(head.table("roof", ROOF)) if "roof" in head.values else None,
        window=_window(head.table("window", WINDOW)) if "window" in head.values else None,
        split=_split(head.table("split", SPLIT)) if "split" in head.values else None,
        new_metal=_new_metal(head.table("new_metal", METAL)) if "new_metal" in head.values else None,
        cut=head.choice("cut", (LEVEL, SQUARE), Plan.cut),
        cuts=tuple(_cut(line) for line in lines if {"cut", "cut_height"} & line.values.keys()),
        shifts=tuple(_shift(line) for line in lines if "shift" in line.values),
        leans=tuple(_lean(line) for line in lines if "lean" in line.values),
        pie_cuts=tuple(_pie_cut(line) for line in lines if "pie_cut" in line.values),
        kerf_mm=head.length("kerf", Plan.kerf_mm),
        root_gap_mm=head.length("root_gap", Plan.root_gap_mm),
    )


def _roof(fields):
    fore_aft = fields.value("fore_aft", RoofMove.fore_aft)
    ways = (ALONG_WINDSHIELD, STRAIGHT_DOWN)
    return RoofMove(
        front_drop_mm=fields.length("front_drop"),
        rear_drop_mm=fields.length("rear_drop"),
        fore_aft=length_or_word(fore_aft, ways, fields.unit, fields.at("fore_aft")),
    )


def angle_or_fit(value, parameter):
    """Return the word fit, or an angle. [deg]"""
    if isinstance(value, str) and value.strip().lower() == FIT:
        return FIT
    return read_angle(value, parameter, PlanError)


def _window(fields):
    def length(name, value, words):
        return length_or_word(fields.value(name, value), words, fields.unit, fields.at(name))

    down = length("down", AUTO, (AUTO, FIT))
    lay_down = fields.value("lay_down", WindowMove.lay_down_deg)
    return WindowMove(
        forward_mm=length("forward", f"{WindowMove.forward_mm} mm", (FIT,)),
        down_mm=None if down == AUTO else down,
        lay_down_deg=angle_or_fit(lay_down, fields.at("lay_down")),
        flange_mm=fields.length("flange", WindowMove.flange_mm),
        proud_mm=fields.length("proud", WindowMove.proud_mm),
        sink_mm=fields.length("sink", None),
    )


def _new_metal(fields):
    closes_from, cut_back = (
        length_or_word(fields.value(name, AUTO), (AUTO,), fields.unit, fields.at(name))
        for name in ("closes_from", "cut_back")
    )
    return NewMetal(
        closes_from_mm=None if closes_from == AUTO else closes_from,
        cut_back_mm=None if cut_back == AUTO else cut_back,
        gauge_mm=sheet_gauge_mm(fields.value("gauge", AUTO), fields.unit, fields.at("gauge")),
        trim_mm=fields.length("trim", NewMetal.trim_mm),
    )


def sheet_gauge_mm(value, unit, parameter) -> float | None:
    """Return the thickness of new sheet, given as a length or such as ``18 ga``; None for ``auto``. [mm]"""
    if is_gauge(value):
        try:
            return thickness_mm(value, parameter)
        except MeasureError as problem:
            raise PlanError(
                parameter, problem.message.removeprefix(f"{parameter} "), problem.next_step
            ) from None
    gauge = length_or_word(value, (AUTO,), unit, parameter)
    return None if gauge == AUTO else gauge


def _split(fields):
    apart = {}
    for name in SPLIT[:2]:
        value = fields.value(name, None)
        is_given = value is not None
        apart[f"{name}_mm"] = (
            length_or_word(value, (MEET,), fields.unit, fields.at(name)) if is_given else None
        )
    return RoofSplit(**apart, across_at_mm=fields.length("across_at", None))


def _cut(fields):
    plane = fields.value("cut", None)
    if isinstance(plane, dict):
        given = fields.table("cut", GIVEN)
        plane = GivenPlane(**{f"{rise}_deg": given.angle(rise, 0.0) for rise in GIVEN})
    elif plane not in (None, LEVEL, SQUARE):
        raise PlanError(
            fields.at("cut"),
            f"must be level, square, or {{ rises_rearward = …, rises_inboard = … }}; got {plane!r:.60}.",
            choice_hint(plane, (LEVEL, SQUARE)),
        )
    return PostCut(
        post=fields.text("name"), side=_side(fields), height_mm=fields.length("cut_height", None), plane=plane
    )


def _shift(fields):
    by = length_or_word(fields.value("shift"), (LINE_UP,), fields.unit, fields.at("shift"))
    return PostShift(post=fields.text("name"), side=_side(fields), by=by)


def _lean(fields):
    return PostLean(
        post=fields.text("name"),
        side=_side(fields),
        lean=angle_or_word(fields.value("lean"), (MEET, MEET_BOTH_WAYS), fields.at("lean")),
        hinge_mm=fields.length("hinge_height", None),
    )


def _pie_cut(fields):
    return PostPieCut(
        post=fields.text("name"), side=_side(fields), by=fields.choice("pie_cut", (MEET,), MEET)
    )


def _side(fields):
    return fields.choice("side", SIDES, None)


def _refuse_repeated_posts(lines):
    seen = set()
    for line in lines:
        place = (line.text("name"), _side(line))
        if place in seen:
            raise PlanError(
                line.place, "must be given once; it is given twice.", "Put its settings into one [[post]]."
            )
        seen.add(place)
        if not {"cut", "cut_height", "shift", "lean", "pie_cut"} & line.values.keys():
            raise PlanError(
                line.place,
                "must give cut, cut_height, shift, lean or pie_cut.",
                "Add one, or take the [[post]] out.",
            )
        if "hinge_height" in line.values and "lean" not in line.values:
            raise PlanError(
                line.at("hinge_height"), "must come with a lean.", f'Add lean = "{MEET}", or take it out.'
            )


def _lines_by_post(plan, unit):
    """Return what is written for each post and side, by (post, side) and setting."""
    lines = {}
    for cut in plan.cuts:
        line = lines.setdefault((cut.post, cut.side), {})
        if cut.height_mm is not None:
            line["cut_height"] = length(cut.height_mm, unit)
        if isinstance(cut.plane, GivenPlane):
            line["cut"] = inline_table((rise, repr(getattr(cut.plane, f"{rise}_deg"))) for rise in GIVEN)
        elif cut.plane:
            line["cut"] = quoted(cut.plane)
    for shift in plan.shifts:
        lines.setdefault((shift.post, shift.side), {})["shift"] = length(shift.by, unit)
    for lean in plan.leans:
        line = lines.setdefault((lean.post, lean.side), {})
        line["lean"] = quoted(lean.lean) if isinstance(lean.lean, str) else repr(lean.lean)
        if lean.hinge_mm is not None:
            line["hinge_height"] = length(lean.hinge_mm, unit)
    for cut in plan.pie_cuts:
        lines.setdefault((cut.post, cut.side), {})["pie_cut"] = quoted(cut.by)
    return {place: line for place, line in lines.items() if line}
