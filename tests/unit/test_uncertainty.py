"""± of the numbers: against hand derivatives, and what to read again against trying every reading."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from invented_cars import box_car, wedge_car

from model.carfile import car_toml, demo_car_path, demo_plan_path, read_car
from model.errors import MeasureError
from model.measured import Car
from model.output.sureness import is_doubtful, sure_cell, sureness_html, sureness_lines
from model.plan import STRAIGHT_DOWN, Plan, RoofMove
from model.planfile import read_plan
from model.readings import readings_of, with_values
from model.tapereport import PlusMinus
from model.uncertainty import COVERAGE, Working, cut_working, uncertainty_from, whole_working

DOWN = RoofMove(front_drop_mm=50.0, rear_drop_mm=50.0, fore_aft=STRAIGHT_DOWN)


@pytest.fixture(scope="module")
def coupe():
    car = read_car(demo_car_path("coupe"))
    return car, read_plan(demo_plan_path("coupe"), car)


def test_readings_are_every_number_that_was_typed():
    """Box car: moving all its readings by nothing is the same car; each stands at its own place."""
    car = read_car(demo_car_path("coupe"))
    readings = readings_of(car)
    assert with_values(car, {r: r.value_mm for r in readings}) == car
    paths = [path for r in readings for path in r.paths]
    assert len(paths) == len(set(paths))
    assert len({(r.place, r.what) for r in readings}) == len(readings)
    hoops = sum(3 * len(h.right_mm) - 1 + 3 * len((h.left_mm or ((),))[:-1]) for h in car.hoops)
    assert sum(r.place.startswith("hoop ") for r in readings) == hoops


def test_one_reading_moves_one_place_and_a_shared_crown_moves_on_both_sides():
    car = read_car(demo_car_path("coupe"))
    crown = next(r for r in readings_of(car) if r.place == "hoop B post, crown" and r.what == "height")
    moved = with_values(car, {crown: crown.value_mm + 5})
    hoop, old = moved.hoop("B post"), car.hoop("B post")
    assert hoop.right_mm[-1][2] == hoop.left_mm[-1][2] == old.right_mm[-1][2] + 5
    assert hoop.right_mm[:-1] == old.right_mm[:-1] and moved.posts == car.posts


def test_standard_deviation_of_a_rectangular_distribution():
    """JCGM 100:2008, 4.3.7 (from memory): half-width a gives a / √3; here a = r / 2; n readings: / √n."""
    car = replace(box_car(), tape_mm=1.5)
    np.testing.assert_allclose([r.sd_mm for r in readings_of(car)], 0.75 / np.sqrt(3))
    again = replace(car, read_again=(("post B right, foot", 4),))
    for r in readings_of(again):
        expected = 0.75 / np.sqrt(3) / (2 if r.place == "post B right, foot" else 1)
        assert r.sd_mm == pytest.approx(expected)


def test_a_straight_post_by_hand():
    """Level cut, straight down by d: T = d √(1 + m² + n²), m = Δx/Δz, n = Δy/Δz over the post's height h.

    Errors s at both ends of x, y, z:  ∂T/∂x_top = d m / (T/d · h) …, so
    s(T)² = 2 s² (d / (q h))² (m² + n² + (m² + n²)²), q = √(1 + m² + n²).
    The miss fore-and-aft is d·m with s = √2 s (d/h) √(1 + m²); across with n.
    """
    car = wedge_car()
    d = 50.0
    found = cut_working(car, Plan(roof=DOWN)).done()
    s = car.tape_mm / np.sqrt(12)
    for post in car.all_posts():
        low, high = np.array(post.axis_mm[0]), np.array(post.axis_mm[-1])
        h = high[2] - low[2]
        m, n = (high - low)[:2] / h
        q = np.sqrt(1 + m * m + n * n)
        k = m * m + n * n
        by_hand = {
            "take-out": np.sqrt(2) * s * d / (q * h) * np.sqrt(k + k * k),
            "miss fore-and-aft": np.sqrt(2) * s * d / h * np.sqrt(1 + m * m),
            "miss across": np.sqrt(2) * s * d / h * np.sqrt(1 + n * n),
        }
        for what, sd in by_hand.items():
            # One-sided steps of s leave the second-order part: s/h of it.
            pm = found.of(f"{post.name} {post.side}", what).plus_minus
            assert pm == pytest.approx(COVERAGE * sd, rel=2e-3, abs=2e-4), (post.name, what)


@pytest.mark.parametrize("every", [6, pytest.param(1, marks=pytest.mark.heavy)])
def test_quick_and_whole_agree_on_what_is_cut(every):
    """The whole work moves the skin's readings too, each by a run of the tool: one in so many of them."""
    car, plan = box_car(), Plan(roof=RoofMove(front_drop_mm=40.0, rear_drop_mm=55.0))
    quick, whole = cut_working(car, plan), whole_working(car, plan)
    others = [reading for reading in whole.readings if reading not in quick.readings]
    assert len(others) > 90
    whole = replace(whole, readings=(*quick.readings, *others[::every]))
    quick, whole = quick.done(), whole.done()
    assert quick.numbers
    for number in quick.numbers:
        same = whole.of(number.where, number.what)
        assert same.value == pytest.approx(number.value, abs=1e-9)
        assert same.plus_minus == pytest.approx(number.plus_minus, abs=1e-9)
    assert [(a.place, a.what) for a in quick.take_again] == [(a.place, a.what) for a in whole.take_again]
    assert all(n.plus_minus > 0 for n in whole.numbers if n.what in ("weld", "rake"))


