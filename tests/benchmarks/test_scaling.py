"""What more hoops and rows cost, and a cold start: printed; of the first the growth is asserted, no time.

    pytest -m benchmark -n 0 tests/benchmarks/test_scaling.py

The car is the coupe with points of its own skin between its points, up to
100 hoops of 50 rows: more than a tape gives, as many as a scanner might.
Time is that of the processor.  "No worse than linear" is the slope of the
logarithm of the time over the logarithm of the number of points.
"""

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np
import pytest
from denser_car import denser_car

from model.built import build_on
from model.carcheck import check_car
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.evaluate import fit_report_of, report_of
from model.planfile import read_plan
from model.shape import shape_of

pytestmark = pytest.mark.benchmark

SIZES = ((8, 7), (14, 10), (25, 17), (50, 30), (100, 50))
ROUNDS = 3
LINEAR = 1.1  # a slope of 1 with room for a machine that does other things
STAGES = ("once per car", "slider to numbers", "whole report")
ROOT = Path(__file__).parents[2]


def costs(car, plan):
    """Return processor seconds of the shape, of a slider's numbers, of a whole report, and a report."""
    clock = time.process_time
    started = clock()
    shape = shape_of(car)
    once = clock() - started
    report_of(build_on(shape, plan))  # what is worked out once per car
    quick, whole = [], []
    for number in range(1, ROUNDS + 1):
        roof = plan.roof
        next_plan = plan.changed(roof=replace(roof, front_drop_mm=roof.front_drop_mm + 0.37 * number))
        started = clock()
        built = build_on(shape, next_plan)
        fit_report_of(built)
        quick.append(clock() - started)
        report = report_of(built)
        whole.append(clock() - started)
    return (once, median(quick), median(whole)), report


def test_growth_is_no_worse_than_linear(table):
    car = read_car(demo_car_path("coupe"))
    plan = read_plan(demo_plan_path("coupe"), car)
    points, found, reports = [], [], []
    for hoops, rows in SIZES:
        denser = denser_car(car, hoops, rows)
        check_car(denser)
        seconds, report = costs(denser, plan)
        points.append(hoops * (2 * rows - 1))
        found.append(seconds)
        reports.append(report)
        words = ", ".join(f"{name} {1000 * s:.0f} ms" for name, s in zip(STAGES, seconds, strict=True))
        table.append(f"{hoops} hoops of {rows} rows: {words}")
    for report in reports:  # the same car, so the same work was done
        assert [seam.name for seam in report.seams] == [seam.name for seam in reports[0].seams]
        for post, first in zip(report.posts, reports[0].posts, strict=True):
            assert post.take_out_mm == pytest.approx(first.take_out_mm, abs=1e-6)
        assert report.totals.weld_mm == pytest.approx(reports[0].totals.weld_mm, abs=1.0)
    for name, seconds in zip(STAGES, np.transpose(found), strict=True):
        slopes = np.diff(np.log(seconds)) / np.diff(np.log(points))
        slope = np.polyfit(np.log(points), np.log(seconds), 1)[0]
        table.append(f"{name}: grows as points to the {slope:.2f}; from size to size {slopes.round(2)}")
        assert slope <= LINEAR, name


def test_cold_start(table):
    """``plumbdrop --help`` in a new process, beside a Python that does nothing."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}

    def seconds(code):
        started = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], env=env, stdout=subprocess.DEVNULL, check=True)
        return time.perf_counter() - started

    for name, code in (
        ("plumbdrop --help", "from model.cli import main; main(['--help'])"),
        ("an empty Python", "pass"),
    ):
        table.append(f"{name:32s} {1000 * median(seconds(code) for _ in range(7)):9.0f} ms from a cold start")
