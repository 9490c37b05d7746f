"""The report as text, for a person with a tape in hand."""

from __future__ import annotations

from ..report import Report
from ..units import unit_name
from .cells import (
    GAP_INCH,
    angle_cell,
    area_cell,
    gap_cell,
    length_cell,
    long_cell,
    place_cell,
    signed_cell,
    table_lines,
    volume_cell,
    wrapped,
)
from .doortext import door_seam_lines, side_glass_lines
from .leantext import lean_lines
from .metaltext import metal_lines
from .paneltext import panel_lines
from .piecuttext import pie_cut_lines
from .postpiecetext import hinge_piece_lines, post_piece_lines
from .splittext import split_lines
from .stretchtext import stretch_lines
from .sureness import sureness_lines
from .trimtext import trim_lines
from .viewtext import view_lines

FINE_BELOW_MM = 6.35  # findings under 1/4 in are read to 1/32

CAUTION_CUT = (
    "The roof and its posts protect the people inside, and cutting them is structural work: local codes and "
    "licensed practice decide. Old paint and body solder hold lead: no dry sanding or open torch on them "
    "without extraction and a respirator."
)
CAUTION_WELD = (
    "Welding and grinding set trim, sealer and seats on fire: take them out, keep an extinguisher at hand, "
    "and keep a fire watch during the work and well after it."
)
CAUTION_GLASS = (
    "Tempered glass cannot be cut: it shatters. A pane that changes has to be laminated glass cut to size or "
    "a new pane; which glass a windshield may have on the road, local codes decide."
)
CAUTION_ROAD = (
    "Have the lowered car inspected where the law asks for it; the driver's view and the seat belts' "
    "anchorages count."
)


