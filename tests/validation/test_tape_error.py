"""The ± of the numbers against brute force: draw every reading anew, work everything out again, look.

Draws are rectangular over ± half a graduation, the error a tape really makes;
nothing of the linear law is used.  ``PLUMBDROP_DRAWS`` sets how many whole
draws are made; the few by default keep the heavy checks within their hour.
"""

import os
from dataclasses import replace

import numpy as np
import pytest

from model.built import build_on, place
from model.carfile import demo_car_path, demo_plan_path, read_car
from model.errors import RoofError
from model.planfile import read_plan
from model.postlines import PostLine
from model.readings import readings_of, with_values
from model.seams import seam_reports
from model.shape import shape_of
from model.uncertainty import cut_numbers, cut_working, headline_numbers, whole_working, widest_places

CUT_DRAWS = 10_000
WHOLE_DRAWS = int(os.environ.get("PLUMBDROP_DRAWS", "150"))


def drawn(car, rng):
    readings = readings_of(car)
    errors = rng.uniform(-0.5, 0.5, len(readings)) * car.tape_mm
    return with_values(car, {r: r.value_mm + e for r, e in zip(readings, errors, strict=True)})


def demo(name):
    car = read_car(demo_car_path(name))
    return car, read_plan(demo_plan_path(name), car)


@pytest.mark.heavy
@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_take_outs_and_misses_of_ten_thousand_cars(name):
    """Spread within 4 % of the law's (the draws leave 1.4 % at 2σ), and 94 to 97.5 in 100 inside ±.

    A sum of rectangular errors has shorter tails than a normal one, so more than 95 may lie inside.
    """
    car, plan = demo(name)
    found = cut_working(car, plan).done()
    shape, rng = shape_of(car), np.random.default_rng(len(name))
    draws = []
    for _ in range(CUT_DRAWS):
        moved = drawn(car, rng)
        lines = {(p.name, p.side): PostLine(p) for p in moved.all_posts()}
        numbers = cut_numbers(place(replace(shape, car=moved, lines=lines), plan).ends)
        draws.append([numbers[n.where, n.what] for n in found.numbers])
    off = np.array(draws) - [n.value for n in found.numbers]
    spread, inside = [], []
    for column, n in zip(off.T, found.numbers, strict=True):
        if n.plus_minus < 1e-4:  # held by the plan: the roof follows the windshield
            assert np.abs(column).max() < 1e-3, n
            continue
        spread.append(1.96 * column.std() / n.plus_minus)
        inside.append(np.mean(np.abs(column) <= n.plus_minus))
    print(
        f"\n{name}: spread over law {min(spread):.3f} … {max(spread):.3f}, "
        f"inside {min(inside):.3f} … {max(inside):.3f}, mean {np.mean(inside):.4f}"
    )
    assert 0.96 < min(spread) and max(spread) < 1.04
    assert 0.94 < min(inside) and max(inside) < 0.975


@pytest.mark.heavy
@pytest.mark.parametrize("name", ["coupe", "pickup"])
def test_every_number_of_whole_cars_drawn_anew(name):
    """Gaps, weld, headroom and rakes: nothing remembered, spline parameters and all worked out again."""
    car, plan = demo(name)
    found = whole_working(car, plan).done()
    places = widest_places(seam_reports(build_on(shape_of(car), plan)))
    rng, draws, refused = np.random.default_rng(7), [], 0
    while len(draws) < WHOLE_DRAWS:
        try:
            numbers = headline_numbers(build_on(shape_of(drawn(car, rng)), plan), places)
        except RoofError:
            refused += 1
            assert refused < 0.02 * WHOLE_DRAWS + 3
            continue
        draws.append([numbers.get((n.where, n.what), np.nan) for n in found.numbers])
    off = np.array(draws) - [n.value for n in found.numbers]
    rows, bound = [], 2.6 / np.sqrt(2 * WHOLE_DRAWS)  # 99 % of a spread's own spread
    for column, n in zip(off.T, found.numbers, strict=True):
        column = column[np.isfinite(column)]
        if n.plus_minus > 0.02:
            rows.append((n.what, 1.96 * column.std() / n.plus_minus, np.mean(np.abs(column) <= n.plus_minus)))
    for what in dict.fromkeys(row[0] for row in rows):
        own = np.array([row[1:] for row in rows if row[0] == what])
        print(
            f"\n{name}: {what}: spread over law {own[:, 0].min():.3f} … {own[:, 0].max():.3f}, "
            f"inside {own[:, 1].mean():.3f}",
            end="",
        )
        assert (np.abs(own[:, 0] - 1) < 0.08 + bound).all(), what
        assert own[:, 1].mean() > 0.95 - 2.6 * np.sqrt(0.05 * 0.95 / WHOLE_DRAWS), what
