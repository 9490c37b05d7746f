"""What a careful fabricator would flag, each with its measure, its limit and where the limit is from."""

from __future__ import annotations

from .built import Built
from .cornerholes import WELDED_UP
from .fillerruns import STEP_FROM_MM
from .fillertips import WELDED_UP_MM, WELDED_UP_SOURCE
from .glass import pane_height
from .hingepieces import built_up_mm
from .laws import WINDSHIELD_LEAST_MM, WINDSHIELD_SOURCE
from .report import Finding, Interference, PostReport, SeamReport, WindowReport
from .roofparts import FRONT, LEFT, REAR, RIGHT, is_roof
from .seams import FILLER_SEAM, TIP_SEAM
from .units import shown

FLANGE_LEAST_MM = 19.05
NO_SOURCE = "common practice, no source"
TOUCHING_MM = 1e-4  # two fillers that share a border read a gap of rounding
FIT_INCH = 32  # finest division in which gaps and steps are told
ROUNDED_MM = 25.4 / FIT_INCH / 2  # what reads as no more than a limit


def hi_lo_limit_mm(thickness_mm: float) -> float:
    """Return the step between two sheets that a butt weld still takes, 0.2 + 0.25 t. [mm]

    ISO 5817:2014, imperfection 507, quality level D, 0.5 to 3 mm, from memory.
    """
    return 0.2 + 0.25 * thickness_mm


def widest_gap_mm(thickness_mm: float, root_gap_mm: float, kerf_mm: float) -> float:
    """Return the gap that a square butt weld still closes; see ``GAP_SOURCE``. [mm]"""
    return max(thickness_mm, root_gap_mm, kerf_mm) + 0.1


HI_LO_SOURCE = "ISO 5817:2014 no. 507, level D, from memory: 0.2 mm + 0.25 t"
GAP_SOURCE = "ISO 9692-1 square butt, from memory: gap about the thickness; or the plan's root gap"


def _fit(length_mm: float, unit: str) -> str:
    """Return a gap, step or depth for reading; one that would round to nothing says so."""
    if unit == "in" and 0 < length_mm < 25.4 / FIT_INCH / 2:
        return f'under 1/{FIT_INCH}" ({length_mm:.1f} mm)'
    return shown(length_mm, unit, FIT_INCH)


def findings_of(
    built: Built,
    posts: tuple[PostReport, ...],
    seams: tuple[SeamReport, ...],
    interference: tuple[Interference, ...],
    window: WindowReport,
) -> tuple[Finding, ...]:
    """Return all findings, the gravest kind first."""
    unit = built.shape.car.unit
    found = []
    height = window.windshield_plumb_after_mm
    if built.plan.roof is not None and height < WINDSHIELD_LEAST_MM - 1e-9:
        found.append(
            Finding(
                kind="windshield height",
                where="windshield",
                message=f"Glass {shown(height, unit)} high, plumb; asked: "
                f"{shown(WINDSHIELD_LEAST_MM, unit)}.",
                measured=height,
                limit=WINDSHIELD_LEAST_MM,
                unit="mm",
                source=WINDSHIELD_SOURCE,
            )
        )
    for item in interference:
        found.append(
            Finding(
                kind="interference",
                where=" and ".join(item.pieces),
                message=f"Run into each other by {_fit(item.depth_mm, unit)}.",
                measured=item.depth_mm,
                limit=0.0,
                unit="mm",
                source="geometry",
            )
        )
    found += _post_findings(built, posts, unit)
    found += _seam_findings(built, seams, unit)
    flange = built.plan.window.flange_mm if built.plan.window else None
    if flange is not None and flange < FLANGE_LEAST_MM - 0.01:
        found.append(
            Finding(
                kind="narrow flange",
                where="rear window",
                message=f"Flange {shown(flange, unit)}; weld and grinding should stay "
                f"{shown(FLANGE_LEAST_MM, unit)} off the glass seat.",
                measured=flange,
                limit=FLANGE_LEAST_MM,
                unit="mm",
                source=NO_SOURCE,
            )
        )
    if built.plan.roof is not None:
        found += _glass_findings(built, window, unit)
    return tuple(found)


