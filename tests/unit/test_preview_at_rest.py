"""What the preview works out once no slider moves: every ±, new metal, slow numbers; and what ends it."""

import asyncio
import time

import pytest
from invented_cars import box_car

pytest.importorskip("anywidget")

import model.preview
import model.restwork
from model.carfile import demo_plan_path, write_car
from model.evaluate import evaluate
from model.output.html import BEING_WORKED_OUT, NOT_WORKED_OUT, OF_THE_OPEN_ROOF, headline_html, seams_html
from model.plan import NewMetal, Plan, RoofMove
from model.plandict import plan_to_dict
from model.planfile import write_plan
from model.preview import Preview
from model.previewstyle import status_html
from model.reportsteps import quick_report
from model.restwork import STEPS_S
from model.tapereport import PlusMinus, Uncertainty
from model.uncertainty import whole_working


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Files of a box for a car and of its plan with new metal, flat: a third of the pickup's work."""
    car = box_car()
    roof = RoofMove(front_drop_mm=50.0, rear_drop_mm=50.0, fore_aft=-20.0)
    folder = tmp_path_factory.mktemp("small")
    write_car(car, folder / "box.toml")
    write_plan(Plan(car=car.name, roof=roof, new_metal=NewMetal()), car, folder / "closed.toml")
    return folder / "box.toml", folder / "closed.toml"


def whole_of(built):
    return whole_working(built.shape.car, built.plan).nominal


@pytest.mark.parametrize("is_closed", [False, True])
def test_every_plus_minus_comes_or_says_why_not(is_closed, small, monkeypatch):
    """With a kernel's loop: of the cut, then of the rest; of seams that only new metal has there is none."""
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 0.0)
    monkeypatch.setattr(model.preview, "keep_plan", lambda plan, car: None)  # of another test
    shown = Preview(small[0] if is_closed else "pickup")

    async def elsewhere(car_name, car, plan):
        numbers = [
            PlusMinus(where=where, what=what, value=value, plus_minus=1.0, unit="mm")
            for (where, what), value in whole_of(shown.built).items()
        ]
        return Uncertainty(numbers=tuple(numbers), take_again=())

    async def failing(car_name, car, plan):
        raise RuntimeError("no process")

    async def run(other):
        monkeypatch.setattr(model.restwork, "uncertainty_elsewhere", other)
        shown.load_plan(small[1] if is_closed else demo_plan_path("pickup"))
        assert BEING_WORKED_OUT in shown.headline.value
        while shown.is_working or not shown._finding.done():
            await asyncio.sleep(0.01)
        return shown.headline.value

    page = asyncio.run(run(elsewhere))
    assert BEING_WORKED_OUT not in page
    assert page.count("± at 95 %") + page.count(OF_THE_OPEN_ROOF) == page.count("<small")
    assert (page.count(OF_THE_OPEN_ROOF) > 0) == is_closed
    page = asyncio.run(run(failing))
    assert page.count(NOT_WORKED_OUT) >= 4 and BEING_WORKED_OUT not in page
    assert "RuntimeError: no process" in shown.status.value


def test_new_metal_comes_when_the_slider_rests(small, monkeypatch):
    """While it moves: the pieces and their gaps at once; at rest all numbers of a fresh evaluation."""
    monkeypatch.setattr(model.preview, "LOOK_AFTER_S", 0.05)
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 3600.0)
    monkeypatch.setattr(model.preview, "keep_plan", lambda plan, car: None)  # of another test
    shown = Preview(small[0])

    async def run():
        shown.load_plan(small[1])
        for _ in range(3):
            shown.controls.dials["front_drop"].slider.value -= 1
            assert shown.report.new_metal == () and shown.report.plan == plan_to_dict(shown.plan)
            assert "pd-open" in shown.headline._dom_classes and "without new metal" in shown.status.value
            assert not fillers_drawn(shown)
        while shown.is_working:
            await asyncio.sleep(0.01)

    asyncio.run(run())
    assert "pd-open" not in shown.headline._dom_classes and fillers_drawn(shown)
    assert shown.status.value == status_html("")
    fresh = evaluate(shown.car, shown.plan)
    assert fresh.new_metal and shown.report == fresh
    assert headline_html(fresh) == shown.headline.value and seams_html(fresh) == shown.seams.value


def fillers_drawn(shown):
    return [name for name in shown.view.upper_shell["names"] if "filler" in str(name)]


def test_a_move_ends_what_was_worked_out_at_rest(monkeypatch):
    """One step at most is waited for: the rest of the steps of the plan before are never done."""
    monkeypatch.setattr(model.preview, "LOOK_AFTER_S", 0.001)
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 3600.0)
    monkeypatch.setattr(model.preview, "keep_plan", lambda plan, car: None)  # of another test
    shown, stepped = Preview("pickup"), []

    def steps(built):
        for step in range(5):
            stepped.append((built.plan, step))
            time.sleep(1.5 * STEPS_S)  # as a step that takes some time
            yield quick_report(built)

    monkeypatch.setattr(model.preview, "report_steps", steps)

    async def run():
        shown.controls.dials["front_drop"].slider.value -= 1
        first = shown.plan
        while not stepped:
            await asyncio.sleep(0.001)
        shown.controls.dials["front_drop"].slider.value -= 1
        while shown.is_working:
            await asyncio.sleep(0.001)
        return first

    first = asyncio.run(run())
    assert len([plan for plan, _ in stepped if plan == first]) == 1
    assert [step for plan, step in stepped if plan == shown.plan] == [0, 1, 2, 3, 4]
