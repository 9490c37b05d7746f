"""Settings typed one by one, ``front_drop=2-1/4``, onto a plan."""

from __future__ import annotations

from dataclasses import replace

from .errors import PlanError
from .fields import choice_hint, read_length
from .measured import SIDES, Car
from .plan import (
    ALONG_WINDSHIELD,
    AS_PLANNED,
    FIT,
    LEVEL,
    LINE_UP,
    MEET,
    MEET_BOTH_WAYS,
    SQUARE,
    STRAIGHT_DOWN,
    WAYS,
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
from .planfile import AUTO, angle_or_fit, angle_or_word, length_or_word, sheet_gauge_mm

NONE, YES = "none", "yes"
SETTINGS = {
    "name": "text",
    "front_drop": "length",
    "rear_drop": "length",
    "fore_aft": f"{ALONG_WINDSHIELD}, {STRAIGHT_DOWN}, or a length forward",
    "way": f"{', '.join(WAYS)}, or {NONE}",
    "window_forward": f"{FIT}, or a length",
    "window_down": f"{AUTO}, {FIT}, or a length",
    "lay_down": f"{FIT}, or degrees",
    "window_proud": "length",
    "window_sink": f"{NONE}, or a length",
    "flange": "length",
    "spread": f"{MEET}, {NONE}, or a length",
    "lengthen": f"{MEET}, {NONE}, or a length",
    "across_at": f"{NONE}, or a length: x on the uncut car",
    "cut": f"{LEVEL} or {SQUARE}, for all posts",
    "kerf": "length",
    "root_gap": "length",
    "new_metal": f"{YES} or {NONE}: sheet let in wherever a seam stands open",
    "closes_from": f"{AUTO}, or a length: gaps wider than this get new metal",
    "metal_gauge": f"{AUTO} for the car's, a length, or such as 18 ga",
    "metal_trim": "length, left on around the blank",
    "cut_back": f"{AUTO}, or a length: old sheet that comes off each piece where new metal goes in",
    "cut.POST[.SIDE]": f"{LEVEL} or {SQUARE}",
    "cut_height.POST[.SIDE]": "length",
    "shift.POST[.SIDE]": f"{LINE_UP}, {NONE}, or a length rearward",
    "lean.POST[.SIDE]": f"{MEET}, {MEET_BOTH_WAYS}, {NONE}, or degrees",
    "hinge_height.POST[.SIDE]": "length",
    "pie_cut.POST[.SIDE]": f"{MEET} or {NONE}: lower end drawn in beside it",
}
PAIR = ("right", "left")
ROOF_FIELDS = {"front_drop": "front_drop_mm", "rear_drop": "rear_drop_mm"}
WINDOW_FIELDS = {"window_proud": "proud_mm", "flange": "flange_mm"}
WINDOW_WORDS = ("window_forward", "window_down", "lay_down", "window_sink")
SPLIT_WORDS = {"spread": (MEET, NONE), "lengthen": (MEET, NONE), "across_at": (NONE,)}
CUT_FIELDS = {"kerf": "kerf_mm", "root_gap": "root_gap_mm"}
METAL_SETTINGS = ("closes_from", "metal_gauge", "metal_trim", "cut_back")
POST_SETTINGS = ("cut", "cut_height", "shift", "lean", "hinge_height", "pie_cut")


def plan_with_settings(plan: Plan, settings, car: Car) -> Plan:
    """Return the plan with some settings changed, one after the other.

    Parameters
    ----------
    settings : iterable of str
        Each ``name=value``; the names are the keys of :data:`SETTINGS`.
        Plain numbers are in the car's unit.
    car : Car
        The result is checked against it.

    Raises
    ------
    PlanError
        If a name is unknown, a value cannot be read, or the result is not
        for this car.

    Examples
    --------
    ``plan_with_settings(plan, ["front_drop=2-1/4", "cut.B.left=square"], car)``
    """
    for setting in settings:
        name, equals, value = (part.strip() for part in setting.partition("="))
        if not equals or not value:
            raise PlanError(
                name or "setting", f"must be typed name=value; got {setting!r}.", "For example: front_drop=2."
            )
        plan = _with_setting(plan, name, value, car)
    check_plan(plan, car)
    return plan


def _with_setting(plan, name, value, car):
    kind, dot, post_and_side = name.partition(".")
    if dot and kind in POST_SETTINGS:
        post, _, side = post_and_side.partition(".")
        if side and side not in SIDES:
            raise PlanError(name, f'must end in a side; got "{side}".', choice_hint(side, SIDES))
        change = {
            "cut": _with_plane,
            "cut_height": _with_height,
            "shift": _with_shift,
            "lean": _with_lean,
            "hinge_height": _with_hinge,
            "pie_cut": _with_pie_cut,
        }[kind]
        return change(plan, name, post, side or None, value, car.unit)
    if name in ROOF_FIELDS:
        length = read_length(value, car.unit, name, PlanError)
        return replace(plan, roof=replace(plan.roof or RoofMove(), **{ROOF_FIELDS[name]: length}))
    if name in WINDOW_FIELDS:
        length = read_length(value, car.unit, name, PlanError)
        return replace(plan, window=replace(plan.window or WindowMove(), **{WINDOW_FIELDS[name]: length}))
    if name in CUT_FIELDS:
        return replace(plan, **{CUT_FIELDS[name]: read_length(value, car.unit, name, PlanError)})
    if name in SPLIT_WORDS:
        apart = length_or_word(value, SPLIT_WORDS[name], car.unit, name)
        return _with_split(plan, **{f"{name}_mm": None if apart == NONE else apart})
    if name == "fore_aft":
        way = length_or_word(value, (ALONG_WINDSHIELD, STRAIGHT_DOWN), car.unit, name)
        return replace(plan, roof=replace(plan.roof or RoofMove(), fore_aft=way))
    if name in WINDOW_WORDS:
        return replace(plan, window=replace(plan.window or WindowMove(), **_window_move(name, value, car)))
    if name == "new_metal":
        return replace(plan, new_metal=_new_metal(name, value, plan.new_metal))
    if name in METAL_SETTINGS:
        return replace(plan, new_metal=_with_metal(plan.new_metal or NewMetal(), name, value, car.unit))
    if name == "cut":
        heights = tuple(replace(cut, plane=None) for cut in plan.cuts if cut.height_mm is not None)
        return replace(plan, cut=_plane(name, value), cuts=heights)
    if name == "way":
        return replace(plan, way=AS_PLANNED if value.lower() == NONE else value.lower())
    if name == "name":
        return replace(plan, name=value)
    raise PlanError(name, "is not a setting of a plan.", choice_hint(name, list(SETTINGS)))


def _window_move(name, value, car):
    """Return the field of a window move that a word or a number sets, by its name."""
    if name == "lay_down":
        return {"lay_down_deg": angle_or_fit(value, name)}
    if name == "window_forward":
        return {"forward_mm": length_or_word(value, (FIT,), car.unit, name)}
    words, field = {"window_down": ((AUTO, FIT), "down_mm"), "window_sink": ((NONE,), "sink_mm")}[name]
    length = length_or_word(value, words, car.unit, name)
    return {field: None if length in (AUTO, NONE) else length}


def _new_metal(name, value, metal):
    if value.lower() not in (YES, NONE):
        raise PlanError(name, f'must be {YES} or {NONE}; got "{value}".', choice_hint(value, (YES, NONE)))
    return metal or NewMetal() if value.lower() == YES else None


def _with_metal(metal, name, value, unit):
    if name == "metal_trim":
        return replace(metal, trim_mm=read_length(value, unit, name, PlanError))
    if name == "metal_gauge":
        return replace(metal, gauge_mm=sheet_gauge_mm(value, unit, name))
    length = length_or_word(value, (AUTO,), unit, name)
    field = {"closes_from": "closes_from_mm", "cut_back": "cut_back_mm"}[name]
    return replace(metal, **{field: None if length == AUTO else length})


def _with_split(plan, **change):
    """Return the plan with one setting of its split changed; without a cut there is no split left."""
    split = replace(plan.split or RoofSplit(), **change)
    return replace(plan, split=None if split == RoofSplit() else split)


def _plane(name, value):
    if value.lower() not in (LEVEL, SQUARE):
        raise PlanError(
            name,
            f'must be {LEVEL} or {SQUARE}; got "{value}".',
            f"{choice_hint(value, (LEVEL, SQUARE))} Other planes go into a plan file.",
        )
    return value.lower()


def _with_plane(plan, name, post, side, value, unit):
    return _with_cut(plan, post, side, plane=_plane(name, value))


def _with_height(plan, name, post, side, value, unit):
    return _with_cut(plan, post, side, height_mm=read_length(value, unit, name, PlanError))


def _with_cut(plan, post, side, **change):
    """Return the plan with one field of a post's cut set; for both sides, the one-sided ones give way."""
    (field,) = change
    cuts, known = [], PostCut(post=post, side=side)
    for cut in plan.cuts:
        if cut.post == post and cut.side == side:
            known = replace(
                cut,
                height_mm=known.height_mm if cut.height_mm is None else cut.height_mm,
                plane=known.plane if cut.plane is None else cut.plane,
            )
        elif cut.post == post and side is None:
            rest = replace(cut, **{field: None})
            cuts += [rest] if (rest.height_mm, rest.plane) != (None, None) else []
        else:
            cuts.append(cut)
    return replace(plan, cuts=(*cuts, replace(known, **change)))


def _with_shift(plan, name, post, side, value, unit):
    by = length_or_word(value, (LINE_UP, NONE), unit, name)
    shifts = [shift for shift in plan.shifts if shift.post != post or (side and shift.side != side)]
    if by == NONE:
        if side and plan.shift_of(post, side) is not None:
            shifts.append(PostShift(post=post, side=side, by=0.0))  # over a shift of both sides
    else:
        shifts.append(PostShift(post=post, side=side, by=by))
    return replace(plan, shifts=tuple(shifts))


def _with_lean(plan, name, post, side, value, unit):
    """Return the plan with a post leaned; ``none`` for one side only keeps the other side's lean."""
    known = plan.lean_of(post, side)
    others = tuple(lean for lean in plan.leans if lean.post != post or (side and lean.side != side))
    if value.lower() != NONE:
        lean = angle_or_word(value, (MEET, MEET_BOTH_WAYS, NONE), name)
        new = PostLean(post=post, side=side, lean=lean, hinge_mm=known.hinge_mm if known else None)
        return replace(plan, leans=(*others, new))
    if side and any(lean.post == post and lean.side is None for lean in others):
        raise PlanError(
            name,
            "must be given with both sides; got none for one side of a lean of both.",
            f"Set lean.{post}=none, then lean the other side by itself.",
        )
    return replace(plan, leans=others)


def _with_hinge(plan, name, post, side, value, unit):
    known = plan.lean_of(post, side)
    if known is None:
        raise PlanError(name, "must come after a lean of that post.", f"Set lean.{post} first.")
    others = tuple(lean for lean in plan.leans if lean.post != post or (side and lean.side != side))
    hinged = replace(known, side=side, hinge_mm=read_length(value, unit, name, PlanError))
    return replace(plan, leans=(*others, hinged))


def _with_pie_cut(plan, name, post, side, value, unit):
    """Return the plan with a post's lower end drawn in; ``none`` for one side keeps the other side's."""
    if value not in (MEET, NONE):
        raise PlanError(name, f'must be {MEET} or {NONE}; got "{value}".', choice_hint(value, (MEET, NONE)))
    before = {at for at in PAIR if plan.has_pie_cut(post, at)} if side else set()
    sides = before | {side} if value == MEET else before - {side}
    if sides >= set(PAIR) or None in sides:
        sides = {None}
    new = tuple(PostPieCut(post=post, side=at) for at in (None, *SIDES) if at in sides)
    return replace(plan, pie_cuts=(*(cut for cut in plan.pie_cuts if cut.post != post), *new))
