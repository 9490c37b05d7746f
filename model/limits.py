"""How far every parameter of a plan may go on one car.

The drops are limited by the posts: both cuts of every post must stay on the
stretch that may be cut; found on the posts alone, which takes
milliseconds.  Other limits are the car's size; those that are a judgement say
``assumed``.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from scipy.optimize import brentq

from .built import place, remembered_shape
from .errors import PlanError
from .measured import Car
from .placing import cab_height_mm, roof_length_mm, window_limits
from .plan import FIT, Plan, RoofMove
from .plancheck import WIDEST_SPLIT_MM, check_words
from .posts import room_above_mm
from .units import shown

ROOT_GAP_MM = (0.0, 6.0)  # assumed
PROUD_MM = (-25.0, 25.0)  # assumed: more is not tucked under but another line
KERF_MM = (0.1, 6.0)  # assumed: hacksaw blade to grinding wheel
LEAST_FLANGE_MM = 3.0  # assumed: less leaves nothing to weld to
_TOLERANCE_MM = 1e-3


def _room_mm(car: Car, plan: Plan) -> float:
    """Return how much further the upper cuts could go before one leaves its post. [mm]"""
    return min(room_above_mm(ends) for ends in place(remembered_shape(car), plan).ends.values())


def drop_limit_mm(car: Car, plan: Plan, which: str) -> float:
    """Return the largest ``front_drop`` or ``rear_drop`` with the rest of the plan held. [mm]

    The root of the room left above the upper cuts, searched from the plan's
    own drops (from equal drops where those leave no room); 0 if there is
    none.  Shifts are left out, for they hardly change it.
    """
    roof = plan.roof or RoofMove()
    other = roof.rear_drop_mm if which == "front_drop" else roof.front_drop_mm

    def room(drop_mm):
        try:
            return _room_mm(car, plan.changed(roof=replace(roof, **{f"{which}_mm": drop_mm}), shifts=()))
        except PlanError:  # a pitch that does not exist
            return -highest

    highest = cab_height_mm(car)  # more is refused in any case
    for start in (getattr(roof, f"{which}_mm"), min(other, highest), 0.0):
        if 0 <= start < highest and room(start) > 0:
            if room(highest) > 0:
                return highest
            root = float(brentq(room, start, highest, xtol=_TOLERANCE_MM))
            return max(root - _TOLERANCE_MM, start)  # on the side where there is room
    return 0.0


def refused_drop(car: Car, plan: Plan, refusal: PlanError) -> PlanError:
    """Return a refused cut as the drop to change and how far it may go, where a drop is to blame.

    Where changing either would do, the one that has to change less.
    """
    limits = {which: drop_limit_mm(car, plan, which) for which in ("rear_drop", "front_drop")}
    past = {which: getattr(plan.roof, f"{which}_mm") - limit for which, limit in limits.items()}
    past = {which: by for which, by in past.items() if by > 0}
    if not past:
        return refusal
    if any(limits[which] > 0 for which in past):  # a limit of nothing is no way out
        past = {which: by for which, by in past.items() if limits[which] > 0}
    which = min(past, key=past.get)
    value, limit = getattr(plan.roof, f"{which}_mm"), limits[which]
    return PlanError(
        which,
        f"must be at most {shown(_down_to_sixteenth(limit), car.unit)} on this car with the rest of "
        f"this plan; got {shown(value, car.unit)}. ({refusal.parameter} {refusal.message})",
        "Drop it less, cut lower, or re-measure how high that post may be cut.",
        value_mm=value,
        limit_mm=limit,
    )


def _down_to_sixteenth(length_mm: float) -> float:
    """Return the next 1/16 in below, so that a limit shown on a tape is never past the real one."""
    return length_mm // (25.4 / 16) * (25.4 / 16)


def limits_of(car: Car, plan: Plan) -> dict[str, tuple[float, float]]:
    """Return {parameter: (least, greatest)}, each with the rest of the plan held.

    In mm, ``lay_down`` in degrees; names as ``--set`` takes them.
    """
    length = roof_length_mm(car)
    height = cab_height_mm(car)
    shape = remembered_shape(car)
    return {
        "front_drop": (0.0, drop_limit_mm(car, plan, "front_drop")),
        "rear_drop": (0.0, drop_limit_mm(car, plan, "rear_drop")),
        "fore_aft": (-length / 4, length / 4),
        **window_limits(car),
        "window_proud": PROUD_MM,
        "window_sink": (0.0, height / 2),
        "flange": (LEAST_FLANGE_MM, shape.widest_flange_mm - max(plan.kerf_mm, plan.root_gap_mm)),
        "kerf": KERF_MM,
        "root_gap": ROOT_GAP_MM,
    }


def check_ranges(car: Car, plan: Plan) -> None:
    """Refuse a plan with a parameter outside the limits that need no geometry.

    Raises
    ------
    PlanError
        With the parameter, its limits on this car and the next step.
    """
    check_words(plan)
    length, height = roof_length_mm(car), cab_height_mm(car)
    checks = [("kerf", plan.kerf_mm, KERF_MM), ("root_gap", plan.root_gap_mm, ROOT_GAP_MM)]
    if plan.roof is not None:
        checks += [
            ("front_drop", plan.roof.front_drop_mm, (0.0, height)),
            ("rear_drop", plan.roof.rear_drop_mm, (0.0, height)),
        ]
        if not isinstance(plan.roof.fore_aft, str):
            checks.append(("fore_aft", plan.roof.fore_aft, (-length / 4, length / 4)))
    for name in ("spread", "lengthen") if plan.split is not None else ():
        apart = getattr(plan.split, f"{name}_mm")
        if apart is not None and not isinstance(apart, str):
            checks.append((name, apart, (0.0, WIDEST_SPLIT_MM)))
    if plan.window is not None:
        window, limits = plan.window, window_limits(car)
        checks += [("flange", window.flange_mm, (LEAST_FLANGE_MM, length))]
        checks += [("window_proud", window.proud_mm, PROUD_MM)]
        if window.sink_mm is not None:
            checks.append(("window_sink", window.sink_mm, (0.0, height / 2)))
        moves = {"window_forward": window.forward_mm, "window_down": window.down_mm}
        checks += [(name, value, limits[name]) for name, value in moves.items() if value not in (None, FIT)]
        low, high = limits["lay_down"]
        if window.lay_down_deg != FIT and not low <= window.lay_down_deg <= high:
            raise PlanError(
                "lay_down",
                f"must be between {low:g}° and {high:g}°; got {window.lay_down_deg:g}°.",
                "Lay the window down less, or move it forward and down instead.",
                value_mm=window.lay_down_deg,
                limit_mm=high if window.lay_down_deg > high else low,
            )
    for name, value, (low, high) in checks:
        if not low <= value <= high:
            raise PlanError(
                name,
                f"must be between {shown(low, car.unit)} and {shown(high, car.unit)} on this car; "
                f"got {shown(value, car.unit) if isfinite(value) else value}.",
                "Choose a value in that range.",
                value_mm=value,
                limit_mm=high if value > high else low,
            )
