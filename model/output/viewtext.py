"""The driver's view before and after, beside what is asked of it."""

from __future__ import annotations

from ..laws import (
    DOWN_LEAST_DEG,
    HORIZON_DEG,
    POST_MOST_DEG,
    ROAD_DEG,
    UP_LEAST_DEG,
    WIDTH_LEAST_DEG,
    WINDSHIELD_LEAST_MM,
)
from ..report import Report
from ..viewreport import View
from .cells import angle_cell, length_cell, table_lines, wrapped

VIEW_LAW = (
    "The angles asked are those for new cars: UN R125 where UNECE rules hold, 49 CFR in the USA, both from "
    "memory; the 6 in are Washington State's, WAC 204-10-024. Local law decides what this car must keep. Sit "
    "in the tacked car before it is welded."
)


def view_lines(report: Report, unit: str) -> list[str]:
    """Return the driver's view as lines of the report."""
    view = report.view
    rows = [[label, *map(_degrees, angles), asked] for label, angles, asked in view_rows(view)]
    if rows:
        plumb = (report.window.windshield_plumb_before_mm, report.window.windshield_plumb_after_mm)
        least = f"{length_cell(WINDSHIELD_LEAST_MM, unit)} (WAC)"
        rows.append(["windshield glass, plumb", *(length_cell(mm, unit) for mm in plumb), least])
    if view.head is not None:
        room = (view.head.clearance_before_mm, view.head.clearance_after_mm)
        label = "room over the owner's head"
        rows.append([label, *(length_cell(mm, unit) for mm in room), ""])
    lines = [
        "DRIVER'S VIEW   up and down from level to the edges of the glass; what a post hides from both eyes;",
        "                trim, hood and headliner not measured",
    ]
    if rows:
        lines += [*table_lines(["", "before", "after", "asked"], rows), *wrapped(VIEW_LAW)]
    return lines + [line for text in view.to_measure for line in wrapped(text)]


def view_rows(view: View) -> list[tuple[str, tuple, str]]:
    """Return (what is seen, (before, after) in degrees, what is asked of new cars) for a table."""
    rows = []
    for sight in view.sights:
        eye = {"V1": "the highest eye", "V2": "the lowest eye", "own": "the owner's eye"}[sight.eye]
        up = (sight.up_before_deg, sight.up_after_deg)
        down = (sight.down_before_deg, sight.down_after_deg)
        rows.append((f"up from {eye}", up, f"{UP_LEAST_DEG:g}° (UN R125)" if sight.eye == "V1" else ""))
        rows.append((f"down from {eye}", down, f"{DOWN_LEAST_DEG:g}° (UN R125)" if sight.eye == "V2" else ""))
    for post in view.posts:
        hidden = (post.two_eye_before_deg, post.two_eye_after_deg)
        asked = f"A: {POST_MOST_DEG:g}° at most (UN R125)" if post == view.posts[0] else ""
        rows.append((f"{post.post} {post.side} hides", hidden, asked))
    if view.rear is not None:
        rear, place = view.rear, "" if view.rear.is_mirror_measured else " (assumed)"
        for label, before, after, asked in (
            ("up", rear.up_before_deg, rear.up_after_deg, f"{HORIZON_DEG:g}° (49 CFR)"),
            ("down", rear.down_before_deg, rear.down_after_deg, f"{ROAD_DEG:g}° (49 CFR)"),
            ("width", rear.width_before_deg, rear.width_after_deg, f"{WIDTH_LEAST_DEG:g}° (49 CFR)"),
        ):
            rows.append((f"mirror{place}, {label}", (before, after), asked))
    return rows


def _degrees(deg):
    return "—" if deg is None else angle_cell(deg)
