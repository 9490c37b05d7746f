"""Leans, misses, take-outs, pitch and rakes a second way: plain trigonometry on the numbers of the car files.

Straight posts are two points each; the roof's pitch and slide are found by
halving an interval.  Nothing of the program is used but its answers: files
are read with the standard library, planes and turns are written out in x and z.
"""

import math
import tomllib
from fractions import Fraction

import numpy as np
import pytest
from cases import CARS, car_of

from model.built import build, place, remembered_shape
from model.carfile import demo_car_path
from model.evaluate import fit_report_of
from model.plan import ALONG_WINDSHIELD, STRAIGHT_DOWN, GivenPlane, Plan, PostCut, RoofMove, WindowMove

PLANS = 100  # of each car
LIMIT_MM, LIMIT_DEG = 1e-6, 1e-8


def mm(text):
    """Return a length of a file in inches, such as 45-1/2. [mm]"""
    whole, _, part = str(text).lstrip("-").rpartition("-")
    inches = Fraction(whole or 0) + Fraction(part)
    return float(inches * Fraction(254, 10)) * (-1 if str(text).startswith("-") else 1)


def numbers_of(car_name):
    """Return ({(post, side): (foot, head)} of straight posts, the rear point)."""
    with open(demo_car_path(car_name), "rb") as file:
        values = tomllib.load(file)
    assert values["unit"] == "in"
    posts = {}
    for post in values["post"]:
        axis = [tuple(map(mm, point)) for point in post["axis"]]
        if len(axis) == 2:
            posts[post["name"], post["side"]] = axis
            if post["side"] == "right":
                mirrored = [(x, -y, z) for x, y, z in axis]
                posts.setdefault((post["name"], "left"), mirrored)
    for post in values["post"]:  # a measured left one stands for itself
        if post["side"] == "left" and len(post["axis"]) == 2:
            posts[post["name"], "left"] = [tuple(map(mm, point)) for point in post["axis"]]
    rear = values["rear_point"]
    hoop = next(h for h in values["hoop"] if h["name"] == rear["hoop"])
    return posts, tuple(map(mm, hoop["right"][rear["row"]]))


def halved(function, low, high):
    """Return the root of a rising function."""
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return (low + high) / 2


def at_height(axis, z):
    (x0, y0, z0), (x1, y1, z1) = axis
    part = (z - z0) / (z1 - z0)
    return (x0 + part * (x1 - x0), y0 + part * (y1 - y0), z)


def above(point, centre, normal):
    return sum(n * (a - b) for n, a, b in zip(normal, point, centre, strict=True))


class Roof:
    """Down and forward, and turned by f about the y-parallel through what lands at C."""

    def __init__(self, landing, rear, front_drop, rear_drop, slide):
        self.landing = landing
        self.u = (landing[0] + slide, landing[2] + front_drop)
        far, high = rear[0] - self.u[0], rear[2] - self.u[1]

        def too_far_down(f):
            return far * math.sin(f) + high * (1 - math.cos(f)) - (rear_drop - front_drop)

        self.pitch = halved(too_far_down, -0.5, 0.5)

    def moved(self, p):
        c, s = math.cos(self.pitch), math.sin(self.pitch)
        x, z = p[0] - self.u[0], p[2] - self.u[1]
        return (self.landing[0] + c * x + s * z, p[1], self.landing[2] - s * x + c * z)

    def landing_on(self, axis, centre, normal):
        """Return where the moved axis meets a plane, and the part of its length above the foot there."""
        foot, head = map(self.moved, axis)
        low, high = (
            sum(n * (a - b) for n, a, b in zip(normal, p, centre, strict=True)) for p in (foot, head)
        )
        part = low / (low - high)
        return tuple(a + part * (b - a) for a, b in zip(foot, head, strict=True)), part


def drawn_plan(car, rng):
    def between(low, high):
        return float(rng.uniform(low, high))

    cuts = []
    for post in car.all_posts():
        given = GivenPlane(rises_rearward_deg=between(-15, 15), rises_inboard_deg=between(-10, 10))
        room = post.cut_to_mm - post.cut_from_mm
        cuts.append(
            PostCut(
                post=post.name,
                side=post.side,
                height_mm=post.cut_from_mm + between(0.02, 0.5) * room,
                plane=("level", "square", given)[rng.integers(3)],
            )
        )
    front = between(0, 110)
    way = (ALONG_WINDSHIELD, STRAIGHT_DOWN, between(-40, 60))[rng.integers(3)]
    rear = max(0.0, front + between(-25, 35))
    return Plan(roof=RoofMove(front_drop_mm=front, rear_drop_mm=rear, fore_aft=way), cuts=tuple(cuts))


