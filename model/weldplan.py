"""How a plan's seams are welded: runs, tacks, stretches in order, access, filler, time, shrinkage.

Made from the report's seams, whatever kinds there are, and from the geometry
the report was made of.

**Crown beside a seam.**  At its quarters and its middle the plan is undone (the
inverse move of the piece), the nearest point of the uncut skin found, and a
straightedge of the stated chord laid on it along both lines of its grid.  The
more bulging of the two ways counts, and of these places the flattest.

**Order.**  All is tacked before anything is welded: hinges of leaned ends and
posts first, for they say where the roof stands; then what lies between them.  Then posts, whose box
is stiff and shrinks least; roof and quarter skin, low crown last, and the new
metal between; the rear window, whose opening must keep its shape until its neighbours are firm; and
last what crosses the gutter, on which all the other pulls end.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .built import Built
from .doors import side_glass
from .doorwelds import door_seams
from .layout import WINDOW
from .report import Report, SeamReport
from .roofparts import ROOF, is_roof
from .seams import FILLER_SEAM, HINGE, PIE_CUT, POST, SKIN, STRIP, TIP_SEAM, WINDOW_SEAM
from .skinlines import crown_mm
from .weldreport import PanelPull, WeldPlan, WeldSeam, WeldStep
from .weldrules import (
    ARC_SHARE,
    CHORD_MM,
    HAND_MM,
    KEPT,
    LOW_CROWN_MM,
    RULES,
    SHORTENS,
    TRAVEL_MM_MIN,
    WIRE_MM,
    arc_length_mm,
    crown_gained_mm,
    crown_lost_mm,
    deposit_g,
    shrink_across_mm,
    tack_pitch_mm,
    throats_mm2,
    wire_m,
)
from .weldruns import beside_post, is_box, parts_of, post_of, run_of

_FLUSH_MM = 0.05  # a lap smaller than this is none
BUTT, LAP, BOX_BUTT = "butt", "lap", "butt around the box"
BOTH_SIDES, OUTSIDE, PART = "both sides", "outside only", "both sides, outside only at the post"


def weld_plan(built: Built, report: Report) -> WeldPlan:
    """Return how the seams of a report are welded."""
    return plan_of_seams(built, report, tuple(weld_seams(built, report)))


def weld_seams(built: Built, report: Report) -> Iterator[WeldSeam]:
    """Yield how each seam of a report is welded."""
    return (_seam(built, report, seam) for seam in report.seams)


def plan_of_seams(built: Built, report: Report, seams: tuple[WeldSeam, ...]) -> WeldPlan:
    """Return the plan of seams that have been worked out, all of a report's."""
    doors = door_seams(side_glass(built), built.plan.root_gap_mm)
    filler = _summed(s.filler_g for s in seams)
    arc = _summed(s.arc_min for s in seams)
    return WeldPlan(
        car=report.car,
        plan=report.plan["name"],
        chord_mm=CHORD_MM,
        seams=seams,
        steps=_steps(seams),
        pulls=_pulls(built, seams),
        length_mm=sum(s.length_mm for s in seams),
        low_crown_mm=sum(s.length_mm for s in seams if s.is_low_crown),
        filler_g=filler,
        wire_m=tuple(wire_m(mass, WIRE_MM) for mass in filler),
        arc_min=arc,
        bench_min=(arc[0] / ARC_SHARE[1], arc[1] / ARC_SHARE[0]),
        rules=RULES,
        door_seams=doors,
        door_frame_mm=sum(seam.length_mm for seam in doors),
    )


def _summed(ranges):
    return tuple(float(end) for end in np.sum([(0.0, 0.0), *ranges], axis=0))


def _seam(built: Built, report: Report, seam: SeamReport) -> WeldSeam:
    sheet = _sheets(built, report, seam)
    thin, root = min(sheet), built.plan.root_gap_mm
    crown = _crown(built, seam)
    # What a weld closes lies between the planned gap and the sheet's own thickness; wider is new metal's.
    found = seam.gap_mm.mean if seam.gap_mm else root
    gaps = root, float(np.clip(found, root, max(root, thin)))
    throats = throats_mm2(gaps, thin)
    length = seam.length_mm
    pitch = tack_pitch_mm(thin)
    return WeldSeam(
        name=seam.name,
        kind=seam.kind,
        side=seam.side,
        pieces=seam.pieces,
        joint=BOX_BUTT if is_box(seam) else LAP if seam.kind == "lap" else BUTT,
        access=_access(built, seam),
        length_mm=length,
        sheet_mm=sheet,
        root_gap_mm=root,
        gap_mm=(seam.gap_mm.min, seam.gap_mm.max) if seam.gap_mm else None,
        is_ready=_is_ready(seam, thin, root),
        crown_mm=crown,
        is_low_crown=crown is not None and crown < LOW_CROWN_MM,
        tack_pitch_mm=pitch,
        runs=tuple(run_of(*part, pitch) for part in parts_of(built, seam)),
        filler_g=(deposit_g(throats[0], length) / KEPT[1], deposit_g(throats[1], length) / KEPT[0]),
        arc_min=(length / TRAVEL_MM_MIN[1], length / TRAVEL_MM_MIN[0]),
        shrink_mm=shrink_across_mm(throats, thin, root),
    )


