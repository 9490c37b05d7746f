"""Pie cuts beside posts as text: where each is marked, what closing it takes up, what it does not show."""

from __future__ import annotations

from ..report import Report
from .cells import angle_cell, gap_cell, length_cell, place_cell, table_lines, wrapped

MARKS = ("end of the cut", "mouth, on the post's side", "mouth, on the side that stays")
NOT_DRAWN = (
    "Scribe from the end to both mouth marks, and take out what lies between; the root gap is in it. The "
    "sheet over the post runs on into body sheet that stays, so it is bent, not cut: dress a crease of the "
    "turn into it level with the end of the cut, from the wedge round the corner to the opening, and let it "
    "run out beyond. Seams and new metal beside these posts are told as before the pull: leave that sheet "
    "long, and cut and fit it once the end is drawn in and tacked."
)
CAUTION_PIE = (
    "A post that is drawn in holds nothing until its wedge is welded: brace the opening first; what a "
    "roof post must still hold, local codes and licensed practice decide."
)


def pie_cut_lines(report: Report, unit: str) -> list[str]:
    """Return what to cut beside every post that is drawn in; nothing where none is."""
    drawn = [post for post in report.posts if post.pie_cut]
    if not drawn:
        return []
    sizes, marks = [], []
    for post in drawn:
        cut, name = post.pie_cut, f"{post.post} {post.side}"
        leg = length_cell(cut.leg_mm, unit)
        sizes.append(
            [
                name,
                f"along {cut.edge}",
                gap_cell(cut.mouth_mm, unit),
                leg,
                angle_cell(cut.turn_deg),
                gap_cell(cut.sheet_in_mm, unit),
            ]
        )
        places = (cut.end_mm, cut.loose_mm, cut.stays_mm)
        for first, mark, place in zip((name, "", ""), MARKS, places, strict=True):
            marks.append([first, mark, place_cell(place, unit)])
    return [
        "POSTS: DRAWN IN   a pie cut out of the sheet round the corner, closed until the ends meet across",
        *table_lines(["post", "loose side", "mouth", "leg", "turn", "sheet comes in"], sizes, words=2),
        "",
        *table_lines(["post", "mark", "on the uncut car"], marks, words=2),
        *wrapped(NOT_DRAWN),
        *wrapped(CAUTION_PIE, "  Caution: ", "  "),
    ]