def worked_out(car_name, plan):
    """Return (roof, {post: (lean side, lean front, fore-and-aft, across, take-out)}) by hand."""
    posts, rear = numbers_of(car_name)
    heights = {key: plan.cut_of(*key).height_mm for key in posts}
    centres = {key: at_height(axis, heights[key]) for key, axis in posts.items()}
    sides = ("right", "left")
    landing = tuple(sum(centres["A", side][i] for side in sides) / 2 for i in range(3))
    drops = plan.roof.front_drop_mm, plan.roof.rear_drop_mm

    def miss_level(slide):
        roof = Roof(landing, rear, *drops, slide)
        ends = [roof.landing_on(posts["A", s], centres["A", s], (0, 0, 1))[0][0] for s in sides]
        return sum(end - centres["A", s][0] for end, s in zip(ends, sides, strict=True)) / 2

    slide = plan.roof.fore_aft
    if slide == STRAIGHT_DOWN:
        slide = 0.0
    elif slide == ALONG_WINDSHIELD:
        slide = halved(lambda s: -miss_level(s), -500.0, 500.0)
    roof = Roof(landing, rear, *drops, slide)
    out = {}
    for key, axis in posts.items():
        (x0, y0, z0), (x1, y1, z1) = axis
        inboard = 1.0 if key[1] == "left" else -1.0
        length = math.dist(*axis)
        plane = plan.cut_of(*key).plane
        if plane == "level":
            n = (0.0, 0.0, 1.0)
        elif plane == "square":
            n = ((x1 - x0) / length, (y1 - y0) / length, (z1 - z0) / length)
        else:
            slopes = (
                math.tan(math.radians(plane.rises_rearward_deg)),
                math.tan(math.radians(plane.rises_inboard_deg)),
            )
            size = math.hypot(*slopes, 1.0)
            n = (-slopes[0] / size, -inboard * slopes[1] / size, 1 / size)
        end, part = roof.landing_on(axis, centres[key], n)
        dx, dy, dz = (a - b for a, b in zip(end, centres[key], strict=True))
        # In the plane: rearward is (1 − n_x², −n_x n_y, −n_x n_z) / ρ, inboard (0, ±n_z, ∓n_y) / ρ.
        rho = math.hypot(n[1], n[2])
        aft = (dx * (1 - n[0] ** 2) - n[0] * (n[1] * dy + n[2] * dz)) / rho
        across = inboard * (n[2] * dy - n[1] * dz) / rho
        leans = (
            math.degrees(math.atan2(x1 - x0, z1 - z0)),
            math.degrees(math.atan2(inboard * (y1 - y0), z1 - z0)),
        )
        out[key] = (*leans, aft, across, part * length - math.dist(axis[0], centres[key]))
    return roof, out


@pytest.mark.parametrize("car_name", CARS)
def test_leans_misses_and_take_outs_of_straight_posts(car_name, largest):
    """Of a hundred plans: pitch and slide, every way forward, every kind of cut plane."""
    car = car_of(car_name)
    for seed in range(PLANS):
        plan = drawn_plan(car, np.random.default_rng([seed, 7]))
        placed = place(remembered_shape(car), plan)
        roof, posts = worked_out(car_name, plan)
        where = f"{car_name} {seed}"
        largest.note(
            "pitch, by halving", "deg", placed.roof.pitch_deg, math.degrees(roof.pitch), where, LIMIT_DEG
        )
        slide = roof.u[0] - roof.landing[0]
        largest.note("slide, by halving", "mm", placed.roof.forward_mm, slide, where, LIMIT_MM)
        assert len(posts) >= 2
        for key, (*lean, aft, across, take_out) in posts.items():
            ends, spot = placed.ends[key], f"{where} {' '.join(key)}"
            largest.note("lean, by arctangent", "deg", ends.lean_deg, lean, spot, LIMIT_DEG)
            largest.note("miss, by trigonometry", "mm", ends.miss_mm, (aft, across), spot, LIMIT_MM)
            largest.note("take-out, by trigonometry", "mm", ends.take_out_mm[0], take_out, spot, LIMIT_MM)


@pytest.mark.parametrize("car_name", CARS)
@pytest.mark.parametrize("seed", range(5))
def test_rakes_after_the_move(car_name, seed, largest):
    """No pitch: the windshield's top comes forward by s and down by d, its bottom stays; the rear window
    panel turns by its lay-down and by nothing else."""
    car, rng = car_of(car_name), np.random.default_rng([seed, 8])
    drop, slide, lay = (float(rng.uniform(*span)) for span in ((10, 80), (-30, 50), (-5, 15)))
    plan = Plan(
        roof=RoofMove(front_drop_mm=drop, rear_drop_mm=drop, fore_aft=slide),
        window=WindowMove(forward_mm=30.0, down_mm=drop, lay_down_deg=lay),
    )
    window = fit_report_of(build(car, plan)).window
    where = f"{car_name} {seed}"
    largest.note(
        "rear rake, less lay-down",
        "deg",
        window.rear_rake_after_deg,
        window.rear_rake_before_deg - lay,
        where,
        LIMIT_DEG,
    )
    plumb = window.windshield_plumb_before_mm
    run = plumb * math.tan(math.radians(window.windshield_rake_before_deg))
    after = math.degrees(math.atan2(run - slide, plumb - drop))
    # Means of two panes that differ by some hundredths of a degree from side to side.
    largest.note(
        "windshield rake, by arctangent", "deg", window.windshield_rake_after_deg, after, where, 1e-3
    )
    largest.note("windshield plumb", "mm", window.windshield_plumb_after_mm, plumb - drop, where, LIMIT_MM)
