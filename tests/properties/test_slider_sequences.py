"""Random sequences of moves on the preview, as a person in a hurry makes them, without a browser.

After every move no fault of the program is reported, and a refused move leaves
the last good plan.  At the end of every sequence what the screen says is what
a fresh evaluation says, of a car that was read and worked out anew.
``PLUMBDROP_SEQUENCES`` sets how many of each car the heavy run plays, in
steps of 20; a sequence takes seconds.
"""

import asyncio
import os
from random import Random

import pytest

pytest.importorskip("anywidget")

import model.preview
from model.built import build_on
from model.carfile import demo_car_path, demo_closed_path, read_car
from model.closing import closed
from model.evaluate import report_of
from model.output.doorhtml import side_glass_html
from model.output.html import findings_html, headline_html, posts_html, seams_html, window_html
from model.plandict import plan_to_dict
from model.preview import Preview
from model.shape import shape_of

CARS = ("coupe", "pickup")
PART = 20
PARTS = int(os.environ.get("PLUMBDROP_SEQUENCES", "60")) // PART
MOST_MOVES = 6
TYPED = (
    "0",
    "1/2",
    "2-1/4",
    "3 1/8",
    "57 mm",
    "-1",
    "40",
    "",
    "two",
    '1/0"',
    "nan",
    "1e400",
    "2-1/4 mm mm",
    "½",
)
SCREEN = {
    "headline": headline_html,
    "posts": posts_html,
    "seams": seams_html,
    "window": lambda report: window_html(report) + side_glass_html(report.side_glass, report.car["unit"]),
    "findings": findings_html,
}


def one_move(shown, random):
    """Make one random move and say what it was."""
    dials, words = shown.controls.dials, shown.controls.words
    kind = random.choice(["slide"] * 5 + ["type", "word", "cut", "window", "undo", "redo", "stock"])
    if kind == "slide":
        name = random.choice(list(dials))
        slider = dials[name].slider
        slider.value = random.randint(slider.min, slider.max)
        return f"{name} slid to {slider.value}"
    if kind == "type":
        name, text = random.choice(list(dials)), random.choice(TYPED)
        dials[name].text.value = text
        return f"{name} typed {text!r}"
    if kind == "word":
        name = random.choice(list(words))
        choice = words[name].choice
        choice.value = random.choice([value for _, value in choice.options])
        return f"{name} chosen {choice.value!r}"
    if kind == "cut":
        shown.controls.cut.value = random.choice(["level", "square"])
    elif kind == "window":
        shown.controls.window_out.value = random.choice([True, False])
    else:
        button = {"undo": shown.undo_button, "redo": shown.redo_button, "stock": shown.stock_button}[kind]
        if not button.disabled:
            button.click()
    return kind


def screen(shown):
    return {name: getattr(shown, name).value for name in SCREEN}


async def played(shown, random):
    """Play one sequence without waiting between moves, then wait until the screen stands still."""
    said = []
    for _ in range(random.randint(1, MOST_MOVES)):
        before, numbers = shown.plan, shown.headline.value
        said.append(one_move(shown, random))
        status = shown.status.value
        assert "fault in Plumbdrop" not in status, (said, status)
        if "pd-refused" in status:
            assert shown.plan is before and shown.headline.value == numbers, (said, status)
        if random.random() < 0.3:
            await asyncio.sleep(0.005)  # what is to be done later may come in between, or not
    while shown.is_working:
        await asyncio.sleep(0.001)
    return said


def check(name, seeds, monkeypatch, path=None):
    """Play sequences one after the other; from a plan file each, where one is given."""
    for wait in ("DRAW_AFTER_S", "LOOK_AFTER_S"):
        monkeypatch.setattr(model.preview, wait, 0.002)
    monkeypatch.setattr(model.preview, "TAPE_AFTER_S", 3600.0)  # every ± has its own test

    async def run():
        shown = Preview(name)
        refused = 0
        for seed in seeds:
            if path is not None:
                shown.load_plan(path)
            said = await played(shown, Random(f"{name} {seed}"))
            assert "fault in Plumbdrop" not in shown.status.value, (seed, said, shown.status.value)
            refused += "pd-refused" in shown.status.value
            # A car worked out anew shares no memory with the screen.
            fresh = report_of(closed(build_on(shape_of(read_car(demo_car_path(name))), shown.plan)))
            assert fresh.plan == plan_to_dict(shown.plan)
            for part, html in SCREEN.items():
                assert screen(shown)[part] == html(fresh), (seed, said, part)
        return refused

    return asyncio.run(run())


@pytest.mark.parametrize("name", CARS)
def test_what_the_screen_says_is_what_is_so(name, monkeypatch):
    assert check(name, range(6), monkeypatch) < 6  # not all of them end in a refusal


@pytest.mark.parametrize("name", CARS)
def test_what_the_screen_says_of_new_metal_is_so(name, monkeypatch):
    check(name, ["closed"], monkeypatch, demo_closed_path(name))


@pytest.mark.heavy
@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("name", CARS)
def test_many_more_sequences_with_new_metal(name, part, monkeypatch):
    """One for every twenty of the others, for each takes ten times as long."""
    check(name, [f"closed {part + 1000}"], monkeypatch, demo_closed_path(name))


@pytest.mark.heavy
@pytest.mark.parametrize("part", range(PARTS))
@pytest.mark.parametrize("name", CARS)
def test_many_more_sequences(name, part, monkeypatch):
    refused = check(name, range(PART * part, PART * (part + 1)), monkeypatch)
    print(f"{name}, part {part} of {PART} sequences: {refused} of them ended in a refusal")
