"""Is this plan for this car?  Names, sides, words and heights; the geometry refuses the rest."""

from __future__ import annotations

import math

from .errors import PlanError
from .fields import choice_hint
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
)
from .units import shown

WIDEST_CUT_MM = 10.0  # assumed: no blade's kerf and no root gap is wider
WIDEST_FLANGE_MM = 300.0  # assumed: more is not a flange but the whole panel
METAL_GAUGE_MM = (0.4, 3.0)  # assumed: body sheet, as in carcheck
WIDEST_WELD_MM = 25.4  # assumed: nobody bridges a wider gap with filler wire
DEEPEST_CUT_BACK_MM = 76.2  # 3 in off one piece; assumed
WIDEST_TRIM_MM = 100.0  # assumed: more is another blank
LEAST_FILLER_MM = 0.1  # between two root gaps; less is nothing but bead
WIDEST_SPLIT_MM = 300.0  # assumed: parts of a roof further apart are another roof
MOST_LEAN_DEG = 75.0  # assumed: a post that leans more is none
STEEPEST_DEG = 80.0  # assumed: a cut plane steeper than that runs along the post


def check_plan(plan, car):
    """Refuse a plan that was not made for this car; return None.

    Raises
    ------
    PlanError
        With the parameter as ``--set`` takes it, the limit on this car and
        the next step.
    """
    if plan.car and plan.car != car.name:
        raise PlanError(
            "car",
            f'must be "{car.name}", the car it is used on; got "{plan.car}".',
            "Take a plan made for this car.",
        )
    check_words(plan)
    _check_between("kerf", plan.kerf_mm, 0.0, WIDEST_CUT_MM, car)
    _check_between("root_gap", plan.root_gap_mm, 0.0, WIDEST_CUT_MM, car)
    if plan.window:
        _check_between("flange", plan.window.flange_mm, 0.0, WIDEST_FLANGE_MM, car)
    if plan.new_metal:
        _check_metal(plan.new_metal, plan.root_gap_mm, car)
    if plan.way and plan.roof is None:
        raise PlanError("way", "must come with a roof that is moved.", "Give the drops, or leave it out.")
    if plan.split:
        _check_split(plan, car)
    for cut in plan.cuts:
        for post in posts_of(cut.post, cut.side, setting_name("cut", cut), car):
            if cut.height_mm is not None:
                name = setting_name("cut_height", cut)
                _check_between(name, cut.height_mm, post.cut_from_mm, post.cut_to_mm, car)
    for shift in plan.shifts:
        posts_of(shift.post, shift.side, setting_name("shift", shift), car)
    for lean in plan.leans:
        for post in posts_of(lean.post, lean.side, setting_name("lean", lean), car):
            if lean.hinge_mm is not None:
                name = setting_name("hinge_height", lean)
                _check_between(name, lean.hinge_mm, post.axis_mm[0][2], post.cut_to_mm, car)
    for cut in plan.pie_cuts:
        for post in posts_of(cut.post, cut.side, setting_name("pie_cut", cut), car):
            if plan.lean_of(post.name, post.side) is not None:
                raise PlanError(
                    setting_name("pie_cut", cut),
                    "must not come with a lean of the same post; either turns its lower end.",
                    "Take one of the two out.",
                )


def _check_metal(metal, root_gap_mm, car):
    least = 2 * root_gap_mm + LEAST_FILLER_MM
    if metal.closes_from_mm is not None:
        _check_between("closes_from", metal.closes_from_mm, least, max(WIDEST_WELD_MM, least), car)
    if metal.gauge_mm is not None:
        _check_between("metal_gauge", metal.gauge_mm, *METAL_GAUGE_MM, car)
    _check_between("metal_trim", metal.trim_mm, 0.0, WIDEST_TRIM_MM, car)
    if metal.cut_back_mm is not None:
        _check_between("cut_back", metal.cut_back_mm, 0.0, DEEPEST_CUT_BACK_MM, car)


def _check_split(plan, car):
    """Refuse a split of a roof that stays, one that cuts nothing, and lengths that no roof has."""
    split = plan.split
    if plan.roof is None:
        raise PlanError("split", "must come with a roof that is moved.", "Give the drops, or leave it out.")
    if split.spread_mm is None and split.lengthen_mm is None:
        raise PlanError(
            "split",
            "must say how far the roof's parts go apart; it gives neither spread nor lengthen.",
            f"Give spread, lengthen or both, as a length or {MEET}.",
        )
    if split.across_at_mm is not None and split.lengthen_mm is None:
        raise PlanError(
            "across_at",
            "must come with lengthen: without it the roof is not cut across.",
            f"Give lengthen as a length or {MEET}.",
        )
    for name in ("spread", "lengthen"):
        apart = getattr(split, f"{name}_mm")
        if apart is not None and not isinstance(apart, str):
            _check_between(name, apart, 0.0, WIDEST_SPLIT_MM, car)
    if split.across_at_mm is not None:
        crown = [hoop.right_mm[-1][0] for hoop in car.hoops]
        _check_between("across_at", split.across_at_mm, min(crown), max(crown), car)


