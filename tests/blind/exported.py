"""The program's side of the blind test: cars and plans in, files on disk out.

Everything here may call the program; nothing of it is used to recover a
number.  A case writes ``stock.step``, ``chopped.step`` and ``report.json``.
"""

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
from invented_cars import varied_car, with_point_moved

from model.built import build
from model.carcheck import check_car
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import MeasureError, PlanError
from model.evaluate import evaluate
from model.measured import Corner, EndPanel, Hoop
from model.output.step import write_step
from model.plan import GivenPlane, Plan, PostCut, PostShift, RoofMove, WindowMove
from model.planfile import read_plan

GENERATED = tuple(f"generated {seed}" for seed in range(20))


@lru_cache
def demo(name):
    """Return a shipped car and its demo plan."""
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_plan_path(name), car)


def coupe_square():
    """Return the coupe cut square, straight down, nose dropped more, window back in its own time."""
    car, _ = demo("coupe")
    return car, Plan(
        name="square, straight down",
        roof=RoofMove(front_drop_mm=62.0, rear_drop_mm=44.0, fore_aft="straight-down"),
        window=WindowMove(forward_mm=12.0, down_mm=35.0, lay_down_deg=4.0, flange_mm=16.0),
        cut="square",
        cuts=(
            PostCut(post="C", side="left", height_mm=1170.0),
            PostCut(post="A", plane=GivenPlane(rises_rearward_deg=-9.0, rises_inboard_deg=4.0)),
        ),
        kerf_mm=2.0,
        root_gap_mm=1.1,
    )


def pickup_shifted():
    """Return the pickup with planes and heights that differ from side to side."""
    car, _ = demo("pickup")
    return car, Plan(
        name="side by side",
        roof=RoofMove(front_drop_mm=48.0, rear_drop_mm=75.0, fore_aft=9.0),
        window=WindowMove(forward_mm=30.0, lay_down_deg=2.5),
        cuts=(
            PostCut(post="A", side="right", plane="square"),
            PostCut(post="A", side="left", height_mm=1240.0),
            PostCut(
                post="rear corner",
                side="right",
                plane=GivenPlane(rises_rearward_deg=6.0, rises_inboard_deg=-5.0),
            ),
            PostCut(post="rear corner", side="left", plane="square", height_mm=1238.0),
        ),
        kerf_mm=1.6,
        root_gap_mm=0.4,
    )


@lru_cache(maxsize=64)
def case(name):
    """Return car and plan of a case."""
    if name in ("coupe", "pickup"):
        return demo(name)
    if name == "coupe, square cuts":
        return coupe_square()
    if name == "pickup, side by side":
        return pickup_shifted()
    return generated(int(name.removeprefix("generated ")))


def write_case(folder, car, plan):
    """Write stock and chopped parts and the report of a plan."""
    built = build(car, plan)
    for stays in ("stock", "chopped"):
        write_step(built, folder / f"{stays}.step", stays=stays, form="surfaces")
    (folder / "report.json").write_text(json.dumps(evaluate(car, plan).to_json()))


# ---------------------------------------------------------------- one point moved by 5 mm

LEVEL_DOWN = Plan(
    name="level, forward by a length",
    roof=RoofMove(front_drop_mm=60.0, rear_drop_mm=60.0, fore_aft=20.0),
    window=WindowMove(forward_mm=20.0, lay_down_deg=1.0),
)


def moved_point_case(name):
    """Return car and plan: the pickup or the coupe with one measured point 5 mm away, or none."""
    pickup, pickup_plan = demo("pickup")
    coupe, coupe_plan = demo("coupe")
    return {
        "pickup": lambda: (pickup, pickup_plan),
        "pickup, level": lambda: (pickup, LEVEL_DOWN),
        "coupe": lambda: (coupe, coupe_plan),
        "rear hoop's belt": lambda: (with_point_moved(pickup, "back", "belt", (0.0, 5.0, 0.0)), pickup_plan),
        "rear hoop's mid": lambda: (with_point_moved(pickup, "back", "mid", (0.0, 5.0, 0.0)), pickup_plan),
        "door hoop's crown": lambda: (
            with_point_moved(pickup, "door", "crown", (0.0, 0.0, 5.0)),
            pickup_plan,
        ),
        "rear point": lambda: (with_point_moved(pickup, "back", "crown", (5.0, 0.0, 0.0)), pickup_plan),
        "A-post's top": lambda: (
            with_post_point_moved(pickup, "A", "right", -1, (5.0, 0.0, 0.0)),
            LEVEL_DOWN,
        ),
        "quarter hoop's head, left": lambda: (
            with_point_moved(coupe, "quarter", "head", (0.0, -5.0, 0.0), side="left"),
            coupe_plan,
        ),
    }[name]()


def with_post_point_moved(car, name, side, index, by_mm):
    """Return the car with one point of one post's axis moved; the other side stays."""
    posts = []
    for p in car.all_posts():
        if (p.name, p.side) == (name, side):
            axis = list(p.axis_mm)
            axis[index] = tuple(a + b for a, b in zip(axis[index], by_mm, strict=True))
            p = replace(p, axis_mm=tuple(axis))
        posts.append(p)
    return replace(car, posts=tuple(posts))


# ---------------------------------------------------------------- generated cars


