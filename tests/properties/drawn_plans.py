"""Plans drawn at random for any car, from the least to more than most posts have room for."""

from dataclasses import replace

from hypothesis import strategies as st

from model.built import Built, Placed, place, remembered_shape
from model.errors import PlanError
from model.evaluate import build_checked
from model.measured import Car
from model.plan import (
    ALONG_WINDSHIELD,
    LEVEL,
    SQUARE,
    STRAIGHT_DOWN,
    GivenPlane,
    Plan,
    PostCut,
    PostShift,
    RoofMove,
    WindowMove,
)
from model.posts import check_cuts

MOST_DROP_MM = 110.0
PLANES = st.one_of(
    st.sampled_from([None, LEVEL, SQUARE]),
    st.builds(GivenPlane, rises_rearward_deg=st.floats(-15, 15), rises_inboard_deg=st.floats(-10, 10)),
)
WAYS = st.one_of(st.sampled_from([ALONG_WINDSHIELD, STRAIGHT_DOWN]), st.floats(-40, 60))
WINDOWS = st.builds(
    WindowMove,
    forward_mm=st.floats(-10, 80),
    down_mm=st.none() | st.floats(0, 110),
    lay_down_deg=st.floats(-5, 15),
    flange_mm=st.floats(5, 25),
)


def roofs(*, is_pitched=True):
    """Return a strategy for moves of a roof."""
    drops = st.floats(0, MOST_DROP_MM)
    if not is_pitched:
        return st.builds(lambda d, way: RoofMove(front_drop_mm=d, rear_drop_mm=d, fore_aft=way), drops, WAYS)
    return st.builds(
        lambda d, extra, way: RoofMove(front_drop_mm=d, rear_drop_mm=max(d + extra, 0.0), fore_aft=way),
        drops,
        st.floats(-25, 35),
        WAYS,
    )


def plans(car: Car, *, is_pitched=True, plane=PLANES, window=None):
    """Return a strategy for plans of a car, posts cut in the lower half of where they may be."""

    def cut(post):
        room = post.cut_to_mm - post.cut_from_mm
        height = st.none() | st.floats(0.02, 0.5).map(lambda part: post.cut_from_mm + part * room)
        return st.builds(
            PostCut, post=st.just(post.name), side=st.just(post.side), height_mm=height, plane=plane
        )

    return st.builds(
        Plan,
        roof=roofs(is_pitched=is_pitched),
        window=st.none() | WINDOWS if window is None else window,
        cut=st.sampled_from([LEVEL, SQUARE]),
        cuts=st.tuples(*map(cut, car.all_posts())),
        kerf_mm=st.floats(0.4, 3.0),
        root_gap_mm=st.floats(0.0, 2.0),
    )


def shifted(plan: Plan, by) -> Plan:
    """Return the plan with its B-posts shifted."""
    return replace(plan, shifts=(PostShift(post="B", by=by),))


def placed(car: Car, plan: Plan) -> Placed:
    """Return where the plan puts the roof and every post's ends, as long as both cuts stay on the post."""
    found = place(remembered_shape(car), plan)
    for ends in found.ends.values():
        check_cuts(ends)
    return found


def halved_until_built(car: Car, plan: Plan) -> Built:
    """Return a plan carried out, its drops halved until they leave every cut on its post."""
    for _ in range(8):
        try:
            return build_checked(car, plan)
        except PlanError as refusal:
            if "drop" not in refusal.parameter and "cut_height" not in refusal.parameter:
                raise
            roof = plan.roof
            plan = replace(
                plan,
                roof=replace(roof, front_drop_mm=roof.front_drop_mm / 2, rear_drop_mm=roof.rear_drop_mm / 2),
            )
    raise AssertionError("no drop is small enough")
