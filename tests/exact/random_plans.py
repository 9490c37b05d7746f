"""Plans made up from a seed, inside the limits of a demo car."""

from functools import lru_cache

import numpy as np
from cases import CARS, car_of

from model.errors import PlanError
from model.evaluate import build_checked
from model.limits import limits_of
from model.plan import (
    ALONG_WINDSHIELD,
    STRAIGHT_DOWN,
    GivenPlane,
    Plan,
    PostCut,
    PostShift,
    RoofMove,
    WindowMove,
)


@lru_cache
def random_case(car_name, seed):
    """Return a plan made up from a seed, inside the car's limits, carried out."""
    rng = np.random.default_rng([seed, CARS.index(car_name)])
    for _ in range(100):
        try:
            return build_checked(car_of(car_name), drawn_plan(car_of(car_name), rng))
        except PlanError:  # a shift wider than the rail, a flange that meets the border
            continue
    raise AssertionError("no plan of a hundred can be built")


def drawn_plan(car, rng):
    def between(low, high):
        return float(rng.uniform(low, high))

    cuts = []
    for post in car.all_posts():
        given = GivenPlane(rises_rearward_deg=between(-15, 15), rises_inboard_deg=between(-10, 10))
        plane = (None, "level", "square", given)[rng.integers(4)]
        room = post.cut_to_mm - post.cut_from_mm
        height = post.cut_from_mm + between(0.05, 0.5) * room if rng.random() < 0.7 else None
        cuts.append(PostCut(post=post.name, side=post.side, height_mm=height, plane=plane))
    plan = Plan(
        cut=("level", "square")[rng.integers(2)],
        cuts=tuple(cuts),
        kerf_mm=between(0.4, 3.0),
        root_gap_mm=between(0.0, 2.0),
    )
    way = (ALONG_WINDSHIELD, STRAIGHT_DOWN, between(-30, 60))[rng.integers(3)]
    front = between(
        5, min(110, 0.9 * limits_of(car, plan.changed(roof=RoofMove(fore_aft=way)))["front_drop"][1])
    )
    rear = front + between(-25, 35)
    roof = RoofMove(front_drop_mm=front, rear_drop_mm=max(rear, 0.0), fore_aft=way)
    plan = plan.changed(roof=roof)
    highest = limits_of(car, plan)
    window = WindowMove(
        forward_mm=between(-10, 80),
        down_mm=between(0, 110) if rng.random() < 0.5 else None,
        lay_down_deg=between(-5, 15),
        flange_mm=between(5, min(40, highest["flange"][1])),
    )
    shifts = ()
    if any(post.name == "B" for post in car.posts) and rng.random() < 0.6:
        ways = [(PostShift(post="B"),), (PostShift(post="B", by=between(-40, 40)),)]
        ways.append(
            (PostShift(post="B", side="left", by=between(-30, 30)), PostShift(post="B", side="right"))
        )
        shifts = ways[rng.integers(3)]
    return plan.changed(window=window if rng.random() < 0.85 else None, shifts=shifts)
