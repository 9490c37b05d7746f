"""A plan as plain dicts and lists, for programs: the records' own field names, mm and degrees."""

from __future__ import annotations

import math
from dataclasses import MISSING, asdict, fields

from .errors import PlanError
from .fields import choice_hint
from .plan import (
    FIT,
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
from .plancheck import check_words

WORD_OR_NUMBER = ("fore_aft", "by", "lean", "spread_mm", "lengthen_mm")
FIT_OR_NUMBER = ("forward_mm", "down_mm", "lay_down_deg")


def plan_to_dict(plan: Plan) -> dict:
    """Return a plan as dicts, lists, numbers and texts, ready for JSON.

    Examples
    --------
    >>> plan_to_dict(Plan(roof=RoofMove(front_drop_mm=57.15)))["roof"]["front_drop_mm"]
    57.15
    """
    values = asdict(plan)
    return {
        **values,
        "cuts": list(values["cuts"]),
        "shifts": list(values["shifts"]),
        "leans": list(values["leans"]),
        "pie_cuts": list(values["pie_cuts"]),
    }


def plan_from_dict(values) -> Plan:
    """Return the plan that :func:`plan_to_dict` was given.

    Raises
    ------
    PlanError
        If a key is unknown or missing, or a value is not of its kind.
    """
    plan = _record(
        Plan,
        values,
        "plan",
        roof=lambda roof, place: roof and _record(RoofMove, roof, place),
        window=lambda window, place: window and _record(WindowMove, window, place),
        new_metal=lambda metal, place: metal and _record(NewMetal, metal, place),
        split=lambda split, place: split and _record(RoofSplit, split, place),
        cuts=lambda cuts, place: tuple(
            _cut(cut, f"{place} {n}") for n, cut in enumerate(_list(cuts, place), 1)
        ),
        shifts=lambda shifts, place: tuple(
            _record(PostShift, shift, f"{place} {n}") for n, shift in enumerate(_list(shifts, place), 1)
        ),
        leans=lambda leans, place: tuple(
            _record(PostLean, lean, f"{place} {n}") for n, lean in enumerate(_list(leans, place), 1)
        ),
        pie_cuts=lambda cuts, place: tuple(
            _record(PostPieCut, cut, f"{place} {n}") for n, cut in enumerate(_list(cuts, place), 1)
        ),
    )
    check_words(plan)
    return plan


def _cut(values, place):
    return _record(
        PostCut,
        values,
        place,
        plane=lambda plane, at: (
            _record(GivenPlane, plane, at) if isinstance(plane, dict) else _value("plane", plane, at)
        ),
    )


def _record(kind, values, place, **inner):
    """Return a record of the kind from its dict; ``inner`` makes its parts that are not plain."""
    known = {field.name: field for field in fields(kind)}
    if not isinstance(values, dict):
        raise PlanError(place, f"must be an object; got {values!r:.60}.", f"It holds: {', '.join(known)}.")
    for name in values:
        if name not in known:
            raise PlanError(place, f'has the unknown key "{name}".', choice_hint(name, known))
    for name, field in known.items():
        if field.default is MISSING and name not in values:
            raise PlanError(place, f'must give "{name}"; it is missing.', "Add it.")
    read = {}
    for name, value in values.items():
        at = f"{place}.{name}"
        read[name] = inner[name](value, at) if name in inner else _value(name, value, at, known[name].default)
    return kind(**read)


def _value(name, value, place, default=None):
    """Return a plain value if it is of the kind that its name says."""
    if value is None and (default is None or name == "plane"):
        return None
    if value == FIT and name in FIT_OR_NUMBER:
        return FIT
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if is_number and (name.endswith(("_mm", "_deg")) or name in WORD_OR_NUMBER):
        return float(value)
    if isinstance(value, str) and (name in WORD_OR_NUMBER or not name.endswith(("_mm", "_deg"))):
        return value
    rule = "a finite number" if name.endswith(("_mm", "_deg")) else "text"
    raise PlanError(
        place, f"must be {rule}; got {value!r:.60}.", "Lengths are in mm and angles in degrees here."
    )


def _list(items, place):
    if not isinstance(items, (list, tuple)):
        raise PlanError(place, f"must be a list; got {items!r:.60}.", "Write [] for none.")
    return items
