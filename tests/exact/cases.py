"""The plans the exact tier is held to, on both cars; each is built once in a run."""

from dataclasses import replace
from functools import lru_cache

import cadquery as cq

from model.built import build
from model.carfile import demo_car_path, demo_laid_back_path, demo_plan_path, demo_split_path, read_car
from model.exactfaces import exact_faces
from model.output.step import write_step
from model.plan import SQUARE, STRAIGHT_DOWN, Plan, PostShift
from model.planfile import read_plan
from model.solids import SURFACES

CARS = ("coupe", "pickup")
CASES = tuple(f"{car} {plan}" for car in CARS for plan in ("own plan", "square", "laid back"))
SPLIT_CASES = tuple(f"{car} split" for car in CARS)


@lru_cache
def car_of(name):
    """Return a car that ships."""
    return read_car(demo_car_path(name))


@lru_cache
def built_of(name):
    """Return a case built.

    ``own plan`` ships with the car; ``square`` has cuts square to the posts,
    the roof straight down, B slid by a given length, and the window laid down
    further; ``laid back`` and ``split`` ship too; ``stock`` has no plan.
    """
    car_name, _, which = name.partition(" ")
    car = car_of(car_name)
    if which == "stock":
        return build(car, Plan())
    if which == "laid back":
        return build(car, read_plan(demo_laid_back_path(car_name), car))
    plan = read_plan((demo_split_path if which == "split" else demo_plan_path)(car_name), car)
    if which == "square":
        has_b = any(post.name == "B" for post in car.posts)
        plan = replace(
            plan,
            cut=SQUARE,
            cuts=(),
            roof=replace(plan.roof, fore_aft=STRAIGHT_DOWN),
            shifts=(PostShift(post="B", by=-18.0),) if has_b else (),
            window=replace(plan.window, lay_down_deg=5.5),
        )
    return build(car, plan)


@lru_cache
def faces_of(name):
    """Return the exact faces of a case."""
    return exact_faces(built_of(name).layout)


@lru_cache
def step_of(name, folder, stays="chopped", form=SURFACES):
    """Write a case as STEP and return its path."""
    path = folder / f"{name} {stays} {form}.step".replace(" ", "-")
    write_step(built_of(name), path, stays=stays, form=form)
    return path


@lru_cache
def read_parts(path):
    """Return {name: (shape in place, placement, colours)} of every part that CadQuery's importer finds.

    STEP colours solids and shells, not groups of them: the importer gives a
    part of several its colours one by one.
    """
    found = {}

    def walk(node, placed):
        placed = placed * node.loc
        if node.obj is not None:
            name = node.name.rsplit("/", 1)[-1]
            assert name not in found
            colours = [node.color] if node.color else list(node._subshape_colors.values())
            found[name] = (node.obj.moved(placed), placed, colours)
        for child in node.children:
            walk(child, placed)

    walk(cq.Assembly.importStep(str(path)), cq.Location())
    return found