def _glass_findings(built, window, unit):
    """Return every pane to be made anew: lower by what is cut out, wider by the roof's spread."""
    cut = {p.removeprefix("glass removed ") for p in built.layout.parts if "glass removed" in p}
    apart = _apart_mm(built)
    found = []
    for name in sorted(cut | apart.keys()):
        lost = 0.0
        if name in cut:
            before, after = window.windshield_height_before_mm, window.windshield_height_after_mm
            lost = before - after if name.startswith("windshield") else _lost_height_mm(built, name)
        grows = apart.get(name, {})
        changes = [f"{shown(lost, unit)} lower"] if name in cut else []
        changes += [f"{shown(mm, unit)} {way}" for way, mm in grows.items()]
        found.append(
            Finding(
                kind="new glass",
                where=name,
                message=f"Pane about {' and '.join(changes)}: make a template; "
                "laminated glass can be cut, tempered glass cannot.",
                measured=lost if name in cut else max(grows.values()),
                limit=0.0,
                unit="mm",
                source="ASTM C1048, from memory: no cutting after tempering",
            )
        )
    return found


def _apart_mm(built):
    """Return {opening: {wider or longer: mm}} of every opening that a split of the roof goes through."""
    found = {}
    for part, cells in built.layout.parts.items():
        words = {word for cell in cells if is_roof(cell.carrier) for word in cell.carrier.split()}
        grows = {
            way: mm
            for way, mm, ends in (
                ("wider", built.parts.spread_mm, {RIGHT, LEFT}),
                ("longer", built.parts.lengthen_mm, {FRONT, REAR}),
            )
            if part.startswith("pane ") and ends <= words and mm
        }
        if grows:
            found[part.removeprefix("pane ")] = grows
    return found


def _lost_height_mm(built, name):
    opening = next(o for o in built.shape.openings if o.name == name)
    before, after = pane_height(built, opening).plumb_mm
    return before - after


def _post_findings(built, posts, unit):
    found = []
    for post in posts:
        where = f"{post.post} {post.side}"
        wall = built.shape.lines[(post.post, post.side)].post.wall_mm
        is_closed = post.piece is not None  # told with its piece, where new metal is
        for name, value, words in (
            ("ends miss fore-and-aft", post.miss_fore_aft_mm, ("rearward", "forward")),
            ("ends miss across", post.miss_across_mm, ("inboard", "outboard")),
        ):
            if abs(value) > wall / 2 and not is_closed:
                found.append(
                    Finding(
                        kind=name,
                        where=where,
                        message=f"Upper end lands {shown(abs(value), unit)} {words[value < 0]}.",
                        measured=abs(value),
                        limit=wall / 2,
                        unit="mm",
                        source="half the wall, " + NO_SOURCE,
                    )
                )
        if post.pie_cut is not None:
            found.append(_sheet_to_be_drawn_in(where, post.pie_cut, built.plan.kerf_mm, unit))
        least = min(edge.take_out_mm for edge in post.edges)
        if least < -1e-6:
            found.append(
                Finding(
                    kind="metal to be put in",
                    where=where,
                    message=f"An edge of this post is {_fit(-least, unit)} short: the plan lifts it there.",
                    measured=-least,
                    limit=0.0,
                    unit="mm",
                    source="geometry",
                )
            )
    return found


