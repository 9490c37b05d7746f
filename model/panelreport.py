"""How the rear window panel was fitted: records of the report."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """How far one seam of the panel is from running on as the uncut skin did.

    Attributes
    ----------
    rms_mm : float
        Of gap, step and break together, weighted by length.
    gap_mm, step_mm, break_deg : float
        The furthest from what is wanted, signed: gap over the saw's opening,
        step over ``proud``, turn of the skin over that of the uncut skin
        (below zero: hollow).
    facing : float
        Share of the seam with an edge of the panel in front of it, 0 to 1.
    """

    rms_mm: float
    gap_mm: float
    step_mm: float
    break_deg: float
    facing: float


@dataclass(frozen=True, kw_only=True)
class SeamMisfit:
    """One seam of the panel, before and after the fit; ``weight`` is how much it counts."""

    seam: str
    weight: float
    before: Misfit
    after: Misfit


@dataclass(frozen=True, kw_only=True)
class PanelFit:
    """What was solved, within which limits, and what is left.

    Attributes
    ----------
    free : tuple of str
        Settings that the plan leaves to the fit.
    at_limit : tuple of str
        Those of them that stopped at their limit on this car.
    opening_mm : float
        Gap asked for: what the saw leaves all round a panel that has not moved.
    proud_mm : float
        Step asked for; + the panel stands proud.
    sinks_mm : float
        How far the lower edge comes down below where it was cut out, at its lowest.
    sink_limit_mm : float or None
        The most it may; None: no limit but the car's.
    rms_before_mm, rms_after_mm : float
        Over all seams by length and weight; before: with every free setting where the search starts.
    """

    free: tuple[str, ...]
    at_limit: tuple[str, ...]
    opening_mm: float
    proud_mm: float
    sinks_mm: float
    sink_limit_mm: float | None
    rms_before_mm: float
    rms_after_mm: float
    seams: tuple[SeamMisfit, ...]