def report_text(report: Report) -> str:
    """Return the report as text of at most 100 columns, ending with a line end.

    Lengths are in the car's unit: shop inches to 1/16 (gaps and steps to 1/32)
    with mm in brackets, or mm alone.
    """
    unit = report.car["unit"]
    is_cut = any(abs(post.take_out_mm) > 0 for post in report.posts)
    sections = [
        _head(report, unit),
        _before_and_after(report, unit),
        view_lines(report, unit),
        _moves(report, unit),
        panel_lines(report, unit),
        split_lines(report, unit),
        _post_cuts(report, unit) if report.posts else [],
        _post_ends(report, unit) if report.posts else [],
        _marks(report, unit) if report.posts else [],
        lean_lines(report, unit),
        pie_cut_lines(report, unit),
        stretch_lines(report, unit),
        side_glass_lines(report.side_glass, unit),
        sureness_lines(report.uncertainty, unit) if report.posts else [],
        _caution(CAUTION_CUT) if is_cut else [],
        metal_lines(report, unit),
        post_piece_lines(report, unit),
        hinge_piece_lines(report, unit),
        _seams(report, unit),
        door_seam_lines(report.door_seams, unit),
        trim_lines(report, unit),
        _interference(report, unit),
        _totals(report, unit),
        _caution(CAUTION_WELD) if report.totals.weld_mm > 0 else [],
        _findings(report, unit),
        _caution(CAUTION_ROAD) if report.totals.weld_mm > 0 else [],
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def check_text(car, report: Report, measures_lines) -> str:
    """Return what was read of a measured car and what is worth measuring again.

    Parameters
    ----------
    car : Car
        The measured car.
    report : Report
        Of the car as it stands, with the stock plan.
    measures_lines : list of str
        What its readings say about each other, see :mod:`model.output.measures`.
    """
    sides = "both sides measured" if any(hoop.left_mm for hoop in car.hoops) else "left side mirrored"
    hoops = ", ".join(hoop.name for hoop in car.hoops)
    rows = [
        ["car", car.name],
        ["origin", car.origin],
        ["hoops", f"{len(car.hoops)}, each of {len(car.rows)} rows, {sides}: {hoops}"],
        ["panels", ", ".join(panel.name for panel in car.panels) or "none"],
        ["openings", ", ".join(f"{o.name} {o.side}" for o in car.all_openings())],
        ["posts", ", ".join(f"{p.name} {p.side}" for p in car.all_posts())],
        ["keep-outs", ", ".join(item.name for item in car.keep_outs) or "none"],
        ["skin", area_cell(report.totals.skin_area_mm2, car.unit)],
        ["highest point", length_cell(report.totals.height_before_mm, car.unit)],
    ]
    width = max(len(label) for label, _ in rows)
    lines = [line for label, text in rows for line in wrapped(text, f"{label:{width}}  ")]
    lines += ["", "It holds together.", "", *measures_lines, "", *_findings(report, car.unit)]
    return "\n".join(lines) + "\n"


def worst_first(findings):
    """Return findings of one kind and source together, the worst in each group first.

    Groups keep the order in which the report has them: the gravest kind
    first.  In a group the finding furthest past its own limit comes first.

    Returns
    -------
    tuple of tuple of Finding
    """
    groups = {}
    for finding in findings:
        groups.setdefault((finding.kind, finding.source), []).append(finding)
    return tuple(
        tuple(sorted(group, key=lambda f: abs(f.measured - f.limit), reverse=True))
        for group in groups.values()
    )


def _head(report, unit):
    count = len(report.findings)
    listed = f"{count} finding{'s' * (count != 1)}, listed at the end" if count else "no findings"
    return [
        f"{report.car['name']}   plan: {report.plan['name']}   {listed}",
        lengths_line(unit),
        "Frame: x to the rear, y to the car's right, z up.",
    ]


def lengths_line(unit):
    if unit == "in":
        return "Lengths in shop inches to 1/16, gaps and steps to 1/32; millimetres in brackets."
    return f"Lengths in {unit_name(unit)}."


def _before_and_after(report, unit):
    totals, window = report.totals, report.window

    def length_row(label, before, after):
        change = None if before is None or after is None else after - before
        return [label, *(length_cell(v, unit) for v in (before, after, change))]

    def rake_row(label, before, after):
        change = angle_cell(abs(after) - abs(before), "flatter", "steeper")
        return [label, *(angle_cell(rake, "rearward", "forward") for rake in (before, after)), change]

    rows = [
        length_row("highest point", totals.height_before_mm, totals.height_after_mm),
        length_row("headroom at the seat", totals.headroom_before_mm, totals.headroom_after_mm),
        length_row(
            "windshield, along the glass",
            window.windshield_height_before_mm,
            window.windshield_height_after_mm,
        ),
        length_row("windshield, plumb", window.windshield_plumb_before_mm, window.windshield_plumb_after_mm),
        rake_row("windshield rake", window.windshield_rake_before_deg, window.windshield_rake_after_deg),
        rake_row("rear window rake", window.rear_rake_before_deg, window.rear_rake_after_deg),
    ]
    lines = [
        "BEFORE AND AFTER   rake from plumb, going up",
        *table_lines(["", "before", "after", "change"], rows),
    ]
    if abs(window.windshield_height_after_mm - window.windshield_height_before_mm) > 0.05:
        lines += _caution(CAUTION_GLASS)
    return lines


def _moves(report, unit):
    totals, window = report.totals, report.window
    rows = [
        ["roof, front drop", length_cell(totals.front_drop_mm, unit)],
        ["roof, rear drop", length_cell(totals.rear_drop_mm, unit)],
        ["roof fore-and-aft", signed_cell(totals.roof_forward_mm, unit, "forward", "rearward")],
        ["roof pitch", angle_cell(totals.roof_pitch_deg, "rear down", "rear up")],
        ["rear window fore-and-aft", signed_cell(window.rear_forward_mm, unit, "forward", "rearward")],
        ["rear window plumb", signed_cell(window.rear_down_mm, unit, "down", "up")],
        ["rear window laid down", angle_cell(window.rear_lay_down_deg)],
        ["rear window hinge line", place_cell(window.rear_pivot_mm, unit)],
        ["rear opening, largest change inside", f"{window.rear_opening_change_mm:.3f} mm"],
    ]
    return ["MOVES", *table_lines(["", ""], rows)[1:]]


def _post_cuts(report, unit):
    rows = [
        [
            f"{post.post} {post.side}",
            post.cut,
            length_cell(post.cut_height_mm, unit),
            angle_cell(post.lean_side_deg),
            angle_cell(post.lean_front_deg),
            length_cell(post.drop_mm, unit),
            length_cell(post.take_out_mm, unit),
        ]
        for post in report.posts
    ]
    heads = ["post", "cut", "at z", "lean side", "lean front", "plumb drop", "take-out"]
    return [
        "POSTS: WHAT TO CUT   on the post's axis; lean going up, side + rearward, front + inboard",
        *table_lines(heads, rows, words=2),
    ]


def _post_ends(report, unit):
    rows = [
        [
            f"{post.post} {post.side}",
            signed_cell(post.shift_mm, unit, "rearward", "forward"),
            signed_cell(post.miss_fore_aft_mm, unit, "rearward", "forward"),
            signed_cell(post.miss_across_mm, unit, "inboard", "outboard"),
            angle_cell(post.tilt_deg),
        ]
        for post in report.posts
    ]
    return [
        "POSTS: WHERE THE ENDS MISS   the upper end against the lower one",
        *table_lines(["post", "shifted", "miss fore-and-aft", "miss across", "tilt"], rows),
        *_remedies(report.posts),
    ]


def _remedies(posts):
    """Return one paragraph for each remedy, naming the posts that need it."""
    posts_by_remedy = {}
    for post in posts:
        if post.remedy:
            posts_by_remedy.setdefault((post.post, post.chosen, post.remedy), []).append(post.side)
    lines = []
    for (post, chosen, remedy), sides in posts_by_remedy.items():
        plan = f" (the plan: {' and '.join(chosen)})" if chosen else ""
        lines += wrapped(f"{post} {' and '.join(sides)}{plan}: {remedy}", "  ", "      ")
    return lines


def _marks(report, unit):
    rows = []
    for post in report.posts:
        names = [post.post, post.side, *[""] * len(post.edges)]
        for name, mark in zip(names, post.edges, strict=False):
            heights = (length_cell(point_mm[2], unit) for point_mm in (mark.lower_mm, mark.upper_mm))
            along = (length_cell(mm, unit) for mm in (mark.take_out_mm, mark.removed_mm))
            rows.append([name, mark.edge, *heights, *along])
    if not rows:
        return []
    heads = ["post", "edge", "lower mark z", "upper mark z", "take-out", "mark to mark"]
    return [
        "MARKS   along each edge of the box; mark to mark with the root gap; saw between the marks,",
        "        the kerf of both cuts on the waste side",
        *table_lines(heads, rows, words=2),
    ]


def _seams(report, unit):
    if not report.seams:
        return []
    lines = ["SEAMS: WHAT IS WELDED", *_length_lines(report, unit)]
    facing = [s for s in report.seams if s.gap_mm]
    if facing:
        gaps = [[s.name, *(gap_cell(mm, unit) for mm in _fit_of(s))] for s in facing]
        heads = ["seam", "gap, least", "mean", "greatest", "step, largest"]
        lines += ["", "SEAMS: HOW THEY FIT   negative gap: overlap", *table_lines(heads, gaps)]
        places = [[s.name, place_cell(s.min_at_mm, unit), place_cell(s.max_at_mm, unit)] for s in facing]
        lines += ["", *table_lines(["seam", "least gap at", "greatest gap at"], places)]
    without = [s.name for s in report.seams if not s.gap_mm]
    if without:
        lines += wrapped(f"No facing edge: {', '.join(without)}.", "  ", "  ")
    return lines


def _length_lines(report, unit):
    """Return the lengths: seams of new metal by themselves, whose names say already what they join."""
    new = tuple(metal.name for metal in report.new_metal)
    others = [s for s in report.seams if not s.name.startswith(new)]
    named = [s for s in report.seams if s.name.startswith(new)]
    rows = [[s.name, s.kind, " / ".join(s.pieces), long_cell(s.length_mm, unit)] for s in others]
    lines = table_lines(["seam", "kind", "pieces", "length"], rows, words=3) if rows else []
    if named:
        rows = [[s.name, s.kind, long_cell(s.length_mm, unit)] for s in named]
        lines += [*([""] if lines else []), *table_lines(["of new metal", "kind", "length"], rows, words=2)]
    return lines


def _fit_of(seam):
    """Return least, mean and greatest gap, and the step that is furthest from flush. [mm]"""
    step_mm = max(seam.step_mm.min, seam.step_mm.max, key=abs) if seam.step_mm else None
    return (seam.gap_mm.min, seam.gap_mm.mean, seam.gap_mm.max, step_mm)


def _interference(report, unit):
    rows = [
        [
            " / ".join(item.pieces),
            volume_cell(item.volume_mm3, unit),
            length_cell(item.depth_mm, unit),
            place_cell(item.at_mm, unit),
        ]
        for item in report.interference
    ]
    if not rows:
        return ["INTERFERENCE", "  none"]
    return ["INTERFERENCE", *table_lines(["pieces", "volume", "depth", "deepest at"], rows)]


def _totals(report, unit):
    totals = report.totals
    rows = [["weld", long_cell(totals.weld_mm, unit)]]
    rows += [[f"  kind: {kind}", long_cell(mm, unit)] for kind, mm in totals.weld_by_kind_mm.items()]
    rows += [[f"  side: {side}", long_cell(mm, unit)] for side, mm in totals.weld_by_side_mm.items()]
    rows += [
        ["skin cut out", area_cell(totals.removed_area_mm2, unit)],
        ["skin of the stock car", area_cell(totals.skin_area_mm2, unit)],
    ]
    return ["TOTALS", *table_lines(["", ""], rows)[1:]]


def _findings(report, unit):
    if not report.findings:
        return ["FINDINGS", "  none"]
    lines = ["FINDINGS, WORST FIRST"]
    for group in worst_first(report.findings):
        limits = [_in_unit(finding.limit, finding.unit, unit) for finding in group]
        shared = len(set(limits)) == 1
        head = f"limit {limits[0]}" if shared else "each with its limit"
        lines += wrapped(f"{group[0].kind}   {head}; source: {group[0].source}", "  ", "      ")
        for finding, limit in zip(group, limits, strict=True):
            measured = _in_unit(finding.measured, finding.unit, unit) + f", limit {limit}" * (not shared)
            lines += wrapped(f"{finding.where}, {measured}: {finding.message}", "    - ")
    return lines


def _in_unit(value, quantity, unit):
    if quantity == "mm":
        finest = 16 if abs(value) >= FINE_BELOW_MM else GAP_INCH
        return f"{length_cell(value, unit, finest)}{' mm' * (unit == 'mm')}"
    if quantity == "deg":
        return angle_cell(value)
    if quantity == "mm3":
        return volume_cell(value, unit)
    return f"{value:.2f}"


def _caution(text):
    return wrapped(text, "  Caution: ", "  ")