def _is_ready(seam, thin_mm, root_mm):
    """Whether the edges lie as a butt weld asks: nowhere apart more than the sheet, nowhere lapping."""
    if seam.gap_mm is None:
        return False
    return seam.gap_mm.min > -_FLUSH_MM and seam.gap_mm.max <= max(thin_mm, root_mm) + 0.1


def _sheets(built, report, seam):
    """Thickness of either piece: a post's wall, new metal's own, else the car's gauge."""
    post = post_of(built, seam)
    if is_box(seam) and post is not None:
        return (built.ends[post].line.post.wall_mm,) * 2
    new = {metal.name: metal.gauge_mm for metal in report.new_metal}
    first, second = (new.get(piece, built.shape.car.gauge_mm) for piece in seam.pieces)
    return first, second


# ---------------------------------------------------------------- access and crown


def _access(built, seam):
    """Return from which sides a dolly and a heat sink reach the seam."""
    if is_box(seam) or "gutter" in seam.name:
        return OUTSIDE
    key = post_of(built, seam)
    if key is None or seam.kind not in (SKIN, HINGE, FILLER_SEAM, TIP_SEAM) or not seam.stations:
        return BOTH_SIDES
    at = np.array([s.at_mm for s in seam.stations])
    post = built.ends[key].line.post
    half = (post.width_mm if "side skin" in seam.name else post.depth_mm) / 2
    is_near = np.abs(beside_post(built, seam, key, at)) < half + HAND_MM
    if is_near.all():
        return OUTSIDE
    return PART if is_near.any() else BOTH_SIDES


