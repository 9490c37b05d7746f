"""Plans of one car carried out, to set side by side; and a plan with its rear window left where it was."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from .built import Built
from .errors import PlanError
from .evaluate import build_checked, report_of
from .measured import Car
from .plan import Plan, WindowMove
from .report import Report

STOCK_PLACE = "rear window in its stock place"
STOCK = "stock"


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """A plan carried out, and what it is called where plans are set side by side."""

    name: str
    built: Built
    report: Report


@lru_cache(maxsize=12)
def compared(car: Car, plan: Plan, name: str) -> Compared:
    """Return a plan carried out, remembered: a comparison asks for the same ones again.

    Raises
    ------
    PlanError
        If the plan cannot be built on this car.
    """
    built = build_checked(car, plan)
    return Compared(name=name, built=built, report=report_of(built))


def with_window_in_stock_place(plan: Plan) -> Plan:
    """Return the plan with its rear window panel cut out and left exactly where it was.

    The panel keeps its flange and does not come down with the roof: what the
    roof then misses it by is what moving the window forward saves.

    Raises
    ------
    PlanError
        If the plan leaves the rear window in the shell: then there is no
        other place to hold against.
    """
    if plan.window is None:
        raise PlanError(
            "window",
            "must be cut out of the shell to be held against its stock place; this plan leaves it in.",
            "Cut the rear window out first.",
        )
    return replace(plan, name=STOCK_PLACE, window=WindowMove(down_mm=0.0, flange_mm=plan.window.flange_mm))


def stock_of(plan: Plan) -> Plan:
    """Return the plan that leaves the car of a plan as it stands."""
    return Plan(car=plan.car, name=STOCK)