def _sheet_to_be_drawn_in(where, cut, kerf_mm, unit):
    """Tell what a pie cut asks of the sheet over its post, which stays as it was in seams and pictures."""
    return Finding(
        kind="sheet to be drawn in",
        where=where,
        message=f"The sheet over this post comes in with it, {_fit(cut.sheet_in_mm, unit)} at the cut and "
        f"none at z {shown(cut.end_mm[2], unit)}, where it creases by {cut.turn_deg:.1f}°. Seams and new "
        "metal beside it are told as before the pull: cut and fit them after it.",
        measured=cut.sheet_in_mm,
        limit=kerf_mm,
        unit="mm",
        source="geometry; the saw's kerf, by which a miss is drawn in without a wedge",
    )


def _step_remedy(seam, step_mm):
    """Say what to do about a step: flush as it is tacked, or what brings the edges closer."""
    if step_mm <= STEP_FROM_MM + ROUNDED_MM:
        return "draw them flush with hammer and dolly as they are tacked"
    if seam.kind == "hinge" and ", post" in seam.name:
        return "check the turn of the leaned end before it is tacked"
    return "too much to draw flush; let in new metal, or bring the pieces closer"


def _gap_remedy(built, seam, unit):
    """Say what closes a gap that is wider than a weld closes."""
    if built.plan.new_metal is None:
        return "new metal"
    key = next((k for k in built.ends if seam.name == f"{' '.join(k)}, hinge, post"), None)
    if key is None:
        is_narrow, how = seam.gap_mm.max <= WELDED_UP_MM, "weld it up over copper, a little at a time"
        return f"too narrow for new metal; {how}" if is_narrow else "new metal"
    if seam.gap_mm.max > built_up_mm(built.ends[key]):
        return "there is no room for a piece; place the hinge lower, or the cut higher"
    return (
        "too narrow for a piece; build its edges up with weld until they stand "
        f"{_fit(built.plan.root_gap_mm, unit)} apart, then weld them"
    )


def _seam_findings(built, seams, unit):
    gauge = built.shape.car.gauge_mm
    widest = widest_gap_mm(gauge, built.plan.root_gap_mm, built.plan.kerf_mm)
    found = []
    for seam in seams:
        if seam.kind == WELDED_UP:
            continue  # told with the new metal
        if seam.gap_mm is None:
            found.append(
                Finding(
                    kind="edges do not face",
                    where=seam.name,
                    message="Nothing faces this edge: new metal has to bridge it.",
                    measured=seam.edge_mm,
                    limit=0.0,
                    unit="mm",
                    source="geometry",
                )
            )
            continue
        if seam.kind == "post":
            continue  # its misses are told at the post
        is_mouth = seam.kind == TIP_SEAM
        if seam.gap_mm.max > (WELDED_UP_MM if is_mouth else widest):
            found.append(
                Finding(
                    kind="gap",
                    where=seam.name,
                    message=f"Opens to {_fit(seam.gap_mm.max, unit)}: wider than a weld closes; "
                    f"{_gap_remedy(built, seam, unit)}.",
                    measured=seam.gap_mm.max,
                    limit=WELDED_UP_MM if is_mouth else widest,
                    unit="mm",
                    source=WELDED_UP_SOURCE if is_mouth else GAP_SOURCE,
                )
            )
        if seam.gap_mm.min < (-TOUCHING_MM if seam.kind == FILLER_SEAM else 0):
            found.append(
                Finding(
                    kind="overlap",
                    where=seam.name,
                    message=f"Pieces lap by up to {_fit(-seam.gap_mm.min, unit)}: one must be trimmed.",
                    measured=-seam.gap_mm.min,
                    limit=0.0,
                    unit="mm",
                    source="geometry",
                )
            )
        step = max(abs(seam.step_mm.min), abs(seam.step_mm.max))
        if step > hi_lo_limit_mm(gauge):
            found.append(
                Finding(
                    kind="step",
                    where=seam.name,
                    message=f"Edges stand {_fit(step, unit)} proud of each other: "
                    f"{_step_remedy(seam, step)}.",
                    measured=step,
                    limit=hi_lo_limit_mm(gauge),
                    unit="mm",
                    source=HI_LO_SOURCE,
                )
            )
    return found