def _crown(built: Built, seam: SeamReport) -> float | None:
    """Return the least crown of the uncut skin beside a seam, over the stated chord. [mm]"""
    carrier = next((piece for piece in seam.pieces if piece in built.moves), None)
    if is_box(seam) or carrier is None or not seam.stations:
        return None
    last = len(seam.stations) - 1
    chosen = {
        k for share in (4, 2) for k in (last // share, last - last // share)
    }  # the same from either end
    places = [seam.stations[k].at_mm for k in sorted(chosen)]
    stock = built.moves[seam.pieces[0] if seam.pieces[0] in built.moves else carrier].inverse().points(places)
    crowns = []
    for point in stock:
        grid, foot = _nearest_grid(built, point)
        crowns.append(max(_crown_over(grid, foot.uv[0], way) for way in (0, 1)))
    return min(crowns)


def _nearest_grid(built, point):
    feet = [(grid, grid.foot(point[None])) for grid in built.shape.skin.grids.values()]
    return min(feet, key=lambda pair: abs(float(np.linalg.norm(pair[1].point[0] - point))))


def _crown_over(grid, uv, way):
    """Return the crown under the stated chord, laid along u (0) or v (1); a shorter line is scaled. [mm]

    A sagitta grows with the square of its chord.
    """
    tangent = grid.frame(uv[None])[1 + way][0]
    reach = CHORD_MM / 2 / np.linalg.norm(tangent)
    ends = np.array([uv, uv])
    ends[0, way], ends[1, way] = max(uv[way] - reach, 0.0), min(uv[way] + reach, 1.0)
    chord = np.linalg.norm(np.diff(grid.point(ends), axis=0))
    return crown_mm(grid, *ends) * float((CHORD_MM / chord) ** 2)


# ---------------------------------------------------------------- order


_TACK_WHY = {
    HINGE: "a leaned end has to stand in its new place before the roof meets it",
    PIE_CUT: "a lower end has to be drawn in before the roof meets it",
    POST: "posts say where the roof stands; measure again before anything else is tacked",
    WINDOW_SEAM: "its opening is held by the glass or a template while it is tacked",
    SKIN: "skin follows the posts",
    STRIP: "strips close what the posts leave open",
    FILLER_SEAM: "new sheet is trimmed to what the tacked pieces leave open",
    TIP_SEAM: "what new sheet is too narrow for is held once the sheet beside it is",
}
_WELD_WHY = {
    HINGE: "the lower end carries what stands on it; opposite faces, right and left by turns",
    PIE_CUT: "short, and its sheet is held by the post beside it",
    POST: "the box is stiff and carries the roof; opposite faces, right and left by turns",
    SKIN: "with the posts firm it can pull no corner out of place; low crown last, and coldest",
    STRIP: "short, and between firm neighbours",
    FILLER_SEAM: "both edges of one sheet by turns, so that neither draws it over",
    TIP_SEAM: "filled up over copper, a little at a time, from the tip of the sheet on",
    WINDOW_SEAM: "one closed line: welded when its neighbours no longer give way",
    "gutter": "everything else ends at it, so it is closed when the rest has done its pulling",
}


def _steps(seams) -> tuple[WeldStep, ...]:
    """Return the order of work: all tacked, posts first, then welded."""
    groups: dict[str, list[WeldSeam]] = {}
    for seam in seams:
        groups.setdefault(_group(seam), []).append(seam)
    known = [HINGE, PIE_CUT, POST, SKIN, STRIP]
    others = [kind for kind in groups if kind not in (*known, WINDOW_SEAM, "gutter")]
    order = [kind for kind in (*known, *others, WINDOW_SEAM, "gutter") if kind in groups]
    steps = []
    for do, words in (("tack", _TACK_WHY), ("weld", _WELD_WHY)):
        for kind in order:
            names = _by_turns(groups[kind])
            if do == "tack" and kind == "gutter":
                why = "with the strips it belongs to"
            else:
                why = words.get(kind, "between edges that are already held")
            steps.append(WeldStep(do=do, seams=names, why=why))
    return tuple(steps)


def _group(seam):
    """Return the part of the work a seam belongs to: its kind, but for what lies at window and gutter."""
    if "gutter" in seam.name:
        return "gutter"
    return WINDOW_SEAM if WINDOW in " ".join(seam.pieces) else seam.kind


def _by_turns(seams):
    """Return names right and left by turns; flat sheet last."""
    rank = {"right": 0, "left": 1, "centre": 2}
    ordered = sorted(
        seams, key=lambda s: (s.is_low_crown, s.name.replace(f" {s.side}", ""), rank.get(s.side, 3))
    )
    return tuple(seam.name for seam in ordered)


# ---------------------------------------------------------------- pull


def _pulls(built: Built, seams) -> tuple[PanelPull, ...]:
    """Return what shrinkage along two opposite edges would do to the roof, lengthwise and across."""
    ours = [s for s in seams if any(map(is_roof, s.pieces)) and not is_box(s)]
    if not ours:
        return ()
    shrink = (min(s.shrink_mm[0] for s in ours), max(s.shrink_mm[1] for s in ours))
    grid = built.shape.skin.grids["roof"]
    front, rear = _roof_ends(built, grid)
    middle = (front + rear) / 2
    window = [s for s in ours if s.kind == WINDOW_SEAM]
    return (
        _pull(grid, "the centreline", (front, 0.5), (rear, 0.5), len(window[:1]), shrink),
        _pull(grid, "the middle, gutter to gutter", (middle, 0.0), (middle, 1.0), 0, shrink),
    )


def _roof_ends(built, grid):
    """Return u on the centreline where the roof begins and ends: at the glass, or where its grid does."""
    front, rear = 0.0, 1.0
    for opening in (*built.shape.windshield, built.shape.rear_window):
        if opening.outline.grid is grid:
            u = opening.outline.loop_uv[:, 0]
            is_front = opening is not built.shape.rear_window
            front, rear = (
                (max(front, float(u.max())), rear) if is_front else (front, min(rear, float(u.min())))
            )
    return front, rear


def _pull(grid, along, start, end, edges_welded, shrink) -> PanelPull:
    chord = float(np.linalg.norm(np.diff(grid.point(np.array([start, end])), axis=0)))
    crown = crown_mm(grid, start, end)
    length = arc_length_mm(chord, crown)
    return PanelPull(
        panel=ROOF,
        along=along,
        chord_mm=chord,
        crown_mm=crown,
        edges_welded=edges_welded,
        shrink_mm=shrink,
        falls_mm=tuple(crown_lost_mm(chord, crown, 2 * s) for s in shrink),
        rises_mm=tuple(crown_gained_mm(chord, crown, share * length) for share in SHORTENS),
    )
