"""Where a lowered roof leaves a door's frame or a side pane with work that is easily overlooked."""

from __future__ import annotations

from .built import Built
from .doorreport import PaneReport
from .doors import sill_cuts
from .report import Finding
from .units import shown

STANDS_MM = 0.5  # assumed: nobody sees it


def door_findings(built: Built, panes: tuple[PaneReport, ...]) -> list[Finding]:
    """Return what to flag on doors and side panes."""
    unit, found = built.shape.car.unit, []
    for pane in panes:
        where = f"{pane.pane} {pane.side}"
        for leg in pane.legs:
            found += _leg_findings(built, pane, leg, where, unit)
        found += _well_findings(pane, where, unit)
        if not pane.outline_after_mm:
            found.append(
                Finding(
                    kind="no room for the pane",
                    where=where,
                    message="The corners' radii no longer fit on the lowered opening: draw it anew.",
                    measured=pane.height_after_mm,
                    limit=pane.height_before_mm,
                    unit="mm",
                    source="geometry",
                )
            )
    return found + _sill_findings(built, unit)


def _sill_findings(built, unit):
    found = []
    for glass, (post, side), foot_mm in sill_cuts(built):
        height_mm = float(built.ends[post, side].plane.point_mm[2])
        found.append(
            Finding(
                kind="cut through a pane's lower edge",
                where=f"{glass.opening.name} {glass.opening.side}",
                message=f"The cut at {post}, {shown(height_mm, unit)} up, runs into the lower edge of this "
                f"opening, whose corner is {shown(foot_mm, unit)} up: its pane and legs are not worked out. "
                f"Cut {post} higher.",
                measured=height_mm,
                limit=foot_mm,
                unit="mm",
                source="geometry",
            )
        )
    return found


def _well_findings(pane, where, unit):
    well, found = pane.well, []
    if well is None:
        return found
    if well.stands_after_mm is not None and well.stands_after_mm > well.stands_before_mm + STANDS_MM:
        found.append(
            Finding(
                kind="pane no longer goes down",
                where=where,
                message=f"Stands {shown(well.stands_after_mm, unit)} above the door when it is all the way "
                f"down; before {shown(well.stands_before_mm, unit)}.",
                measured=well.stands_after_mm,
                limit=well.stands_before_mm,
                unit="mm",
                source="depth of the well in the car file",
            )
        )
    if well.room_mm is not None and well.swing_mm > well.room_mm:
        found.append(
            Finding(
                kind="pane no longer clears the door",
                where=where,
                message=f"With the frame leaned in, its lower edge swings out {shown(well.swing_mm, unit)} "
                f"when it is all the way down; the door has {shown(well.room_mm, unit)}.",
                measured=well.swing_mm,
                limit=well.room_mm,
                unit="mm",
                source="room in the well in the car file",
            )
        )
    return found


def _leg_findings(built, pane, leg, where, unit):
    wall = built.shape.lines[(leg.post, pane.side)].post.wall_mm
    worst = max(abs(leg.miss_fore_aft_mm), abs(leg.miss_across_mm))
    found = []
    if worst > wall / 2:
        words = [
            f"{shown(abs(mm), unit)} {names[mm < 0]}"
            for mm, names in (
                (leg.miss_fore_aft_mm, ("rearward", "forward")),
                (leg.miss_across_mm, ("inboard", "outboard")),
            )
            if abs(mm) > wall / 2
        ]
        found.append(
            Finding(
                kind="door leg misses",
                where=f"{where}, {leg.leg} leg",
                message=f"Its upper end lands {' and '.join(words)}: re-make the corner on the leg's own "
                "line, lean the frame in.",
                measured=worst,
                limit=wall / 2,
                unit="mm",
                source="half the wall of the post beside it, assumed for the frame",
            )
        )
    if leg.room_mm < 0:
        found.append(
            Finding(
                kind="door leg too short",
                where=f"{where}, {leg.leg} leg",
                message=f"The cuts leave the straight leg by {shown(-leg.room_mm, unit)}.",
                measured=-leg.room_mm,
                limit=0.0,
                unit="mm",
                source="geometry",
            )
        )
    return found
