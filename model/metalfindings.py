"""What to flag on new metal: breaks in its line, what it hides, corners it leaves open, strips too narrow."""

from __future__ import annotations

from .built import Built
from .cornerholes import WELDED_UP
from .cutdepths import LEAST_WIDTH_MM
from .fillerruns import BEAD, CORNER
from .fillertips import WELDED_UP_SOURCE
from .findings import HI_LO_SOURCE, NO_SOURCE, hi_lo_limit_mm
from .fit import SPACING_MM
from .metalblanks import can_be_formed
from .postpieces import CLIMB, MISS_OF_WALL, closed_posts
from .report import Finding, NewMetalReport, SeamReport
from .seams import FILLER_SEAM, POST
from .trimlines import LEAST_LAP_MM
from .units import shown

BREAK_LIMIT_DEG = 0.5  # assumed: half a degree shows in paint on a low-crown panel
STEEPEST = 2.8  # widths to a step: 1 in 3 less what the step itself changes when a piece is cut back
FIT_INCH = 32
STEEPEST_CLIMB = 1 / CLIMB


def metal_findings(
    built: Built, new_metal: tuple[NewMetalReport, ...], seams: tuple[SeamReport, ...]
) -> tuple[Finding, ...]:
    """Return all findings on the new metal of a plan, and on what it leaves open."""
    if built.plan.new_metal is None:
        return ()
    unit = built.shape.car.unit
    found = []
    for seam in seams:
        found += [*_unfaced(seam, new_metal, unit), *_welded_up(seam, unit)]
    for metal in new_metal:
        if metal.walls:
            continue  # a piece in a post: its line is hidden and its walls are flat
        for edge in metal.edges:
            if edge.tangent_break_deg > BREAK_LIMIT_DEG:
                found.append(
                    Finding(
                        kind="tangent break",
                        where=f"{metal.name} to {edge.piece}",
                        message=f"The line breaks by {edge.tangent_break_deg:.2f}° here.",
                        measured=edge.tangent_break_deg,
                        limit=BREAK_LIMIT_DEG,
                        unit="deg",
                        source="assumed",
                    )
                )
        found += _shape_findings(metal, unit)
    for closed in closed_posts(built).values():
        found += _post_piece_findings(closed, unit)
    return tuple(found)


def _post_piece_findings(closed, unit):
    found = _closed_miss(closed, unit)
    if closed.climb > STEEPEST_CLIMB + 1e-9:
        found.append(
            Finding(
                kind="steep post piece",
                where=closed.name,
                message=f"Climbs 1 in {1 / closed.climb:.1f} where 1 in {CLIMB:g} is asked, for the post "
                "may be cut no further: bring its ends closer by a lean, a shift or the drops.",
                measured=closed.climb,
                limit=STEEPEST_CLIMB,
                unit="1",
                source="assumed: 1 in 3",
            )
        )
    allowed = MISS_OF_WALL * closed.box.gauge_mm
    if closed.set_in_mm > allowed:
        found.append(
            Finding(
                kind="post piece set in",
                where=closed.name,
                message=f"Its outer wall stands {shown(closed.set_in_mm, unit, FIT_INCH)} inside the stubs', "
                "for the sheet over it; its drawn walls allow for that. Dress the stubs in to it.",
                measured=closed.set_in_mm,
                limit=allowed,
                unit="mm",
                source="half the wall, " + NO_SOURCE,
            )
        )
    return found


def _closed_miss(closed, unit):
    """Tell the miss that a piece closes: nothing is left open, but the post no longer runs straight."""
    limit_mm = MISS_OF_WALL * closed.box.gauge_mm
    words = [
        f"{shown(abs(mm), unit)} {way[mm < 0]}"
        for mm, way in zip(
            closed.ends.miss_mm, (("rearward", "forward"), ("inboard", "outboard")), strict=True
        )
        if abs(mm) > limit_mm
    ]
    if not words:
        return []
    return [
        Finding(
            kind="miss closed by a post piece",
            where=" ".join(closed.key),
            message=f"Upper end lands {' and '.join(words)}: {closed.name}, "
            f"{shown(closed.box.height_mm, unit)} long, closes it.",
            measured=max(map(abs, closed.ends.miss_mm)),
            limit=limit_mm,
            unit="mm",
            source="half the wall, " + NO_SOURCE,
        )
    ]


