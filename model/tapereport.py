"""What the report says of the tape's error: frozen records, no geometry.

A ± is two standard deviations, 95 %, in the unit of the number it stands by.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class PlusMinus:
    """A number with its ± at 95 %, from the tape alone.  Unit mm or deg."""

    where: str  # A right, all seams, windshield …
    what: str  # take-out, miss across, gap max …
    value: float
    plus_minus: float
    unit: str


@dataclass(frozen=True, kw_only=True)
class TakeAgain:
    """A measurement that, taken once more, would shrink the doubt about the cut.

    Attributes
    ----------
    share : float
        Its part of the summed squares of the doubts about all take-outs and misses.
    of : PlusMinus
        The number it bears on most.
    plus_minus_then : float
        That number's ± with one reading more.
    """

    place: str  # post A right, foot
    what: str  # fore-and-aft, across, height …
    share: float
    of: PlusMinus
    plus_minus_then: float


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """How sure the numbers are, and what to measure again first."""

    numbers: tuple[PlusMinus, ...]
    take_again: tuple[TakeAgain, ...]

    def of(self, where: str, what: str) -> PlusMinus | None:
        """Return one number with its ±."""
        return next((n for n in self.numbers if (n.where, n.what) == (where, what)), None)


def uncertainty_from_json(values: dict) -> Uncertainty:
    """Return what ``plumbdrop tape --json`` printed, as a record."""
    again = (TakeAgain(**{**found, "of": PlusMinus(**found["of"])}) for found in values["take_again"])
    return Uncertainty(
        numbers=tuple(PlusMinus(**number) for number in values["numbers"]), take_again=tuple(again)
    )
