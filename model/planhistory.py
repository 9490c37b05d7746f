"""What was planned before: undo and redo as a frozen record."""

from __future__ import annotations

from dataclasses import dataclass, replace

from .plan import Plan

LONGEST = 200  # plans that are remembered


@dataclass(frozen=True)
class PlanHistory:
    """Plans that were shown: those before the present one, it, and those that were undone.

    Attributes
    ----------
    setting : str
        The one setting by which the present plan differs from the one before;
        empty if it is more than that.
    """

    now: Plan
    before: tuple[Plan, ...] = ()
    undone: tuple[Plan, ...] = ()
    setting: str = ""

    def with_plan(self, plan: Plan, setting: str = "") -> PlanHistory:
        """Return the history with a new plan.

        A slider that goes on moving takes the place of its own last plan, so
        that one press undoes the whole move.
        """
        if plan == self.now:
            return self
        if setting and setting == self.setting:
            return replace(self, now=plan, undone=())
        return PlanHistory(plan, (*self.before, self.now)[-LONGEST:], (), setting)

    def settled(self) -> PlanHistory:
        """Return the history after a pause: the next move is one of its own."""
        return replace(self, setting="")

    def undo(self) -> PlanHistory:
        """Return the history one plan back; itself where there is none."""
        if not self.before:
            return self
        return PlanHistory(self.before[-1], self.before[:-1], (self.now, *self.undone))

    def redo(self) -> PlanHistory:
        """Return the history with the last undone plan again; itself where there is none."""
        if not self.undone:
            return self
        return PlanHistory(self.undone[0], (*self.before, self.now), self.undone[1:])
