"""How long one change of the plan takes, beside a plain CadQuery script that does the same job, in one run.

    pytest -m benchmark -n 0 tests/benchmarks

No time is asserted: only that the two agree, and that the live tier is the faster one.
"""

import time
from dataclasses import replace
from itertools import count
from statistics import median

import numpy as np
import plain_cadquery
import pytest

from model.built import remembered_shape
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.evaluate import build_checked, evaluate, fit_report_of, with_slow_numbers
from model.planfile import read_plan

pytestmark = pytest.mark.benchmark

LENGTH_MM, ANGLE_DEG = 0.05, 0.01
BLENDED_MM = 0.15  # where the live cut goes over from C's plane into B's, the script keeps to C's
STEP_MM, ROUNDS = 0.37, 15
SECONDS = {}


@pytest.fixture(scope="module")
def car():
    return read_car(demo_car_path("coupe"))


@pytest.fixture(scope="module")
def plan(car):
    """The coupe's own plan, B-posts left where the roof puts them."""
    return read_plan(demo_plan_path("coupe"), car).changed(shifts=())


@pytest.fixture(scope="module")
def changed(car, plan):
    """Return a function that gives a plan no one has seen before: both drops a little more."""
    number = count(1)
    evaluate(car, plan)  # what is worked out once per car

    def next_plan():
        more = STEP_MM * next(number)
        roof = plan.roof
        return plan.changed(
            roof=replace(roof, front_drop_mm=roof.front_drop_mm + more, rear_drop_mm=roof.rear_drop_mm + more)
        )

    return next_plan


@pytest.fixture(scope="module")
def peer(car, plan):
    """What the plain script finds, and how long its stages took."""
    shape, kerf_mm = remembered_shape(car), max(plan.kerf_mm, plan.root_gap_mm)
    lines = shape.flange(plan.window.flange_mm), shape.flange(plan.window.flange_mm + kerf_mm)
    stages, last = {}, [time.perf_counter()]

    def lap(name):
        now = time.perf_counter()
        stages[name], last[0] = now - last[0], now

    answers = plain_cadquery.evaluated(car, plan, *lines, lap)
    return answers, stages


def test_peer_agrees_with_the_live_tier(car, plan, peer, table):
    answers, _ = peer
    report = evaluate(car, plan)
    off = {"take-out": [], "miss": [], "seam": [], "seam, cut blended": [], "window seam": [], "rake": []}
    for post in report.posts:
        key = post.post, post.side
        live = [post.take_out_mm, *sorted(e.take_out_mm for e in post.edges if e.edge != "axis")]
        off["take-out"] += np.abs(np.subtract(live, answers.take_out_mm[key])).tolist()
        live = post.miss_fore_aft_mm, post.miss_across_mm
        off["miss"] += np.abs(np.subtract(live, answers.miss_mm[key])).tolist()
    skin = {seam.name: seam for seam in report.seams if seam.kind == "skin"}
    assert len(skin) == len(answers.seam_mm)
    for (name, side, grid), length_mm in answers.seam_mm.items():
        seam = skin[f"{name} {side}, {grid.split()[0]} skin"]
        kind = "seam, cut blended" if (name, grid.split()[0]) == ("C", "side") else "seam"
        off[kind].append(abs(seam.edge_mm - length_mm))
        nearest = min(np.hypot(s.gap_mm, s.step_mm) for s in seam.stations)
        assert answers.distance_mm[name, side, grid][0] < nearest + LENGTH_MM, seam.name
    windows = [seam for seam in report.seams if seam.kind == "window"]
    off["window seam"].append(abs(sum(seam.edge_mm for seam in windows) - answers.window_seam_mm))
    window = report.window
    for what in ("rear", "windshield"):
        live = [getattr(window, f"{what}_rake_{when}_deg") for when in ("before", "after")]
        off["rake"] += np.abs(np.subtract(live, answers.rake_deg[what])).tolist()
    for kind, values in off.items():
        table.append(f"largest difference, {kind:18s} {max(values):8.1e} of {len(values)}")
        limit = {"rake": ANGLE_DEG, "seam, cut blended": BLENDED_MM}.get(kind, LENGTH_MM)
        assert max(values) < limit, kind
    live = {frozenset(i.pieces): i.volume_mm3 for i in report.interference}
    exact = {frozenset(pieces): volume for pieces, volume in answers.interference_mm3.items()}
    assert live.keys() == exact.keys()


def test_evaluate(benchmark, car, changed):
    def setup():
        return (car, changed()), {}

    benchmark.pedantic(evaluate, setup=setup, rounds=ROUNDS)
    SECONDS["evaluate"] = benchmark.stats.stats.median


def test_stages_of_evaluate(car, changed):
    laps = []
    for _ in range(ROUNDS):
        times = [time.perf_counter()]
        built = build_checked(car, changed())
        times.append(time.perf_counter())
        report = fit_report_of(built)
        times.append(time.perf_counter())
        with_slow_numbers(report, built)
        times.append(time.perf_counter())
        laps.append(np.diff(times))
    names = "  pieces", "  posts, seams, glass", "  interference"
    SECONDS.update(zip(names, np.median(laps, axis=0).tolist(), strict=True))


def test_preview_update(benchmark, plan):
    """One setting changed, up to numbers and picture in the widgets; what runs into what comes after."""
    pytest.importorskip("anywidget")
    from model.preview import Preview

    shown, number, to_picture = Preview("coupe", plan), count(1), []

    def change():
        shown.set(f"front_drop={plan.roof.front_drop_mm + STEP_MM * next(number):.3f} mm")
        to_picture.append(sum(shown.timings_ms.values()) / 1000)

    benchmark.pedantic(change, rounds=ROUNDS, warmup_rounds=1)
    assert shown.plan.roof.front_drop_mm > plan.roof.front_drop_mm
    SECONDS["preview: slider to picture"] = median(to_picture[1:])
    SECONDS["preview: with interference"] = benchmark.stats.stats.median


def test_live_tier_is_faster(peer, table):
    _, stages = peer
    whole = sum(stages.values())
    for name, seconds in SECONDS.items():
        table.append(f"{name:32s} {seconds * 1000:9.0f} ms")
    table.append(f"{'plain CadQuery script':32s} {whole * 1000:9.0f} ms")
    table += [f"{'  ' + name:32s} {seconds * 1000:9.0f} ms" for name, seconds in stages.items()]
    for name in ("evaluate", "preview: slider to picture"):
        if name in SECONDS:
            table.append(f"{'script / ' + name:32s} {whole / SECONDS[name]:9.0f} times")
            assert whole / SECONDS[name] > 1
    # Most of the script's time goes into a few booleans of thin sheets; the rest on its own:
    live = SECONDS.get("  pieces", 0.0) + SECONDS.get("  posts, seams, glass", 0.0)
    if live:
        ratio = (whole - stages["interference"]) / live
        table.append(f"{'both without interference':32s} {ratio:9.0f} times")
        assert ratio > 1
