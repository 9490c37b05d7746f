"""Answers worked out ahead: those that a press would get anyway, of one step on and one back, and no more."""

import asyncio
import gc
from dataclasses import replace

import pytest

import model.preview
import model.workahead
from model.built import build_on
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.controls import Dial
from model.errors import PlanError
from model.planfile import read_plan
from model.plansettings import plan_with_settings
from model.preview import Preview
from model.reportsteps import quick_report, without_new_metal
from model.restwork import without_sweeps
from model.roofview import LOOKS
from model.shape import shape_of
from model.stepwise import at_once
from model.viewparts import parts_of
from model.workahead import answering, picture_of, steps_ahead

STEP_MM = 25.4 / 16


@pytest.fixture(scope="module")
def car():
    return read_car(demo_car_path("pickup"))


@pytest.fixture(scope="module")
def plan(car):
    return read_plan(demo_plan_path("pickup"), car)


@pytest.fixture
def counted(monkeypatch):
    """Plans that are carried out from now on, in their order; no answer of another test is remembered."""
    answering.cache_clear()
    plans, carry_out = [], model.workahead.cut_and_set

    def counting(car, plan):
        plans.append(plan)
        return carry_out(car, plan)

    monkeypatch.setattr(model.workahead, "cut_and_set", counting)
    return plans


async def until(is_so):
    async with asyncio.timeout(60.0):
        while not is_so():
            await asyncio.sleep(0.001)


def drop(mm):
    return f"front_drop={mm:.7f} mm"


def test_an_answer_is_that_of_the_plan_carried_out_anew(car, plan):
    answer = answering(car, plan).result()
    anew = build_on(shape_of(car), plan)
    assert answer.cost_s > 0.0 and answer.built is not anew and answer.report == quick_report(anew)
    assert picture_of(answer) == parts_of(without_new_metal(anew), answer.report)


def test_after_a_rest_a_press_carries_nothing_out(counted, monkeypatch):
    """One step on and one step back are there, the way it went first; what they show is the plan's."""
    monkeypatch.setattr(model.preview, "AHEAD_AFTER_S", 0.0)
    monkeypatch.setattr(model.preview, "AHEAD_MOST_S", 1e6)  # whatever else this machine does
    monkeypatch.setattr(model.preview, "LOOK_AFTER_S", 3600.0)
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 3600.0)
    shown = Preview("pickup")

    async def run():
        slider = shown.controls.dials["front_drop"].slider
        slider.value -= 3  # further than a step: what is shown now is remembered too
        at = slider.value
        counted.clear()
        await until(lambda: shown._ahead.is_working)
        await until(lambda: not shown._ahead.is_working)
        assert [each.roof.front_drop_mm / STEP_MM for each in counted] == pytest.approx([at - 1, at + 1])
        slider.value -= 1
        assert shown.plan == counted[0] and len(counted) == 2
        anew = build_on(shown.built.shape, shown.plan)
        assert shown.report == quick_report(anew)
        parts = parts_of(without_new_metal(anew), shown.report)
        assert {name: getattr(shown.view, name) for name in LOOKS if name in parts and name != "slugs"} == {
            name: part for name, part in parts.items() if name != "slugs"
        }
        shown._afterwards()

    asyncio.run(run())


def test_a_move_ends_what_was_begun_ahead(counted, monkeypatch):
    """The step that is being done comes to its end; no other is begun but those of the new plan."""
    monkeypatch.setattr(model.preview, "AHEAD_AFTER_S", 0.0)
    monkeypatch.setattr(model.preview, "AHEAD_MOST_S", 1e6)
    monkeypatch.setattr(model.preview, "LOOK_AFTER_S", 3600.0)
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 3600.0)
    shown = Preview("pickup")

    async def run():
        slider = shown.controls.dials["front_drop"].slider
        slider.value -= 1
        counted.clear()
        await until(lambda: counted)
        slider.value -= 5
        assert len(counted) == 2 and counted[1] == shown.plan
        shown._afterwards()
        await asyncio.sleep(0.1)
        assert len(counted) == 2

    asyncio.run(run())


def test_what_is_refused_is_left_and_told_to_whoever_asks(car, plan, counted):
    asked = [drop(9999.0), drop(40.0)]
    at_once(steps_ahead(car, plan, asked))
    assert len(counted) == 2
    with pytest.raises(PlanError, match="front_drop must be between"):
        answering(car, plan_with_settings(plan, asked[:1], car)).result()
    assert (
        answering(car, plan_with_settings(plan, asked[1:], car)).result().report.totals.front_drop_mm == 40.0
    )
    assert len(counted) == 2


def test_a_fault_is_not_taken_for_a_refusal(car, plan, monkeypatch):
    def broken(car, plan):
        raise ZeroDivisionError

    monkeypatch.setattr(model.workahead, "cut_and_set", broken)
    with pytest.raises(ZeroDivisionError):
        at_once(steps_ahead(car, replace(plan, name="another"), [drop(41.0)]))


def test_one_step_on_and_one_back_the_way_it_went_within_its_limits():
    given = []
    dial = Dial("d", 0.5, str, float, given.append, given.append)
    dial.limit(0.0, 4.0)
    dial.set(2.0)
    assert dial.beside() == [2.5, 1.5]
    dial.slider.value = 3
    assert given == [1.5] and dial.beside() == [1.0, 2.0]
    dial.slider.value = 0
    assert dial.beside() == [0.5]
    dial.slider.value = 8
    assert dial.beside() == [3.5]


def test_nothing_is_swept_meanwhile_whatever_goes_wrong():
    assert gc.isenabled()
    with pytest.raises(ZeroDivisionError), without_sweeps():
        assert not gc.isenabled()
        with without_sweeps():
            pass
        assert not gc.isenabled()
        raise ZeroDivisionError
    assert gc.isenabled()
