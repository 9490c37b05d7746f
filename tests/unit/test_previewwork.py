"""Long work beside the sliders: it says how far it is, can be ended, and says of which plan it is."""

import asyncio
import json
import os
import subprocess

import pytest

pytest.importorskip("anywidget")

import model.previewwork
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import RoofError
from model.planfile import read_plan
from model.previewwork import KINDS, LongWork
from model.processes import PLAN, command_elsewhere
from model.progress import FOR_A_PROGRAM, progress_in, say_progress

BODY = {
    "pieces": ["roof", "B <right> upper"],
    "volume_mm3": 1234.5,
    "depth_mm": 2.5,
    "at_mm": [1016.0, -584.2, 1270.0],
    "is_valid": False,
}


@pytest.fixture(scope="module")
def car():
    return read_car(demo_car_path("coupe"))


@pytest.fixture
def plan(car):
    return read_plan(demo_plan_path("coupe"), car)


@pytest.fixture
def work(car, plan):
    work = LongWork()
    work.take_car(car, "coupe")
    work.take_plan(plan)
    return work


def answering(monkeypatch, answer, calls):
    async def command(words, car, plan, on_progress):
        calls.append(words)
        on_progress(0.25, "of the pairs")
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr(model.previewwork, "command_elsewhere", command)


def test_a_result_says_of_which_plan_it_is_and_turns_grey_with_the_next(work, plan, monkeypatch):
    calls, row = [], work.rows["exact interference"]
    answering(monkeypatch, json.dumps({"interference": [BODY]}), calls)
    row.begin()
    assert calls == [["interference", "coupe", "--plan", PLAN, "--json"]]
    for said in (plan.name, "roof and B &lt;right&gt; upper ?", "3/32&quot; (2.5)"):
        assert said in row.result.value
    assert "pd-stale" not in row.result._dom_classes and row.cancel.layout.display == "none"
    work.take_plan(plan.changed(kerf_mm=2.0))
    assert "pd-stale" in row.result._dom_classes
    work.take_plan(plan)
    assert "pd-stale" not in row.result._dom_classes


def test_the_plan_may_move_on_while_it_works(work, plan, monkeypatch):
    row = work.rows["exact interference"]

    async def command(words, car, its_plan, on_progress):
        work.take_plan(plan.changed(kerf_mm=2.0))
        assert its_plan == plan and all(other.button.disabled for other in work.rows.values())
        return json.dumps({"interference": []})

    monkeypatch.setattr(model.previewwork, "command_elsewhere", command)
    row.begin()
    assert "Nothing runs into anything" in row.result.value and "pd-stale" in row.result._dom_classes
    assert not any(other.button.disabled for other in work.rows.values())


@pytest.mark.parametrize("problem", [RoofError("kerf must be less; got 9 mm."), ValueError("oh")])
def test_what_goes_wrong_is_said(work, monkeypatch, problem):
    row = work.rows["write GLB"]
    answering(monkeypatch, problem, [])
    row.begin()
    assert str(problem) in row.result.value and "pd-refused" in row.result.value
    assert ("fault in Plumbdrop" in row.result.value) == isinstance(problem, ValueError)
    assert not row.button.disabled


def test_files_are_named_by_the_car_and_may_not_be_named_otherwise(work, car, monkeypatch):
    calls = []
    answering(monkeypatch, "", calls)
    for kind in KINDS:
        row = work.rows[kind.label]
        if kind.endings:
            row.path.value = "roof.txt"
            row.begin()
            assert f"must end in {kind.endings[0]}" in row.result.value and not calls
    work.take_car(car, "folder/my-car.toml")
    assert work.rows["write STEP"].path.value == "my-car-chopped.step"
    work.rows["write STEP"].begin()
    assert calls[0][:2] == ["step", "folder/my-car.toml"] and calls[0][-1].endswith("/my-car-chopped.step")


def test_a_process_says_how_far_it_is_and_is_ended_when_nobody_wants_it(car, plan):
    """The command that takes longest, ended after its first steps: no process of it is left."""
    shares = []

    async def begin_and_end():
        words = "tape", "coupe", "--plan", PLAN, "--json"
        working = asyncio.ensure_future(
            command_elsewhere(words, car, plan, lambda share, of: shares.append((share, of)))
        )
        while len(shares) < 2:
            assert not working.done(), working.result()
            await asyncio.sleep(0.01)
        assert len(_children()) == 1
        working.cancel()
        with pytest.raises(asyncio.CancelledError):
            await working
        return _children()

    assert asyncio.run(begin_and_end()) == []
    assert 0 < shares[0][0] < shares[1][0] < 1 and shares[0][1] == "of the readings moved"


def _children():
    """The command's processes that this one has started and that still run."""
    listed = subprocess.run(["ps", "-o", "args=", "--ppid", str(os.getpid())], capture_output=True, text=True)
    return [line for line in listed.stdout.splitlines() if ".cli tape" in line and "defunct" not in line]


def test_what_a_process_refuses_is_refused_in_its_words(car, plan):
    words = "step", "coupe", "--plan", PLAN, "-o", "roof.txt"
    with pytest.raises(RoofError, match="must end in .step"):
        asyncio.run(command_elsewhere(words, car, plan, lambda share, of: None))


def test_progress_is_said_to_programs_and_nobody_else(capsys, monkeypatch):
    monkeypatch.delenv(FOR_A_PROGRAM, raising=False)
    say_progress(0.5, "of it")
    assert capsys.readouterr().err == ""
    monkeypatch.setenv(FOR_A_PROGRAM, "1")
    say_progress(0.5, "of it")
    assert progress_in(capsys.readouterr().err) == (0.5, "of it")
    assert progress_in("kerf must be less; got progress 0.5") is None