def check_words(plan):
    """Refuse a word that no plan may have, whatever the car."""
    _check_word("cut", plan.cut, (LEVEL, SQUARE))
    if plan.way:
        _check_word("way", plan.way, WAYS)
    if plan.roof and isinstance(plan.roof.fore_aft, str):
        _check_word("fore_aft", plan.roof.fore_aft, (ALONG_WINDSHIELD, STRAIGHT_DOWN))
    if plan.window:
        moves = (plan.window.forward_mm, plan.window.down_mm, plan.window.lay_down_deg)
        for name, value in zip(("window_forward", "window_down", "lay_down"), moves, strict=True):
            if isinstance(value, str):
                _check_word(name, value, (FIT,))
    if plan.split:
        for name in ("spread", "lengthen"):
            apart = getattr(plan.split, f"{name}_mm")
            if isinstance(apart, str):
                _check_word(name, apart, (MEET,))
    for cut in plan.cuts:
        if isinstance(cut.plane, str):
            _check_word(setting_name("cut", cut), cut.plane, (LEVEL, SQUARE))
        elif isinstance(cut.plane, GivenPlane):
            for rise_deg in (cut.plane.rises_rearward_deg, cut.plane.rises_inboard_deg):
                if not abs(rise_deg) <= STEEPEST_DEG:
                    raise PlanError(
                        setting_name("cut", cut),
                        f"must rise by at most {STEEPEST_DEG:g} degrees; got {rise_deg:g} degrees.",
                        "A level plane rises by 0.",
                        value_mm=rise_deg,
                        limit_mm=STEEPEST_DEG,
                    )
    for shift in plan.shifts:
        if isinstance(shift.by, str):
            _check_word(setting_name("shift", shift), shift.by, (LINE_UP,))
    for cut in plan.pie_cuts:
        _check_word(setting_name("pie_cut", cut), cut.by, (MEET,))
    for lean in plan.leans:
        name = setting_name("lean", lean)
        if isinstance(lean.lean, str):
            _check_word(name, lean.lean, (MEET, MEET_BOTH_WAYS))
        elif not abs(lean.lean) <= MOST_LEAN_DEG:
            raise PlanError(
                name,
                f"must be at most {MOST_LEAN_DEG:g} degrees from plumb; got {lean.lean:g} degrees.",
                f"Lean it less, or say {MEET}.",
                value_mm=lean.lean,
                limit_mm=MOST_LEAN_DEG,
            )


def setting_name(kind, line):
    """Return the name under which ``--set`` takes a post's line: ``cut.B`` or ``cut.B.left``."""
    return f"{kind}.{line.post}" + (f".{line.side}" if line.side else "")


def posts_of(name, side, parameter, car):
    """Return the car's posts of a name, on one side or (None) on all."""
    posts = [post for post in car.all_posts() if post.name == name]
    if not posts:
        names = list(dict.fromkeys(post.name for post in car.posts))
        raise PlanError(parameter, f'must name a post of this car; got "{name}".', choice_hint(name, names))
    found = [post for post in posts if side in (None, post.side)]
    if not found:
        sides = [post.side for post in posts]
        raise PlanError(
            parameter, f'must name a side on which post "{name}" is; got "{side}".', choice_hint(side, sides)
        )
    return found


def _check_word(parameter, word, words):
    if word not in words:
        raise PlanError(parameter, f'must be {" or ".join(words)}; got "{word}".', choice_hint(word, words))


def _check_between(parameter, value_mm, least_mm, most_mm, car):
    if not (math.isfinite(value_mm) and least_mm - 1e-6 <= value_mm <= most_mm + 1e-6):
        raise PlanError(
            parameter,
            f"must be between {shown(least_mm, car.unit)} and {shown(most_mm, car.unit)} on this car; "
            f"got {shown(value_mm, car.unit) if math.isfinite(value_mm) else value_mm}.",
            "Choose a value between the two.",
            value_mm=value_mm,
            limit_mm=least_mm if value_mm < least_mm else most_mm,
        )
