"""How the rear window panel was fitted, as lines of the report's text."""

from __future__ import annotations

from .cells import angle_cell, gap_cell, length_cell, signed_cell, table_lines, wrapped

_NAMES = {"window_forward": "forward", "window_down": "down", "lay_down": "lay-down"}


def panel_lines(report, unit) -> list[str]:
    """Return what was solved and how far every seam of the panel is off; none if all is held."""
    fit, window = report.window.fit, report.window
    if fit is None:
        return []
    values = {
        "window_forward": signed_cell(window.rear_forward_mm, unit, "forward", "rearward"),
        "window_down": signed_cell(window.rear_down_mm, unit, "down", "up"),
        "lay_down": f"lay-down {angle_cell(window.rear_lay_down_deg)}",
    }
    solved = "; ".join(values[name] for name in fit.free)
    lines = ["REAR WINDOW PANEL, FITTED   off by: from how the uncut skin ran on; break + ridge, − hollow"]
    lines += wrapped(f"Solved: {solved}.", "  ", "  ")
    if fit.at_limit:
        stopped = ", ".join(_NAMES[name] for name in fit.at_limit)
        lines += wrapped(f"Stopped at its limit: {stopped}.", "  ", "  ")
    limit = (
        "no limit given" if fit.sink_limit_mm is None else f"at most {length_cell(fit.sink_limit_mm, unit)}"
    )
    lines += wrapped(f"The lower edge comes down {length_cell(fit.sinks_mm, unit)}; {limit}.", "  ", "  ")
    rows = [
        [
            f"{seam.seam}, {when}",
            gap_cell(off.rms_mm, unit),
            gap_cell(off.gap_mm, unit),
            gap_cell(off.step_mm, unit),
            angle_cell(off.break_deg),
        ]
        for seam in fit.seams
        for when, off in (("before", seam.before), ("after", seam.after))
    ]
    heads = ["seam", "in all, rms", "gap, most", "step, most", "break, most"]
    return [*lines, *table_lines(heads, rows)]
