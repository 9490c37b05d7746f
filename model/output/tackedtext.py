"""How a tacked roof stands against its plan, as text for a person with a tape in hand."""

from __future__ import annotations

from ..tacked import AXES, Estimate, TackedReport
from ..tackedadvice import CORNERS, FINEST, plus_minus
from .cells import length_cell, table_lines, wrapped
from .text import CAUTION_CUT, CAUTION_WELD

UNTOLD = "cannot be told"
CAUTION_MOVE = (
    "A roof held by tacks can drop: carry it on a hoist or props before a tack is let go, and keep hands out "
    "of the gap."
)
TOO_MUCH = {
    "x": ("too far back", "too far forward"),
    "y": ("too far right", "too far left"),
    "z": ("too high", "too low"),
}
TO_MEET_THE_PLAN = (
    ("up and down", CORNERS, "raise_mm", ("raise", "lower")),
    ("fore-and-aft", ("left side", "right side"), "back_mm", ("back", "forward")),
    ("across", ("front", "rear"), "right_mm", ("to the right", "to the left")),
)
BENDS = {  # kind: its name with what + and − mean
    "twist": ("twist, a corner", "right rear and left front high", "left rear and right front high"),
    "spread": ("spread, a side", "out", "in"),
    "bow": ("bow, the middle", "high", "low"),
}


def tacked_text(report: TackedReport) -> str:
    """Return the report as text of at most 100 columns, ending with a line end."""
    sections = [
        _head(report),
        _sentences("WHAT TO DO", report.advice),
        _sentences("BEFORE YOU DO IT", report.notes),
        [*wrapped(CAUTION_MOVE, "  Caution: ", "  "), *wrapped(CAUTION_CUT, "  Caution: ", "  ")],
        _stand(report),
        _left_out(report),
        _bends(report),
        _posts(report),
        _points(report),
        wrapped(CAUTION_WELD, "  Caution: ", "  "),
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def estimate_cell(found: Estimate, unit, positive="", negative="") -> str:
    """Return a length with its ±, its sign in words.

    Examples
    --------
    >>> estimate_cell(Estimate(value=-4.7, plus_minus=0.7), "in", "up", "down")
    '3/16" (4.7) down ± 1/32" (0.7 mm)'
    >>> estimate_cell(Estimate(value=None, plus_minus=None), "in")
    'cannot be told'
    """
    if found.value is None:
        return UNTOLD
    signed = found.value if not positive else abs(found.value)
    word = f" {positive if found.value > 0 else negative}" if positive and abs(found.value) >= 0.05 else ""
    return f"{length_cell(signed, unit, FINEST)}{word} {plus_minus(found.plus_minus, unit)}"


def turn_cell(found: Estimate, positive, negative) -> str:
    """Return a turn with its ± in degrees, its sign in words."""
    if found.value is None:
        return UNTOLD
    return f"{abs(found.value):.2f}° {positive if found.value > 0 else negative} ± {found.plus_minus:.2f}°"


def _head(report):
    used = f"{len(report.points)} points measured, {report.readings} readings used"
    out = f", {len(report.left_out)} left out" if report.left_out else ""
    return [
        f"{report.car}, roof tacked   plan: {report.plan}",
        f"{used}{out}, {report.readings_to_spare} more than the move needs.",
        *wrapped(
            "Each ± holds 19 times in 20: a reading is taken to be off by rounding to the tape's mark and as "
            "much again by finding the point and holding the tape (assumed), before the cut and after it.",
            "",
        ),
    ]


def _sentences(head, sentences):
    return [head, *(line for text in sentences for line in wrapped(text, "  - "))] if sentences else []


def _stand(report):
    unit = report.unit
    rows = [
        ["fore-and-aft", estimate_cell(report.stands_back_mm, unit, "rearward", "forward")],
        ["across", estimate_cell(report.stands_right_mm, unit, "to the right", "to the left")],
        ["up and down", estimate_cell(report.stands_up_mm, unit, "high", "low")],
        ["pitch", turn_cell(report.pitch_deg, "rear down", "rear up")],
        ["roll", turn_cell(report.roll_deg, "right side up", "right side down")],
        ["turn seen from above", turn_cell(report.yaw_deg, "rear to the right", "rear to the left")],
    ]
    lines = [
        "HOW IT STANDS AGAINST THE PLAN   in the middle of its four corners",
        *table_lines(["", ""], rows, 2)[1:],
    ]
    tables = []
    for head, names, field, words in TO_MEET_THE_PLAN:
        rows = [[name, estimate_cell(getattr(report.place(name), field), unit, *words)] for name in names]
        tables += table_lines(["to meet the plan", head], rows, 2)
    return [*lines, "", *tables]


def _left_out(report):
    lines = []
    for wrong in report.left_out:
        size = estimate_cell(wrong.too_much_mm, report.unit, *TOO_MUCH[wrong.axis])
        lines += wrapped(f"{wrong.axis} of {wrong.point} reads {size}", "  - ")
    return ["READINGS LEFT OUT   the others contradict them: measure these again", *lines] if lines else []


def _bends(report):
    rows = []
    for bend in report.bends:
        name, *words = BENDS[bend.kind]
        said = (
            "shows"
            if bend.shows
            else "not told apart"
            if bend.amount_mm.value is None
            else "no more than chance"
        )
        rows.append([name, estimate_cell(bend.amount_mm, report.unit, *words), said])
    return ["TWIST AND SPRING   what moving the roof does not cure", *table_lines(["", "", ""], rows, 3)[1:]]


def _posts(report):
    unit = report.unit
    lines = ["POSTS AS TACKED   the upper end against the lower one; gap square to the cut"]
    for head, planned, now, words in (
        ("miss fore-and-aft", "miss_fore_aft_planned_mm", "miss_fore_aft_mm", ("rearward", "forward")),
        ("miss across", "miss_across_planned_mm", "miss_across_mm", ("inboard", "outboard")),
        ("gap on the axis", "gap_planned_mm", "gap_mm", ()),
    ):
        rows = []
        for post in report.posts:
            before = Estimate(value=getattr(post, planned), plus_minus=0.0)
            as_planned = estimate_cell(before, unit, *words).partition(" ±")[0]
            rows.append(
                [f"{post.post} {post.side}", as_planned, estimate_cell(getattr(post, now), unit, *words)]
            )
        lines += table_lines([head, "as planned", "as tacked"], rows)
    return lines


def _points(report):
    rows = [
        [
            point.name + " *" * point.is_mirrored,
            *(length_cell(mm, report.unit, FINEST) for mm in point.unexplained_mm),
        ]
        for point in report.points
    ]
    lines = ["POINTS   what is left of measured − planned once move, twist and spring are taken off"]
    lines += table_lines(["point", *AXES], rows)
    mirrored = any(point.is_mirrored for point in report.points)
    return [*lines, "  * planned from the mirror image of the other side"] if mirrored else lines
