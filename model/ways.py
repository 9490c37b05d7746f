"""Ways of lowering a roof to the same look: one word of the plan stands for what it asks of roof and posts.

=============  =================================================================
``forward``    the roof follows the windshield; upper ends of posts between two
               side openings are shifted until they line up
``laid-back``  straight down; the first posts of both sides are leaned until they
               meet it both ways, and a post between the panes of the windshield
               fore-and-aft
``split``      straight down, split along and across until the posts meet; posts
               between two side openings are shifted until they line up
=============  =================================================================

A way fills in how the roof goes fore-and-aft, shifts, leans and the split, and
replaces what the plan says of them; only where the roof is cut across stays as
the plan says.  Drops, the window's move, planes and heights of cuts, kerf and new
metal, the look and the tools, are the plan's.  One thing more is filled in: a
leaned post turns least the longer it is, so where the plan gives its cut no
height, it is cut as high as its stretch allows, less a margin.
"""

from __future__ import annotations

from dataclasses import replace

from .errors import PlanError
from .measured import Car
from .placing import PostKey, front_posts
from .plan import (
    ALONG_WINDSHIELD,
    AS_PLANNED,
    FORWARD,
    LAID_BACK,
    MEET,
    MEET_BOTH_WAYS,
    SPLIT,
    STRAIGHT_DOWN,
    WAYS,
    Plan,
    PostCut,
    PostLean,
    PostShift,
    RoofSplit,
)

MARGIN_MM = 12.7  # of a leaned post's upper cut below the end of its stretch; assumed


def as_way(plan: Plan, car: Car) -> Plan:
    """Return the plan with its way filled in; itself where it has none, or is filled in already.

    Raises
    ------
    PlanError
        If the way is not known, or the plan leaves the roof where it is.
    """
    if plan.way == AS_PLANNED:
        return plan
    if plan.roof is None:
        raise PlanError("way", "must come with a roof that is moved.", "Give the drops, or leave it out.")
    fill = {FORWARD: _forward, LAID_BACK: _laid_back, SPLIT: _split}.get(plan.way)
    if fill is None:
        raise PlanError("way", f'must be {", ".join(WAYS)}; got "{plan.way}".', "Choose one of them.")
    return fill(plan.changed(shifts=(), leans=()), car)


def _forward(plan, car):
    roof = replace(plan.roof, fore_aft=ALONG_WINDSHIELD)
    return plan.changed(roof=roof, shifts=_shifts(car), split=None)


def _laid_back(plan, car):
    roof, leans, cuts = replace(plan.roof, fore_aft=STRAIGHT_DOWN), [], list(plan.cuts)
    for key in leaned_posts(car):
        post, side = key
        leans.append(PostLean(post=post, side=side, lean=MEET if side == "centre" else MEET_BOTH_WAYS))
        if plan.cut_of(post, side).height_mm is None:
            cuts.append(PostCut(post=post, side=side, height_mm=_highest_cut_mm(car, key, plan)))
    leaned = {lean.post for lean in leans}
    pies = tuple(pie for pie in plan.pie_cuts if pie.post not in leaned)
    return plan.changed(roof=roof, leans=tuple(leans), cuts=tuple(cuts), split=None, pie_cuts=pies)


def _split(plan, car):
    across_at = plan.split.across_at_mm if plan.split else None
    split = RoofSplit(spread_mm=MEET, lengthen_mm=MEET, across_at_mm=across_at)
    roof = replace(plan.roof, fore_aft=STRAIGHT_DOWN)
    return plan.changed(roof=roof, shifts=_shifts(car), split=split)


def _shifts(car):
    return tuple(PostShift(post=post, side=side) for post, side in posts_between_openings(car))


def leaned_posts(car: Car) -> list[PostKey]:
    """Return the first posts of both sides, and posts on the centreline as far forward."""
    first = front_posts(car)
    on_side = [p for p in car.all_posts() if p.side != "centre"]
    middle = sum(p.axis_mm[0][0] for p in on_side) / len(on_side)
    return [
        *first,
        *((p.name, p.side) for p in car.all_posts() if p.side == "centre" and p.axis_mm[0][0] < middle),
    ]


def posts_between_openings(car: Car) -> list[PostKey]:
    """Return the side posts that stand between two openings of their side."""
    found = []
    for post in car.all_posts():
        x = (post.axis_mm[0][0] + post.axis_mm[-1][0]) / 2
        ends = [
            [corner.across_mm for corner in opening.corners]
            for opening in car.all_openings()
            if opening.grid == "side" and opening.side == post.side
        ]
        if any(max(xs) < x for xs in ends) and any(min(xs) > x for xs in ends):
            found.append((post.name, post.side))
    return found


def _highest_cut_mm(car, key, plan):
    """Return the height at which a leaned post is cut: its upper cut a margin below its stretch's end."""
    post = next(p for p in car.all_posts() if (p.name, p.side) == key)
    height = post.cut_to_mm - plan.roof.front_drop_mm - MARGIN_MM
    return max(min(height, post.cut_to_mm), post.cut_at_mm)
