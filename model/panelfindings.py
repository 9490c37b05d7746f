"""What to flag on a rear window panel that was fitted: the best place for it may still be a bad one."""

from __future__ import annotations

from .built import Built
from .findings import HI_LO_SOURCE, NO_SOURCE, hi_lo_limit_mm
from .report import Finding
from .units import shown

BREAK_MOST_DEG = 2.0  # of a line across a seam; assumed: about 1/16 in over 2 in
MOVES = {
    "window_forward": "forward",
    "window_down": "down",
    "lay_down": "lay-down",
}  # settings, said in words


def panel_findings(built: Built) -> tuple[Finding, ...]:
    """Return what is left to flag along the roof after the fit, and a panel that sinks too far."""
    fit, unit = built.panel_fit, built.shape.car.unit
    if fit is None:
        return ()
    found = []
    at_limit = ", ".join(MOVES[name] for name in fit.at_limit)
    stopped = (f" Stopped at its limit: {at_limit}." if at_limit else "") + f" {_way_out(built)}"
    for seam in fit.seams:
        if seam.weight < 1.0:
            continue  # the body's edge counts little in the fit; its gaps and steps are told at its seam
        after = seam.after
        gap, step = abs(after.gap_mm), abs(after.step_mm)
        limit = hi_lo_limit_mm(built.shape.car.gauge_mm)
        if max(gap, step) > limit:
            found.append(
                Finding(
                    kind="window fit",
                    where=seam.seam,
                    message=f"At its best the panel is still off by up to {shown(gap, unit, 32)} in gap and "
                    f"{shown(step, unit, 32)} in step.{stopped}",
                    measured=max(gap, step),
                    limit=limit,
                    unit="mm",
                    source=HI_LO_SOURCE,
                )
            )
        if abs(after.break_deg) > BREAK_MOST_DEG:
            way = "hollow" if after.break_deg < 0 else "ridge"
            found.append(
                Finding(
                    kind="window line",
                    where=seam.seam,
                    message=f"The line breaks into a {way} of up to {abs(after.break_deg):.1f}°.{stopped}",
                    measured=abs(after.break_deg),
                    limit=BREAK_MOST_DEG,
                    unit="deg",
                    source="assumed",
                )
            )
    flange = built.plan.window.flange_mm
    if fit.sinks_mm > flange + 0.01:
        found.append(
            Finding(
                kind="window sinks",
                where="rear window",
                message=f"Its lower edge comes down {shown(fit.sinks_mm, unit)}, more than the flange: the "
                "glass itself goes below the edge it was cut from, and deck and package tray have to be "
                "opened for it. window_sink holds it up.",
                measured=fit.sinks_mm,
                limit=flange,
                unit="mm",
                source="the plan's flange, " + NO_SOURCE,
            )
        )
    return tuple(found)


def _way_out(built: Built) -> str:
    """Say what a fabricator may still change."""
    held = [words for name, words in MOVES.items() if name not in built.panel_fit.free]
    free = f"Let the fit find {' and '.join(held)} too, or drop" if held else "Drop"
    if built.plan.new_metal is not None:
        return f"{free} the rear otherwise; the new metal there takes up what is left."
    return f"{free} the rear otherwise, or plan new metal."