def test_the_three_to_take_again_are_the_best_of_all(coupe):
    """Every place is read once more in turn: none lowers the summed squares more than the three named."""
    car, plan = coupe
    found = cut_working(car, plan).done()

    working = cut_working(car, plan)
    moved_numbers = cache(working.numbers)
    paths = {reading.paths for reading in working.readings}

    def doubt(car: Car):
        """Σ (±)², what a moved car cuts remembered: how often a place was read moves no post."""
        readings = tuple(reading for reading in readings_of(car) if reading.paths in paths)
        again = Working(
            car, working.nominal, readings, lambda moved: moved_numbers(replace(moved, read_again=()))
        )
        return sum(n.plus_minus**2 for n in again.done().numbers)

    total = doubt(car)
    named = {a.place for a in found.take_again}
    places = {r.place for r in readings_of(car) if r.paths[0][0] == "posts"}
    saved = {place: total - doubt(replace(car, read_again=((place, 2),))) for place in places}
    least_named = min(saved[a.place] for a in found.take_again)
    # A place read again is all its lengths; the three are single lengths, so each is at least a third
    # of the best place's, and its own place is among those that save most.
    assert least_named >= max(saved.values()) / 3
    assert max(saved, key=saved.get) in named
    for again in found.take_again:
        changed = cut_working(replace(car, read_again=((again.place, 2),)), plan).done()
        assert changed.of(again.of.where, again.of.what).plus_minus <= again.plus_minus_then + 1e-9
        assert again.plus_minus_then < again.of.plus_minus
        afresh = sum(n.plus_minus**2 for n in changed.numbers)
        assert total - afresh == pytest.approx(saved[again.place], rel=1e-12)


def test_more_readings_shrink_the_doubt_by_their_root():
    car, plan = box_car(), Plan(roof=RoofMove(front_drop_mm=40.0, rear_drop_mm=40.0))
    once, four = cut_working(car, plan).done(), cut_working(replace(car, readings=4), plan).done()
    for a, b in zip(once.numbers, four.numbers, strict=True):
        assert b.plus_minus == pytest.approx(a.plus_minus / 2, rel=2e-3, abs=5e-6)


def test_nothing_is_cut_nothing_is_in_doubt():
    found = cut_working(box_car(), Plan()).done()
    assert found.numbers == () and found.take_again == ()
    assert sureness_lines(found, "in") == [] and "not cut" in sureness_html(found, "in")


def test_what_cannot_be_told_from_none_looks_like_it():
    """A quarter inch ± three eighths."""
    n = PlusMinus(where="B right", what="miss across", value=6.35, plus_minus=9.5, unit="mm")
    assert is_doubtful(n) and sure_cell(n, "in") == '1/4" ± 3/8"'
    found = replace(uncertainty_from({}, [], np.empty((0, 0))), numbers=(n,))
    assert any("cannot be told from none" in line for line in sureness_lines(found, "in"))
    assert "cannot be told from none" in sureness_html(found, "in")
    sure = replace(n, plus_minus=1.0)
    assert not is_doubtful(sure)


def test_read_again_survives_the_file_and_is_refused_where_the_car_has_no_such_place(tmp_path):
    car = replace(read_car(demo_car_path("pickup")), readings=2, read_again=(("post A right, foot", 3),))
    path = tmp_path / "car.toml"
    path.write_text(car_toml(car), encoding="utf-8")
    assert read_car(path) == car
    text = path.read_text(encoding="utf-8")
    for wrong, said in (
        (text.replace("post A right, foot", "post A right, fot"), "post A right, foot"),
        (text.replace("readings = 2", "readings = 0"), "whole number from 1 to 100"),
        (text.replace('"post A right, foot" = 3', '"post A right, foot" = "often"'), "whole number"),
    ):
        path.write_text(wrong, encoding="utf-8")
        with pytest.raises(MeasureError, match=said):
            read_car(path)
