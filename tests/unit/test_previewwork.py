"""Long work beside the sliders: it says how far it is, can be ended, and says of which plan it is."""

import asyncio
import json
import os
import subprocess
from dataclasses import replace

import pytest

pytest.importorskip("anywidget")

import model.output.pictures
import model.previewwork
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.cli import command_parser
from model.errors import RoofError
from model.evaluate import build_checked, evaluate, fit_report_of
from model.output.ownerpage import write_review
from model.output.pictures import write_pictures
from model.output.text import report_text
from model.plan import Plan
from model.planfile import read_plan
from model.previewwork import CAR, KINDS, OUT, LongWork, plan_said
from model.processes import PLAN, command_elsewhere
from model.progress import FOR_A_PROGRAM, progress_in, say_progress
from model.uncertainty import cut_working

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
    answering(monkeypatch, json.dumps({"interference": [BODY], "undecided": [["roof", "filler"]]}), calls)
    row.begin()
    assert calls == [["interference", "coupe", "--plan", PLAN, "--json"]]
    for said in (
        plan.name,
        "roof and B &lt;right&gt; upper ?",
        "3/32&quot; (2.5)",
        "Not decided",
        "roof and filler",
    ):
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
        return json.dumps({"interference": [], "undecided": []})

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
            row.path.value = "roof.dwg"
            row.begin()
            assert f"must end in {kind.endings[0]}" in row.result.value and not calls
    work.take_car(car, "folder/my-car.toml")
    assert work.rows["write STEP"].path.value == "my-car-chopped.step"
    work.rows["write STEP"].begin()
    assert calls[0][:2] == ["step", "folder/my-car.toml"] and calls[0][-1].endswith("/my-car-chopped.step")


def test_every_kind_of_work_is_a_command_there_is(work, plan):
    """What the rows would run is read by the command's own parser; papers name one plan and one place."""
    labels = {"report and marks", "draw blanks", "weld plan", "owner's page", "write pictures", "write STEP"}
    assert labels < set(work.rows)
    for kind in KINDS:
        stands_for = {CAR: "coupe", PLAN: "plan.toml", OUT: "out"}
        options = command_parser().parse_args([stands_for.get(word, word) for word in kind.words])
        assert options.car == "coupe"
        assert "plan.toml" in (getattr(options, "plan", None), *getattr(options, "plans", ()))
        assert getattr(options, "output", "") == ("out" if kind.file_name else "")
        assert work.rows[kind.label].path.value == kind.file_name.format("coupe")


def test_a_paper_is_that_of_the_plan_in_the_picture(work, tmp_path):
    """Really written, by a process: the text of a fresh report; what gives none is refused in words."""
    car = read_car(demo_car_path("pickup"))  # the quicker one: it is worked out twice here
    row, plan = work.rows["report and marks"], read_plan(demo_plan_path("pickup"), car).changed(kerf_mm=2.0)
    work.take_car(car, "pickup")
    work.take_plan(plan)
    row.path.value = str(tmp_path / "mine.txt")
    row.begin()
    assert "wrote " in row.result.value and "done in" in row.result.value, row.result.value
    sure = cut_working(car, plan).done()
    assert (tmp_path / "mine.txt").read_text() == report_text(replace(evaluate(car, plan), uncertainty=sure))
    row = work.rows["draw blanks"]
    row.path.value = str(tmp_path / "blanks")
    row.begin()
    assert "new_metal must be in a plan" in row.result.value and not (tmp_path / "blanks").exists()


def test_long_work_says_how_far_it_is(tmp_path, monkeypatch):
    """Pictures and page in fractions that grow and stay under the whole; nothing is asked of a name."""
    car = read_car(demo_car_path("pickup"))
    built = build_checked(car, read_plan(demo_plan_path("pickup"), car))
    monkeypatch.setattr(model.output.pictures, "png_of", lambda svg: b"")
    shares = []
    files = write_pictures(built, fit_report_of(built), tmp_path, lambda share, of: shares.append(share))
    assert len(shares) == len(set(shares)) == len(files) / 2 and shares == sorted(shares) and shares[-1] < 1
    shares.clear()
    write_review(car, [built.plan], tmp_path / "page.html", lambda share, of: shares.append(share))
    assert shares == [0.0, 0.5]


def test_ended_work_says_what_may_lie_there(work, monkeypatch):
    async def endless(words, car, plan, on_progress):
        await asyncio.sleep(3600)

    monkeypatch.setattr(model.previewwork, "command_elsewhere", endless)
    for label, left in (("weld plan", "nothing was written"), ("draw blanks", "some of its files may be")):
        row = work.rows[label]

        async def begin_and_end(row=row):
            working = row.begin()
            await asyncio.sleep(0.01)
            assert row.cancel.layout.display is None
            row.cancel.click()
            with pytest.raises(asyncio.CancelledError):
                await working

        asyncio.run(begin_and_end())
        assert left in row.result.value and row.cancel.layout.display == "none"


def test_a_plan_is_told_by_its_name_and_its_drops(plan):
    assert plan_said(plan, "in") == f'{plan.name} (2-1/4" down in front, 3" at the rear)'
    assert plan_said(plan, "mm") == f"{plan.name} (57 mm down in front, 76 mm at the rear)"
    assert plan_said(Plan(), "in") == "stock"
    assert plan_said(Plan(roof=plan.roof), "in").startswith("unnamed plan (")


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