@lru_cache(maxsize=32)
def generated(seed):
    """Return a car and a plan that exist only here: a warped demo car, or a varied one with uneven posts.

    Where the program refuses a draw the next one is taken.
    """
    for again in range(40):
        rng = np.random.default_rng([seed, again, 77])
        try:
            if seed % 2:
                car = bent(varied_car(300 + 31 * seed + again), rng)
            else:
                car = warped(demo("coupe" if seed % 4 else "pickup")[0], rng)
            check_car(car)
            plan = drawn_plan(car, rng, seed)
            evaluate(car, plan)
        except (MeasureError, PlanError):
            continue
        return replace(car, name=f"generated {seed}"), replace(plan, name=f"generated {seed}")
    raise AssertionError(f"no car and plan for seed {seed}")


def warped(car, rng):
    """Return a demo car stretched, sheared and swollen, each side its own way, its posts bowed."""
    sx, sz = rng.uniform(0.94, 1.06, 2)
    shear = rng.uniform(-0.04, 0.04)
    z0 = car.hoops[0].right_mm[0][2]
    swell = {
        s: (rng.uniform(0.95, 1.05), rng.uniform(0.0, 0.02), rng.uniform(0, 6)) for s in ("right", "left")
    }
    apart = {"right": np.zeros(2), "left": rng.uniform(-3, 3, 2), "centre": np.zeros(2)}

    def at(p, side):
        x, y, z = p
        scale, wave, phase = swell["right" if side == "centre" else side]
        dx, dz = apart[side] * (abs(y) / 700 if y else 0.0)
        wide = scale * (1 + wave * np.sin(x / 450 + phase))
        return (float(sx * x + shear * (z - z0) + dx), float(y * wide), float(z0 + sz * (z - z0) + dz))

    def over(points, side):
        return tuple(at(p, side) for p in points)

    def corner(c, view):
        if view == "side":
            x, _, z = at((c.across_mm, 0.0, c.up_mm), "centre")
            return Corner(across_mm=x, up_mm=z, radius_mm=c.radius_mm)
        return Corner(across_mm=c.across_mm * 0.95, up_mm=z0 + sz * (c.up_mm - z0), radius_mm=c.radius_mm)

    def post(p):
        points = np.array(p.axis_mm)
        if len(points) == 2:
            points = np.array([points[0], (points[0] + points[1]) / 2, points[1]])
        bow = rng.uniform(-4, 4, 2) * ([1, 0] if p.side == "centre" else [1, 1])
        points[1:-1] += [bow[0], bow[1], 0.0]

        def z(v):
            return float(z0 + sz * (v - z0))

        return replace(
            p,
            axis_mm=over(points, p.side),
            cut_from_mm=z(p.cut_from_mm),
            cut_to_mm=z(p.cut_to_mm),
            cut_at_mm=z(p.cut_at_mm),
        )

    panels = []
    for p in car.panels:
        lines = {s: tuple(over(line, s) for line in p.side_mm(s)) for s in ("right", "left")}
        lines["left"] = tuple((*b[:-1], a[-1]) for a, b in zip(lines["right"], lines["left"], strict=True))
        panels.append(EndPanel(name=p.name, right_mm=lines["right"], left_mm=lines["left"]))
    hoops = tuple(
        Hoop(
            name=h.name,
            right_mm=over(h.right_mm, "right"),
            left_mm=(*over(h.side_mm("left")[:-1], "left"), at(h.right_mm[-1], "centre")),
        )
        for h in car.hoops
    )
    posts = tuple(post(p) for p in car.all_posts())
    openings = tuple(replace(o, corners=tuple(corner(c, o.view) for c in o.corners)) for o in car.openings)
    return replace(
        car, hoops=hoops, panels=tuple(panels), openings=openings, posts=posts, keep_outs=(), seat_mm=None
    )


def bent(car, rng):
    """Return a varied car with its posts bowed further, left and right differently."""

    def post(p):
        points = np.array(p.axis_mm)
        bow = rng.uniform(-5, 5, 2) * ([1, 0] if p.side == "centre" else [1, 0.6])
        s = np.linspace(0, np.pi, len(points))
        points[:, 0] += bow[0] * np.sin(s)
        points[:, 1] += bow[1] * np.sin(s)
        return replace(p, axis_mm=tuple(tuple(float(c) for c in q) for q in points))

    return replace(car, posts=tuple(post(p) for p in car.posts))


def drawn_plan(car, rng, seed):
    """Return a plan with pitch, lay-down, and heights and planes of its own for every post."""

    def draw(low, high):
        return float(rng.uniform(low, high))

    front = draw(30, 62)
    cuts = []
    for post in car.all_posts():
        plane = (
            None,
            "level",
            "square",
            GivenPlane(rises_rearward_deg=draw(-10, 10), rises_inboard_deg=draw(-7, 7)),
        )
        height = post.cut_at_mm + draw(-12, 12)
        cuts.append(
            PostCut(post=post.name, side=post.side, height_mm=height, plane=plane[rng.integers(0, 4)])
        )
    return Plan(
        roof=RoofMove(
            front_drop_mm=front,
            rear_drop_mm=front + draw(-8, 22),
            fore_aft=("along-windshield", "straight-down", draw(-10, 35))[seed % 3],
        ),
        window=None
        if seed % 7 == 6
        else WindowMove(
            forward_mm=draw(0, 45),
            down_mm=None if rng.integers(0, 2) else draw(25, 60),
            lay_down_deg=draw(0, 4.5),
            flange_mm=draw(14, 20),
        ),
        cuts=tuple(cuts),
        shifts=(PostShift(post="B", by="line-up" if seed % 5 == 0 else draw(-20, 25)),)
        if any(p.name == "B" for p in car.posts) and seed % 3 == 0
        else (),
        kerf_mm=draw(0.5, 2.5),
        root_gap_mm=draw(0.3, 1.5),
    )
