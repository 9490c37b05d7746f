"""What is said at a place in the 3-D view when it is pointed at: its name and its numbers."""

from __future__ import annotations

from html import escape

from ..layout import BODY, ROOF, WINDOW
from ..report import Report
from .cells import angle_cell, gap_cell, length_cell, long_cell, signed_cell


def place_notes(report: Report) -> dict[str, str]:
    """Return {name of a piece, post or seam: HTML}."""
    unit, totals, window = report.car["unit"], report.totals, report.window
    notes = {BODY: _note(BODY, ["stays where it is"])}
    whole = [
        f"down {length_cell(totals.front_drop_mm, unit)} in front, "
        f"{length_cell(totals.rear_drop_mm, unit)} behind",
        f"forward {length_cell(totals.roof_forward_mm, unit)}",
        f"pitch {angle_cell(totals.roof_pitch_deg, 'rear down', 'rear up')}",
    ]
    notes[ROOF] = _note(ROOF, whole)
    for part in report.split.parts if report.split else ():
        apart = (
            f"then {signed_cell(part.forward_mm, unit, 'forward', 'rearward')}, "
            f"{length_cell(part.outward_mm, unit)} outboard"
        )
        notes[part.name] = _note(part.name, [*whole, apart])
    notes[WINDOW] = _note(
        WINDOW,
        [
            f"forward {length_cell(window.rear_forward_mm, unit)}",
            f"down {length_cell(window.rear_down_mm, unit)}",
            f"leans {angle_cell(window.rear_rake_after_deg, 'rearward', 'forward')}, going up",
        ],
    )
    for post in report.posts:
        name = f"{post.post} {post.side}"
        notes[name] = _note(
            f"post {name}",
            [
                f"take out {length_cell(post.take_out_mm, unit)} along it",
                f"upper end lands {signed_cell(post.miss_fore_aft_mm, unit, 'rearward', 'forward')}, "
                f"{signed_cell(post.miss_across_mm, unit, 'inboard', 'outboard')}",
            ],
        )
        if post.lean:
            notes[f"{name} lower"] = _note(
                f"lower end of post {name}",
                [
                    f"leans {angle_cell(post.lean.lean_side_after_deg, 'rearward', 'forward')}, going up",
                    f"turned by {angle_cell(post.lean.turn_deg)} about its hinge",
                ],
            )
        if post.shift_mm:
            moved = signed_cell(post.shift_mm, unit, "rearward", "forward")
            notes[f"{name} upper"] = _note(f"upper end of post {name}", [f"shifted {moved} along the rail"])
            notes[f"{name} strip"] = _note(f"strip for post {name}", ["cut on one side, let in on the other"])
    for seam in report.seams:
        gap, step = seam.gap_mm, seam.step_mm
        lines = [f"weld {long_cell(seam.length_mm, unit)}"]
        if gap is not None:
            ends = [("lap", -gap.min)] * (gap.min < 0) + [("gap", gap.max)] * (gap.max >= 0)
            lines.append(", ".join(f"{what} up to {gap_cell(mm, unit)}" for what, mm in ends))
        if step is not None:
            lines.append(f"step up to {gap_cell(max(abs(step.min), abs(step.max)), unit)}")
        notes[seam.name] = _note(seam.name, lines)
    return notes


def _note(title, lines):
    return "".join([f"<b>{escape(title)}</b>", *(f"<div>{escape(line)}</div>" for line in lines)])
