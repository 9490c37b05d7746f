"""The straightest stretch of a post: circles in closed form, a bend by brute force, what is told of it."""

from dataclasses import replace

import numpy as np
import pytest

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.evaluate import build_checked, evaluate
from model.measured import Post
from model.output.text import report_text
from model.planfile import read_plan
from model.postlines import PostLine
from model.stretch import SAME_MM, best_stretch, corner_heights_mm, sagitta_mm


def line_through(points):
    return PostLine(
        Post(
            name="C",
            side="right",
            axis_mm=tuple(map(tuple, points)),
            width_mm=60.0,
            depth_mm=40.0,
            wall_mm=1.5,
            cut_from_mm=20.0,
            cut_to_mm=480.0,
            cut_at_mm=200.0,
        )
    )


@pytest.mark.parametrize(("radius", "needed"), [(900.0, 150.0), (2500.0, 240.0)])
def test_on_a_circle_every_stretch_strays_by_r_less_r_cos(radius, needed):
    """R (1 - cos(L / 2R)), in a plane that lies askew; the nearest to the plan's is taken."""
    angle = np.linspace(0, 500 / radius, 25)
    across = np.array([0.6, -0.3, 0.0]) / np.hypot(0.6, 0.3)
    points = radius * (np.outer(1 - np.cos(angle), across) + np.outer(np.sin(angle), [0, 0, 1.0]))
    line = line_through(points + [0.0, 600.0, 0.0])
    start, sagitta = best_stretch(line, 20.0, 440.0, needed, 130.0)
    assert sagitta == pytest.approx(radius * (1 - np.cos(needed / 2 / radius)), abs=2e-3)
    assert start == pytest.approx(130.0, abs=1e-9)


def test_sagitta_of_an_arc_of_chords():
    angle = np.linspace(-0.2, 0.2, 101)
    arc = 500.0 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    assert sagitta_mm(arc) == pytest.approx(500.0 * (1 - np.cos(0.2)), abs=1e-9)
    assert sagitta_mm(np.outer([0.0, 1.0, 5.0], [1.0, 2.0, 2.0])) == pytest.approx(0.0, abs=1e-12)


def test_a_bend_is_left_alone_as_a_search_over_the_spline_says():
    """By brute force: every start at 1 mm, the axis taken from its own spline at Simpson's arc length."""
    z = np.linspace(0, 500, 11)
    line = line_through(np.stack([40 * np.tanh((z - 150) / 40), 600 - 0.1 * z, z], axis=1))
    needed = 140.0
    start, sagitta = best_stretch(line, 20.0, 480.0, needed, 60.0)
    s = np.linspace(0, 1, 20001)
    slope = np.linalg.norm(line.lines_and_slopes(np.repeat(s[:, None], 5, 1))[1][:, 0], axis=1)
    middle = np.linalg.norm(
        line.lines_and_slopes(np.repeat(((s[1:] + s[:-1]) / 2)[:, None], 5, 1))[1][:, 0], axis=1
    )
    along = np.concatenate([[0], np.cumsum((slope[1:] + 4 * middle + slope[:-1]) / 6 * np.diff(s))])
    points = line.lines(np.repeat(s[:, None], 5, 1))[:, 0]
    first, last = np.interp([20.0, 480.0], points[:, 2], along)
    found = []
    for begin in np.arange(first, last - needed, 1.0):
        inside = points[(along >= begin) & (along <= begin + needed)]
        chord = (inside[-1] - inside[0]) / np.linalg.norm(inside[-1] - inside[0])
        found.append(np.linalg.norm(np.cross(inside - inside[0], chord), axis=1).max())
    assert sagitta == pytest.approx(min(found), abs=SAME_MM + 0.01)
    assert sagitta < 0.05 * found[int(60.0 - first)]
    assert start > 250


def test_none_is_long_enough():
    line = line_through([(0, 600, 0), (10, 600, 250), (0, 600, 500)])
    assert best_stretch(line, 100.0, 200.0, 120.0, 100.0) is None


def test_corners_of_the_openings_beside_bound_it():
    """B of the coupe: glass up to 56 - 1-1/2 in, from 40 + 1 in; A: windshield from 41-1/4 + 1-1/2 in."""
    car = read_car(demo_car_path("coupe"))
    shape = build_checked(car, read_plan(demo_plan_path("coupe"), car)).shape
    assert corner_heights_mm(shape, ("B", "right")) == pytest.approx((41 * 25.4, 54.5 * 25.4))
    assert corner_heights_mm(shape, ("A", "left"))[0] == pytest.approx(42.75 * 25.4)


def test_a_plan_that_cuts_in_the_bend_is_told():
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_plan_path("coupe"), car)
    plain = evaluate(car, plan)
    assert not [f for f in plain.findings if f.kind == "crooked stretch"]
    assert "POSTS: STRAIGHTEST STRETCH" in report_text(plain)
    posts = []
    for post in car.posts:
        if post.name == "B" and post.side == "right":
            foot, top = np.array(post.axis_mm[0]), np.array(post.axis_mm[-1])
            share = np.linspace(0, 1, 9)[:, None]
            bent = foot + share * (top - foot)
            bent[:, 0] += 20 * np.exp(-(((share[:, 0] - 0.42) / 0.08) ** 2))
            post = replace(post, axis_mm=tuple(map(tuple, bent.tolist())))
        posts.append(post)
    report = evaluate(replace(car, posts=tuple(posts)), plan)
    (finding,) = [f for f in report.findings if f.kind == "crooked stretch"]
    stretch = report.post("B", "right").stretch
    assert finding.where == "B right"
    assert finding.measured == pytest.approx(stretch.at_plan_sagitta_mm - stretch.sagitta_mm)
    assert finding.measured > finding.limit
