"""Undo and redo, and the last plan of a car that is kept unasked."""

from dataclasses import replace

import pytest

from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import FileRefused
from model.keptplan import keep_plan, kept_path, kept_plan, kept_since
from model.plan import Plan, RoofMove
from model.planfile import read_plan
from model.planhistory import LONGEST, PlanHistory


def plan(drop_mm):
    return Plan(roof=RoofMove(front_drop_mm=float(drop_mm)))


def test_a_whole_move_of_one_slider_is_undone_at_once():
    moved = PlanHistory(plan(0)).with_plan(plan(1), "front_drop").with_plan(plan(2), "front_drop")
    assert moved.undo().now == plan(0)
    paused = moved.settled().with_plan(plan(3), "front_drop")
    assert paused.undo().now == plan(2) and paused.undo().undo().now == plan(0)
    other = moved.with_plan(plan(3), "rear_drop")
    assert other.undo().now == plan(2)


def test_redo_goes_back_and_ends_with_a_new_plan():
    history = PlanHistory(plan(0)).with_plan(plan(1)).with_plan(plan(2))
    back = history.undo().undo()
    assert back.now == plan(0) and back.undo() is back
    assert back.redo().redo().now == plan(2) and history.redo() is history
    assert back.with_plan(plan(5)).undone == ()
    assert history.with_plan(plan(2)) is history


def test_it_does_not_grow_without_end():
    history = PlanHistory(plan(0))
    for drop in range(1, LONGEST + 10):
        history = history.with_plan(plan(drop))
    assert len(history.before) == LONGEST and history.before[-1] == plan(LONGEST + 8)


@pytest.fixture
def coupe():
    return read_car(demo_car_path("coupe"))


def test_a_kept_plan_comes_back_for_the_same_measures_only(coupe):
    mine = read_plan(demo_plan_path("coupe"), coupe).changed(kerf_mm=1.5)
    keep_plan(mine, coupe)
    assert kept_plan(coupe) == mine and kept_since(coupe) is not None
    assert kept_since(replace(coupe, gauge_mm=coupe.gauge_mm + 0.1)) is None


def test_a_kept_plan_that_was_spoilt_is_refused(coupe):
    keep_plan(Plan(car=coupe.name), coupe)
    kept_path(coupe).write_text("front_drop = [", encoding="utf-8")
    with pytest.raises(FileRefused):
        kept_plan(coupe)
    kept_path(coupe).unlink()
