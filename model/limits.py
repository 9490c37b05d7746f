"""How far every parameter of a plan may go on one car.

The drops are limited by the posts: both cuts of every post must stay on the
stretch that may be cut.  Other limits are the car's size; those that are a
judgement say ``assumed``.
"""

from __future__ import annotations

from dataclasses import replace

from .errors import PlanError
from .measured import Car
from .plan import Plan, RoofMove, WindowMove
from .units import shown

LAY_DOWN_DEG = (-10.0, 45.0)  # assumed: beyond this it is another window
ROOT_GAP_MM = (0.0, 6.0)  # assumed
KERF_MM = (0.1, 6.0)  # assumed: hacksaw blade to grinding wheel
LEAST_FLANGE_MM = 3.0  # assumed: less leaves nothing to weld to
STEEPEST_PLANE_DEG = 60.0  # assumed
_TOLERANCE_MM = 1e-3


def largest(accepts, high: float) -> float:
    """Return the largest accepted value in [0, high] by bisection; 0 must be accepted."""
    if accepts(high):
        return high
    low = 0.0
    while high - low > _TOLERANCE_MM:
        middle = (low + high) / 2
        low, high = (middle, high) if accepts(middle) else (low, middle)
    return low


def roof_length_mm(car: Car) -> float:
    """Return the length of the roof from the first to the last hoop, along the crown. [mm]"""
    return car.hoops[-1].right_mm[-1][0] - car.hoops[0].right_mm[-1][0]


def limits_of(car: Car, plan: Plan, is_buildable) -> dict[str, tuple[float, float]]:
    """Return {parameter: (least, greatest)}, each with the rest of the plan held.

    Parameters
    ----------
    is_buildable : callable
        Takes a plan and says whether its cuts stay on the posts.

    Returns
    -------
    dict
        In mm, ``lay_down`` in degrees.
    """
    highest = max(post.cut_to_mm - post.cut_from_mm for post in car.posts)
    roof = plan.roof or RoofMove()
    window = plan.window or WindowMove()

    def with_drop(**change):
        return is_buildable(plan.changed(roof=replace(roof, **change), shifts=()))

    length = roof_length_mm(car)
    belt = min(hoop.right_mm[0][2] for hoop in car.hoops)
    top = max(hoop.right_mm[-1][2] for hoop in car.hoops)
    return {
        "front_drop": (0.0, largest(lambda d: with_drop(front_drop_mm=d), highest)),
        "rear_drop": (0.0, largest(lambda d: with_drop(rear_drop_mm=d), highest)),
        "fore_aft": (-length / 4, length / 4),
        "window_forward": (-length / 4, length / 2),
        "window_down": (-(top - belt) / 2, (top - belt) / 2),
        "lay_down": LAY_DOWN_DEG,
        "flange": (LEAST_FLANGE_MM, max(LEAST_FLANGE_MM, window.flange_mm)),
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
    length = roof_length_mm(car)
    belt = min(hoop.right_mm[0][2] for hoop in car.hoops)
    top = max(hoop.right_mm[-1][2] for hoop in car.hoops)
    checks = [("kerf", plan.kerf_mm, KERF_MM), ("root_gap", plan.root_gap_mm, ROOT_GAP_MM)]
    if plan.roof is not None:
        checks += [
            ("front_drop", plan.roof.front_drop_mm, (0.0, top - belt)),
            ("rear_drop", plan.roof.rear_drop_mm, (0.0, top - belt)),
        ]
        if not isinstance(plan.roof.fore_aft, str):
            checks.append(("fore_aft", plan.roof.fore_aft, (-length / 4, length / 4)))
    if plan.window is not None:
        checks += [
            ("window_forward", plan.window.forward_mm, (-length / 4, length / 2)),
            ("flange", plan.window.flange_mm, (LEAST_FLANGE_MM, length)),
        ]
        if plan.window.down_mm is not None:
            checks.append(("window_down", plan.window.down_mm, (-(top - belt) / 2, (top - belt) / 2)))
        low, high = LAY_DOWN_DEG
        if not low <= plan.window.lay_down_deg <= high:
            raise PlanError(
                "lay_down",
                f"must be between {low:g}° and {high:g}°; got {plan.window.lay_down_deg:g}°.",
                "Lay the window down less, or move it forward and down instead.",
                value_mm=plan.window.lay_down_deg,
                limit_mm=high if plan.window.lay_down_deg > high else low,
            )
    for name, value, (low, high) in checks:
        if not low <= value <= high:  # also refuses nan
            raise PlanError(
                name,
                f"must be between {shown(low, car.unit)} and {shown(high, car.unit)} on this car; "
                f"got {shown(value, car.unit)}.",
                "Choose a value in that range.",
                value_mm=value,
                limit_mm=high if value > high else low,
            )