def _unfaced(seam: SeamReport, new_metal, unit):
    """Flag a stretch of a seam that no edge faces, where a filler could not be laid from corner to corner."""
    open_mm = seam.edge_mm - seam.facing_mm
    if seam.kind in (POST, FILLER_SEAM, WELDED_UP) or seam.gap_mm is None or open_mm <= SPACING_MM:
        return []  # a seam that nothing faces at all is told with the seams
    beside = [m for m in new_metal if m.pieces == seam.pieces and CORNER in m.ends]
    remedy = "fit a piece there on the car"
    if beside:
        ends = " and ".join(f"{m.name} ({shown(m.open_corner_mm, unit)} wide)" for m in beside)
        remedy = (
            f"one of the two pieces ends at its corner there. With {ends} the edge bounds a hole: "
            "fit a patch to it on the car, a root gap from all its sides"
        )
    return [
        Finding(
            kind="open gap",
            where=seam.name,
            message=f"Nothing faces {shown(open_mm, unit)} of this edge, no new metal reaches it: {remedy}.",
            measured=open_mm,
            limit=SPACING_MM,
            unit="mm",
            source="geometry; one spacing of the places along a seam",
        )
    ]


def _welded_up(seam: SeamReport, unit):
    """Tell of a hole that is too small to cut sheet for."""
    if seam.kind != WELDED_UP:
        return []
    return [
        Finding(
            kind="weld up",
            where=seam.name,
            message=f"The hole at this end is too small to cut sheet for: weld up "
            f"{shown(seam.length_mm, unit, FIT_INCH)} over a piece of copper, a little at a time.",
            measured=seam.length_mm,
            limit=0.0,
            unit="mm",
            source=WELDED_UP_SOURCE,
        )
    ]


def _shape_findings(metal: NewMetalReport, unit):
    found = []
    if CORNER in metal.ends:
        wide = metal.open_corner_mm
        found.append(
            Finding(
                kind="open corner",
                where=metal.name,
                message=f"It ends {shown(wide, unit, FIT_INCH)} wide at no other metal: fit a piece there on "
                "the car.",
                measured=wide,
                limit=0.0,
                unit="mm",
                source="geometry",
            )
        )
    runs_out = BEAD in metal.ends or WELDED_UP in metal.ends
    wide_mm = metal.width_max_mm if runs_out else metal.width_min_mm
    step_mm = abs(metal.closes_step_mm)
    within_skin_mm = max(wide_mm**2 - step_mm**2, 0.0) ** 0.5
    allowed = max(hi_lo_limit_mm(metal.gauge_mm), within_skin_mm / STEEPEST)
    if step_mm > allowed:
        found.append(
            Finding(
                kind="step across new metal",
                where=metal.name,
                message=f"It climbs {shown(step_mm, unit, FIT_INCH)} between skins that do not point at each "
                "other, and bends back on itself: bring the pieces closer to flush.",
                measured=step_mm,
                limit=allowed,
                unit="mm",
                source=f"1 in {STEEPEST:g} across it, assumed; else {HI_LO_SOURCE}",
            )
        )
    if not can_be_formed(metal):
        found.append(
            Finding(
                kind="bends too tightly",
                where=metal.name,
                message=f"It would bend to a radius of {metal.least_radius_mm:.1f} mm: no sheet takes "
                "that shape, so it has no blank.",
                measured=metal.least_radius_mm,
                limit=metal.gauge_mm,
                unit="mm",
                source="inside radius of a bend at least the gauge; " + NO_SOURCE,
            )
        )
    if wide_mm < LEAST_WIDTH_MM - LEAST_LAP_MM:  # a stroke of the file
        found.append(
            Finding(
                kind="narrow filler",
                where=metal.name,
                message=f"Only {shown(wide_mm, unit, FIT_INCH)} wide: open the cut further and let in a "
                "wider strip, or take less out there.",
                measured=wide_mm,
                limit=LEAST_WIDTH_MM,
                unit="mm",
                source=NO_SOURCE,
            )
        )
    return found
